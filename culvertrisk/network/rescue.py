"""How much longer help takes from the service centre when a segment is shut."""

import numba
import numpy as np
from numpy.typing import ArrayLike

from culvertrisk.network.graph import Floats, RoadNetwork
from culvertrisk.network.heap import pop, push


def rescue_delay(
    network: RoadNetwork, centre: int, segment: ArrayLike, weight: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Extra travel time from the centre to where dwellings are.

    Parameters
    ----------
    network : RoadNetwork
        The network of n nodes; one-way roads are respected.
    centre : int
        Node of the service centre.
    segment : array_like of int, shape (k,)
        Segments, each shut alone and in both directions.
    weight : array_like, shape (n,)
        Dwellings at each node.

    Returns
    -------
    total_s : ndarray, shape (k,)
        Extra time summed over the dwellings still reached [dwelling-s].
    longest_s : ndarray, shape (k,)
        Extra time of the dwelling that loses most and is still reached [s].
    lost_count : ndarray, shape (k,)
        Dwellings reached before and no more.

    Notes
    -----
    Exact: only the part of the shortest-path tree behind the segment can lose,
    so only that part is searched again, from its best arcs that enter from
    outside. One-way roads can make the lost dwellings more than those behind
    an only way.
    """
    shut, weights = np.asarray(segment, np.int64), np.asarray(weight, np.float64)
    ahead, back = network.forward, network.reverse
    arcs = (ahead.start, ahead.to_node, ahead.seconds, ahead.segment)
    entries = (back.start, back.to_node, back.seconds, back.segment)
    time_s, parent, by, order = _tree(arcs, centre)
    size, position, inside = _layout(parent, order)
    top = np.full(len(network.seconds), -1, np.int64)
    top[by[order[1:]]] = order[1:]
    tree = (time_s, size, position, inside)
    found = _replace(arcs, entries, tree, (shut, top[shut]), weights)
    return found[:, 0], found[:, 1], found[:, 2]


@numba.njit(cache=True)
def _tree(arcs, source):  # type: ignore[no-untyped-def]
    # Dijkstra's tree: time, parent, segment from the parent, order of settling
    start, to_node, seconds, segment = arcs
    count = len(start) - 1
    time_s, is_done = np.full(count, np.inf), np.zeros(count, np.bool_)
    parent, by = np.full(count, -1, np.int64), np.full(count, -1, np.int64)
    keys, nodes = np.empty(len(to_node) + 1), np.empty(len(to_node) + 1, np.int64)
    order, settled = np.empty(count, np.int64), 0
    time_s[source] = 0.0
    left = push(keys, nodes, 0, 0.0, source)
    while left > 0:
        here = nodes[0]
        left = pop(keys, nodes, left)
        if is_done[here]:
            continue
        is_done[here] = True
        order[settled] = here
        settled += 1
        for arc in range(start[here], start[here + 1]):
            there, reach_s = to_node[arc], time_s[here] + seconds[arc]
            if reach_s < time_s[there]:
                time_s[there], parent[there], by[there] = reach_s, here, segment[arc]
                left = push(keys, nodes, left, reach_s, there)
    return time_s, parent, by, order[:settled]


@numba.njit(cache=True)
def _layout(parent, order):  # type: ignore[no-untyped-def]
    # an order of the tree in which all that hangs on a node stands behind it
    count = len(parent)
    size, position = np.ones(count, np.int64), np.full(count, -1, np.int64)
    free, inside = np.zeros(count, np.int64), np.empty(len(order), np.int64)
    for here in order[:0:-1]:
        size[parent[here]] += size[here]
    for here in order:
        above = parent[here]
        position[here] = 0 if above < 0 else free[above]
        if above >= 0:
            free[above] += size[here]
        free[here] = position[here] + 1
        inside[position[here]] = here
    return size, position, inside


@numba.njit(cache=True)
def _replace(arcs, entries, tree, asked, weight):  # type: ignore[no-untyped-def]
    time_s, size, position, inside = tree
    count, room = len(position), 2 * len(arcs[1]) + 2
    new_s, seen = np.empty(count), np.zeros(count, np.int64)
    keys, nodes = np.empty(room), np.empty(room, np.int64)
    found = np.zeros((len(asked[0]), 3))
    for row in range(len(asked[0])):
        shut, top, stamp = asked[0][row], asked[1][row], row + 1
        if top < 0:
            continue
        low = position[top]
        span = (low, low + size[top])
        left = 0
        for here in inside[span[0] : span[1]]:
            best_s = _entry(entries, here, shut, time_s, position, span)
            if best_s < np.inf:
                new_s[here], seen[here] = best_s, stamp
                left = push(keys, nodes, left, best_s, here)
        heap, new = (keys, nodes, left), (new_s, seen)
        _spread(arcs, (stamp, shut), position, span, heap, new)
        for here in inside[span[0] : span[1]]:
            if seen[here] != stamp:
                found[row, 2] += weight[here]
            elif weight[here] > 0:
                extra_s = new_s[here] - time_s[here]
                found[row, 0] += weight[here] * extra_s
                found[row, 1] = max(found[row, 1], extra_s)
    return found


@numba.njit(cache=True)
def _entry(entries, here, shut, time_s, position, span):  # type: ignore[no-untyped-def]
    # best time at which a node is reached straight from outside the cut part
    start, from_node, seconds, segment = entries
    best_s = np.inf
    for arc in range(start[here], start[here + 1]):
        there = from_node[arc]
        is_inside = span[0] <= position[there] < span[1]
        if segment[arc] != shut and not is_inside:
            best_s = min(best_s, time_s[there] + seconds[arc])
    return best_s


@numba.njit(cache=True)
def _spread(arcs, question, position, span, heap, new):  # type: ignore[no-untyped-def]
    # Dijkstra within the cut part, from the nodes entered from outside
    start, to_node, seconds, segment = arcs
    (stamp, shut), (new_s, seen) = question, new
    keys, nodes, left = heap
    while left > 0:
        key, here = keys[0], nodes[0]
        left = pop(keys, nodes, left)
        if key > new_s[here]:
            continue
        for arc in range(start[here], start[here + 1]):
            there, reach_s = to_node[arc], key + seconds[arc]
            if segment[arc] == shut or not span[0] <= position[there] < span[1]:
                continue
            if seen[there] != stamp or reach_s < new_s[there]:
                seen[there], new_s[there] = stamp, reach_s
                left = push(keys, nodes, left, reach_s, there)
