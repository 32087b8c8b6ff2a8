"""Snowmelt and retention against the manuals, and how they move."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.formulas import snowmelt
from tests.published import published

MELT_FACTOR = 0.0027432  # 0.06 in/(°F·day), nrcs2004, chapter 11
MM_INCH = 25.4
KM_H_MPH = 1.609344


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("melt_degree_day"))
def test_melt_degree_day_meets_source(inputs, expected, atol):
    assert_allclose(snowmelt.melt_degree_day(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("melt_rain_open"))
def test_melt_rain_open_meets_source(inputs, expected, atol):
    assert_allclose(snowmelt.melt_rain_open(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("melt_rain_forest"))
def test_melt_rain_forest_meets_source(inputs, expected, atol):
    assert_allclose(snowmelt.melt_rain_forest(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("cold_content"))
def test_cold_content_meets_source(inputs, expected, atol):
    assert_allclose(snowmelt.cold_content(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("retained_water"))
def test_retained_water_meets_source(inputs, expected, atol):
    assert_allclose(snowmelt.retained_water(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize("exposure", [0.3, 0.5, 1.0])
def test_metric_rain_melt_equals_the_us_form(exposure):
    """usace1998, ch. 5: inches, miles an hour, °F; 0.5 % for rounded constants."""
    degrees_f, wind_mph, rain_in = np.meshgrid([34, 42, 60], [0, 5, 25], [0.1, 1, 4])
    us_in = (0.029 + 0.0084 * exposure * wind_mph + 0.007 * rain_in) * (degrees_f - 32)
    us_m = (us_in + 0.09) * MM_INCH / 1000
    air_c, wind_m_s = (degrees_f - 32) / 1.8, wind_mph * KM_H_MPH / 3.6
    ours = snowmelt.melt_rain_open(air_c, wind_m_s, rain_in * MM_INCH / 1000, exposure)
    assert_allclose(ours, us_m, rtol=0.005)


def test_open_ground_in_wind_melts_more_than_still_open_ground():
    melt_m = snowmelt.melt_rain_open(4.0, [0.0, 2.0, 10.0], 0.02, 0.5)
    assert (np.diff(melt_m) > 0).all()


def test_rain_and_degree_day_melt_agree_within_a_factor_of_three():
    air_c = np.linspace(2.0, 12.0, 11)
    rain = snowmelt.melt_rain_open(air_c, 3.0, 0.015, 0.5)
    ratio = rain / snowmelt.melt_degree_day(air_c, MELT_FACTOR)
    assert ((ratio > 1 / 3) & (ratio < 3)).all()


def test_missing_values_stay_missing():
    nan = np.nan
    assert np.isnan(snowmelt.melt_degree_day([nan], MELT_FACTOR)).all()
    assert np.isnan(snowmelt.melt_rain_open([nan, 3.0], [3.0, nan], 0.01, 0.5)).all()
    assert np.isnan(snowmelt.melt_rain_forest([nan, 3.0], [0.01, nan])).all()
    assert np.isnan(snowmelt.cold_content([nan, 0.1], [-3.0, nan])).all()
    assert np.isnan(snowmelt.retained_water([nan], -3.0, 0.03)).all()


def test_snow_water_equals_the_day_by_day_sum():
    rng = np.random.default_rng(7)
    snowfall_m = rng.exponential(0.004, 200) * (rng.random(200) < 0.4)
    melt_m = rng.exponential(0.006, 200) * (rng.random(200) < 0.4)
    expected, pack_m = [], 0.0
    for fallen_m, gone_m in zip(snowfall_m, melt_m, strict=True):
        pack_m = max(pack_m + fallen_m - gone_m, 0.0)
        expected.append(pack_m)
    assert_allclose(snowmelt.snow_water(snowfall_m, melt_m), expected, atol=1e-12)


def test_snow_water_is_unknown_from_the_first_unknown_day_on():
    water_m = snowmelt.snow_water([0.01, np.nan, 0.01], [0.0, 0.0, 0.0])
    assert np.isnan(water_m).tolist() == [False, True, True]
