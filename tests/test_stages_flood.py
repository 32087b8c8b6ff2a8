"""Flood stage on a hand-made table: its columns, its unknowns and its hand sums."""

from datetime import date
from itertools import product

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Settings
from culvertrisk.stages.flood import add_flood
from culvertrisk.stages.flood_weather import (
    DayWater,
    day_water,
    flood_defaults,
    town_forest,
)
from culvertrisk.stages.flow_spread import add_flow_spread
from culvertrisk.stages.winter_weather import with_forecast
from culvertrisk.tables import columns, sources, table
from tests.pond_made import upright_ponds

NAN = np.nan
HELD = "time of concentration is held at the shortest, 5 min"
CFS_M3S = 0.028316846592
THAW_DAY = date(2025, 2, 25)
SUMMER_DAY = date(2025, 7, 10)
THAW = {
    "air_min_c": -9,
    "air_max_c": 6,
    "rain_m": 0.018,
    "rain_start": "09:30",
    "rain_end": "18:00",
    "snow_water_m": 0.14,
    "wind_m_s": 7,
}
RAIN = DayWater(0.036, 0.0, 28_800.0, 36_000.0, is_frozen=True)
PIPE = {
    "road_class": "C",
    "crossing_kind": "cross",
    "shape": "round",
    "material": "steel",
    "entrance": "projecting",
    "rise_m": 0.6096,
    "span_m": 0.6096,
    "barrel_count": 1.0,
    "length_m": 6.0,
    "silt_fraction": 0.0,
    "barrel_slope_m_per_m": 0.02,
    "cover_m": 0.3048,
    "road_elevation_m": NAN,
    "upstream_invert_m": NAN,
    "catchment_m2": 10_000.0,
    "flow_path_m": 10.0,
    "flow_path_slope_m_per_m": 0.05,
    "fill_depth_m": 0.0,
    "is_catchment_cut": 0.0,
    "blocked_fraction": 0.0,
    "blocked_chance": 0.0,
}


def _settings(**forecast):
    return Settings(files={"culverts": "culverts.csv"}, forecast=forecast)


def _crossings(*changes):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def _weather(last_day, days=120, **values):
    index = pd.date_range(end=last_day, periods=days, name="day")
    usual = {
        "air_min_c": -9.0,
        "air_max_c": -2.0,
        "rain_m": 0.0,
        "snowfall_water_m": 0.001,
        "snow_depth_m": NAN,
        "wind_m_s": NAN,
        "is_forecast": 0.0,
    }
    return pd.DataFrame({**usual, **values}, index=index)


def _day_water(weather, settings, on, *forest_fraction):
    """The day's water with the numbers typed for it in the weather's row."""
    weather = with_forecast(weather, on, settings.forecast)
    return day_water(weather, settings, on, *forest_fraction)


def _flooded(crossings, weather, settings, on):
    water = _day_water(weather, settings, on, town_forest(crossings))
    return add_flood(crossings, water, settings)


def _thaw(*changes):
    return _flooded(
        _crossings(*changes), _weather(THAW_DAY), _settings(**THAW), THAW_DAY
    )


def _summer(*changes, **forecast):
    weather = _weather(SUMMER_DAY, 60, air_min_c=10.0, air_max_c=20.0)
    weather = weather.assign(snowfall_water_m=0.0)
    return _flooded(_crossings(*changes), weather, _settings(**forecast), SUMMER_DAY)


def test_add_flood_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = _crossings({}, {"crossing_kind": "bridge"}, {"rise_m": NAN})
    kept = before.copy()
    after = _flooded(before, _weather(THAW_DAY), _settings(**THAW), THAW_DAY)
    made_by = columns()["made_by"]
    assert set(after) - set(before) == set(made_by[made_by == "flood"].index)
    assert after.index.equals(before.index)
    pd.testing.assert_frame_equal(before, kept)
    pd.testing.assert_frame_equal(after[before.columns], kept)


def test_every_number_lies_in_the_range_of_its_column():
    result = _thaw(
        {}, {"blocked_fraction": 1.0, "blocked_chance": 1.0}, {"rise_m": NAN}
    )
    declared = columns().query("made_by == 'flood' and unit != 'text'")
    for name, row in declared.iterrows():
        known = result[name].dropna()
        assert known.between(float(row["low"]), float(row["high"])).all(), name


def test_todays_flow_is_the_hand_sum_on_bare_ground():
    """36 mm in 10 h on 1 ha, time of concentration at its floor of 300 s:

    0.3 * 0.036 m * (1 - (1 - 300/36000)^2) / 300 s * 10 000 m2 = 0.005975 m3/s
    """
    rain = {"rain_m": 0.036, "rain_start": "08:00", "rain_end": "18:00"}
    row = _summer({}, **rain).iloc[0]
    assert row["concentration_s"] == 300
    assert_allclose(row["today_flow_m3s"], 0.005975, rtol=1e-3)
    assert_allclose(row["today_runoff_m3"], 0.3 * 0.036 * 10_000)


def test_open_capacity_of_a_24_inch_projecting_pipe_is_the_hand_sum():
    """HW/D 1.5, S 0.02: q* = sqrt((1.5 + 0.01 - 0.54) / 0.0553) = 4.188; 18.6 cfs.

    That is the inlet chart alone; critical depth with the entrance loss of 0.9 behind
    the mouth passes 2 % less."""
    result = _summer({})
    assert_allclose(result["headwater_limit_m"], 1.5 * 0.6096)
    assert_allclose(result["open_capacity_m3s"], 18.6 * CFS_M3S, rtol=0.025)
    assert result["open_capacity_m3s"].iloc[0] < 18.6 * CFS_M3S


def test_barrels_side_by_side_add_up():
    one, two = _summer({}, {"barrel_count": 2.0})["open_capacity_m3s"]
    assert two == 2 * one


def test_ice_takes_capacity_down_to_exactly_nothing():
    closed = [0.0, 1e-9, 0.2, 0.5, 0.8, 1.0, NAN]
    result = _thaw(*({"blocked_fraction": share} for share in closed))
    flow = result["iced_capacity_m3s"].to_numpy()
    assert flow[0] == result["open_capacity_m3s"].iloc[0]
    assert (np.diff(flow[:6]) < 0).all()
    assert flow[5] == 0
    assert np.isnan(flow[6])


def test_every_kind_of_pipe_has_a_capacity():
    words = product(
        ["round", "box", "arch", "ellipse", "unknown", ""],
        ["steel", "aluminium", "plastic", "concrete", "timber", "stone", "unknown", ""],
        ["projecting", "mitred", "headwall", "flared", "unknown", ""],
    )
    kinds = [
        dict(zip(("shape", "material", "entrance"), w, strict=True)) for w in words
    ]
    common = {"length_m": 12.0, "blocked_fraction": 0.4}
    result = _thaw(*({**kind, **common} for kind in kinds))
    assert (result["iced_capacity_m3s"] > 0).all()
    assert (result["iced_capacity_m3s"] < result["open_capacity_m3s"]).all()


def test_unknowns_stay_unknown_and_are_told():
    no_area = {"catchment_m2": NAN, "flow_path_m": NAN, "flow_path_slope_m_per_m": NAN}
    result = _thaw(no_area, {"rise_m": NAN, "blocked_chance": 0.5}, {"cover_m": NAN})
    catchment, rise, cover = (row for _, row in result.iterrows())
    assert np.isnan(catchment[["today_flow_m3s", "flooded_chance"]].to_list()).all()
    assert catchment["flow_note"] == (
        "catchment unknown: no flow; give an elevation raster, a column of recorded "
        "catchments or design.catchment_m2"
    )
    assert catchment["flood_class"] == ""
    assert np.isnan(rise["open_capacity_m3s"])
    assert np.isnan(rise["flooded_chance"])
    assert 0 <= rise["flooded_blocked_chance"] <= 1
    assert rise["flow_note"] == (
        f"{HELD}; rise unknown: 0.46\u202fm assumed for the depth at which water "
        "reaches the road"
    )
    assert_allclose(cover["headwater_limit_m"], 0.6096 + 0.3048)
    assert cover["flow_note"] == (
        f"{HELD}; cover unknown: 0.30\u202fm assumed for the depth at which water "
        "reaches the road"
    )


@pytest.mark.parametrize("kind", ["bridge", "ford"])
def test_bridges_and_fords_have_flow_but_no_chance(kind):
    row = _thaw({"crossing_kind": kind, "cover_m": NAN}).iloc[0]
    assert row["today_flow_m3s"] > 0
    names = ["open_capacity_m3s", "iced_capacity_m3s", "headwater_limit_m"]
    chances = ["flooded_open_chance", "flooded_blocked_chance", "flooded_chance"]
    assert row[[*names, *chances, "flood_index"]].isna().all()
    assert row["flood_class"] == ""
    assert row["flow_note"] == HELD


SURVEY = {"road_elevation_m": 301.5, "upstream_invert_m": 300.0}


def test_a_survey_alone_gives_the_depth_at_which_water_reaches_the_road():
    no_cover, no_size = ({**SURVEY, name: NAN} for name in ("cover_m", "rise_m"))
    result = _thaw(no_cover, no_size)
    assert_allclose(result["headwater_limit_m"], 1.5)
    assert not result["flow_note"].str.contains("assumed|counts").any()


def test_where_survey_and_recorded_cover_differ_the_lesser_counts_and_both_are_told():
    """Rise and cover are 0.91 m; a sixth of a metre apart is no better known."""
    low = {**SURVEY, "road_elevation_m": 300.65, "cover_m": 0.9}
    close = {**SURVEY, "road_elevation_m": 301.0}
    result = _thaw(SURVEY, low, close)
    assert_allclose(result["headwater_limit_m"], [0.6096 + 0.3048, 0.65, 0.9144])
    high, low, close = result["flow_note"]
    assert high.endswith(
        "bed to road is 0.91\u202fm by rise and cover but 1.50\u202fm by surveyed "
        "invert and elevation raster: the lesser counts"
    )
    assert "1.51\u202fm by rise and cover but 0.65\u202fm by surveyed" in low
    assert "by rise and cover" not in close


def test_a_survey_that_puts_the_crown_above_the_road_is_not_used_and_told():
    row = _thaw({**SURVEY, "road_elevation_m": 300.1}).iloc[0]
    assert_allclose(row["headwater_limit_m"], 0.6096 + 0.3048)
    assert row["flow_note"].endswith(
        "surveyed invert puts the crown above the road of the elevation raster: "
        "0.91\u202fm by rise and cover counts from bed to road"
    )


def test_water_goes_over_the_sag_beside_the_pipe_but_not_down_a_grade():
    """The road is lower 110 m along it by 0.2 m, 0.5 m and 1 m of 0.91 m to the bed."""
    full_m, rise_m = 0.6096 + 0.3048, 0.6096
    sag, deep, grade = (
        {
            "overflow_drop_m": drop_m,
            "overflow_distance_m": 110.0,
            "pond_spills_first": 0.0,
        }
        for drop_m in (0.2, 0.5, 1.0)
    )
    spills, unknown = ({**deep, "pond_spills_first": end} for end in (1.0, NAN))
    result = _thaw({}, sag, deep, grade, spills, unknown)
    expected_m = [full_m, full_m - 0.2, rise_m, full_m, full_m, full_m]
    assert_allclose(result["headwater_limit_m"], expected_m)
    notes = result["flow_note"]
    assert [" lower 110\u202fm along" in note for note in notes] == [
        False, False, True, True, False, False,
    ]  # fmt: skip
    assert notes.iloc[2].endswith(
        "road 0.50\u202fm lower 110\u202fm along it, below the crown of the pipe: "
        "water up to the crown counts"
    )
    assert notes.iloc[3].endswith(
        "road 1.00\u202fm lower 110\u202fm along it, below the bed of the pipe, as on "
        "a grade: the road here counts"
    )


def test_a_surveyed_bed_is_held_against_where_water_goes_over_not_the_road_here():
    """1.5 m up to the raster's road, 0.91 m by rise and cover: it errs by 0.6 m."""
    pond = {**SURVEY, "pond_spills_first": 0.0, "overflow_distance_m": 15.0}
    drops = ({**pond, "overflow_drop_m": drop_m} for drop_m in (0.5, 0.7))
    limit_m = _thaw(*drops)["headwater_limit_m"]
    assert_allclose(limit_m, [0.6096 + 0.3048, 1.5 - 0.7])


def test_a_headwater_beyond_the_published_charts_is_told():
    """0.6096 m high under 3.2 m and 2.9 m of fill: 6.2 and 5.8 times the rise."""
    deep, less = _thaw({"cover_m": 3.2}, {"cover_m": 2.9})["flow_note"]
    told = (
        "water may stand 6.2 times the rise deep before it reaches the road: the "
        "published inlet charts end at 6, the capacity is an extrapolation"
    )
    assert told in deep
    assert "times the rise" not in less


def test_the_note_tells_what_the_methods_do_not_cover():
    large = {
        "catchment_m2": 3.1e6,
        "flow_path_m": 9000.0,
        "flow_path_slope_m_per_m": 0.005,
        "fill_depth_m": 1.8,
        "is_catchment_cut": 1.0,
    }
    assert _thaw(large)["flow_note"].iloc[0] == (
        "catchment reaches the edge of the elevation raster: flow is a lower bound; "
        "elevation raster filled 1.8\u202fm deep at the inlet: catchment doubtful; "
        "catchment is above the 80\u202fha limit of the rational method; "
        "catchment is above the 45\u202fha limit of Kirpich's time of concentration; "
        "slope is outside the 3 to 10 % of Kirpich's time of concentration"
    )


def test_chance_is_shared_between_open_and_blocked():
    shares = [0.0, 0.3, 1.0]
    result = _thaw(*({"blocked_chance": b, "catchment_m2": 4e4} for b in shares))
    is_open = result["flooded_open_chance"].iloc[0]
    is_blocked = result["flooded_blocked_chance"].iloc[0]
    assert is_open < is_blocked
    expected = [b * is_blocked + (1 - b) * is_open for b in shares]
    assert_allclose(result["flooded_chance"], expected)
    assert_allclose(result["flood_index"], 100 * result["flooded_chance"])


def test_classes_follow_the_index():
    result = _thaw(*({"blocked_chance": b, "catchment_m2": 4e6} for b in (0.0, 1.0)))
    steps = {"low": 0, "some": 10, "high": 30, "severe": 60}
    for _, row in result.iterrows():
        reached = [word for word, least in steps.items() if row["flood_index"] >= least]
        assert row["flood_class"] == reached[-1]


def _pond(volume_m3, depth_m, spills=0.0):
    return {
        "pond_volume_m3": volume_m3,
        "pond_depth_m": depth_m,
        "pond_spills_first": spills,
    }


def test_the_room_behind_the_road_is_the_dems_pond_where_it_is_known():
    """Else a wedge: 0.9144^2 m2 * 10 m / (2 * 0.05) = 83.61 m3, rise and cover deep."""
    result = _thaw(
        _pond(500.0, 0.9),
        _pond(NAN, NAN, NAN),
        _pond(20.0, 0.3),  # not as deep as the barrel is high: no fill in the DEM
        _pond(20.0, 0.9, 1.0),  # spills, but the wedge holds more
        _pond(500.0, 0.3, 1.0),
        {"catchment_m2": NAN, "flow_path_slope_m_per_m": NAN, **_pond(10.0, 0.9)},
    )
    wedge_m3 = 0.9144**2 * 10 / 0.1
    expected_m3 = [500, wedge_m3, wedge_m3, wedge_m3, 500, 10]
    assert_allclose(result["pond_room_m3"], expected_m3)
    words = ["dem", "assumed", "assumed", "assumed", "dem", "dem"]
    assert result["pond_source"].tolist() == words
    without = _thaw({})
    assert_allclose(without["pond_room_m3"], wedge_m3)


def test_a_blocked_pipe_fills_only_what_does_not_stand_under_water_already():
    """Upright sides: 1.2 m of 1,200 m3 stand at a limit of 0.9144 m over the bed, so
    0.2856 m of it below the bed; 0.1 of silt of 0.6096 m holds 0.06096 m more."""
    pipes = [{**_pond(1200.0, 1.2), "silt_fraction": silt} for silt in (0.0, 0.1)]
    ground = upright_ponds(1200.0, 1200.0, depth_m=1.2)
    made = add_flood(_crossings(*pipes), RAIN, _settings(), ground)
    assert_allclose(made["headwater_limit_m"], 0.9144)
    assert_allclose(made["pond_room_m3"], [914.4, 914.4 - 60.96])
    assert made["pond_source"].tolist() == ["dem", "dem"]


def _spilling(**changes):
    """Bed 2.11 m below the road at 100 m, by rise and cover; the pond 0.7 m deep over
    98 m, water over the road at its low place, at 99.8 m."""
    usual = {
        **_pond(300.0, 0.7, 1.0),
        "pond_level_m": 98.7,
        "overflow_m": 99.8,
        "road_elevation_m": 100.0,
        "cover_m": 1.5,
        "catchment_m2": 1e5,
    }
    return {**usual, **changes}


def test_water_is_told_to_leave_elsewhere_only_where_the_raster_shows_it_for_sure():
    """1.1 m below the road, less 0.5 m of margin: 1.38 * 2 * 0.6^1.5 = 1.283 m3/s,
    at the lowest weir coefficient of fhwa2005, 2.5 in US units."""
    result = _thaw(
        _spilling(),
        _spilling(overflow_m=99.1),  # 0.4 m: within the error
        _spilling(pond_depth_m=0.3),  # not as deep as the barrel is high
        _spilling(pond_level_m=97.9),  # the inlet's ground 0.7 m below the bed
        _spilling(upstream_invert_m=97.0),  # by it and the cover 0.4 m below the road
        _spilling(pond_spills_first=0.0),
        _spilling(pond_spills_first=NAN),
        _spilling(crossing_kind="bridge"),
    )
    spill_m3s = result["spill_capacity_m3s"].to_numpy()
    assert_allclose(spill_m3s[0], 1.283, rtol=0.01)
    assert np.isnan(spill_m3s[[1, 2, 3, 4, 6, 7]]).all()
    assert spill_m3s[5] == 0
    assert result["flooded_blocked_chance"].iloc[0] < 0.01
    assert (result["flooded_blocked_chance"].iloc[1:7] > 0.5).all()


def test_lower_ground_too_narrow_for_todays_water_is_not_counted_on():
    flows = [{"catchment_m2": area} for area in (1e5, 4e6)]
    with_spill = _thaw(*(_spilling(**flow) for flow in flows))
    without = _thaw(*(_spilling(**flow, overflow_m=NAN) for flow in flows))
    chance = [made["flooded_blocked_chance"] for made in (with_spill, without)]
    assert chance[0].iloc[0] < 0.1 < chance[1].iloc[0]
    assert chance[0].iloc[1] == chance[1].iloc[1]


def test_a_larger_pond_makes_a_blocked_pipe_less_likely_to_flood():
    ponds = [_pond(volume_m3, 0.9) for volume_m3 in (10.0, 200.0, 2000.0)]
    chance = _thaw(*({**pond, "catchment_m2": 1e4} for pond in ponds))
    assert (np.diff(chance["flooded_blocked_chance"]) < 0).all()
    assert chance["flooded_open_chance"].nunique() == 1


def test_more_catchment_means_more_chance():
    areas = [1e4, 1e5, 1e6, 1e7]
    result = _thaw(*({"catchment_m2": area, "blocked_chance": 0.5} for area in areas))
    assert (np.diff(result["flooded_chance"]) >= 0).all()
    assert result["flooded_chance"].iloc[-1] > result["flooded_chance"].iloc[0]


def test_no_water_floods_nothing_even_when_blocked():
    row = _summer({"blocked_chance": 1.0}).iloc[0]
    assert row["flooded_chance"] == 0
    assert row["flood_class"] == "low"


def test_typed_numbers_win_over_the_weathers_row():
    weather = _weather(THAW_DAY, rain_m=0.05)
    water = _day_water(weather, _settings(**THAW), THAW_DAY)
    assert water.rain_m == 0.018  # the wet days before have filled the pack
    assert water.rain_s == 8.5 * 3600
    assert water.is_frozen


def test_snow_holds_water_back_first():
    """SWE 140 mm, -2.75 °C (half of the mean of -5.5): 3 % and 2.4 mm; melt by
    degree-days of the hours above 0 °C."""
    water = _day_water(_weather(THAW_DAY), _settings(**THAW), THAW_DAY)
    bare = _day_water(
        _weather(THAW_DAY), _settings(**{**THAW, "snow_water_m": 0.0}), THAW_DAY
    )
    assert bare.melt_m == 0
    assert bare.rain_m == 0.018
    assert 0 < water.rain_m < bare.rain_m
    kept_m = 0.140 * (0.03 + 2100 * 2.75 / 333_500)
    free = _day_water(
        _weather(THAW_DAY, rain_m=0.03), _settings(**THAW), THAW_DAY
    )  # three wet days before have filled the pack
    assert free.rain_m == 0.018
    given_back_m = free.rain_m + free.melt_m - water.rain_m - water.melt_m
    assert_allclose(given_back_m, kept_m, rtol=1e-3)


def test_melt_is_limited_by_the_snow_there_is():
    forecast = {**THAW, "air_min_c": 4, "air_max_c": 12, "snow_water_m": 0.002}
    weather = _weather(THAW_DAY, rain_m=0.03)
    water = _day_water(weather, _settings(**forecast), THAW_DAY)
    assert water.melt_m == 0.002


def test_rain_on_snow_melts_by_the_manual():
    """usace1998, metric form: 8 °C, 18 mm, 25.2 km/h, k 0.5 is 38.8 mm.

    (1.326 + 0.239 * 0.5 * 25.2 + 0.0126 * 18) * 8 + 2.29 = 38.80
    """
    forecast = {**THAW, "air_min_c": 4, "air_max_c": 12}
    weather = _weather(THAW_DAY, rain_m=0.03)
    water = _day_water(weather, _settings(**forecast), THAW_DAY)
    assert_allclose(water.melt_m, 0.03880, rtol=1e-3)


def test_dense_forest_melts_by_its_own_equation_of_the_manual():
    """usace1998, metric form, heavily forested: (3.38 + 0.0126 * 18) * 8 + 1.27 =
    30.12 mm; half forest lies halfway to the open ground's 38.80 mm."""
    forecast = {**THAW, "air_min_c": 4, "air_max_c": 12}
    weather = _weather(THAW_DAY, rain_m=0.03)
    for share, melt_m in ((1.0, 0.03012), (0.5, (0.03012 + 0.03880) / 2)):
        water = _day_water(weather, _settings(**forecast), THAW_DAY, share)
        assert_allclose(water.melt_m, melt_m, rtol=1e-3)


def test_flow_and_melt_follow_the_land_of_the_catchment():
    rain = {"rain_m": 0.036, "rain_start": "08:00", "rain_end": "18:00"}
    flows = _summer({"runoff_fraction": 0.15}, {"runoff_fraction": 0.6}, **rain)
    assert_allclose(
        flows["today_flow_m3s"].iloc[1], 4 * flows["today_flow_m3s"].iloc[0]
    )
    frozen = _thaw({"runoff_fraction": 0.15}, {"runoff_fraction": 0.9})
    ratio = frozen["today_flow_m3s"].iloc[1] / frozen["today_flow_m3s"].iloc[0]
    assert_allclose(ratio, 0.9 / 0.7)  # frozen ground lets 0.7 run off at least
    mixed = _crossings({"forest_fraction": 1.0}, {"forest_fraction": NAN})
    assert town_forest(mixed) == 1.0
    assert town_forest(_crossings({})) == 0.0


def test_the_band_of_todays_flow_holds_eight_cases_of_ten():
    """Normal table: 1.2816 at 0.9; spread 0.5: 1.898 times up and down."""
    before = _thaw({}, {"catchment_m2": NAN})
    after = add_flow_spread(before, _settings(**THAW))
    declared = set(columns().query("made_by == 'flow_spread'").index)
    assert set(after) - set(before) == declared
    row = after.iloc[0]
    ratio = row["today_flow_high_m3s"] / row["today_flow_m3s"]
    assert_allclose(ratio, 1.898, rtol=2e-4)
    assert_allclose(row["today_flow_m3s"] / row["today_flow_low_m3s"], ratio)
    assert after[sorted(declared)].iloc[1].isna().all()


def test_snow_is_summed_over_the_winter_where_it_is_not_typed():
    forecast = {key: value for key, value in THAW.items() if key != "snow_water_m"}
    weather = _weather(THAW_DAY, 10, snowfall_water_m=0.0001, rain_m=0.03)
    forecast = {**forecast, "air_min_c": 4, "air_max_c": 12}
    water = _day_water(weather, _settings(**forecast), THAW_DAY)
    assert_allclose(water.melt_m, 10 * 0.0001)


def test_snow_depth_stands_in_for_snow_water():
    """4 mm of snow at 250 kg/m3 is 1 mm of water."""
    forecast = {**THAW, "air_min_c": 4, "air_max_c": 12}
    del forecast["snow_water_m"]
    weather = _weather(THAW_DAY, snowfall_water_m=NAN, snow_depth_m=0.004, rain_m=0.03)
    water = _day_water(weather, _settings(**forecast), THAW_DAY)
    assert_allclose(water.melt_m, 0.001)


def test_snow_measured_on_the_ground_is_not_taken_for_none():
    """0.2 m read three days ago is 50 mm of water, whatever the snowfall sums up to."""
    forecast = {**THAW, "air_min_c": 4, "air_max_c": 12}
    del forecast["snow_water_m"]
    none_fallen = _weather(THAW_DAY, snowfall_water_m=0.0, rain_m=0.03)
    assert _day_water(none_fallen, _settings(**forecast), THAW_DAY).melt_m == 0
    measured = none_fallen.copy()
    measured.iloc[-4, measured.columns.get_loc("snow_depth_m")] = 0.2
    measured.iloc[-2, measured.columns.get_loc("snowfall_water_m")] = 0.01
    typed = _settings(**forecast, snow_water_m=0.06)
    water = _day_water(measured, _settings(**forecast), THAW_DAY)
    assert water == _day_water(measured, typed, THAW_DAY)
    assert water.melt_m > 0


@pytest.mark.parametrize(
    ("weather", "forecast", "note"),
    [
        ({"rain_m": NAN}, {"air_min_c": -2, "air_max_c": 5}, "rain of the day unknown"),
        ({"air_min_c": NAN}, {}, "air temperature of the day unknown"),
        (
            {"snowfall_water_m": NAN},
            {"air_min_c": -2, "air_max_c": 5},
            "water in the snow unknown: type forecast.snow_water_m",
        ),
    ],
)
def test_missing_weather_leaves_the_flow_unknown_and_says_why(weather, forecast, note):
    days = _weather(THAW_DAY, **weather)
    row = _flooded(_crossings({}), days, _settings(**forecast), THAW_DAY).iloc[0]
    assert np.isnan(row["today_flow_m3s"])
    assert np.isnan(row["flooded_chance"])
    assert row["flow_note"] == f"{HELD}; {note}"


def test_a_day_of_frost_brings_no_water_whatever_else_is_unknown():
    days = _weather(THAW_DAY, rain_m=NAN, snowfall_water_m=NAN)
    row = _flooded(_crossings({}), days, _settings(), THAW_DAY).iloc[0]
    assert row["today_flow_m3s"] == 0
    assert row["flow_note"] == HELD


def test_an_empty_table_stays_empty():
    result = _flooded(
        _crossings({}).iloc[:0], _weather(THAW_DAY), _settings(**THAW), THAW_DAY
    )
    assert len(result) == 0
    assert "flow_note" in result


def test_every_default_names_its_source():
    rows = table("flood_defaults")
    assert rows["name"].is_unique
    assert set(rows["source"]) <= set(sources().index)
    assert set(flood_defaults()) == set(rows["name"])


def test_what_the_next_crossing_backs_up_counts_today_not_for_the_years():
    """The lower road stands higher and its pipe is far too small for the day."""
    level = {"barrel_slope_m_per_m": 0.0, "length_m": 12.0, "road_elevation_m": 100.0}
    below = {**level, "road_elevation_m": 100.6, "catchment_m2": 1e6}
    table = _crossings(level, below).assign(downstream_id=["A1", ""])
    days, typed = _weather(THAW_DAY), _settings(**THAW)
    above, last = (r for _, r in _flooded(table, days, typed, THAW_DAY).iterrows())
    alone = _flooded(table.iloc[:1], days, typed, THAW_DAY).iloc[0]
    assert above["open_capacity_m3s"] == alone["open_capacity_m3s"]
    assert above["today_capacity_m3s"] < 0.5 * alone["today_capacity_m3s"]
    assert above["iced_capacity_m3s"] <= above["today_capacity_m3s"]
    assert above["flooded_open_chance"] > alone["flooded_open_chance"]
    assert_allclose(above["tailwater_m"], 1.5 * 0.6096)  # up to the road below
    assert last["today_capacity_m3s"] == last["open_capacity_m3s"]


def test_a_barrel_of_unknown_slope_or_length_carries_no_more_than_a_known_one():
    """A long plastic pipe, low headwater: friction and fall count, and are told."""
    pipe = {"length_m": 12.0, "barrel_slope_m_per_m": 0.01, "material": "steel"}
    unknown = {**pipe, "barrel_slope_m_per_m": NAN}
    result = _thaw(pipe, unknown, {**pipe, "length_m": NAN}, {**unknown, "rise_m": NAN})
    known, slope, length, size = result["open_capacity_m3s"]
    assert slope < known
    assert length < known
    assert np.isnan(size)
    notes = result["flow_note"].tolist()
    told = "slope of the barrel unknown: 0.5 % assumed for its capacity"
    assert [told in note for note in notes] == [False, True, False, False]
    told = "length of the barrel unknown: 18\u202fm assumed for its capacity"
    assert [told in note for note in notes] == [False, False, True, False]
