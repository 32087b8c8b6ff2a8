"""Ways round a shut segment, and who is cut off behind it."""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike

from culvertrisk.network.graph import Floats, Indexes, RoadNetwork, undirected_arcs
from culvertrisk.network.heap import pop, push


@dataclass(frozen=True)
class CutOff:
    """Who hangs on which segment, seen from the service centre.

    ``position`` is each node's place in an order in which everything behind a
    segment stands together. Behind segment ``i`` are the positions from
    ``first[i]`` up to, not including, ``past[i]``; none where there is a way
    round.
    """

    position: Indexes
    first: Indexes
    past: Indexes


def way_round(network: RoadNetwork, segment: ArrayLike) -> tuple[Floats, Floats]:
    """Quickest extra way from one side of a shut segment to the other.

    Parameters
    ----------
    network : RoadNetwork
        The network; one-way roads are respected.
    segment : array_like of int, shape (k,)
        Segments, each shut alone and in both directions.

    Returns
    -------
    seconds : ndarray, shape (k,)
        Travel time of the way round less that over the segment, in the
        direction that loses more; NaN where there is no way round [s].
    metres : ndarray, shape (k,)
        Length of that way less the segment's; NaN where there is none [m].

    Notes
    -----
    No trip over the segment loses more time than this: whoever turns round
    earlier, at a junction before it, loses less. The quickest way can be
    shorter than the segment; the metres are then below 0.
    """
    shut = np.asarray(segment, np.int64)
    first, last = network.from_node[shut], network.to_node[shut]
    ahead = _way_round(network, first, last, shut)
    back = _way_round(network, last, first, shut)
    way = network.oneway[shut]
    ahead[way < 0], back[way > 0] = np.nan, np.nan
    use_back = np.isnan(ahead[:, 0]) | (back[:, 0] > ahead[:, 0])
    chosen = np.where(use_back[:, None], back, ahead)
    return (
        chosen[:, 0] - network.seconds[shut],
        chosen[:, 1] - network.length_m[shut],
    )


def cut_off(network: RoadNetwork, centre: int, *, ways_out: ArrayLike = ()) -> CutOff:
    """Find what lies behind every segment that is the only way.

    Parameters
    ----------
    network : RoadNetwork
        The network; one-way signs are ignored, as rescue may ignore them.
    centre : int
        Node of the service centre.
    ways_out : array_like of int, shape (w,), optional
        Nodes at which roads go on beyond the network. Outside, they are taken
        to be joined with one another.

    Returns
    -------
    behind : CutOff
        In a part of the network that has no road to the centre, the node
        nearest to the centre as the crow flies stands for it.
    """
    away_m = np.hypot(*(network.node_xy - network.node_xy[centre]).T)
    roots = np.argsort(away_m, kind="stable")
    roots = np.concatenate([[centre], roots])
    outside = np.asarray(ways_out, np.int64)
    links = np.column_stack([outside[:-1], outside[1:]])
    arcs = undirected_arcs(network, links)
    count = len(network.seconds) + len(links)
    position, size, below = _low_links(
        arcs.start, arcs.to_node, arcs.segment, count, roots
    )
    below = below[: len(network.seconds)]
    is_only = below >= 0
    first = np.where(is_only, position[below], 0)
    return CutOff(position, first, first + np.where(is_only, size[below], 0))


def _way_round(
    network: RoadNetwork, start: Indexes, end: Indexes, shut: Indexes
) -> Floats:
    ahead, back = network.forward, network.reverse
    found = _meet(
        (ahead.start, ahead.to_node, ahead.seconds, ahead.segment),
        (back.start, back.to_node, back.seconds, back.segment),
        network.length_m,
        (start, end, shut),
    )
    return np.where(np.isfinite(found), found, np.nan)


@numba.njit(cache=True)
def _settle(arcs, lengths_m, question, mine, theirs, heap):  # type: ignore[no-untyped-def]
    # take the nearest node of one side, pass its arcs on, look for a meeting
    start, to_node, seconds, segment = arcs
    stamp, shut = question
    time_s, metres, seen = mine
    other_s, other_m, other_seen = theirs
    keys, nodes, count = heap
    key, here = keys[0], nodes[0]
    count = pop(keys, nodes, count)
    best_s, best_m = np.inf, np.inf
    if key > time_s[here]:
        return count, best_s, best_m
    for arc in range(start[here], start[here + 1]):
        if segment[arc] == shut:
            continue
        there, reach_s = to_node[arc], key + seconds[arc]
        if seen[there] == stamp and reach_s >= time_s[there]:
            continue
        seen[there], time_s[there] = stamp, reach_s
        metres[there] = metres[here] + lengths_m[segment[arc]]
        count = push(keys, nodes, count, reach_s, there)
        if other_seen[there] == stamp and reach_s + other_s[there] < best_s:
            best_s = reach_s + other_s[there]
            best_m = metres[there] + other_m[there]
    return count, best_s, best_m


@numba.njit(cache=True)
def _meet(ahead, back, lengths_m, asked):  # type: ignore[no-untyped-def]
    # bidirectional Dijkstra with one segment forbidden; arrays are stamped with
    # the number of the question, so nothing is cleared between two questions
    count, room = len(ahead[0]) - 1, len(ahead[1]) + 1
    one = (np.empty(count), np.empty(count), np.zeros(count, np.int64))
    two = (np.empty(count), np.empty(count), np.zeros(count, np.int64))
    keys_1, nodes_1 = np.empty(room), np.empty(room, np.int64)
    keys_2, nodes_2 = np.empty(room), np.empty(room, np.int64)
    found = np.full((len(asked[0]), 2), np.inf)
    for row in range(len(asked[0])):
        question = (row + 1, asked[2][row])
        for side, node in ((one, asked[0][row]), (two, asked[1][row])):
            side[0][node], side[1][node], side[2][node] = 0.0, 0.0, row + 1
        left = push(keys_1, nodes_1, 0, 0.0, asked[0][row])
        right = push(keys_2, nodes_2, 0, 0.0, asked[1][row])
        if asked[0][row] == asked[1][row]:
            found[row] = 0.0
        while left > 0 and right > 0 and keys_1[0] + keys_2[0] < found[row, 0]:
            if keys_1[0] <= keys_2[0]:
                heap = (keys_1, nodes_1, left)
                left, time_s, way_m = _settle(
                    ahead, lengths_m, question, one, two, heap
                )
            else:
                heap = (keys_2, nodes_2, right)
                right, time_s, way_m = _settle(
                    back, lengths_m, question, two, one, heap
                )
            if time_s < found[row, 0]:
                found[row, 0], found[row, 1] = time_s, way_m
    return found


@numba.njit(cache=True)
def _search(start, to_node, segment, roots):  # type: ignore[no-untyped-def]
    # depth-first: order of first visit, and the segment each node was reached by
    count = len(start) - 1
    position, order = np.full(count, -1, np.int64), np.empty(count, np.int64)
    parent, by = np.full(count, -1, np.int64), np.full(count, -1, np.int64)
    next_arc, placed = start[:-1].copy(), 0
    for root in roots:
        if position[root] >= 0:
            continue
        here = root
        position[here], order[placed] = placed, here
        placed += 1
        while here >= 0:
            if next_arc[here] == start[here + 1]:
                here = parent[here]
                continue
            arc = next_arc[here]
            next_arc[here] += 1
            there = to_node[arc]
            if position[there] < 0:
                parent[there], by[there] = here, segment[arc]
                position[there], order[placed] = placed, there
                placed += 1
                here = there
    return position, order, parent, by


@numba.njit(cache=True)
def _low_links(start, to_node, segment, segment_count, roots):  # type: ignore[no-untyped-def]
    # a segment is the only way if nothing below it reaches above it; the way
    # back is told by segment, so a parallel road counts as a way round
    position, order, parent, by = _search(start, to_node, segment, roots)
    low, size = position.copy(), np.ones(len(order), np.int64)
    below = np.full(segment_count, -1, np.int64)
    for here in order[::-1]:
        for arc in range(start[here], start[here + 1]):
            if segment[arc] != by[here]:
                low[here] = min(low[here], position[to_node[arc]])
        above = parent[here]
        if above < 0:
            continue
        size[above] += size[here]
        low[above] = min(low[above], low[here])
        if low[here] > position[above]:
            below[by[here]] = here
    return position, size, below
