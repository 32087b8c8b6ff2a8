"""The daily run, what stands in for unknowns, and the freeze stage."""

from dataclasses import fields, replace
from datetime import date
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import ndtri
from shapely.geometry import Point

from culvertrisk.checks import InputError
from culvertrisk.formulas.closing import blocked_fraction
from culvertrisk.formulas.ice import standing_ice
from culvertrisk.formulas.sun import SEASON_DAYS, season_day
from culvertrisk.settings import Files, Forecast, Settings
from culvertrisk.stages.freeze import add_freeze, freeze_state, modelled_chance
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.mechanisms import SWELLING
from culvertrisk.stages.unknowns import unknown_points
from culvertrisk.stages.winter import (
    days_of_winter,
    freeze_coefficients,
    run_winter,
)
from culvertrisk.stages.winter_weather import (
    climatology,
    has_weather,
    sun_day_of,
    winter_weather,
    with_forecast,
)
from culvertrisk.tables import columns, sources, table

COEFFICIENTS = freeze_coefficients()
TOWN = Settings(files=Files(culverts="c.csv"))
FIRST, ON = date(2023, 10, 1), date(2024, 2, 25)
OPEN_SUN = np.full(SEASON_DAYS, 8e6, dtype=np.float32)


def _weather(mean_c=-8.0, last="2024-03-31", snow_m=0.3, first="2022-10-01"):
    days = pd.date_range(first, last, name="day")
    season = 10 * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 200) / 365.25)
    frame = pd.DataFrame(index=days)
    frame["air_min_c"] = mean_c + season - 5
    frame["air_max_c"] = mean_c + season + 5
    frame["rain_m"], frame["snowfall_water_m"] = 0.0, 0.0
    frame["snow_depth_m"], frame["wind_m_s"], frame["is_forecast"] = snow_m, 2.0, 0.0
    return frame


def _crossings(**changes):
    base = {
        "road_class": ["C", "C", "C"],
        "crossing_kind": ["cross", "driveway", "bridge"],
        "rise_m": [0.457, np.nan, 3.0],
        "silt_fraction": [0.1, np.nan, 0.0],
        "barrel_slope_m_per_m": [0.002, np.nan, 0.0],
        "cover_m": [0.7, np.nan, 1.0],
        "outlet_drop_m": [0.0, np.nan, 0.0],
        "has_seep": [0.0, np.nan, 0.0],
        "has_plough_plug": [0.0, np.nan, 0.0],
        "length_m": [12.0, np.nan, 9.0],
        "dem_elevation_m": [300.0, 310.0, np.nan],
        "flow_path_slope_m_per_m": [0.05, np.nan, np.nan],
    }
    points = [Point(0, 0), Point(10, 0), Point(20, 0)]
    frame = {**base, **changes}
    index = pd.Index(["12", "N4", "B1"], name="culvert_id")
    return gpd.GeoDataFrame(frame, geometry=points, crs=32616, index=index)


def _sun(share=0.5, count=3):
    in_open = np.tile(OPEN_SUN, (count, 1))
    return SimpleNamespace(
        inlet_j_m2=in_open, outlet_j_m2=in_open * np.float32(share), open_j_m2=in_open
    )


def _inputs(**changes):
    """One crossing of which everything is known, with fields changed."""
    known = freeze_inputs(_crossings().iloc[:1], _sun(count=1), COEFFICIENTS)
    arrays = {name: np.atleast_1d(value) for name, value in changes.items()}
    return replace(known, **arrays)


def _chance(inputs, weather=None, on=ON):
    weather = _weather() if weather is None else weather
    return modelled_chance(
        inputs, weather, on, first_day=FIRST, coefficients=COEFFICIENTS
    )


def _run(inputs, weather, span=(FIRST, ON), coefficients=COEFFICIENTS):
    days = days_of_winter(weather, *span, coefficients)
    return run_winter(inputs, days, coefficients)


def _sag_m(inputs, weather, span=(FIRST, ON), coefficients=COEFFICIENTS):
    return _run(inputs, weather, span, coefficients).ice_m["sag"].item()


def test_add_freeze_adds_exactly_its_columns_and_leaves_its_input_alone():
    crossings = _crossings()
    before = crossings.copy()
    result = add_freeze(crossings, _weather(), _sun(), ON, TOWN)
    made = columns().query("made_by == 'freeze'")
    assert set(result.columns) - set(crossings.columns) == set(made.index)
    assert result.index.tolist() == before.index.tolist()
    pd.testing.assert_frame_equal(crossings, before)
    for name, row in made.dropna(subset=["low"]).iterrows():
        assert result[name].dropna().between(row["low"], row["high"]).all(), name


def test_bridges_stay_unknown_and_pipes_get_a_chance_whatever_is_unknown():
    result = add_freeze(_crossings(), _weather(), None, ON, TOWN)
    assert result["modelled_chance"].notna().tolist() == [True, True, False]
    assert result["freeze_cause"].tolist()[2] == ""
    assert result["freeze_cause"].iloc[0] == "sag"


def test_cause_is_the_mechanism_with_the_larger_chance():
    seeping = _crossings(has_seep=[1.0, 1.0, 0.0], barrel_slope_m_per_m=[0.05] * 3)
    result = add_freeze(seeping, _weather(), _sun(), ON, TOWN)
    assert result["freeze_cause"].tolist()[:2] == ["seep", "seep"]
    warm = add_freeze(_crossings(), _weather(mean_c=15.0), _sun(), ON, TOWN)
    assert warm["freeze_cause"].tolist()[:2] == ["none", "none"]
    assert_allclose(warm["afdd_cday"].iloc[:2], 0)


def test_run_winter_without_sun_thaw_or_ground_equals_the_closed_formula():
    """Constant cold, one snow depth: the daily steps must give the one long step."""
    weather = _weather()
    weather["air_min_c"] = weather["air_max_c"] = -10.0
    no_ground = {**COEFFICIENTS, "ground_heat_w_m2": np.array([0.0])}
    dark = _inputs(sun_j_m2=np.zeros((1, SEASON_DAYS), dtype=np.float32))
    ice = _run(dark, weather, coefficients=no_ground)
    days = (ON - FIRST).days + 1
    resistance = COEFFICIENTS["snow_share_fraction"] * 0.3
    expected = standing_ice(
        0.0,
        10.0 * days,
        surface_w_m2k=COEFFICIENTS["ice_surface_w_m2k"],
        snow_m2k_w=resistance / COEFFICIENTS["snow_conductivity_w_mk"],
    )
    assert_allclose(ice.ice_m["sag"], expected, rtol=1e-9)
    assert_allclose(ice.afdd_cday, 10.0 * days)
    assert_allclose(ice.most_ice_m["sag"], ice.ice_m["sag"])


@pytest.mark.parametrize(
    ("snow_m", "low", "high"),
    [
        (0.6, 0.007, 0.017),  # from a sheltered small river to an average river, snow
        (0.3, 0.007, 0.017),
        (0.2, 0.007, 0.024),  # to an average lake with snow
        (0.0, 0.017, 0.027),  # from that lake to a windy one without snow
    ],
)
def test_ice_in_a_barrel_stays_within_the_handbook_bands(snow_m, low, high):
    """Alpha by exposure in m per root degree-day (usace2002, ch. 2, from memory)."""
    ice = _run(_inputs(), _weather(snow_m=snow_m))
    assert low <= (ice.ice_m["sag"] / np.sqrt(ice.afdd_cday)).item() <= high


def test_snow_depth_unrecorded_comes_from_snowfall_and_else_is_assumed():
    weather = _weather(snow_m=np.nan)
    weather["air_min_c"] = weather["air_max_c"] = -10.0
    # 0.1 m of water in one fall, none melts: 0.4 m at a density of 0.25
    weather.loc["2023-10-01", "snowfall_water_m"] = 0.1
    fallen = _sag_m(_inputs(), weather)
    weather["snowfall_water_m"] = np.nan
    assumed = _sag_m(_inputs(), weather)
    weather["snow_depth_m"] = 0.4
    recorded = _sag_m(_inputs(), weather)
    assert_allclose(fallen, recorded)
    assert_allclose(assumed, recorded)
    weather["snow_depth_m"] = 0.1
    thin = _sag_m(_inputs(), weather)
    assert thin > recorded


def test_large_barrel_with_a_drip_is_limited_by_its_water():
    drips_m3s = np.array([1e-7, 1e-6, 1e-5])
    ice = _run(
        _many(rise_m=np.array([0.4, 3.0]), length_m=np.array([10.0, 40.0])),
        _weather(mean_c=-20.0),
        coefficients={**COEFFICIENTS, "trickle_points_m3s": drips_m3s},
    )
    # over 15 m of 3 m in 148 days it can only make so much, a tenth more than water
    most_m = 148 * 86_400 * drips_m3s * 1.1 / 45
    small_m, large_m = ice.ice_m["seep"].T
    assert ((large_m > 0) & (large_m <= most_m)).all()
    assert (small_m > most_m)[:2].all()
    # the largest brings the small barrel more than the cold can freeze
    assert small_m[1] == small_m[2] > small_m[0]


def test_shade_matters_little_in_december_and_much_in_march():
    """Sun at 48 degrees north, clear, level ground: about 4 MJ/m2 a day in December
    and 15 in March (common practice, no source)."""
    day = np.arange(SEASON_DAYS)
    season = (4e6 + 13e6 * (np.abs(day - 81) / 90) ** 2).astype(np.float32)[None]
    weather = _weather()
    weather["air_min_c"], weather["air_max_c"] = -14.0, 2.0
    months = [
        (date(2023, 12, 6), date(2024, 1, 5)),
        (date(2024, 3, 1), date(2024, 3, 31)),
    ]
    gained = []
    for first, last in months:
        sunny, shady = (
            _sag_m(_inputs(sun_j_m2=season * np.float32(share)), weather, (first, last))
            for share in (1.0, 0.1)
        )
        gained.append(shady - sunny)
    assert gained[1] > 2 * gained[0] > 0


STEP = st.floats(0, 1)


def _many(**changes):
    """As many crossings as the longest change, alike in all else."""
    count = max(len(value) for value in changes.values())
    known = _inputs()
    arrays = {
        item.name: np.repeat(getattr(known, item.name), count, axis=0)
        for item in fields(known)
        if item.name != "points"
    }
    points = {k: np.repeat(v, count, axis=0) for k, v in known.points.items()}
    return replace(known, **{**arrays, **changes, "points": points})


@rules(deadline=None, max_examples=15)
@given(
    slope=st.floats(-0.02, 0.08),
    rise=st.floats(0.2, 2.0),
    silt=st.floats(0, 0.9),
    drop=st.floats(0, 1),
    seep=st.floats(0, 1),
    tail=st.floats(0, 1),
    step=st.floats(0.001, 1),
)
def test_flatter_smaller_siltier_wetter_never_lowers_the_chance(
    slope, rise, silt, drop, seep, tail, step
):
    worse = {
        "barrel_slope_m_per_m": (slope, slope - step / 10),
        "rise_m": (rise, rise * (1 - step / 2)),
        "silt_fraction": (silt, silt + (0.95 - silt) * step),
        "outlet_drop_m": (drop, drop + step),
        "seep_chance": (seep, seep + (1 - seep) * step),
        "tail_chance": (tail, tail + (1 - tail) * step),
    }
    # the first crossing is the base, each of the others is worse in one thing
    changes = {
        name: np.where(np.arange(len(worse) + 1) == place, pair[1], pair[0])
        for place, (name, pair) in enumerate(worse.items(), start=1)
    }
    chance = _chance(_many(**changes))
    assert (chance[1:] >= chance[0] - 1e-9).all(), dict(
        zip(worse, chance[1:], strict=True)
    )


@rules(deadline=None, max_examples=10)
@given(mean=st.floats(-15, 5), colder=st.floats(0, 8), share=STEP, darker=STEP)
def test_colder_and_shadier_never_lowers_the_chance(mean, colder, share, darker):
    lit = OPEN_SUN * np.float32(share)
    sun = np.stack([lit, lit * np.float32(darker)])
    inputs = _many(sun_j_m2=sun, outlet_sun_j_m2=sun)
    base, shaded = _chance(inputs, _weather(mean))
    assert shaded >= base - 1e-9
    # all else equal: no snow, so that a colder place or winter has no less thaw water
    bare = _chance(inputs, _weather(mean, snow_m=0.0))
    higher = replace(inputs, elevation_offset_m=np.full(2, colder / 0.0065))
    assert (_chance(higher, _weather(mean, snow_m=0.0)) >= bare - 1e-9).all()
    assert (_chance(inputs, _weather(mean - colder, snow_m=0.0)) >= bare - 1e-9).all()


@rules(deadline=None, max_examples=20)
@given(mean=st.floats(-15, 5), depth=st.floats(0, 1), more=st.floats(0, 1))
def test_more_snow_on_an_end_never_raises_the_ice_on_standing_water(mean, depth, more):
    thin = _sag_m(_inputs(), _weather(mean, snow_m=depth))
    assert _sag_m(_inputs(), _weather(mean, snow_m=depth + more)) <= thin + 1e-12


@rules(deadline=None, max_examples=20)
@given(mean=st.floats(-15, 5), depth=st.floats(0, 1), more=st.floats(0, 1))
def test_more_snow_never_raises_the_ice_that_backs_in_from_below(mean, depth, more):
    thin, thick = (
        _run(_inputs(), _weather(mean, snow_m=snow)).ice_m["tailwater"].item()
        for snow in (depth, depth + more)
    )
    assert thick <= thin + 1e-12


def test_a_day_across_0_degrees_both_freezes_and_melts():
    """Mean 0 °C, half range pi: 1 °C·day of frost and 1 of thaw, by the sine."""
    weather = _weather(snow_m=0.0)
    weather["air_min_c"] = weather["air_max_c"] = -10.0
    weather.loc["2024-02-25", ["air_min_c", "air_max_c"]] = -np.pi, np.pi
    dark = np.zeros((1, SEASON_DAYS), dtype=np.float32)
    inputs = _inputs(sun_j_m2=dark, outlet_sun_j_m2=dark)
    before, after = (
        _run(inputs, weather, (FIRST, last)).ice_m["tailwater"]
        for last in (date(2024, 2, 24), ON)
    )
    grown = standing_ice(before, 1.0, surface_w_m2k=COEFFICIENTS["open_surface_w_m2k"])
    melted = COEFFICIENTS["ice_melt_coefficient"] * 1.0 * SWELLING
    assert_allclose(after, grown - melted, rtol=1e-9)
    assert_allclose(after - before, grown - before - melted)
    assert (grown > before).all()


@rules(deadline=None, max_examples=10)
@given(ratio=st.floats(0, 2), rise=st.floats(0.2, 3), factor=st.floats(0.1, 10))
def test_only_ice_over_rise_matters_and_not_the_unit_of_either(ratio, rise, factor):
    args = {"silt_fraction": 0.1}
    inches = blocked_fraction(ratio * rise * factor, rise * factor, **args)
    assert_allclose(blocked_fraction(ratio * rise, rise, **args), inches, atol=1e-12)


def test_unknown_is_the_mean_over_its_points_and_not_the_chance_at_their_mean():
    # at a level of 1 that is sure: it acts on the mean over the points
    one = {"at_work_level": np.ones(1), "level_spread": np.zeros(1)}
    plain = {**COEFFICIENTS, **one}

    def chance(inputs):
        day = {"first_day": FIRST, "coefficients": plain}
        return modelled_chance(inputs, _weather(), ON, **day)

    unknown = _inputs(rise_m=np.nan)
    points = unknown.points["rise_m"][0]
    each = [chance(_inputs(rise_m=value)).item() for value in points]
    assert_allclose(chance(unknown), np.mean(each))
    assert abs(chance(_inputs(rise_m=points.mean())).item() - np.mean(each)) > 1e-4


def test_chance_without_a_log_is_the_mean_over_all_levels_of_a_town():
    """Equally likely levels of the stated spread, each run as if it were known."""
    inputs = _inputs(rise_m=0.46, seep_chance=0.8)
    level, spread = (COEFFICIENTS[k].item() for k in ("at_work_level", "level_spread"))

    def at(level):
        known = {"at_work_level": np.array([level]), "level_spread": np.zeros(1)}
        day = {"first_day": FIRST, "coefficients": {**COEFFICIENTS, **known}}
        return modelled_chance(inputs, _weather(), ON, **day).item()

    towns = level * np.exp(spread * ndtri((np.arange(40) + 0.5) / 40))
    assert_allclose(_chance(inputs).item(), np.mean([*map(at, towns)]), rtol=0.02)
    assert at(level) < _chance(inputs).item()


@rules(deadline=None)
@given(st.lists(st.booleans(), min_size=4, max_size=4))
def test_weights_of_unknown_points_add_up_to_one_for_each_crossing(missing):
    values = {
        "a": np.where(missing[:2], np.nan, 1.0),
        "b": np.where(missing[2:], np.nan, 2.0),
    }
    points = {
        "a": np.array([[1.0, 2.0, 3.0]] * 2),
        "b": np.array([[4.0, 5.0, 6.0]] * 2),
    }
    spread = unknown_points(values, points)
    assert_allclose(np.bincount(spread.owner, weights=spread.weight), [1, 1])
    assert all(np.isfinite(v).all() for v in spread.values.values())


def test_sizes_known_in_a_class_stand_in_for_its_unknown_ones():
    count = 12
    crossings = gpd.GeoDataFrame(
        {
            "road_class": ["A"] * count,
            "crossing_kind": ["cross"] * count,
            "rise_m": [*np.linspace(0.5, 1.5, count - 1), np.nan],
        },
        geometry=[Point(i, 0) for i in range(count)],
    )
    points = freeze_inputs(crossings, None, COEFFICIENTS).points["rise_m"][-1]
    assert_allclose(points, np.quantile(np.linspace(0.5, 1.5, 11), [1 / 6, 0.5, 5 / 6]))


def test_unrecorded_seep_is_likelier_under_steep_ground():
    slopes = [0.0, 0.3, np.nan]
    crossings = _crossings(has_seep=[np.nan] * 3, flow_path_slope_m_per_m=slopes)
    chance = freeze_inputs(crossings, None, COEFFICIENTS).seep_chance
    assert chance[0] < chance[2] < chance[1]


def test_rows_do_not_know_of_each_other():
    inputs = freeze_inputs(_crossings(), _sun(), COEFFICIENTS)
    both = freeze_state(inputs, _weather(), FIRST, ON, COEFFICIENTS)
    arrays = {
        item.name: getattr(inputs, item.name)[[0]]
        for item in fields(inputs)
        if item.name != "points"
    }
    points = {name: value[[0]] for name, value in inputs.points.items()}
    one = freeze_state(
        replace(inputs, points=points, **arrays), _weather(), FIRST, ON, COEFFICIENTS
    )
    assert_allclose(one.modelled_chance, both.modelled_chance[:1])


def test_higher_ground_is_colder():
    base = _chance(_inputs(elevation_offset_m=0.0))
    assert _chance(_inputs(elevation_offset_m=200.0)) > base


def test_unknown_sun_lies_between_deep_shade_and_the_open():
    unknown = np.full((1, SEASON_DAYS), np.nan, dtype=np.float32)
    chance = _chance(_inputs(sun_j_m2=unknown)).item()
    dark = _chance(_inputs(sun_j_m2=OPEN_SUN[None] * 0)).item()
    bright = _chance(_inputs(sun_j_m2=OPEN_SUN[None])).item()
    assert bright < chance < dark


def test_forecast_row_of_the_day_and_typed_numbers_are_used():
    weather = _weather()
    typed = with_forecast(weather, ON, Forecast(air_min_c=-30.0, air_max_c=-20.0))
    assert typed.loc["2024-02-25", "air_min_c"] == -30.0
    assert weather.loc["2024-02-25", "air_min_c"] > -30.0
    later = with_forecast(weather, date(2024, 4, 1), Forecast(air_min_c=1.0))
    assert later.loc["2024-04-01", "air_min_c"] == 1.0
    base = add_freeze(_crossings(), weather, _sun(), ON, TOWN)
    colder = add_freeze(_crossings(), typed, _sun(), ON, TOWN)
    assert colder["afdd_cday"].iloc[0] > base["afdd_cday"].iloc[0]


def test_small_gaps_are_bridged_by_a_straight_line():
    weather = _weather()
    full = weather.loc["2024-01-10":"2024-01-14", "air_min_c"].copy()
    weather.loc["2024-01-10":"2024-01-14", "air_min_c"] = np.nan
    days = winter_weather(weather, FIRST, ON, COEFFICIENTS)
    assert days["air_min_c"].notna().all()
    # at the bottom of the cosine the line is near it
    assert_allclose(days.loc[full.index, "air_min_c"], full, atol=0.1)


def test_large_gaps_are_told():
    weather = _weather()
    weather.loc["2023-11-01":"2023-12-15", "air_min_c"] = np.nan
    assert not has_weather(weather, FIRST, ON, COEFFICIENTS)
    with pytest.raises(InputError) as caught:
        winter_weather(weather, FIRST, ON, COEFFICIENTS)
    assert caught.value.problems == (
        "weather: file must give a lowest and highest temperature for the days from "
        "2023-10-01 to 2024-02-25 with no gap above 5 days, got none on 45 of 148 "
        "days: 2023-11-01 to 2023-12-15. Add the missing days from a station "
        "nearby, or the forecast rows.",
    )


def test_weather_that_ends_long_before_the_day_is_told():
    with pytest.raises(InputError):
        winter_weather(_weather(last="2024-02-15"), FIRST, ON, COEFFICIENTS)
    assert has_weather(_weather(last="2024-02-21"), FIRST, ON, COEFFICIENTS)


def test_usual_winter_is_the_mean_of_the_earlier_ones_only():
    weather = _weather(first="2021-10-01")
    # a cosine by day of the year shifts by a day in a leap year
    weather.loc["2021-10-01":"2022-05-31", "air_min_c"] -= 4.0
    usual = climatology(weather, FIRST, ON)
    changed = weather.copy()
    changed.loc["2023-10-01":, "air_min_c"] = -99.0
    pd.testing.assert_frame_equal(usual, climatology(changed, FIRST, ON))
    expected = (weather.loc["2022-01-05"] + weather.loc["2023-01-05"]) / 2
    assert_allclose(usual.loc["2024-01-05"], expected)
    assert len(usual) == 148
    assert [*usual.columns] == [*weather.columns]


def test_sun_day_counts_from_october_and_folds_the_leap_day():
    days = ["2023-10-01", "2024-02-28", "2024-02-29", "2024-03-01", "2024-05-31"]
    assert sun_day_of(pd.DatetimeIndex(days)).tolist() == [0, 150, 150, 151, 242]
    plain = ["2022-10-01", "2023-03-01", "2023-05-31", "2023-06-10", "2023-09-20"]
    assert sun_day_of(pd.DatetimeIndex(plain)).tolist() == [0, 151, 242, 242, 0]


def test_sun_day_is_the_season_day_of_the_shade_stage():
    days = pd.date_range("2023-10-01", "2024-05-31")
    assert sun_day_of(days).tolist() == [season_day(day.date()) for day in days]


def test_every_coefficient_has_a_unit_a_source_and_a_place():
    rows = table("freeze_defaults")
    assert rows.notna().all().all()
    assert set(rows["source"]) <= set(sources().index)


def test_run_over_a_town_of_a_thousand(benchmark):
    town = _many(rise_m=np.full(1000, np.nan))
    benchmark(freeze_state, town, _weather(), FIRST, ON, COEFFICIENTS)
