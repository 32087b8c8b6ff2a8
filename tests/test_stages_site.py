"""The site stage on a made-up valley with a road across it."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from affine import Affine
from numpy.testing import assert_allclose
from pyproj import Geod

from culvertrisk.stages.catchments import catchment_outlines
from culvertrisk.stages.north import grid_north, lat_lon
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.tables import columns
from tests.terrain_made import (
    CELL_M,
    COLS,
    CRS,
    MIDDLE_X_M,
    ROAD_M,
    ROAD_Y_M,
    crossings,
    road,
    valley,
)

INSIDE = ["point", "ends", "wrong"]
ABOVE_M2 = 58 * COLS * CELL_M**2  # the valley above the road


def _site(table, terrain=None, roads=None):
    return add_site(table, terrain, site_flow(table, terrain, roads))


@pytest.fixture(scope="module")
def done():
    return _site(crossings(), valley(), road())


def test_site_adds_exactly_its_columns(done):
    made = columns().query("made_by == 'site'").index
    assert set(done.columns) - set(crossings().columns) == set(made)


@pytest.mark.parametrize(("terrain", "roads"), [(valley(), road()), (None, None)])
def test_site_keeps_rows_and_leaves_its_input_alone(terrain, roads):
    table = crossings()
    result = _site(table, terrain, roads)
    pd.testing.assert_frame_equal(table, crossings())
    pd.testing.assert_frame_equal(result[table.columns], table)


def test_site_values_lie_in_their_ranges(done):
    for name, row in columns().query("made_by == 'site' and unit != 'text'").iterrows():
        values = done[name].dropna().astype(float)
        if not np.isnan(row["low"]):
            assert values.between(row["low"], row["high"]).all(), name


def test_catchment_is_the_valley_above_the_road(done):
    area_m2 = done.loc[INSIDE, "catchment_m2"]
    # All rows above the bank's toe, one row of cells wide, and at most the road's own.
    assert area_m2.between(ABOVE_M2 * 57 / 58, ABOVE_M2 * 63 / 58).all()
    assert (done.loc[INSIDE, "is_carved"] == 1).all()
    assert (done.loc[INSIDE, "fill_depth_m"] < 0.1).all()


def test_catchment_on_the_edge_of_the_dem_is_marked(done):
    assert (done.loc[INSIDE, "is_catchment_cut"] == 1).all()


def test_point_without_a_road_is_not_cut():
    done = _site(crossings(), valley(), None)
    assert done.loc["point", "is_carved"] == 0
    assert done.loc["ends", "is_carved"] == 1


def test_water_comes_from_the_higher_ground_whatever_the_names(done):
    upstream = done.loc[INSIDE, ["upstream_x_m", "upstream_y_m"]].to_numpy()
    assert_allclose(upstream, [[MIDDLE_X_M, ROAD_Y_M + 9]] * 3, atol=1e-6)
    assert_allclose(done.loc[INSIDE, "barrel_bearing_deg"], 180.0, atol=0.1)


def test_pipe_laid_with_a_back_fall_keeps_its_names():
    table = crossings().loc[["ends"]].assign(inlet_invert_m=5.0, outlet_invert_m=5.2)
    done = _site(table, valley(), road())
    assert done.loc["ends", "upstream_y_m"] == ROAD_Y_M + 9
    assert done.loc["ends", "barrel_slope_m_per_m"] == pytest.approx(-0.2 / 18)


def test_names_and_beds_turned_round_are_put_right():
    table = crossings().loc[["wrong"]].assign(inlet_invert_m=5.0, outlet_invert_m=5.2)
    done = _site(table, valley(), road())
    assert done.loc["wrong", "upstream_y_m"] == ROAD_Y_M + 9
    assert done.loc["wrong", "barrel_slope_m_per_m"] == pytest.approx(0.2 / 18)
    assert done.loc["wrong", "barrel_slope_source"] == "inverts"


def test_recorded_slope_and_cover_come_first():
    table = crossings().loc[["ends"]].assign(
        recorded_slope_m_per_m=0.011, recorded_cover_m=1.5, inlet_invert_m=9.0,
        outlet_invert_m=5.0,
    )  # fmt: skip
    row = _site(table, valley(), road()).loc["ends"]
    assert (row["barrel_slope_m_per_m"], row["barrel_slope_source"]) == (
        0.011, "recorded",
    )  # fmt: skip
    assert (row["cover_m"], row["cover_source"]) == (1.5, "recorded")


def test_slope_and_cover_come_from_the_ground_last(done):
    rows = done.loc[INSIDE]
    assert_allclose(rows["barrel_slope_m_per_m"], 0.03, rtol=0.01)  # 0.09 m in 3 m
    assert (rows["barrel_slope_source"] == "dem").all()
    # The ground beyond the road stands 0.09 m a row over the valley's end; the reach
    # of 10 m ends within three rows of the end 9 m off the middle.
    assert rows["cover_m"].between(11 - 0.6 - 0.09 * 66, 11 - 0.6 - 0.09 * 57).all()


def test_whole_metre_dem_gives_no_slope_and_no_cover():
    done = _site(crossings(), valley(vertical_step_m=1.0), road())
    assert done["barrel_slope_m_per_m"].isna().all()
    assert (done["barrel_slope_source"] == "unknown").all()
    assert (done["cover_source"] == "unknown").all()
    assert done.loc[INSIDE, "catchment_m2"].notna().all()


def test_coarse_dem_gives_no_slope_and_no_cover():
    terrain = dataclasses.replace(
        valley(), cell_m=10.0, transform=Affine(10, 0, 500_000, 0, -10, 6_900_420)
    )
    done = _site(crossings(), terrain, road())
    assert (done["barrel_slope_source"] == "unknown").all()
    assert (done["cover_source"] == "unknown").all()
    assert done.loc[INSIDE, "catchment_m2"].notna().all()


def test_road_at_the_crossing_is_its_own_not_the_lowest_near():
    """A sag 30 m away is not it; a notch in the crossing's own cell is."""
    terrain = valley()
    terrain.elevation_m[60, 40] = 9.5
    road_m = _site(crossings(), terrain, road()).loc[INSIDE, "road_elevation_m"]
    assert_allclose(road_m, ROAD_M)
    terrain.elevation_m[60, 31] = 9.0  # the next cell: halfway to it stands for it
    road_m = _site(crossings(), terrain, road()).loc[INSIDE, "road_elevation_m"]
    assert_allclose(road_m, 10.0)


def test_the_surveyed_bed_is_that_of_the_end_water_comes_from():
    table = crossings().assign(inlet_invert_m=5.0, outlet_invert_m=5.2)
    bed_m = _site(table, valley(), road())["upstream_invert_m"]
    assert bed_m.to_dict() == {"point": 5.0, "ends": 5.0, "wrong": 5.2, "far": 5.0}


def test_place_outside_the_dem_is_unknown(done):
    numbers = columns().query("made_by == 'site' and unit != 'text'").index
    assert done.loc["far", numbers].isna().all()
    assert done.loc["far", "barrel_slope_source"] == "unknown"


def test_without_a_dem_only_the_inventory_speaks():
    row = _site(crossings()).loc["ends"]
    assert np.isnan(row["catchment_m2"])
    assert row["upstream_y_m"] == ROAD_Y_M + 9
    assert row["barrel_bearing_deg"] == pytest.approx(180.0, abs=0.1)


def test_outline_holds_the_catchment():
    table, terrain = crossings(), valley()
    site = site_flow(table, terrain, road())
    done = add_site(table, terrain, site)
    outlines = catchment_outlines(table, terrain, site, table.index)
    assert [*outlines.index] == INSIDE
    assert_allclose(outlines.area, done.loc[INSIDE, "catchment_m2"], rtol=0.02)
    assert outlines.is_valid.all()
    assert str(outlines.crs) == CRS


def test_grid_north_turns_a_grid_bearing_into_a_true_one():
    # 3 degrees west of the central meridian of UTM 33N the grid leans; the geodesic
    # of a library for geodesy tells the true bearing of a line due grid north.
    x_m, y_m = np.array([350_000.0, 350_000.0]), np.array([6.9e6, 6.901e6])
    latitude, longitude = lat_lon(CRS, x_m, y_m)
    bearing_deg, _, _ = Geod(ellps="WGS84").inv(
        longitude[0], latitude[0], longitude[1], latitude[1]
    )
    found_deg = -np.degrees(grid_north(CRS, x_m, y_m)[0])
    assert found_deg == pytest.approx(bearing_deg, abs=0.01)
    assert abs(bearing_deg) > 2


def test_pipe_under_a_driveway_lies_along_the_road():
    table = crossings().loc[["point"]].assign(crossing_kind="driveway")
    table = table.set_geometry(table.translate(xoff=30, yoff=12).set_crs(CRS))
    row = _site(table, valley(), road()).loc["point"]
    assert row["barrel_bearing_deg"] == pytest.approx(270.0, abs=0.1)  # downhill
    assert row["upstream_x_m"] - row["downstream_x_m"] == pytest.approx(18.0)
    assert row["road_elevation_m"] == row["dem_elevation_m"] < ROAD_M


def test_ground_that_seems_to_rise_is_level():
    terrain = valley()
    terrain.elevation_m[63:70, 20:41] = terrain.elevation_m[54:58, 30].min() + 0.1
    row = _site(crossings(), terrain, road()).loc["ends"]
    assert row["barrel_slope_m_per_m"] == 0
    assert row["barrel_slope_source"] == "dem"


def test_tangled_inventory_keeps_its_rows():
    table = crossings().iloc[[1, 1, 3, 0]]
    table.index = pd.Index(["a", "b", "c", "d"], name="culvert_id")
    done = _site(table, valley(), road().iloc[:0])
    assert [*done.index] == ["a", "b", "c", "d"]
    assert done.loc["a", "catchment_m2"] == done.loc["b", "catchment_m2"]
