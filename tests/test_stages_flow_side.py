"""Which side the water comes from, and the pond there, on made valleys and ditches."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from shapely import Point

from culvertrisk.stages.ground import Ground
from culvertrisk.stages.ponding import add_ponding, pond_ground
from culvertrisk.stages.road_profile import road_profile
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.streams import MISPLACED
from culvertrisk.tables import columns
from culvertrisk.terrain.inflow import comes_to, lowest_inflow
from tests.terrain_made import (
    COLS,
    MIDDLE_X_M,
    ROAD_Y_M,
    ROWS,
    crossings,
    road,
    valley,
)

MIDDLE, ROAD_ROW = COLS // 2, 60
BED_M = 5.0  # of the channel under the road
ROAD_M = 8.0
SIDES = (
    "pond unknown: the elevation raster does not tell which side the water comes from"
)
BELOW_BED = (
    "pond unknown: in the elevation raster the pond spills below the bed of the pipe"
)
RUNS_ON = (
    "pond unknown: in the elevation raster water runs on past the inlet before it "
    "stands as high as the pipe"
)


def _terrain(ground_m):
    """Ground under a road 15 m wide along row 60."""
    ground_m = ground_m.astype(np.float32)
    bank = ground_m[ROAD_ROW - 2 : ROAD_ROW + 3]
    np.maximum(bank, ROAD_M, out=bank)
    return dataclasses.replace(valley(), elevation_m=ground_m)


def _skew():
    """A channel from the north-east to the south-west, its southern bank the steeper.

    Straight ahead the ground is higher in the south, where the water goes.
    """
    rows, cols = np.mgrid[0:ROWS, 0:COLS]
    across = (cols - MIDDLE) + (rows - ROAD_ROW)  # cells south-east of the channel
    along = (cols - MIDDLE) - (rows - ROAD_ROW)  # cells to the north-east
    bank_m = np.where(across > 0, 0.6 * across, -0.15 * across)
    return _terrain(BED_M + 0.06 * along + bank_m)


def _flat(fall_m=0.0):
    """A level ditch on either side of the road, lower ground far to both sides."""
    rows = np.mgrid[0:ROWS, 0:COLS][0]
    far = np.abs(rows - ROAD_ROW) > 30
    ground_m = np.where(far, BED_M - 1, BED_M)
    return _terrain(np.where(rows > ROAD_ROW, ground_m - fall_m, ground_m))


def _point(north_m=0.0, **values):
    table = crossings().loc[["point"]].assign(crossing_kind="cross", **values)
    return table.set_geometry([Point(MIDDLE_X_M, ROAD_Y_M + north_m)], crs=table.crs)


def _done(table, terrain):
    site = site_flow(table, terrain, road())
    profile = road_profile(table, terrain, road())
    table = add_site(table, terrain, site)
    ground = Ground(site, pond_ground(table, terrain, site, profile))
    return add_ponding(table, terrain, ground.pond), ground


def test_a_valley_at_an_angle_has_its_inlet_where_its_water_comes_from():
    """Its channel comes from the north, though the ground is higher in the south."""
    row = _done(_point(), _skew())[0].iloc[0]
    assert row["upstream_y_m"] > ROAD_Y_M > row["downstream_y_m"]
    assert row["pond_spills_first"] == 0
    assert_allclose(row["pond_level_m"], ROAD_M)
    # The toe of the bank is the third row above the road's middle.
    assert_allclose(row["pond_depth_m"], ROAD_M - BED_M - 2 * 3 * 0.06, atol=0.01)


@pytest.mark.parametrize("north_m", [-14.0, -9.0, 9.0, 14.0])
def test_a_point_beside_the_road_has_its_inlet_upstream_of_the_road(north_m):
    row = _done(_point(north_m), _skew())[0].iloc[0]
    assert_allclose(row["upstream_y_m"], ROAD_Y_M + 9)
    assert_allclose(row["pond_level_m"], ROAD_M)
    assert row["pond_note"] == ""


def test_a_level_ditch_tells_no_side_and_no_pond():
    done, ground = _done(_point(), _flat())
    assert not ground.site.ends.is_told[0]
    assert done.iloc[0]["pond_note"] == SIDES
    numbers = columns().query("made_by == 'ponding' and unit != 'text'").index
    assert done.iloc[0][numbers].isna().all()


def test_water_that_runs_on_past_the_inlet_is_no_pond():
    """The southern side is lower: the side is told, but nothing holds the water."""
    done, ground = _done(_point(), _flat(fall_m=0.5))
    assert ground.site.ends.is_told[0]
    assert done.iloc[0]["upstream_y_m"] > ROAD_Y_M
    assert done.iloc[0]["pond_note"] == RUNS_ON
    assert np.isnan(done.iloc[0]["pond_spills_first"])
    assert ground.pond.ponds.over[0].tolist() == [-1, -1]


def test_a_pond_begins_in_the_bed_and_not_down_the_ditch_beside_it():
    """The bed lies behind a toe of four rows; before it a ditch falls to the west."""
    terrain = valley()
    toe_m = terrain.elevation_m[54:58]
    toe_m[:, MIDDLE - 12 : MIDDLE + 13] += 1
    toe_m[3, MIDDLE - 9 : MIDDLE] = np.linspace(5.9, 6.6, 9)
    _, ground = _done(crossings().loc[["ends"]], terrain)
    start = ground.pond.starts
    assert start.row[0] <= 53
    assert start.col[0] == MIDDLE


def test_a_spill_below_the_bed_is_no_pond():
    """Ground 0.9 m over the inlet lets the water out; the pipe is surveyed higher."""
    terrain = _skew()
    terrain.elevation_m[20:58, :20] = np.minimum(terrain.elevation_m[20:58, :20], 5.9)
    terrain.elevation_m[20:40, :5] = 2.0
    low = _done(_point(inlet_invert_m=5.0), terrain)[0].iloc[0]
    assert low["pond_spills_first"] == 1
    high = _done(_point(inlet_invert_m=7.0), terrain)[0].iloc[0]
    assert np.isnan(high["pond_spills_first"])
    assert high["pond_note"] == BELOW_BED


def test_names_that_the_flow_contradicts_are_kept_but_tell_no_side():
    """The recorded beds fall with the names, the valley's water runs the other way."""
    table = crossings().loc[["wrong"]].assign(inlet_invert_m=5.2, outlet_invert_m=5.0)
    done, ground = _done(table, valley())
    assert done.iloc[0]["upstream_y_m"] == ROAD_Y_M - 9
    assert not ground.site.ends.is_told[0]
    assert done.iloc[0]["pond_note"] == SIDES


def test_a_place_off_its_road_has_no_pond():
    site = site_flow(_point(), _skew(), road())
    site.stream_note[0] = MISPLACED
    profile = road_profile(_point(), _skew(), road())
    ground = pond_ground(_point(), _skew(), site, profile)
    assert ground.notes.tolist() == ["pond unknown: mapped off its road"]


def test_water_is_followed_to_a_cell_beside_the_goal_and_no_farther():
    codes = np.array([[0, 0, 0, 8], [0, 0, 0, 8]], np.uint8)
    starts = np.array([[0, 0], [0, 0], [0, 3], [-1, 0]])
    goals = np.array([[1, 2], [0, 3], [0, 0], [0, 3]])
    steps = np.array([1, 1, 9, 9])
    assert_array_equal(
        comes_to(codes, starts, goals, steps), [True, False, False, False]
    )


def test_the_lowest_bed_lies_on_the_stream_upstream_of_the_barrel():
    codes = np.array([[0, 0, 0, 0, 8]], np.uint8)
    count = np.array([[1, 2, 3, 4, 5]], np.uint32)
    bed_m = np.array([[0, 2, 3, 1, -9]], np.float32)
    starts = np.array([[0, 2], [0, 2], [0, 4], [-1, -1]])
    sides = np.array([[0, 3.5, 0, -1.0]] * 4)
    found = lowest_inflow((codes, count), bed_m, starts, sides, 1.0)
    assert_array_equal(found, [[0, 3], [0, 3], [-1, -1], [-1, -1]])
    found = lowest_inflow((codes, count), bed_m, starts[:1], sides[:1], 2.0)
    assert_array_equal(found, [[0, 0]])
