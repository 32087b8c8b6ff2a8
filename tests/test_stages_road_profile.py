"""Where water first goes over a road, on a made-up valley and roads of known shape."""

import dataclasses
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely import LineString, Point

from culvertrisk.stages.road_profile import (
    add_road_profile,
    crests_around,
    road_profile,
    shows_ponds,
)
from culvertrisk.tables import columns
from tests.terrain_made import (
    CELL_M,
    COLS,
    CRS,
    MIDDLE_X_M,
    ROAD_M,
    ROAD_Y_M,
    WEST_M,
    crossings,
    road,
    valley,
)

UNKNOWN = ["overflow_m", "overflow_x_m", "overflow_y_m", "overflow_distance_m"]
UNKNOWN += ["overflow_drop_m"]


def _done(table, terrain, roads):
    return add_road_profile(table, road_profile(table, terrain, roads))


def _on_ground(road_m):
    """The valley, its road at the given elevation in each column."""
    terrain = valley()
    elevation_m = terrain.elevation_m.copy()
    elevation_m[58:63] = road_m
    return dataclasses.replace(terrain, elevation_m=elevation_m)


def test_road_profile_adds_exactly_its_columns_and_leaves_its_input_alone():
    table = crossings()
    done = _done(table, valley(), road())
    pd.testing.assert_frame_equal(table, crossings())
    pd.testing.assert_frame_equal(done[table.columns], table)
    made = columns().query("made_by == 'road_profile'").index
    assert set(done.columns) - set(table.columns) == set(made)


def test_overflow_is_the_roads_low_place_beside_the_crossing():
    away_m = np.abs(np.arange(COLS) - (COLS // 2 + 5)) * CELL_M
    row = _done(crossings(), _on_ground(12 + 0.02 * away_m), road()).loc["point"]
    assert_allclose(row["overflow_m"], 12, atol=1e-5)
    # 15 m at 2 %, less half a cell in which the crossing may lie
    assert_allclose(row["overflow_drop_m"], 0.3 - 0.03, atol=1e-5)
    assert_allclose(row["overflow_distance_m"], 5 * CELL_M)
    assert_allclose(row["overflow_x_m"], MIDDLE_X_M + 5 * CELL_M)
    assert_allclose(row["overflow_y_m"], ROAD_Y_M)


def test_overflow_does_not_lie_beyond_a_crest():
    road_m = np.full(COLS, 14.0)
    road_m[: COLS // 2 - 15] = 2.0  # beyond the crest
    road_m[COLS // 2 - 10] = 14.5
    road_m[COLS // 2 + 3 : COLS // 2 + 5] = 13.0
    profile = road_profile(crossings(), _on_ground(road_m), road())
    assert profile.elevation_m[0, profile.crests[0, 0]] == 14.5
    assert add_road_profile(crossings(), profile).loc["point", "overflow_m"] == 13.0


def test_a_crossing_off_the_roads_has_no_overflow():
    done = _done(crossings(), valley(), road())
    assert done.loc["far", UNKNOWN].isna().all()
    assert_allclose(done.loc["point", "overflow_m"], ROAD_M)


@pytest.mark.parametrize("kind", ["driveway", "bridge", "ford"])
def test_driveways_bridges_and_fords_have_no_overflow(kind):
    done = _done(crossings().assign(crossing_kind=kind), valley(), road())
    assert done[UNKNOWN].isna().all(axis=None)


@pytest.mark.parametrize(
    ("terrain", "roads"),
    [
        (None, road()),
        (valley(), None),
        (valley(vertical_step_m=1.0), road()),
        (dataclasses.replace(valley(), cell_m=20.0), road()),
    ],
)
def test_overflow_is_unknown_without_ground_or_roads_or_on_coarse_ground(
    terrain, roads
):
    assert _done(crossings(), terrain, roads)[UNKNOWN].isna().all(axis=None)
    assert len(_done(crossings().iloc[:0], terrain, roads)) == 0


def test_dems_of_ten_metres_and_less_show_ponds():
    ground = valley()
    assert shows_ponds(ground)
    assert shows_ponds(dataclasses.replace(ground, cell_m=10.004))
    assert not shows_ponds(dataclasses.replace(ground, cell_m=15.0))
    assert not shows_ponds(dataclasses.replace(ground, vertical_step_m=0.5))
    assert not shows_ponds(None)


def test_a_road_cut_into_pieces_is_followed_to_the_next_junction():
    """Two pieces meet at the crossing; 30 m east a side road makes a junction."""
    x_m = [WEST_M - 50, MIDDLE_X_M, MIDDLE_X_M + 30, WEST_M + COLS * CELL_M + 50]
    pieces = [LineString([(a, ROAD_Y_M), (b, ROAD_Y_M)]) for a, b in pairwise(x_m)]
    side = LineString([(x_m[2], ROAD_Y_M), (x_m[2], ROAD_Y_M - 90)])
    roads = gpd.GeoDataFrame(geometry=[*pieces, side], crs=CRS)
    profile = road_profile(crossings(), valley(), roads)
    known = profile.x_m[0][~np.isnan(profile.elevation_m[0])]
    assert known.min() < WEST_M + 5
    assert_allclose(known.max(), MIDDLE_X_M + 30)


def test_a_crossing_at_a_roads_end_looks_the_one_way_there_is():
    end = LineString([(MIDDLE_X_M, ROAD_Y_M), (MIDDLE_X_M + 60, ROAD_Y_M)])
    roads = gpd.GeoDataFrame(geometry=[end], crs=CRS)
    table = (
        crossings()
        .loc[["point"]]
        .set_geometry([Point(MIDDLE_X_M - 8, ROAD_Y_M)], crs=CRS)
    )
    row = _done(table, valley(), roads).iloc[0]
    assert_allclose(row["overflow_m"], ROAD_M)
    assert row["overflow_distance_m"] == 0


def test_crests_are_found_around_a_low_place_beyond_the_crossings_own():
    """By hand: a road of three low places, the crossing in the middle one."""
    road_m = np.array([[12.0, 9, 11, 10, 12, 8, 12]] * 3)
    crests = crests_around(road_m, np.array([1, 3, 5]))
    assert crests.tolist() == [[-1, 2], [2, 4], [4, -1]]
