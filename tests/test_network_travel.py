"""Travel times and ways between places."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from culvertrisk.network import graph, travel
from tests.test_network_detour import roads_of, street_plan


def test_travel_times_take_the_quicker_of_two_ways():
    lines = [[(0, 0), (1000, 0)], [(0, 0), (500, 400), (1000, 0)]]
    network = graph.build_network(roads_of(lines), [5.0, 20.0])
    seconds, metres = travel.travel_times(network, [(0, 0), (1000, 0), (100, 0)])
    fast_m = 2 * np.hypot(500, 400)
    assert_allclose(seconds[0], [0, fast_m / 20, 20])
    assert_allclose(metres[0], [0, fast_m, 100])
    assert_allclose(seconds, seconds.T)


def test_travel_times_obey_one_way_streets_within_one_segment():
    ring = [[(0, 0), (100, 0)], [(100, 0), (50, 50), (0, 0)]]
    network = graph.build_network(roads_of(ring, oneway=[1, 0]), 10.0)
    seconds, metres = travel.travel_times(network, [(20, 0), (60, 0)])
    round_m = 2 * np.hypot(50, 50) + 100 - 40
    assert_allclose(metres, [[0, 40], [round_m, 0]])
    assert_allclose(seconds, metres / 10)


def test_travel_times_are_infinite_where_there_is_no_way():
    apart = [[(0, 0), (100, 0)], [(0, 500), (100, 500)]]
    network = graph.build_network(roads_of(apart), 10.0)
    seconds, metres = travel.travel_times(network, [(0, 0), (0, 500)])
    assert np.isinf(seconds[0, 1]) and np.isinf(metres[1, 0])
    assert seconds[0, 0] == metres[1, 1] == 0


def test_travel_times_take_the_quicker_of_parallel_roads():
    twin = [[(0, 0), (100, 0)], [(0, 0), (50, 30), (100, 0)]]
    network = graph.build_network(roads_of(twin), 10.0)
    seconds, metres = travel.travel_times(network, [(0, 0), (100, 0)])
    assert_allclose(seconds[0, 1], 10)
    assert_allclose(metres[0, 1], 100)


@pytest.mark.parametrize("seed", range(3))
def test_paths_are_as_long_as_travel_times_say(seed):
    network = street_plan(seed)
    xy = np.random.default_rng(seed).uniform(0, 500, (12, 2))
    _, metres = travel.travel_times(network, xy)
    legs = [(a, b) for a in xy for b in xy]
    lines = travel.paths(network, legs)
    lengths_m = np.array([line.length for line in lines]).reshape(12, 12)
    reached = np.isfinite(metres)
    assert_allclose(lengths_m[reached], metres[reached], atol=1e-6)
    assert not lengths_m[~reached].any()
    assert 0 < (~reached).sum() < reached.size


def test_paths_run_from_start_to_end():
    lines = [[(100, 0), (0, 0)], [(100, 0), (100, 100)]]
    network = graph.build_network(roads_of(lines), 10.0)
    line = travel.paths(network, [((20, 3), (100, 70))])[0]
    assert line.equals(shapely.LineString([(20, 0), (100, 0), (100, 70)]))
    assert shapely.get_coordinates(line)[0].tolist() == [20, 0]


def test_paths_of_no_leg_are_none():
    network = graph.build_network(roads_of([[(0, 0), (100, 0)]]), 10.0)
    assert travel.paths(network, []) == []
    assert travel.paths(network, [((5, 0), (5, 0))])[0].is_empty
