"""Quickest travel times, lengths and ways between places on the road network."""

from collections.abc import Sequence

import numba
import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from culvertrisk.network.graph import Floats, Indexes, RoadNetwork
from culvertrisk.network.placing import put_on

BLOCK = 100  # start nodes at a time, so that a large network fits in memory
NO_NODE = -9999  # scipy's word for no predecessor


def travel_times(network: RoadNetwork, xy: ArrayLike) -> tuple[Floats, Floats]:
    """Quickest travel time, and its length, between every two places.

    Parameters
    ----------
    network : RoadNetwork
        The network; one-way roads are respected.
    xy : array_like, shape (k, 2)
        Places in the work CRS; each is put on the nearest road [m].

    Returns
    -------
    seconds : ndarray, shape (k, k)
        From row to column; infinite where there is no way [s].
    metres : ndarray, shape (k, k)
        Length of that quickest way; infinite where there is none [m].

    Notes
    -----
    The way from the place to its road is not counted.
    """
    whole, node = put_on(network, xy)
    seconds = np.empty((len(node), len(node)))
    metres = np.empty_like(seconds)
    for low in range(0, len(node), BLOCK):
        rows = slice(low, low + BLOCK)
        time_s, before = _from(whole, node[rows])
        seconds[rows] = time_s[:, node]
        arcs = whole.forward
        lengths_m = whole.length_m[arcs.segment]
        metres[rows] = _lengths(
            arcs.start, arcs.to_node, arcs.seconds, lengths_m, before, node
        )
    metres[~np.isfinite(seconds)] = np.inf
    return seconds, metres


def paths(
    network: RoadNetwork, legs: Sequence[tuple[ArrayLike, ArrayLike]]
) -> list[shapely.LineString]:
    """Quickest way of each leg as a line.

    Parameters
    ----------
    network : RoadNetwork
        The network; one-way roads are respected.
    legs : sequence of (from_xy, to_xy)
        Two places of shape (2,) each, in the work CRS [m].

    Returns
    -------
    lines : list of LineString
        Along the roads, from start to end; empty where there is no way or
        nothing to drive.
    """
    if not legs:
        return []
    places = np.asarray(legs, np.float64).reshape(-1, 2)
    whole, node = put_on(network, places)
    lines: list[shapely.LineString] = []
    for start, end in node.reshape(-1, 2):
        before = _from(whole, np.array([start]))[1][0]
        lines.append(_line(whole, before, int(start), int(end)))
    return lines


def _from(network: RoadNetwork, node: Indexes) -> tuple[Floats, Indexes]:
    arcs = network.forward
    count = len(network.node_xy)
    # built from its rows: the other constructors would add up parallel roads
    matrix = csr_matrix((arcs.seconds, arcs.to_node, arcs.start), (count, count))
    seconds, before = dijkstra(matrix, indices=node, return_predecessors=True)
    return seconds, before.astype(np.int64)


def _line(
    network: RoadNetwork, before: Indexes, start: int, end: int
) -> shapely.LineString:
    arcs = network.forward
    pieces: list[Floats] = []
    here = end
    while here != start:
        last = int(before[here])
        if last == NO_NODE:
            return shapely.LineString()
        arc = _arc(arcs.start, arcs.to_node, arcs.seconds, last, here)
        segment = arcs.segment[arc]
        piece = shapely.get_coordinates(network.geometry[segment])
        along = network.from_node[segment] == last and network.oneway[segment] >= 0
        pieces.append(piece if along else piece[::-1])
        here = last
    if not pieces:
        return shapely.LineString()
    xy = np.vstack(pieces[::-1])
    moves = np.concatenate([[True], (np.diff(xy, axis=0) != 0).any(axis=1)])
    return shapely.LineString(xy[moves])


@numba.njit(cache=True)
def _arc(start, to_node, seconds, last, here):  # type: ignore[no-untyped-def]
    best = -1
    for arc in range(start[last], start[last + 1]):
        if to_node[arc] == here and (best < 0 or seconds[arc] < seconds[best]):
            best = arc
    return best


@numba.njit(cache=True)
def _lengths(  # type: ignore[no-untyped-def]
    start, to_node, seconds, lengths_m, before, targets
):
    metres = np.zeros((before.shape[0], len(targets)))
    for row in range(before.shape[0]):
        for column in range(len(targets)):
            here = targets[column]
            while before[row, here] >= 0:
                last = before[row, here]
                arc = _arc(start, to_node, seconds, last, here)
                metres[row, column] += lengths_m[arc]
                here = last
    return metres
