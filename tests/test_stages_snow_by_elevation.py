"""Snow and thaw water on higher and lower ground."""

from dataclasses import replace
from datetime import date

import numpy as np
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.stages.snow_by_elevation import HOME, OFFSETS_M, ElevationPlace
from culvertrisk.stages.winter import days_of_winter, run_winter
from tests.test_stages_freeze import (
    COEFFICIENTS,
    FIRST,
    ON,
    _many,
    _weather,
)


def _days(weather, last=ON):
    return days_of_winter(weather, FIRST, last, COEFFICIENTS)


def _snowy(snow_m=np.nan, mean_c=-4.0):
    weather = _weather(mean_c=mean_c, snow_m=snow_m)
    falls = (weather["air_min_c"] + weather["air_max_c"]) / 2 <= 1
    weather["snowfall_water_m"] = np.where(falls, 0.002, 0.0)
    weather["rain_m"] = np.where(falls, 0.0, 0.002)
    return weather


def test_the_weathers_own_elevation_is_a_band():
    assert OFFSETS_M[HOME] == 0


def test_a_recorded_depth_stands_at_its_own_elevation():
    recorded = _days(_snowy(snow_m=0.3)).snow_m2k_w[:, HOME]
    share = COEFFICIENTS["snow_share_fraction"].item()
    assert_allclose(recorded, 0.3 * share / 0.2)


def test_higher_ground_has_more_snow_and_no_less_of_it_where_some_is_recorded():
    for snow_m in (np.nan, 0.3):
        snow = _days(_snowy(snow_m)).snow_m2k_w
        assert (np.diff(snow, axis=1) >= -1e-12).all()
        assert snow[-1, -1] > snow[-1, 0]


def test_without_snowfall_one_depth_holds_for_all():
    weather = _weather()
    weather["snowfall_water_m"] = np.nan
    snow = _days(weather).snow_m2k_w
    assert (snow == snow[:, [HOME]]).all()


def test_rain_turns_to_snow_up_the_hill_and_snow_to_rain_down_it():
    """10 mm of rain at 3 °C: at 500 m higher, -0.25 °C, it lies; home it runs."""
    weather = _weather(snow_m=np.nan)
    weather["air_min_c"] = weather["air_max_c"] = 3.0
    weather.loc["2023-11-05", "rain_m"] = 0.01
    days = _days(weather, date(2023, 11, 5))
    up = int(np.flatnonzero(OFFSETS_M == 500)[0])
    water = 0.01 / 0.25 * COEFFICIENTS["snow_share_fraction"].item() / 0.2
    assert_allclose(days.snow_m2k_w[-1, [HOME, up]], [0.0, water])
    assert_allclose(days.thaw_water_m[-1, [HOME, up]], [0.01, 0.0])
    weather["air_min_c"] = weather["air_max_c"] = -1.0
    weather.loc["2023-11-05", ["rain_m", "snowfall_water_m"]] = 0.0, 0.01
    days = _days(weather, date(2023, 11, 5))
    down = int(np.flatnonzero(OFFSETS_M == -500)[0])
    assert_allclose(days.thaw_water_m[-1, [HOME, down]], [0.0, 0.01])


@rules(deadline=None, max_examples=20)
@given(st.lists(st.floats(-1500, 1500), min_size=1, max_size=5))
def test_between_bands_values_lie_on_a_line_and_beyond_them_stay(heights):
    place = ElevationPlace.of(OFFSETS_M, np.array(heights))
    expected = np.interp(heights, OFFSETS_M, OFFSETS_M**2)
    assert_allclose(place.of_day(OFFSETS_M**2), expected, atol=1e-6)


def test_an_unknown_elevation_is_that_of_the_weather():
    place = ElevationPlace.of(OFFSETS_M, np.array([np.nan]))
    assert place.of_day(OFFSETS_M + 7).item() == 7


def test_a_high_crossing_lies_under_its_own_snow():
    days = _days(_snowy(mean_c=-2.0))
    both = _many(elevation_offset_m=np.array([0.0, 300.0]))
    at_home = np.repeat(days.snow_m2k_w[:, [HOME]], len(OFFSETS_M), axis=1)
    alike = replace(days, snow_m2k_w=at_home)
    own, town = (run_winter(both, d, COEFFICIENTS).ice_m["sag"] for d in (days, alike))
    assert own[0] == town[0]
    assert own[1] < town[1]
