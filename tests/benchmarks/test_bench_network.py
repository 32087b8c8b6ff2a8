"""Ways round 5,000 crossings against one full search of a reference library."""

import time

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from culvertrisk.network import detour, graph, placing, rescue

SIDE, STEP_M, CROSSINGS = 120, 250.0, 5000


@pytest.fixture(scope="module")
def network():
    """A torn grid of 120 x 120 corners, 250 m apart, 30 % of its roads missing."""
    rng = np.random.default_rng(1)
    xy = np.stack(np.meshgrid(np.arange(SIDE), np.arange(SIDE)), axis=-1) * STEP_M
    xy = xy + rng.normal(0, 40, xy.shape)
    along = np.stack([xy[:, :-1], xy[:, 1:]], axis=2).reshape(-1, 2, 2)
    across = np.stack([xy[:-1], xy[1:]], axis=2).reshape(-1, 2, 2)
    corners = np.concatenate([along, across])
    lines = shapely.linestrings(corners[rng.random(len(corners)) < 0.7])
    table = {"oneway": rng.choice([0, 0, 0, 1], len(lines)), "level": 0}
    roads = gpd.GeoDataFrame(table, geometry=lines, crs=32616)
    return graph.build_network(roads, rng.choice([11.0, 16.0, 22.0], len(lines)))


@pytest.fixture(scope="module")
def crossings(network):
    """5,000 crossings on random segments."""
    rng = np.random.default_rng(2)
    own = rng.choice(network.geometry, CROSSINGS)
    points = shapely.line_interpolate_point(own, rng.random(CROSSINGS), normalized=True)
    return placing.split_at(network, shapely.get_coordinates(points))[:2]


def one_search_s(network):
    """Seconds of one full search by the reference library, in this run."""
    arcs, count = network.forward, len(network.node_xy)
    matrix = csr_matrix((arcs.seconds, arcs.to_node, arcs.start), (count, count))
    started = time.perf_counter()
    reached = np.isfinite(dijkstra(matrix, indices=centre_of(network)))
    taken_s = time.perf_counter() - started
    assert reached.mean() > 0.8
    return taken_s


def centre_of(network):
    """Node in the middle of the grid."""
    middle_m = SIDE * STEP_M / 2
    return int(placing.nearest_node(network, [(middle_m, middle_m)])[0][0])


def test_bench_ways_round_of_5000_crossings(benchmark, crossings):
    network, segment = crossings
    detour.way_round(network, segment[:2])
    seconds, _ = benchmark(detour.way_round, network, segment)
    assert np.isfinite(seconds).mean() > 0.5
    benchmark.extra_info["one_scipy_search_s"] = one_search_s(network)


def test_bench_who_is_cut_off(benchmark, crossings):
    network, _ = crossings
    centre = centre_of(network)
    detour.cut_off(network, centre)
    benchmark(detour.cut_off, network, centre)
    benchmark.extra_info["one_scipy_search_s"] = one_search_s(network)


def test_bench_rescue_delay_of_5000_crossings(benchmark, crossings):
    network, segment = crossings
    weight = np.ones(len(network.node_xy))
    centre = centre_of(network)
    rescue.rescue_delay(network, centre, segment[:2], weight)
    benchmark(rescue.rescue_delay, network, centre, segment, weight)
    benchmark.extra_info["one_scipy_search_s"] = one_search_s(network)
