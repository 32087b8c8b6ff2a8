"""Water over the road, its closure and washout danger on a hand-made table."""

from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Forecast, Settings
from culvertrisk.stages.consequence import (
    Night,
    add_consequence,
    add_design_depth,
    coming_night,
)
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.rating import road_lengths, under_water_length
from culvertrisk.stages.today_hours import add_today_hours
from culvertrisk.stages.washout import washout_classes
from culvertrisk.stages.winter_weather import with_forecast
from culvertrisk.tables import columns

NAN = np.nan
HOUR_S = 3600.0
DESIGN = "design_over_road_depth_m"
MADE = {*columns().query("made_by == 'consequence'").index} - {DESIGN}
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
    "daily_traffic_count": 480.0,
    "detour_s": 600.0,
    "cut_off_dwelling_count": 0.0,
    "cut_off_people_count": 0.0,
}
RAIN = DayWater(0.036, 0.0, 8 * HOUR_S, 10 * HOUR_S, is_frozen=True)
MILD, FROST = Night(False), Night(True)
WORSE = ["none", "little", "possible", "likely"]


def _crossings(*changes):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def _made(*changes, water=RAIN, night=MILD, **forecast):
    forecast = {"rain_start": "08:00", "rain_end": "16:00", **forecast}
    town = Settings(files={"culverts": "culverts.csv"}, forecast=forecast)
    before = add_today_hours(_crossings(*changes), water, town)
    kept = before.copy()
    after = add_consequence(before, water, town, night)
    assert set(after) - set(before) == MADE
    pd.testing.assert_frame_equal(before, kept)
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


@settings(max_examples=25, deadline=None)
@given(st.floats(1e-4, 0.2), st.floats(0, 0.2), st.floats(1, 1e4))
def test_more_rain_is_never_shallower_nor_a_shorter_closure(rain_m, more_m, room_m3):
    drier, wetter = (
        _made({"pond_room_m3": room_m3}, water=replace(RAIN, rain_m=rain_m + added_m))
        for added_m in (0, more_m)
    )
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    names += ["flooded_closure_s", "flooded_loss_person_h"]
    less, more = (made[names].fillna(0).to_numpy() for made in (drier, wetter))
    # where no flood is possible the town's closure stands for the loss
    is_known = drier["flooded_closure_s"].notna().to_numpy()
    assert (more - less >= -1e-6)[is_known].all()


def test_a_frost_night_adds_the_treatment_of_the_ice():
    mild, frost = _made({})["closure_s"], _made({}, night=FROST)["closure_s"]
    assert_allclose(frost - mild, 3 * HOUR_S)
    assert (mild > HOUR_S).all()


def test_a_pond_with_room_leaves_the_road_dry():
    row = _made({"pond_room_m3": 1e6}).iloc[0]
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    assert (row[names] == 0).all()
    assert row["washout_class"] == "none"


def test_a_pipe_of_unknown_size_is_not_told_as_dry():
    unknown = {"today_capacity_m3s": NAN, "iced_capacity_m3s": NAN, "rise_m": NAN}
    made = _made({}, unknown)
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    names += ["flooded_closure_s", "flooded_loss_person_h"]
    assert (made[names].iloc[1] == made[names].iloc[0]).all()
    assert made["over_road_depth_m"].iloc[1] > 0
    assert made["washout_class"].iloc[1] != "none"


SPILLING = {"overflow_m": 101.0, "pond_level_m": 99.4, "pond_spills_first": 1.0}
DRY = ["over_road_depth_m", "over_road_length_m", "closure_s"]


def test_a_pond_that_spills_well_below_the_road_leaves_it_dry_and_says_so():
    row = _made({**SPILLING, "spill_capacity_m3s": 3.0}).iloc[0]
    assert (row[DRY] == 0).all()
    assert row["washout_class"] == "none"
    assert row["washout_note"] == (
        "a full pond spills over lower ground, 1.6\u202fm below the road: look where "
        "that water goes"
    )


def test_a_spill_that_is_not_sure_keeps_the_warning_and_says_so():
    usual = _made({})[DRY].iloc[0]
    for spill_m3s in (NAN, 0.3):  # 0.3 m3/s is less than the high end of today's flow
        row = _made({**SPILLING, "spill_capacity_m3s": spill_m3s}).iloc[0]
        assert_allclose(row[DRY].to_numpy(float), usual.to_numpy(float))
        assert row["washout_class"] != "none"
        first, _, rest = row["washout_note"].partition("; ")
        assert first == (
            "the pond may spill over lower ground first: too unsure to count on"
        )
        assert rest.startswith("washout danger is an assumption")


def test_bridges_and_the_unknown_stay_unknown():
    made = _made(
        {"crossing_kind": "bridge"},
        {"pond_room_m3": NAN},
        {"headwater_limit_m": NAN, "pond_room_m3": NAN},
        {"catchment_m2": NAN, "today_flow_m3s": NAN},
    )
    names = ["over_road_depth_m", "over_road_length_m", "closure_s"]
    assert made["flooded_closure_s"].isna().all()
    assert made[names].isna().all(axis=None)
    assert (made[["washout_class", "washout_note"]] == "").all(axis=None)


@given(st.floats(0, 2), st.floats(0, 2), st.floats(0, 5), st.booleans())
def test_the_class_is_never_milder_for_more_depth_or_fill_or_gravel(
    depth_m, more_m, fill_m, is_paved
):
    depths = np.array([depth_m, depth_m + more_m, depth_m, depth_m])
    fills = np.array([fill_m, fill_m, fill_m + more_m, fill_m])
    paved = np.array([is_paved, is_paved, is_paved, False])
    first, *others = washout_classes(depths, fills, paved)
    assert all(WORSE.index(first) <= WORSE.index(other) for other in others)


def test_an_unknown_fill_counts_as_high():
    depth, fill = np.array([0.2, 0.2, 0.2]), np.array([0.5, 3.0, NAN])
    found = washout_classes(depth, fill, np.zeros(3, dtype=bool))
    assert list(found) == ["possible", "likely", "likely"]


def test_only_a_road_known_to_be_paved_counts_so_and_the_unknown_is_said():
    surfaces = ("Paved", "asphalt (2019)", "unpaved", "")
    rows = [{"network_surface": word, "cover_m": 2.0} for word in surfaces]
    beside = {"crossing_kind": "driveway", "network_surface": "paved"}
    made = _made(*rows, beside)
    assert "road surface unknown" in made["washout_note"].iloc[-1]
    made = made.iloc[:-1]
    assert made["over_road_depth_m"].between(0.05, 0.15).all()
    assert made["washout_class"].tolist() == ["little", "little", *["possible"] * 2]
    is_said = made["washout_note"].str.contains("road surface unknown")
    assert is_said.tolist() == [False, False, False, True]


def test_closure_is_until_the_rain_has_run_off_and_then_the_inspection():
    """Over from the hour told; rain ends at 16:00 and 10 min later the last of it has
    run off; the flow is below a twentieth of its peak a little before."""
    row = _made({}).iloc[0]
    rest_s = 16 * HOUR_S + 600 - row["water_over_road_blocked_s"] + HOUR_S
    assert rest_s - 0.2 * 8 * HOUR_S / 2 < row["closure_s"] <= rest_s


def test_water_that_runs_on_after_midnight_shuts_the_road_into_the_next_day():
    late = {"rain_start": "20:00", "rain_end": "04:00"}
    usual, late = (_made({}, **hours).iloc[0] for hours in ({}, late))
    assert_allclose(late["closure_s"], usual["closure_s"], rtol=1e-9)
    assert late["water_over_road_blocked_s"] + late["closure_s"] > 24 * HOUR_S


def test_the_loss_is_that_of_the_crossings_own_closure():
    """480 vehicles a day of 1.5 people, 10 min round, for the closure."""
    row = _made({}).iloc[0]
    hours = row["flooded_closure_s"] / HOUR_S
    assert_allclose(row["flooded_loss_person_h"], 480 / 24 * hours * 1.5 / 6)
    town = _made({"pond_room_m3": NAN}).iloc[0]
    assert_allclose(town["flooded_loss_person_h"], 480 / 24 * 6 * 1.5 / 6)


def test_if_it_floods_at_all_it_does_so_by_more_water_than_usual():
    """A pond that the day's water does not fill has no closure, but one if it floods;
    a pond filled for sure the same."""
    made = _made({"pond_room_m3": 4000.0}, {"pond_room_m3": 1.0})
    doubtful, sure = made["closure_s"], made["flooded_closure_s"]
    assert doubtful.iloc[0] == 0 and sure.iloc[0] > HOUR_S
    assert_allclose(doubtful.iloc[1], sure.iloc[1], atol=60)


@given(st.floats(0, 3), st.floats(0, 0.5))
def test_length_under_water_grows_steadily_with_the_depth(depth_m, more_m):
    road = road_lengths(np.array([1.2, 1.2, 1.2]), None)
    depths_m = np.array([0, depth_m, depth_m + more_m])
    length_m = under_water_length(depths_m, road)
    assert length_m[0] == 0
    assert length_m[1] <= length_m[2]
    # a grade of 2 % either way: 100 m of road for each metre, up to 2 m
    assert_allclose(length_m, 100 * np.minimum(depths_m, 2), atol=1e-9)


def test_the_coming_night_is_that_of_the_day_after_else_of_the_day_itself():
    index = pd.DatetimeIndex(["2025-03-04", "2025-03-05"], name="day")
    names = ("air_min_c", "air_max_c", "rain_m", "wind_m_s", "is_forecast")
    weather = pd.DataFrame(0.0, index=index, columns=[*names])
    weather["air_min_c"] = [-3.0, 2.0]
    day, last_day = date(2025, 3, 4), date(2025, 3, 5)
    assert coming_night(weather, day) == Night(False)
    last = coming_night(weather, last_day)
    assert not last.is_frost and "that of the day taken" in last.note
    typed = with_forecast(weather, last_day, Forecast(air_min_c=-1.0))
    assert coming_night(typed, last_day).is_frost
    unknown = coming_night(weather.assign(air_min_c=NAN), day)
    assert unknown.is_frost and "frost assumed" in unknown.note
    assert unknown.note in _made({}, night=unknown)["washout_note"].iloc[0]


PIPE_18 = {
    "shape": "round",
    "material": "steel",
    "entrance": "projecting",
    "span_m": 0.6,
    "barrel_count": 1.0,
    "length_m": 12.0,
    "barrel_slope_m_per_m": 0.02,
    "silt_fraction": 0.0,
    "outlet_drop_m": 0.5,
    "open_capacity_m3s": 0.5,
}


def test_the_design_storm_goes_over_the_road_with_what_the_pipe_does_not_pass():
    flows = ({"design_flow_m3s": flow} for flow in (0.1, 1.0, 2.0, NAN))
    before = _crossings(*({**PIPE_18, **flow} for flow in flows))
    after = add_design_depth(before)
    assert set(after) - set(before) == {DESIGN}
    depth_m = after[DESIGN].to_numpy()
    assert depth_m[0] == 0 and np.isnan(depth_m[3])
    assert 0 < depth_m[1] < depth_m[2]
    # all of it over the lowest 2 m of the road alone, at Cd 1.38 (fhwa2005)
    assert depth_m[2] < (2 / 1.38 / 2) ** (2 / 3)
