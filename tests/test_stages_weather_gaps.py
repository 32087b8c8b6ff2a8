"""Weather that is not complete: bridged, assumed with a note, or refused."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.stages.snow_by_elevation import HOME
from culvertrisk.stages.weather_gaps import weather_notes
from culvertrisk.stages.winter import days_of_winter
from culvertrisk.stages.winter_weather import winter_weather
from tests.test_stages_freeze import COEFFICIENTS, FIRST, ON, _inputs, _sag_m, _weather

INDEX = pd.date_range(FIRST, ON, name="day")
ASSUMED_M = COEFFICIENTS["assumed_snow_depth_m"].item()
WET_M = COEFFICIENTS["assumed_precipitation_m"].item()
COLUMNS = ("rain_m", "snowfall_water_m", "snow_depth_m")


def _days(weather):
    return days_of_winter(weather, FIRST, ON, COEFFICIENTS, 4.0)


def _home_m(weather):
    return _days(weather).snow_depth_m[:, HOME]


def _notes(weather):
    return [*weather_notes(weather.reindex(INDEX), COEFFICIENTS)]


def _mixed():
    """A winter that crosses 0 °C, with snow and rain on every other day."""
    weather = _weather(mean_c=0.0)
    weather["snow_depth_m"] = 0.3 + 0.2 * np.sin(np.arange(len(weather)))
    is_cold = (weather["air_min_c"] + weather["air_max_c"]) / 2 <= 1
    every_other = np.arange(len(weather)) % 2 * 0.004
    weather["snowfall_water_m"] = every_other * is_cold
    weather["rain_m"] = every_other * ~is_cold
    return weather


def test_blank_snow_in_autumn_is_not_filled_from_a_reading_of_january():
    """One reading on day 140 said nothing of the 139 days before it."""
    weather = _weather(snow_m=np.nan)
    weather["snowfall_water_m"] = np.nan
    without = _sag_m(_inputs(), weather)
    weather.loc[INDEX[140], "snow_depth_m"] = 2.0
    depth_m = _home_m(weather)
    assert_allclose(depth_m[:140], ASSUMED_M)
    assert_allclose(depth_m[140:], 2.0)  # the last week holds the last reading
    # the ice of 139 days under the assumed snow, little added under the 2 m
    assert _sag_m(_inputs(), weather) == pytest.approx(without, rel=0.05)


def test_snowfall_stands_in_where_no_reading_is_near():
    weather = _weather(mean_c=-12.0, snow_m=0.6)
    weather.loc[INDEX[10], "snowfall_water_m"] = 0.02
    weather.loc["2023-10-01":"2023-12-31", "snow_depth_m"] = np.nan
    depth_m = _home_m(weather)
    january = INDEX.get_loc(pd.Timestamp("2024-01-01"))
    fallen_m = 0.02 / COEFFICIENTS["snow_density_fraction"].item()
    assert (depth_m[:10] == 0).all()
    assert depth_m[10] == pytest.approx(fallen_m, rel=0.2)  # less the day's melt
    assert (depth_m[:january] <= fallen_m + 1e-12).all()
    assert_allclose(depth_m[january:], 0.6)


@pytest.mark.parametrize(("gap", "is_bridged"), [(7, True), (8, False)])
def test_readings_up_to_a_week_apart_are_joined_by_a_line(gap, is_bridged):
    weather = _weather(snow_m=0.3)
    weather["snowfall_water_m"] = np.nan
    weather.loc[INDEX[49], "snow_depth_m"] = 0.1
    weather.loc[INDEX[50 : 50 + gap], "snow_depth_m"] = np.nan
    between = _home_m(weather)[50 : 50 + gap]
    line = np.linspace(0.1, 0.3, gap + 2)[1:-1]
    assert_allclose(between, line if is_bridged else ASSUMED_M)


def test_unknown_rain_is_not_none_but_assumed_on_warm_days_and_said():
    weather = _weather(mean_c=0.0, snow_m=0.0)
    dry = _days(weather).thaw_water_m[:, HOME].sum()
    weather["rain_m"] = np.nan
    mean_c = ((weather["air_min_c"] + weather["air_max_c"]) / 2).reindex(INDEX)
    warm = int((mean_c > COEFFICIENTS["snow_air_c"].item()).sum())
    assert warm > 0 and dry == 0
    assert _days(weather).thaw_water_m[:, HOME].sum() == pytest.approx(warm * WET_M)
    assert _notes(weather) == [
        {
            "column": "rain_m",
            "found": "unknown on 148 of 148 days of this winter: 2023-10-01 to "
            "2024-02-25",
            "understood": "1.5\u202fmm of rain assumed where the day's mean is above "
            "1\u202f°C, else none",
        }
    ]


def test_a_gap_of_ten_days_in_january_is_refused_with_its_dates():
    """It is less than a tenth of the winter, and was bridged without a word."""
    weather = _weather()
    weather.loc["2024-01-05":"2024-01-14", "air_max_c"] = np.nan
    weather.loc["2024-02-01":"2024-02-02", "air_max_c"] = np.nan
    with pytest.raises(InputError) as caught:
        winter_weather(weather, FIRST, ON, COEFFICIENTS)
    assert caught.value.problems == (
        "weather: file must give a lowest and highest temperature for the days from "
        "2023-10-01 to 2024-02-25 with no gap above 5 days, got none on 12 of 148 "
        "days: 2024-01-05 to 2024-01-14. Add the missing days from a station nearby, "
        "or the forecast rows.",
    )
    longer = {**COEFFICIENTS, "weather_gap_days": np.array([10.0])}
    assert winter_weather(weather, FIRST, ON, longer)["air_max_c"].notna().all()


def test_bridged_days_are_counted_with_their_dates():
    weather = _weather()
    weather.loc["2024-01-05":"2024-01-08", "air_min_c"] = np.nan
    weather.loc["2024-02-01", "snow_depth_m"] = np.nan
    weather.loc["2023-10-01":"2023-10-20", "snow_depth_m"] = np.nan
    told = [
        (note["column"], note["found"], note["understood"]) for note in _notes(weather)
    ]
    days = "of 148 days of this winter"
    line = "a straight line between the"
    assert told == [
        (
            "air_min_c",
            f"unknown on 4 {days}: 2024-01-05 to 2024-01-08",
            f"{line} days beside",
        ),
        ("snow_depth_m", f"unknown on 1 {days}: 2024-02-01", f"{line} readings beside"),
        (
            "snow_depth_m",
            f"unknown on 20 {days}: 2023-10-01 to 2023-10-20",
            "snowfall less melt",
        ),
    ]


def test_complete_weather_needs_no_note():
    assert _notes(_mixed()) == []


@rules(deadline=None, max_examples=25)
@given(
    gaps=st.lists(
        st.tuples(st.sampled_from(COLUMNS), st.integers(0, 147), st.integers(1, 150)),
        max_size=4,
    ),
    cold=st.tuples(st.integers(0, 147), st.integers(0, 5)),
)
def test_dropping_readings_never_fails_nor_changes_the_days_before(gaps, cold):
    weather = _mixed()
    whole, table = _days(weather), weather.copy()
    spans = [*gaps, ("air_min_c", *cold)]
    for column, start, length in spans:
        table.loc[INDEX[start : start + length], column] = np.nan
    first = min(start for _, start, _ in spans)
    found = _days(table)
    for name in ("air_mean_c", "snow_depth_m", "thaw_water_m"):
        values = getattr(found, name)
        assert np.isfinite(values).all()
        assert_allclose(values[:first], getattr(whole, name)[:first], atol=1e-15)
    assert (found.snow_depth_m >= 0).all() and (found.thaw_water_m >= 0).all()


def test_dates_of_the_notes_are_those_of_the_winter_asked():
    weather = _weather()
    weather.loc[:"2023-09-30", "rain_m"] = np.nan
    weather.loc["2024-02-26":, "rain_m"] = np.nan
    assert _notes(weather) == []
    assert INDEX[-1].date() == ON == date(2024, 2, 25)
