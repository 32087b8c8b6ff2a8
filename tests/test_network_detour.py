"""Ways round and cut-off sets: known small networks, and brute force."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

from culvertrisk.network import detour, graph, placing, rescue


def roads_of(lines, *, oneway=0, level=0):
    """Road rows from lists of corners."""
    geometry = [shapely.LineString(line) for line in lines]
    columns = {"oneway": oneway, "level": level}
    index = range(len(lines))
    return gpd.GeoDataFrame(columns, geometry=geometry, index=index, crs=32616)


def street_plan(seed):
    """A torn grid with dead ends, parallel roads and one-way streets."""
    rng = np.random.default_rng(seed)
    side = 6
    xy = np.array([(i, j) for i in range(side) for j in range(side)]) * 100.0
    xy += rng.uniform(-20, 20, xy.shape)
    at = np.arange(side * side).reshape(side, side)
    pairs = np.vstack(
        [
            np.column_stack([at[:-1].ravel(), at[1:].ravel()]),
            np.column_stack([at[:, :-1].ravel(), at[:, 1:].ravel()]),
        ]
    )
    pairs = pairs[rng.random(len(pairs)) < 0.62]
    lines = [xy[list(pair)] for pair in pairs]
    for pair in pairs[:3]:  # a second road beside the first
        middle = xy[list(pair)].mean(axis=0) + rng.uniform(8, 12, 2)
        lines.append(np.vstack([xy[pair[0]], middle, xy[pair[1]]]))
    oneway = rng.choice([0, 0, 0, 0, 1, -1], len(lines))
    speed_m_s = rng.choice([7.0, 11.0, 16.0], len(lines))
    return graph.build_network(roads_of(lines, oneway=oneway), speed_m_s)


def brute_times(network, shut):
    """Times between all nodes by a full search with the segment deleted."""
    count = len(network.node_xy)
    arcs = network.forward
    leaves = np.repeat(np.arange(count), np.diff(arcs.start))
    times_s = np.full((count, count), np.inf)
    still = arcs.segment != shut
    arc = (leaves[still], arcs.to_node[still])
    np.minimum.at(times_s, arc, arcs.seconds[still])
    return dijkstra(csr_matrix(np.where(np.isfinite(times_s), times_s, 0.0)))


def brute_way_round(network, shut):
    """Longer of the two ways round, by a full search with the segment deleted."""
    times_s = brute_times(network, shut)
    ends = network.from_node[shut], network.to_node[shut]
    ways = []
    if network.oneway[shut] >= 0:
        ways.append(times_s[ends])
    if network.oneway[shut] <= 0:
        ways.append(times_s[ends[::-1]])
    ways = [way for way in ways if np.isfinite(way)]
    return max(ways) - network.seconds[shut] if ways else np.nan


def brute_cut_off(network, shut, root):
    """Nodes that lose the root when the segment is deleted."""
    count = len(network.node_xy)
    keep = np.arange(len(network.seconds)) != shut

    def reached(rows):
        ends = (network.from_node[rows], network.to_node[rows])
        links = csr_matrix((np.ones(rows.sum()), ends), (count, count))
        label = connected_components(links, directed=False)[1]
        return label == label[root]

    return reached(np.ones_like(keep)) & ~reached(keep)


@pytest.mark.parametrize("seed", range(6))
def test_way_round_equals_a_full_search_with_the_segment_deleted(seed):
    network = street_plan(seed)
    shut = np.arange(len(network.seconds))
    seconds, _ = detour.way_round(network, shut)
    assert_allclose(seconds, [brute_way_round(network, s) for s in shut], atol=1e-9)
    assert 0 < np.isnan(seconds).sum() < len(seconds)


@pytest.mark.parametrize("seed", range(6))
def test_cut_off_equals_a_full_search_with_the_segment_deleted(seed):
    network = street_plan(seed)
    root = 7
    behind = detour.cut_off(network, root)
    assert behind.position[root] == 0
    count = len(network.node_xy)
    ends = (network.from_node, network.to_node)
    links = csr_matrix((np.ones(len(ends[0])), ends), (count, count))
    label = connected_components(links, directed=False)[1]
    cut = 0
    for shut in range(len(network.seconds)):
        place = behind.position
        found = (place >= behind.first[shut]) & (place < behind.past[shut])
        if label[network.from_node[shut]] == label[root]:
            assert (found == brute_cut_off(network, shut, root)).all()
            cut += found.any()
    assert cut > 0


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_rescue_delay_equals_a_full_search_with_the_segment_deleted(seed):
    network = street_plan(seed)
    homes = np.random.default_rng(seed).poisson(0.7, len(network.node_xy)) * 1.0
    shut = np.arange(len(network.seconds))
    times_s = brute_times(network, -1)
    centre = int(np.isfinite(times_s).sum(axis=1).argmax())
    before_s = times_s[centre]
    found = rescue.rescue_delay(network, centre, shut, homes)
    expected = []
    for each in shut:
        after_s = brute_times(network, each)[centre]
        reached = np.isfinite(after_s)
        extra_s = after_s[reached] - before_s[reached]
        late_s = extra_s[homes[reached] > 0]
        lost = homes[np.isfinite(before_s) & ~reached].sum()
        expected.append((homes[reached] @ extra_s, late_s.max(initial=0), lost))
    assert_allclose(np.column_stack(found), expected, atol=1e-9)
    assert (np.array(expected) > 0).any(axis=0).all()


def test_way_round_of_a_square_is_its_other_three_sides():
    corners = [(0, 0), (100, 0), (100, 100), (0, 100), (0, 0)]
    square = [corners[i : i + 2] for i in range(4)]
    network = graph.build_network(roads_of(square), 10.0)
    network, segment, _ = placing.split_at(network, [(50.0, 3.0)])
    seconds, metres = detour.way_round(network, segment)
    assert_allclose(seconds, (399.0 - 1.0) / 10.0)
    assert_allclose(metres, 398.0)


def test_way_round_obeys_one_way_streets():
    lines = [[(0, 0), (100, 0)], [(0, 0), (50, 50), (100, 0)]]
    network = graph.build_network(roads_of(lines, oneway=[0, 1]), 10.0)
    seconds, metres = detour.way_round(network, [0])
    longer_m = 2 * np.hypot(50, 50) - 100
    assert_allclose(metres, longer_m)  # one direction has a way, the other none
    assert_allclose(seconds, longer_m / 10)
    against = graph.build_network(roads_of(lines, oneway=[1, -1]), 10.0)
    assert np.isnan(detour.way_round(against, [0])[0]).all()


def test_way_round_sees_a_parallel_road():
    lines = [[(0, 0), (100, 0)], [(0, 0), (50, 20), (100, 0)], [(100, 0), (200, 0)]]
    network = graph.build_network(roads_of(lines), 10.0)
    behind = detour.cut_off(network, 0)
    assert (behind.past > behind.first).tolist() == [False, False, True]


def test_way_round_is_unknown_when_the_part_stands_alone():
    lines = [[(0, 0), (100, 0)], [(500, 0), (600, 0), (700, 0)]]
    network = graph.build_network(roads_of(lines), 10.0)
    network, segment, _ = placing.split_at(network, [(650.0, 0.0)])
    seconds, metres = detour.way_round(network, segment)
    assert np.isnan(seconds).all() and np.isnan(metres).all()
    behind = detour.cut_off(network, int(placing.nearest_node(network, (0, 0))[0][0]))
    far = (behind.position >= behind.first[segment]) & (
        behind.position < behind.past[segment]
    )
    assert network.node_xy[far][:, 0].min() > 650  # the side away from the centre


def test_cut_off_counts_roads_that_go_on_beyond_the_town():
    lines = [[(0, 0), (100, 0)], [(0, 0), (-100, 0)], [(0, 0), (0, 100)]]
    network = graph.build_network(roads_of(lines), 10.0)
    ends = placing.nearest_node(network, [(100, 0), (-100, 0), (0, 0)])[0]
    alone = detour.cut_off(network, ends[2])
    assert (alone.past > alone.first).all()
    one = detour.cut_off(network, ends[2], ways_out=ends[:1])
    assert (one.past > one.first).all()  # one way out is no way round
    joined = detour.cut_off(network, ends[2], ways_out=ends[:2])
    assert (joined.past > joined.first).tolist() == [False, False, True]
