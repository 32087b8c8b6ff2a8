"""Catchments told by the inventory or the town, beside and instead of the DEM's."""

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.stages.given_area import add_given_area
from culvertrisk.tables import columns

NAN = np.nan
MILE_M = 1609.344  # exact
PLACE = {
    "catchment_m2": 1e5,
    "recorded_catchment_m2": NAN,
    "flow_path_m": 500.0,
    "flow_path_slope_m_per_m": 0.05,
    "fill_depth_m": 0.0,
    "is_catchment_cut": 0.0,
}
NO_DEM = dict.fromkeys([*PLACE], NAN)


def _crossings(*changes):
    rows = [{**PLACE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def test_add_given_area_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = _crossings({}, NO_DEM, {"recorded_catchment_m2": 1e6})
    kept = before.copy()
    after = add_given_area(before, 5e4)
    made = set(columns().query("made_by == 'given_area'").index)
    assert set(after) - set(before) == made
    assert after.index.equals(before.index)
    pd.testing.assert_frame_equal(before, kept)


def test_without_a_dem_the_recorded_area_counts_then_the_towns():
    recorded = {**NO_DEM, "recorded_catchment_m2": MILE_M**2}
    after = add_given_area(_crossings(recorded, NO_DEM), 4e4)
    assert [*after["catchment_source"]] == ["recorded", "assumed"]
    assert_allclose(after["catchment_m2"], [MILE_M**2, 4e4])
    assert_allclose(after["flow_path_m"].iloc[0], 1.4 * MILE_M)  # hack1957
    assert (after["flow_path_slope_m_per_m"] == 0.03).all()
    assert after["catchment_note"].iloc[1] == (
        "catchment 4.0\u202fha assumed for the whole town, its path by Hack's relation "
        "to the area; slope of the path unknown: 0.03 assumed"
    )


def test_nothing_told_stays_unknown():
    row = add_given_area(_crossings(NO_DEM)).iloc[0]
    assert row[["catchment_m2", "flow_path_m"]].isna().all()
    assert (row["catchment_source"], row["catchment_note"]) == ("unknown", "")


def test_a_whole_catchment_of_the_dem_stands_and_a_factor_of_two_is_said():
    near, far = {"recorded_catchment_m2": 1.9e5}, {"recorded_catchment_m2": 2.1e5}
    after = add_given_area(_crossings(near, far), 1.0)
    assert (after["catchment_m2"] == 1e5).all()
    assert (after["catchment_source"] == "dem").all()
    assert [*after["catchment_note"]] == [
        "",
        "catchment is 21.0\u202fha in the inventory and 10.0\u202fha by the elevation "
        "raster: more than a factor of two apart",
    ]


def test_a_recorded_area_wins_over_a_cut_or_doubtful_one():
    cut, deep = {"is_catchment_cut": 1.0}, {"fill_depth_m": 4.0}
    told = {"recorded_catchment_m2": 1.5e5}
    after = add_given_area(_crossings({**cut, **told}, {**deep, **told}, cut), 9.0)
    assert [*after["catchment_source"]] == ["recorded", "recorded", "dem"]
    assert [*after["catchment_m2"]] == [1.5e5, 1.5e5, 1e5]
    assert (after["flow_path_slope_m_per_m"] == 0.05).all()  # of the DEM
