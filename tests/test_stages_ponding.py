"""Ponds behind a road over a made-up valley, against hand sums and shapes."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.stages.ponding import (
    add_ponding,
    pond_ground,
)
from culvertrisk.stages.road_profile import road_profile
from culvertrisk.stages.site import site_flow
from culvertrisk.tables import columns
from tests.terrain_made import (
    CELL_M,
    ROAD_M,
    crossings,
    road,
    valley,
)

SIDE_SLOPE, BED_SLOPE = 0.5 / CELL_M, 0.09 / CELL_M
NUMBERS = ["pond_depth_m", "pond_area_m2", "pond_volume_m3", "pond_spills_first"]


def _dam_valley(road_m=ROAD_M):
    """The valley with its road raised on a level dam from side to side."""
    terrain = valley()
    elevation_m = terrain.elevation_m.copy()
    elevation_m[58:63] = np.maximum(elevation_m[58:63], road_m)
    return dataclasses.replace(terrain, elevation_m=elevation_m)


def _ground(table, terrain, roads):
    ends = site_flow(table, terrain, roads).ends
    return pond_ground(table, terrain, ends, road_profile(table, terrain, roads))


def _done(table, terrain, roads, places=None):
    ground = _ground(table, terrain, roads)
    return add_ponding(table, terrain, ground, places)


@pytest.fixture(scope="module")
def ground():
    return _ground(crossings(), _dam_valley(), road())


@pytest.fixture(scope="module")
def done(ground):
    return add_ponding(crossings(), _dam_valley(), ground)


def test_ponding_adds_exactly_its_columns_and_leaves_its_input_alone(done):
    table = crossings()
    pd.testing.assert_frame_equal(done[table.columns], table)
    made = columns().query("made_by == 'ponding'").index
    assert set(done.columns) - set(table.columns) == set(made)


def test_values_lie_in_their_ranges(done):
    for name, row in columns().query("made_by == 'ponding'").iterrows():
        if not np.isnan(row["low"]):
            known = done[name].dropna()
            assert known.between(row["low"], row["high"]).all(), name


def test_the_pond_is_a_tetrahedron_below_the_road(done):
    """Bed just above the dam 0.09 * 63, road 11: h = 5.33; A = h^2 / (m s)."""
    terrain = _dam_valley()
    row = done.loc["ends"]
    inlet_m = terrain.elevation_m[57, 30]
    assert_allclose(row["pond_depth_m"], ROAD_M - inlet_m, rtol=1e-5)
    assert row["pond_level_m"] == ROAD_M
    # The bed's zero lies half a cell downstream of the inlet's cell.
    depth_m = ROAD_M - inlet_m + BED_SLOPE * CELL_M / 2
    expected_m2 = depth_m**2 / (SIDE_SLOPE * BED_SLOPE) / 2 * 2
    assert terrain.elevation_m[0, 30] < ROAD_M  # longer than the DEM: it is cut
    assert np.isnan(row["pond_volume_m3"]) or row["pond_area_m2"] < expected_m2
