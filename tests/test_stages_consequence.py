"""Water over the road, its closure and washout danger on a hand-made table."""

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Settings
from culvertrisk.stages.consequence import add_consequence, washout_classes
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.today_hours import add_today_hours

NAN = np.nan
HOUR_S = 3600.0
MADE = {
    "over_road_depth_m",
    "over_road_length_m",
    "closure_s",
    "washout_class",
    "washout_note",
}
PIPE = {
    "crossing_kind": "cross",
    "catchment_m2": 100_000.0,
    "concentration_s": 600.0,
    "today_flow_m3s": 0.2,
    "today_capacity_m3s": 1.0,
    "iced_capacity_m3s": 0.1,
    "pond_room_m3": 100.0,
    "headwater_limit_m": 1.2,
    "rise_m": 0.6,
    "cover_m": 0.6,
}
RAIN = DayWater(0.036, 0.0, 8 * HOUR_S, 10 * HOUR_S, is_frozen=True)
WORSE = ["", "none", "little", "possible", "likely"]


def _made(*changes, water=RAIN, is_frost_night=False):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    before = gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")
    forecast = {"rain_start": "08:00", "rain_end": "16:00"}
    settings = Settings(files={"culverts": "culverts.csv"}, forecast=forecast)
    before = add_today_hours(before, water, settings)
    after = add_consequence(before, water, settings, is_frost_night=is_frost_night)
    assert set(after) - set(before) == MADE
    return after


def test_the_depth_carries_todays_peak_over_the_sag():
    """0.175 m3/s at 12:00 (2 * 36 mm / 8 h * 0.7 * 10 ha): between the weir of the
    lowest 2 m of the sag alone and that of 20 m, at Cd 1.38 to 1.71 (fhwa2005)."""
    row = _made({}).iloc[0]
    assert row["over_road_depth_m"] > (0.175 / 1.71 / 20) ** (2 / 3)
    assert row["over_road_depth_m"] < (0.175 / 1.38 / 2) ** (2 / 3)
    assert row["over_road_length_m"] > 0


def test_more_water_is_deeper_and_shuts_the_road_longer():
    made = _made(*({"catchment_m2": area} for area in (5e4, 1e5, 1e6)))
    for name in ("over_road_depth_m", "over_road_length_m", "closure_s"):
        assert made[name].is_monotonic_increasing, name
    assert made["over_road_depth_m"].is_unique


def test_a_frost_night_adds_the_treatment_of_the_ice():
    mild, frost = _made({})["closure_s"], _made({}, is_frost_night=True)["closure_s"]
    assert_allclose(frost - mild, 3 * HOUR_S)
    assert (mild > HOUR_S).all()


def test_a_pond_with_room_leaves_the_road_dry():
    row = _made({"pond_room_m3": 1e6}).iloc[0]
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    assert (row[names] == 0).all()
    assert row["washout_class"] == "none"


def test_bridges_and_the_unknown_stay_unknown():
    made = _made(
        {"crossing_kind": "bridge"},
        {"pond_room_m3": NAN},
        {"headwater_limit_m": NAN},
        {"catchment_m2": NAN, "today_flow_m3s": NAN},
    )
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    assert made[names].isna().all(axis=None)
    assert (made[["washout_class", "washout_note"]] == "").all(axis=None)


@given(st.floats(0, 2), st.floats(0, 2), st.floats(0, 5))
def test_the_class_is_never_milder_for_more_depth(depth_m, more_m, fill_m):
    fill = np.full(2, fill_m)
    first, second = washout_classes(np.array([depth_m, depth_m + more_m]), fill)
    assert WORSE.index(first) <= WORSE.index(second)


def test_an_unknown_fill_counts_as_high():
    depth = np.array([0.2, 0.2, 0.2])
    found = washout_classes(depth, np.array([0.5, 3.0, NAN]))
    assert list(found) == ["possible", "likely", "likely"]
