"""Road lines to a graph, and crossings put on it."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from culvertrisk.network import graph, noding, placing
from tests.test_network_detour import roads_of, street_plan


def part_count(network):
    """Connected parts that hold a segment."""
    count = len(network.node_xy)
    ends = (network.from_node, network.to_node)
    links = coo_array((np.ones(len(ends[0])), ends), shape=(count, count))
    label = connected_components(links, directed=False)[1]
    return len(np.unique(label[network.from_node]))


def test_network_cuts_crossing_roads_at_one_node():
    cross = [[(0, 50), (100, 50)], [(50, 0), (50, 100)]]
    network = graph.build_network(roads_of(cross), [10.0, 20.0])
    assert len(network.geometry) == 4
    assert part_count(network) == 1
    assert_allclose(network.length_m, 50)
    assert_allclose(network.seconds, [5, 5, 2.5, 2.5])
    assert network.road_index.tolist() == [0, 0, 1, 1]


def test_network_keeps_an_overpass_apart():
    cross = [[(0, 50), (100, 50)], [(50, 0), (50, 100)]]
    network = graph.build_network(roads_of(cross, level=[0, 1]), 10.0)
    assert len(network.geometry) == 2
    assert part_count(network) == 2


def test_network_joins_levels_where_both_have_their_end():
    ramp = [[(0, 0), (100, 0)], [(100, 0), (200, 0)]]
    assert part_count(graph.build_network(roads_of(ramp, level=[0, 1]), 10.0)) == 1


def test_network_joins_an_end_that_touches_another_road():
    lines = [[(0, 0), (90, 31)], [(33.3, 33.3 * 31 / 90), (40, 90)]]
    network = graph.build_network(roads_of(lines), 10.0)
    assert len(network.geometry) == 3
    assert part_count(network) == 1


def test_network_cuts_a_road_that_meets_itself():
    lollipop = [[(0, 0), (100, 0), (200, 50), (200, -50), (100, 0)]]
    network = graph.build_network(roads_of(lollipop), 10.0)
    ends = np.r_[network.from_node, network.to_node]
    assert np.bincount(ends).max() == 3
    assert_allclose(network.length_m.sum(), shapely.LineString(lollipop[0]).length)


def test_network_takes_a_road_drawn_twice_once():
    lines = [[(0, 0), (100, 0)], [(100, 0.05), (0, 0.05)], [(0, 0), (50, 40), (100, 0)]]
    network = graph.build_network(roads_of(lines, oneway=[1, 1, 0]), 10.0)
    assert network.road_index.tolist() == [0, 2]
    assert network.oneway.tolist() == [0, 0]  # one each way makes both ways


@pytest.mark.parametrize("seed", range(4))
def test_noding_keeps_length_and_changes_nothing_the_second_time(seed):
    rng = np.random.default_rng(seed)
    lines = shapely.linestrings(rng.uniform(0, 1000, (12, 5, 2)))
    level = np.zeros(12, np.int64)
    parts, parent = noding.node_lines(lines, level)
    assert_allclose(shapely.length(parts).sum(), shapely.length(lines).sum(), rtol=1e-6)
    assert (np.diff(parent) >= 0).all()
    again, _ = noding.node_lines(parts, level[parent])
    assert len(again) == len(parts)


def test_arcs_of_one_way_roads_lead_one_way():
    lines = [[(0, 0), (100, 0)], [(100, 0), (200, 0)]]
    network = graph.build_network(roads_of(lines, oneway=[1, -1]), 10.0)
    middle = int(np.argmin(np.abs(network.node_xy[:, 0] - 100)))
    arcs = network.forward
    assert arcs.start[middle + 1] == arcs.start[middle]
    assert len(arcs.to_node) == len(network.reverse.to_node) == 2
    free = graph.undirected_arcs(network, np.empty((0, 2), np.int64))
    assert free.start[middle + 1] - free.start[middle] == 2


def test_split_gives_each_crossing_its_own_segment():
    network = graph.build_network(roads_of([[(0, 0), (100, 0)]]), 10.0)
    xy = [(70, 4), (20, -2), (20.4, 0), (70, 61), (np.nan, 0), (70, -9)]
    split, segment, distance_m = placing.split_at(network, xy)
    assert segment[3] == segment[4] == -1
    assert segment[0] == segment[5]  # one place, one segment
    assert len({*segment[:3].tolist()}) == 3
    middles = shapely.line_interpolate_point(
        split.geometry[segment[:3]], 0.5, normalized=True
    )
    assert_allclose(shapely.get_x(middles), [70, 19.85, 20.55], atol=0.06)
    assert_allclose(distance_m, [4, 2, 0, 61, np.nan, 9])
    assert_allclose(split.length_m.sum(), 100)
    assert_allclose(split.seconds.sum(), 10)
    assert part_count(split) == 1


def test_split_at_the_end_of_a_road_stays_on_it():
    network = graph.build_network(roads_of([[(0, 0), (100, 0)]]), 10.0)
    split, segment, _ = placing.split_at(network, [(-5, 0), (105, 0)])
    assert_allclose(split.length_m[segment], 0.5)
    assert len(split.geometry) == 3


@pytest.mark.parametrize("seed", range(3))
def test_split_keeps_length_time_and_parts(seed):
    network = street_plan(seed)
    rng = np.random.default_rng(seed)
    split, segment, _ = placing.split_at(network, rng.uniform(0, 500, (80, 2)))
    assert_allclose(split.length_m.sum(), network.length_m.sum())
    assert_allclose(split.seconds.sum(), network.seconds.sum())
    assert part_count(split) == part_count(network)
    assert (split.length_m[segment[segment >= 0]] <= 1.0 + 1e-9).all()


def test_put_on_reuses_ends_and_equal_places():
    network = graph.build_network(roads_of([[(0, 0), (100, 0)]]), 10.0)
    whole, node = placing.put_on(network, [(0, 0), (40, 1), (40, -1), (100, 5)])
    assert node[1] == node[2]
    assert_allclose(whole.node_xy[node], [(0, 0), (40, 0), (40, 0), (100, 0)])
    assert len(whole.geometry) == 2
