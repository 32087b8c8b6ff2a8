"""Crossings, stops and other places put on the road network."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from culvertrisk.network.graph import Floats, Indexes, Lines, RoadNetwork, assemble
from culvertrisk.network.noding import cut_lines

CROSSING_WIDTH_M = 1.0  # road that a crossing takes out; its own segment [m]
CROSSING_REACH_M = 60.0  # farthest from a road that still is on it; common practice
SAME_PLACE_M = 0.01  # offsets closer than this are one place [m]


def nearest_segment(
    network: RoadNetwork, xy: ArrayLike
) -> tuple[Indexes, Floats, Floats]:
    """Find the segment nearest to each point.

    Parameters
    ----------
    network : RoadNetwork
        The network, with at least one segment.
    xy : array_like, shape (k, 2)
        Points in the work CRS [m]; NaN is no place.

    Returns
    -------
    segment : ndarray of int, shape (k,)
        Nearest segment; -1 where the point is no place.
    offset_m : ndarray, shape (k,)
        Place along the segment [m].
    distance_m : ndarray, shape (k,)
        Distance to the segment [m].
    """
    places = np.asarray(xy, np.float64).reshape(-1, 2)
    segment = np.full(len(places), -1, np.int64)
    known = np.isfinite(places).all(axis=1)
    tree = shapely.STRtree(network.geometry)
    points = shapely.points(places[known])
    segment[known] = tree.query_nearest(points, all_matches=False)[1]
    offset_m, distance_m = place_along(network, places, segment)
    return segment, offset_m, distance_m


def nearest_node(network: RoadNetwork, xy: ArrayLike) -> tuple[Indexes, Floats]:
    """Find the nearer end of the segment nearest to each point.

    Parameters
    ----------
    network : RoadNetwork
        The network, with at least one segment.
    xy : array_like, shape (k, 2)
        Points in the work CRS, all known [m].

    Returns
    -------
    node : ndarray of int, shape (k,)
        Node of each point.
    distance_m : ndarray, shape (k,)
        Distance to the segment [m].
    """
    segment, offset_m, distance_m = nearest_segment(network, xy)
    is_first_half = offset_m < network.length_m[segment] / 2
    node = np.where(is_first_half, network.from_node[segment], network.to_node[segment])
    return node, distance_m


def named_segment(
    network: RoadNetwork,
    xy: ArrayLike,
    point_name: Indexes,
    road_name: Indexes,
    *,
    reach_m: float,
) -> Indexes:
    """Find the nearest segment of a road that each point is known to be on.

    Parameters
    ----------
    network : RoadNetwork
        The network, with at least one segment.
    xy : array_like, shape (k, 2)
        Points in the work CRS [m]; NaN is no place.
    point_name : ndarray of int, shape (k,)
        Number of the road name that each point gives; -1 none.
    road_name : ndarray of int, shape (r,)
        Number of the name of each row of the roads table.
    reach_m : float
        Farthest at which the road it names is believed [m].

    Returns
    -------
    segment : ndarray of int, shape (k,)
        Nearest segment of such a road in reach, else the nearest of all; -1
        where the point is no place.
    """
    segment, _, _ = nearest_segment(network, xy)
    asked = np.flatnonzero((segment >= 0) & (point_name >= 0))
    points = _points(np.asarray(xy, np.float64)[asked])
    tree = shapely.STRtree(network.geometry)
    which, near = tree.query(points, predicate="dwithin", distance=reach_m)
    is_own = point_name[asked[which]] == road_name[network.road_index[near]]
    which, near = which[is_own], near[is_own]
    away_m = shapely.distance(points[which], network.geometry[near])
    order = np.lexsort((near, away_m, which))
    which, first = np.unique(which[order], return_index=True)
    segment[asked[which]] = near[order][first]
    return segment


def place_along(
    network: RoadNetwork, xy: ArrayLike, segment: Indexes
) -> tuple[Floats, Floats]:
    """Measure where points lie along given segments, and how far from them.

    Parameters
    ----------
    network : RoadNetwork
        The network.
    xy : array_like, shape (k, 2)
        Points in the work CRS [m]; NaN is no place.
    segment : ndarray of int, shape (k,)
        Segment of each point.

    Returns
    -------
    offset_m : ndarray, shape (k,)
        Place along the segment; NaN where the point is no place [m].
    distance_m : ndarray, shape (k,)
        Distance to the segment; NaN where the point is no place [m].
    """
    points = _points(xy)
    known = np.isfinite(shapely.get_x(points)) & np.isfinite(shapely.get_y(points))
    offset_m, distance_m = np.full((2, len(points)), np.nan)
    lines = network.geometry[segment[known]]
    offset_m[known] = shapely.line_locate_point(lines, points[known])
    distance_m[known] = shapely.distance(lines, points[known])
    return offset_m, distance_m


def split_at(
    network: RoadNetwork,
    xy: ArrayLike,
    *,
    segment: Indexes | None = None,
    reach_m: float = CROSSING_REACH_M,
) -> tuple[RoadNetwork, Indexes, Floats]:
    """Give every crossing a short segment of its own.

    Each crossing goes to its road; the segment there is cut half a width
    before and behind it, or half way to the next crossing where that is
    nearer. So two crossings of one road are told apart, and a dwelling just
    past the pipe lies on the far side.

    Parameters
    ----------
    network : RoadNetwork
        The network, with at least one segment.
    xy : array_like, shape (k, 2)
        Crossings in the work CRS [m]; NaN is no place.
    segment : ndarray of int, shape (k,), optional
        Segment that each lies on; the nearest if not given.
    reach_m : float, optional
        Farthest distance at which a crossing is on a road [m].

    Returns
    -------
    network : RoadNetwork
        The network with the crossings' segments.
    segment : ndarray of int, shape (k,)
        Own segment of each crossing; -1 where no road is in reach. Crossings
        at one place share it.
    distance_m : ndarray, shape (k,)
        Distance to the road [m].
    """
    if segment is None:
        segment, _, _ = nearest_segment(network, xy)
    offset_m, distance_m = place_along(network, xy, segment)
    on = np.flatnonzero(distance_m <= reach_m)
    places = np.column_stack([segment[on], np.round(offset_m[on] / SAME_PLACE_M)])
    unique, same = np.unique(places.reshape(-1, 2), axis=0, return_inverse=True)
    own, at_m = unique[:, 0].astype(np.int64), unique[:, 1] * SAME_PLACE_M
    low_m, high_m = at_m - CROSSING_WIDTH_M / 2, at_m + CROSSING_WIDTH_M / 2
    follows = np.flatnonzero(np.diff(own) == 0)
    half_way_m = (at_m[follows] + at_m[follows + 1]) / 2
    low_m[follows + 1] = np.maximum(low_m[follows + 1], half_way_m)
    high_m[follows] = np.minimum(high_m[follows], half_way_m)
    cut, _ = _cut(network, np.r_[own, own], np.r_[low_m, high_m])
    crossing_segment = np.full(len(distance_m), -1, np.int64)
    crossing_segment[on] = _part_at(cut, own, at_m)[same.ravel()]
    return cut.network, crossing_segment, distance_m


def put_on(network: RoadNetwork, xy: ArrayLike) -> tuple[RoadNetwork, Indexes]:
    """Put points on the nearest road, each as a node.

    Parameters
    ----------
    network : RoadNetwork
        The network, with at least one segment.
    xy : array_like, shape (k, 2)
        Points in the work CRS, all known [m].

    Returns
    -------
    network : RoadNetwork
        The network with segments cut at the points.
    node : ndarray of int, shape (k,)
        Node of each point.
    """
    segment, offset_m, _ = nearest_segment(network, xy)
    cut, node = _cut(network, segment, offset_m)
    return cut.network, node


def _points(xy: ArrayLike) -> Lines:
    places = np.asarray(xy, np.float64).reshape(-1, 2)
    return np.asarray(shapely.points(places), dtype=object)


@dataclass(frozen=True)
class _Cut:
    network: RoadNetwork
    first: Indexes  # first new segment of each old one
    line: Indexes  # old segment of each cut made, ascending
    at_m: Floats


def _cut(
    network: RoadNetwork, segment: Indexes, offset_m: Floats
) -> tuple[_Cut, Indexes]:
    order = np.lexsort((offset_m, segment))
    line, at_m = segment[order], offset_m[order]
    head = at_m <= SAME_PLACE_M
    tail = ~head & (at_m >= network.length_m[line] - SAME_PLACE_M)
    new = ~head & ~tail
    near = (np.diff(line) == 0) & (np.diff(at_m) <= SAME_PLACE_M)
    new[1:] &= ~(near & new[:-1])
    placed = len(network.node_xy) + np.cumsum(new) - 1
    placed[head] = network.from_node[line[head]]
    placed[tail] = network.to_node[line[tail]]
    node = np.empty(len(order), np.int64)
    node[order] = placed
    line, at_m = line[new], at_m[new]
    points = shapely.line_interpolate_point(network.geometry[line], at_m)
    xy = shapely.get_coordinates(points).reshape(-1, 2)
    parts, parent = cut_lines(network.geometry, line, at_m, xy)
    inner = len(network.node_xy) + np.arange(len(line))
    starts = np.r_[True, np.diff(parent) > 0]
    ends = np.column_stack([network.from_node[parent], network.to_node[parent]])
    ends[~starts, 0] = inner
    ends[np.r_[~starts[1:], False], 1] = inner
    pace = network.seconds / np.maximum(network.length_m, SAME_PLACE_M)
    traits = np.column_stack([network.oneway, network.road_index])[parent]
    seconds = shapely.length(parts) * pace[parent]
    whole = assemble(np.vstack([network.node_xy, xy]), parts, ends, seconds, traits)
    return _Cut(whole, np.flatnonzero(starts), line, at_m), node


def _part_at(cut: _Cut, line: Indexes, at_m: Floats) -> Indexes:
    low = np.searchsorted(cut.line, line, side="left")
    high = np.searchsorted(cut.line, line, side="right")
    before = [
        np.searchsorted(cut.at_m[start:end], place)
        for start, end, place in zip(low, high, at_m, strict=True)
    ]
    return cut.first[line] + np.array(before, np.int64)
