"""Ponds behind a road over a made-up valley, against hand sums and shapes."""

import dataclasses

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely import Point, box

from culvertrisk.stages.ponding import (
    add_ponding,
    pond_ground,
    pond_outlines,
    stage_storage,
)
from culvertrisk.stages.road_profile import add_road_profile, road_profile
from culvertrisk.stages.site import site_flow
from culvertrisk.tables import columns
from tests.terrain_made import (
    CELL_M,
    CRS,
    MIDDLE_X_M,
    ROAD_Y_M,
    crossings,
    road,
    valley,
)

DAM_M = 8.0  # of the road across the valley; its bed lies at 5.67 m above the road
INLET_M = 5.67
SIDE_SLOPE, BED_SLOPE = 0.5 / CELL_M, 0.09 / CELL_M
MIDDLE = 30  # column of the bed
NUMBERS = [
    "pond_depth_m",
    "pond_area_m2",
    "pond_volume_m3",
    "pond_spills_first",
    "pond_level_m",
]


def _dam(**changes):
    """The valley with a lower road; changes to slices of its ground by name."""
    rows, cols = np.mgrid[0:120, 0:61]
    ground_m = 0.5 * np.abs(cols - MIDDLE) + 0.09 * (120 - rows)
    ground_m[58:63] = np.maximum(ground_m[58:63], DAM_M)
    for change_m, where in changes.values():
        ground_m[where] = change_m
    return dataclasses.replace(valley(), elevation_m=ground_m.astype(np.float32))


def _table(*east_m):
    """Crossings mapped as points, so far east of the valley's bed."""
    table = crossings().loc[["point"] * max(len(east_m), 1)]
    points = [Point(MIDDLE_X_M + x, ROAD_Y_M) for x in east_m or (0,)]
    index = pd.Index([f"P{i}" for i in range(len(points))], name="culvert_id")
    return table.set_index(index).set_geometry(points, crs=CRS)


def _ground(table, terrain, roads):
    site = site_flow(table, terrain, roads)
    return pond_ground(table, terrain, site, road_profile(table, terrain, roads))


def _done(table, terrain, roads, places=None):
    ground = _ground(table, terrain, roads)
    return add_ponding(table, terrain, ground, places)


@pytest.fixture(scope="module")
def ground():
    return _ground(crossings(), _dam(), road())


@pytest.fixture(scope="module")
def done(ground):
    return add_ponding(crossings(), _dam(), ground)


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


def test_the_full_pond_is_a_tetrahedron_below_the_road(done):
    """h = 8 - 5.67 + 0.03 * 1.5 m to the dam's face; V = h^3 / 3 m s, A = h^2 / m s."""
    row = done.loc["ends"]
    depth_m = DAM_M - INLET_M + BED_SLOPE * CELL_M / 2
    assert_allclose(row["pond_depth_m"], DAM_M - INLET_M, rtol=1e-5)
    assert_allclose(row["pond_level_m"], DAM_M)
    expected_m3 = depth_m**3 / (3 * SIDE_SLOPE * BED_SLOPE)
    assert_allclose(row["pond_volume_m3"], expected_m3, rtol=0.03)
    expected_m2 = depth_m**2 / (SIDE_SLOPE * BED_SLOPE)
    assert_allclose(row["pond_area_m2"], expected_m2, rtol=0.05)
    assert row["pond_spills_first"] == 0
    assert row["pond_note"] == ""


def test_the_stage_table_ends_at_the_full_pond(ground, done):
    stage_m, area_m2, volume_m3 = stage_storage(ground)
    assert stage_m.shape == area_m2.shape == volume_m3.shape == (4, 8)
    assert_allclose(stage_m[1], np.linspace(INLET_M, DAM_M, 8), rtol=1e-6)
    assert (np.diff(area_m2[:3]) > 0).all()
    assert (np.diff(volume_m3[:3]) > 0).all()
    assert volume_m3[1, -1] == done.loc["ends", "pond_volume_m3"]
    assert np.isnan(volume_m3[3]).all()


def test_an_outline_has_the_area_of_its_pond(ground, done):
    outlines = pond_outlines(crossings(), _dam(), ground, ["ends", "far"])
    assert outlines.index.tolist() == ["ends"]
    assert outlines.crs == CRS
    (shape,) = outlines.geometry
    assert_allclose(shape.area, done.loc["ends", "pond_area_m2"])
    assert shape.bounds[1] >= ROAD_Y_M  # above the road only
    assert_allclose(outlines["pond_level_m"], DAM_M)
    none = pond_outlines(crossings(), _dam(), ground, [])
    assert len(none) == 0


def test_dwellings_are_counted_as_points_or_as_buildings():
    inside = [Point(MIDDLE_X_M, ROAD_Y_M + 15), Point(MIDDLE_X_M + 3, ROAD_Y_M + 20)]
    outside = Point(MIDDLE_X_M + 30, ROAD_Y_M + 15)
    shore = box(MIDDLE_X_M, ROAD_Y_M + 60, MIDDLE_X_M + 9, ROAD_Y_M + 150)
    places = gpd.GeoDataFrame(
        {"kind": ["dwelling", "school", "dwelling", "dwelling"]},
        geometry=[*inside, outside, shore],
        crs=CRS,
    )
    count = _done(crossings(), _dam(), road(), places)["pond_dwelling_count"]
    assert count.iloc[:3].tolist() == [2, 2, 2]
    assert np.isnan(count["far"])
    every = _done(crossings(), _dam(), road(), places[["geometry"]])
    assert every.loc["ends", "pond_dwelling_count"] == 3
    without = _done(crossings(), _dam(), road())
    assert without["pond_dwelling_count"].isna().all()


def test_a_pond_that_reaches_the_next_pipe_spills_there():
    """A ditch at 6.5 m leads to a pipe 36 m east: 0.83 m over the inlet."""
    ditch = (6.5, np.s_[56:58, MIDDLE + 2 : MIDDLE + 14])
    done = _done(_table(0, 36), _dam(ditch=ditch), road())
    row = done.loc["P0"]
    assert row["pond_spills_first"] == 1
    assert_allclose(row["pond_level_m"], 6.5)
    assert_allclose(row["pond_depth_m"], 6.5 - INLET_M, rtol=1e-5)
    told = (
        "in the elevation raster the pond spills elsewhere, 0.8\u202fm over the inlet"
    )
    assert row["pond_note"] == told
    alone = _done(_table(0), _dam(ditch=ditch), road()).loc["P0"]
    assert alone["pond_spills_first"] == 0


def test_twin_pipes_share_one_pond():
    done = _done(_table(0, 4), _dam(), road())
    assert (done["pond_spills_first"] == 0).all()


def test_water_goes_over_where_the_pond_reaches_the_road():
    """The road dips to 7.5 m in a cutting east of the valley, out of the pond's way."""
    cutting = (DAM_M, np.s_[58:63, MIDDLE : MIDDLE + 16])
    dip = (7.5, np.s_[58:63, MIDDLE + 11 : MIDDLE + 14])
    terrain = _dam(cutting=cutting, dip=dip)
    before = road_profile(_table(0), terrain, road())
    assert_allclose(add_road_profile(_table(0), before)["overflow_m"], 7.5)
    ground = _ground(_table(0), terrain, road())
    row = add_road_profile(_table(0), ground.profile).iloc[0]
    assert_allclose(row["overflow_m"], DAM_M)
    assert row["overflow_distance_m"] < 2 * CELL_M
    assert ground.ponds.level_m[0] == DAM_M


def test_water_goes_over_at_a_dip_that_the_pond_reaches():
    dip = (7.0, np.s_[58:63, MIDDLE + 2 : MIDDLE + 5])
    ground = _ground(_table(0), _dam(dip=dip), road())
    row = add_road_profile(_table(0), ground.profile).iloc[0]
    assert_allclose(row["overflow_m"], 7.0)
    assert 2 * CELL_M <= row["overflow_distance_m"] <= 4 * CELL_M
    assert_allclose(ground.ponds.level_m, 7.0)


@pytest.mark.parametrize(
    ("table", "terrain", "roads", "reason"),
    [
        (_table(0), None, road(), "no elevation raster"),
        (
            _table(0),
            valley(vertical_step_m=1.0),
            road(),
            "elevation raster too coarse, above 10\u202fm cells or 0.5\u202fm steps",
        ),
        (
            _table(0).assign(crossing_kind="driveway"),
            _dam(),
            road(),
            "driveway, bridge or ford",
        ),
        (_table(0), _dam(), None, "no road near"),
        (_table(5000), _dam(), road(), "no road near"),
        (
            _table(0),
            _dam(low=(5.0, np.s_[58:63])),
            road(),
            "road not above the inlet in the elevation raster",
        ),
        (
            _table(0),
            valley(),
            road(),
            "water reaches the edge of the elevation raster",
        ),
    ],
)
def test_a_pond_that_is_not_known_says_why(table, terrain, roads, reason):
    row = _done(table, terrain, roads).iloc[0]
    assert row[NUMBERS].isna().all()
    assert row["pond_note"] == f"pond unknown: {reason}"


def test_an_empty_table_stays_empty():
    for terrain in (_dam(), None):
        done = _done(crossings().iloc[:0], terrain, road())
        assert len(done) == 0
        assert "pond_note" in done
