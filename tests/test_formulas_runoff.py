"""Rational method, storms and chances against their sources, and how they move."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import frequency, rainfall, runoff
from culvertrisk.tables import table
from tests.published import published

YEARS = (2.0, 10.0, 50.0)
HOUR_RAIN_M = (0.025, 0.041, 0.058)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("flow_rational"))
def test_flow_rational_meets_source(inputs, expected, atol):
    assert_allclose(runoff.flow_rational(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("storm_rain"))
def test_storm_rain_meets_source(inputs, expected, atol):
    ours = rainfall.storm_rain(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("rain_duration_ratio")
)
def test_rain_duration_ratio_meets_source(inputs, expected, atol):
    assert_allclose(rainfall.rain_duration_ratio(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("burst_intensity"))
def test_burst_intensity_meets_source(inputs, expected, atol):
    assert_allclose(runoff.burst_intensity(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("melt_intensity"))
def test_melt_intensity_meets_source(inputs, expected, atol):
    assert_allclose(runoff.melt_intensity(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("pond_storage"))
def test_pond_storage_meets_source(inputs, expected, atol):
    assert_allclose(runoff.pond_storage(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("exceedance_chance"))
def test_exceedance_chance_meets_source(inputs, expected, atol):
    assert_allclose(frequency.exceedance_chance(**inputs), expected, rtol=0, atol=atol)


def test_frequency_factors_are_those_of_the_handbook():
    """fhwa2009, rational method."""
    factors = table("frequency_factors").set_index("return_years")["frequency_factor"]
    assert factors.to_dict() == {10: 1.0, 25: 1.1, 50: 1.2, 100: 1.25}


def test_storm_rain_does_not_stretch_its_table():
    rain_m = rainfall.storm_rain([1.0, 200.0], YEARS, HOUR_RAIN_M)
    assert np.isnan(rain_m).all()


def test_missing_values_stay_missing():
    nan = np.nan
    assert np.isnan(runoff.flow_rational([nan, 1e4], [1e-5, nan], 0.3)).all()
    assert np.isnan(rainfall.storm_rain([nan], YEARS, HOUR_RAIN_M)).all()
    assert np.isnan(rainfall.rain_duration_ratio([nan])).all()
    assert np.isnan(runoff.burst_intensity([nan, 0.01], 3600.0, [600.0, nan])).all()
    assert np.isnan(runoff.melt_intensity([nan, 0.01], 3600.0, [600.0, nan])).all()
    assert np.isnan(runoff.pond_storage([nan], 10.0, 0.02)).all()
    assert np.isnan(
        frequency.exceedance_chance([nan, 1.0, 0.0], [1.0, nan, nan], 0.5)
    ).all()


@settings(max_examples=60, deadline=None)
@given(
    depth_m=st.floats(1e-4, 0.3),
    duration_s=st.floats(600, 86_400),
    concentration_s=st.floats(300, 86_400),
)
def test_no_window_holds_more_than_the_whole_rain(depth_m, duration_s, concentration_s):
    for intensity in (runoff.burst_intensity, runoff.melt_intensity):
        in_window_m = intensity(depth_m, duration_s, concentration_s) * concentration_s
        assert in_window_m <= depth_m * (1 + 1e-12)
        evenly_m = depth_m * min(concentration_s / duration_s, 1)
        assert in_window_m >= evenly_m * (1 - 1e-12)


@settings(max_examples=60, deadline=None)
@given(
    median=st.floats(0, 1e3),
    limit=st.floats(0, 1e3),
    more=st.floats(0, 1e3),
    spread=st.floats(0.05, 2),
)
def test_chance_stays_within_bounds_and_moves_the_right_way(
    median, limit, more, spread
):
    chance = frequency.exceedance_chance(
        [median, median + more, median], [limit, limit, limit + more], spread
    )
    assert ((chance >= 0) & (chance <= 1)).all()
    assert chance[1] >= chance[0] >= chance[2]


ATLAS_DURATION_S = (1800.0, 3600.0, 86_400.0)
ATLAS_YEARS = (1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
ATLAS_RAIN_IN = (  # atlas14v9, point 26.6 N 81.9 W
    (1.60, 1.79, 2.11, 2.37, 2.74, 3.02, 3.31, 3.60, 3.99, 4.28),
    (2.14, 2.38, 2.79, 3.13, 3.62, 4.00, 4.38, 4.78, 5.32, 5.74),
    (4.01, 4.76, 6.09, 7.28, 9.05, 10.5, 12.1, 13.7, 16.1, 18.0),
)
ATLAS = {
    "duration_s": ATLAS_DURATION_S,
    "return_years": ATLAS_YEARS,
    "rain_m": np.array(ATLAS_RAIN_IN) * 0.0254,
}


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("rain_depth"))
def test_rain_depth_meets_source(inputs, expected, atol):
    ours = rainfall.rain_depth(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("flow_regression"))
def test_flow_regression_meets_source(inputs, expected, atol):
    ours = runoff.flow_regression(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@given(
    duration_s=st.floats(1800, 80_000),
    more_s=st.floats(0, 6000),
    years=st.floats(1, 900),
    more_years=st.floats(0, 100),
)
def test_rain_depth_grows_with_duration_and_return_period(
    duration_s, more_s, years, more_years
):
    rain_m = rainfall.rain_depth(
        [duration_s, duration_s + more_s, duration_s],
        [years, years, years + more_years],
        **ATLAS,
    )
    assert rain_m[0] <= min(rain_m[1:]) + 1e-12


def test_rain_depth_does_not_stretch_its_table():
    outside = rainfall.rain_depth([900.0, 3600.0, 3600.0], [10.0, 0.9, 1001.0], **ATLAS)
    assert np.isnan(outside).all()
    assert np.isnan(rainfall.rain_depth([np.nan, 3600.0], [2.0, np.nan], **ATLAS)).all()


@given(
    catchment_m2=st.floats(1e3, 1e8), more=st.floats(1, 3), intensity=st.floats(0, 1e-4)
)
def test_peaks_grow_with_area_rain_and_share(catchment_m2, more, intensity):
    least = runoff.flow_rational(catchment_m2, intensity, 0.3)
    assert runoff.flow_rational(catchment_m2 * more, intensity, 0.3) >= least
    assert runoff.flow_rational(catchment_m2, intensity * more, 0.3) >= least
    assert runoff.flow_rational(catchment_m2, intensity, 0.3 * more) >= least


def test_metric_rational_flow_equals_the_us_form():
    """fhwa2009: ft3/s = 1.008 C i A with inches an hour and acres."""
    flow_cfs = 1.00833 * 0.35 * 2.4 * 15
    ours = runoff.flow_rational(15 * 4046.8564224, 2.4 * 0.0254 / 3600, 0.35)
    assert_allclose(ours / 0.3048**3, flow_cfs, rtol=1e-5)
