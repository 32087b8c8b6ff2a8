"""The road network as a graph: nodes, segments and the arcs that may be driven."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from culvertrisk.network.noding import NODE_M, node_lines

SAME_LINE_M = 1.0  # roads this close all along are one, drawn twice; common practice

Floats = NDArray[np.float64]
Indexes = NDArray[np.int64]
Lines = NDArray[Any]  # of LineStrings


@dataclass(frozen=True)
class Arcs:
    """Directed arcs by their start node (compressed rows).

    The arcs that leave node ``i`` are ``start[i]`` to ``start[i + 1]``.
    """

    start: Indexes
    to_node: Indexes
    seconds: Floats
    segment: Indexes


@dataclass(frozen=True)
class RoadNetwork:
    """Road segments between nodes, with the arcs that may be driven.

    ``oneway`` is 1 along the segment's direction, -1 against it, 0 both ways.
    ``road_index`` is the row of the roads table. ``forward`` holds the arcs by
    the node they leave, ``reverse`` by the node they reach.
    """

    node_xy: Floats
    geometry: Lines
    from_node: Indexes
    to_node: Indexes
    length_m: Floats
    seconds: Floats
    oneway: Indexes
    road_index: Indexes
    forward: Arcs
    reverse: Arcs


def build_network(roads: gpd.GeoDataFrame, speed_m_s: ArrayLike) -> RoadNetwork:
    """Build the network of a roads table.

    Parameters
    ----------
    roads : GeoDataFrame, n rows
        Line strings in metres with the columns ``oneway`` and ``level``.
    speed_m_s : array_like, shape (n,)
        Travel speed of each row, above 0 [m/s].

    Returns
    -------
    network : RoadNetwork
        Noded segments; one that lies on another (a road digitised twice)
        is taken once.

    Notes
    -----
    A dual carriageway drawn as two lines is two roads: a crossing shuts the
    one it lies on.
    """
    lines = roads.geometry.to_numpy().astype(object)
    level = roads["level"].to_numpy(np.int64)
    parts, parent = node_lines(lines, level)
    node_xy, ends = _nodes(parts, parent, level)
    oneway = roads["oneway"].to_numpy(np.int64)[parent]
    keep, oneway = _once(parts, ends, oneway)
    speed = np.broadcast_to(np.asarray(speed_m_s, np.float64), (len(roads),))
    seconds = shapely.length(parts) / speed[parent]
    traits = np.column_stack([oneway, parent])
    return assemble(node_xy, parts[keep], ends[keep], seconds[keep], traits[keep])


def assemble(
    node_xy: Floats, geometry: Lines, ends: Indexes, seconds: Floats, traits: Indexes
) -> RoadNetwork:
    """Put a network together from its segments.

    Parameters
    ----------
    node_xy : ndarray, shape (n, 2)
        Nodes [m].
    geometry : ndarray of LineString, shape (m,)
        Segments.
    ends : ndarray of int, shape (m, 2)
        Node where each segment starts and where it ends.
    seconds : ndarray, shape (m,)
        Travel time along each segment [s].
    traits : ndarray of int, shape (m, 2)
        ``oneway`` and ``road_index`` of each segment.

    Returns
    -------
    network : RoadNetwork
        With its arcs.
    """
    forward, reverse = _arcs(ends, seconds, traits[:, 0], len(node_xy))
    return RoadNetwork(
        node_xy=node_xy,
        geometry=geometry,
        from_node=ends[:, 0],
        to_node=ends[:, 1],
        length_m=shapely.length(geometry),
        seconds=seconds,
        oneway=traits[:, 0],
        road_index=traits[:, 1],
        forward=forward,
        reverse=reverse,
    )


def undirected_arcs(network: RoadNetwork, links: Indexes) -> Arcs:
    """Return arcs that ignore one-way signs, with some nodes joined outside.

    Parameters
    ----------
    network : RoadNetwork
        The network of m segments.
    links : ndarray of int, shape (l, 2)
        Nodes joined by roads that are not in the network.

    Returns
    -------
    arcs : Arcs
        Both arcs of every segment and of every link; the links are the
        segments m to m + l - 1, and take no time.
    """
    ends = np.vstack([np.column_stack([network.from_node, network.to_node]), links])
    seconds = np.concatenate([network.seconds, np.zeros(len(links))])
    return _arcs(ends, seconds, np.zeros(len(ends), np.int64), len(network.node_xy))[0]


def _arcs(
    ends: Indexes, seconds: Floats, oneway: Indexes, node_count: int
) -> tuple[Arcs, Arcs]:
    along, against = np.flatnonzero(oneway >= 0), np.flatnonzero(oneway <= 0)
    segment = np.concatenate([along, against])
    leaves = np.concatenate([ends[along, 0], ends[against, 1]])
    reaches = np.concatenate([ends[along, 1], ends[against, 0]])

    def rows(key: Indexes, to_node: Indexes) -> Arcs:
        order = np.lexsort((segment, to_node, key))
        counts = np.bincount(key, minlength=node_count)
        start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        own = segment[order]
        return Arcs(start, to_node[order], seconds[own], own)

    return rows(leaves, reaches), rows(reaches, leaves)


def _nodes(parts: Lines, parent: Indexes, level: Indexes) -> tuple[Floats, Indexes]:
    count = len(parts)
    new = np.concatenate([[True], np.diff(parent) > 0])
    tips = np.concatenate([new, np.roll(new, -1)])  # ends of the road as drawn
    points = np.concatenate([shapely.get_point(parts, 0), shapely.get_point(parts, -1)])
    xy = shapely.get_coordinates(points)
    height = np.tile(level[parent], 2)
    one, other = KDTree(xy).query_pairs(2 * NODE_M, output_type="ndarray").T
    joined = (height[one] == height[other]) | (tips[one] & tips[other])
    one, other = one[joined], other[joined]
    links = coo_array((np.ones(len(one)), (one, other)), shape=(2 * count, 2 * count))
    label = connected_components(links, directed=False)[1].astype(np.int64)
    first = np.unique(label, return_index=True)[1]
    return xy[first], np.column_stack([label[:count], label[count:]])


def _once(
    parts: Lines, ends: Indexes, oneway: Indexes
) -> tuple[NDArray[np.bool_], Indexes]:
    # a road drawn twice would look like a way round its own culverts
    keep = (ends[:, 0] != ends[:, 1]) | (shapely.length(parts) > 2 * NODE_M)
    oneway = oneway.copy()
    pair = np.sort(ends, axis=1)
    _, group, sizes = np.unique(pair, axis=0, return_inverse=True, return_counts=True)
    several = np.flatnonzero(sizes[group.ravel()] > 1)
    kept: dict[int, list[int]] = {}
    for index in several[keep[several]]:
        others = kept.setdefault(int(group.ravel()[index]), [])
        for other in others:
            if shapely.hausdorff_distance(parts[index], parts[other]) <= SAME_LINE_M:
                same_way = ends[index, 0] == ends[other, 0]
                way = oneway[index] if same_way else -oneway[index]
                oneway[other] = way if way == oneway[other] else 0
                keep[index] = False
                break
        else:
            others.append(int(index))
    return keep, oneway
