"""Roads of two real places: read, noded, joined, and crossings put on them."""

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from culvertrisk.inputs.roads import read_roads
from culvertrisk.network import detour, graph, placing, travel
from culvertrisk.settings import Reading

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
BULKLEY = Path(FOLDER) / "bc_bulkley_roads"
SHUTESBURY = Path(FOLDER) / "shutesbury_roads"
UTM_9N, UTM_18N = "EPSG:32609", "EPSG:32618"

pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)


def part_lengths_m(network):
    """Length of each connected part, longest first."""
    count = len(network.node_xy)
    ends = (network.from_node, network.to_node)
    links = coo_array((np.ones(len(ends[0])), ends), shape=(count, count))
    label = connected_components(links, directed=False)[1]
    lengths_m = np.bincount(label[network.from_node], network.length_m)
    return np.sort(lengths_m[lengths_m > 0])[::-1]


def test_bulkley_roads_keep_their_lines_classes_and_length():
    # README of the data: 2223 multi-lines, 771 km, four classes with their counts
    table = read_roads(BULKLEY / "roads.geojson", Reading(), UTM_9N).table
    assert len(table) == 2223
    counts = table["road_class"].value_counts().to_dict()
    assert counts == {"RH1": 798, "RA1": 208, "RA2": 295, "RC2": 922}
    assert_allclose(table.length.sum() / 1000, 771, atol=0.5)
    network = graph.build_network(table, 20.0)
    assert_allclose(network.length_m.sum() / 1000, 771, atol=0.5)
    assert part_lengths_m(network)[0] > 0.9 * network.length_m.sum()


def test_bulkley_crossings_are_near_few_roads():
    # README of the data: 22 of 223 crossings within 150 m of a road, 46 within 1 km
    table = read_roads(BULKLEY / "roads.geojson", Reading(), UTM_9N).table
    network = graph.build_network(table, 20.0)
    folder = BULKLEY.parent / "bc_bulkley_crossings"
    rows = pd.read_csv(folder / "crossings.csv")
    xy = rows[["easting", "northing"]].to_numpy()
    _, _, away_m = placing.nearest_segment(network, xy)
    assert len(away_m) == 223
    assert [(away_m <= 150).sum(), (away_m <= 1000).sum()] == [22, 46]
    split, segment, _ = placing.split_at(network, xy, reach_m=150.0)
    assert (segment >= 0).sum() == 22
    assert_allclose(split.length_m.sum(), network.length_m.sum())
    seconds, _ = detour.way_round(split, segment[segment >= 0])
    behind = detour.cut_off(split, 0)
    is_only = (behind.past > behind.first)[segment[segment >= 0]]
    assert (np.isnan(seconds) == is_only).all()  # no one-way roads here


def test_shutesbury_roads_keep_their_lines_and_length():
    # the file states the length of each line in miles; 1609.344 m a mile
    raw = gpd.read_file(SHUTESBURY / "roads.geojson")
    stated_km = raw["length_mi"].sum() * 1.609344
    reading = read_roads(SHUTESBURY / "roads.geojson", Reading(), UTM_18N)
    assert len(reading.table) == 285
    assert_allclose(reading.table.length.sum() / 1000, stated_km, rtol=0.005)
    network = graph.build_network(reading.table, 11.0)
    assert_allclose(network.length_m.sum() / 1000, stated_km, rtol=0.02)
    assert part_lengths_m(network)[0] > 0.9 * network.length_m.sum()
    apart = read_roads(SHUTESBURY / "roads.geojson", Reading(), UTM_18N, snap_m=0.0)
    loose = graph.build_network(apart.table, 11.0)
    assert len(part_lengths_m(network)) < len(part_lengths_m(loose))


def test_shutesbury_inventory_is_read_as_it_stands():
    path = SHUTESBURY / "massdot_roadinv_raw.geojson"
    reading = read_roads(path, Reading(units={"speed_m_s": "mph"}), UTM_18N)
    raw = gpd.read_file(path)
    assert reading.table["road_class"].tolist() == raw["F_F_Class"].astype(str).tolist()
    assert (reading.table["road_name"] == "").sum() == 55  # README: 55 without a name
    speed_mph = reading.table["speed_m_s"] / 0.44704
    posted = raw["Speed_Lim"].where(raw["Speed_Lim"].between(5, 90))
    assert_allclose(speed_mph, posted, atol=1e-9)


def test_shutesbury_travel_is_never_shorter_than_the_crow_flies():
    table = read_roads(SHUTESBURY / "roads.geojson", Reading(), UTM_18N).table
    network = graph.build_network(table, 11.0)
    xy = network.node_xy[np.random.default_rng(1).choice(len(network.node_xy), 40)]
    seconds, metres = travel.travel_times(network, xy)
    crow_m = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    assert (metres >= crow_m - 1e-6).all()
    assert_allclose(seconds, metres / 11.0)
