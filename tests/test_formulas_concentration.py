"""Times of concentration against their sources, and how they move."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import catchment_shape, concentration
from tests.published import published

FOOT_M = 0.3048
MINUTE_S, HOUR_S = 60, 3600


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("concentration_kirpich")
)
def test_concentration_kirpich_meets_source(inputs, expected, atol):
    ours = concentration.concentration_kirpich(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("concentration_faa"))
def test_concentration_faa_meets_source(inputs, expected, atol):
    ours = concentration.concentration_faa(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("concentration_nrcs_lag")
)
def test_concentration_nrcs_lag_meets_source(inputs, expected, atol):
    ours = concentration.concentration_nrcs_lag(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("sheet_flow_time"))
def test_sheet_flow_time_meets_source(inputs, expected, atol):
    ours = concentration.sheet_flow_time(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("shallow_flow_speed")
)
def test_shallow_flow_speed_meets_source(inputs, expected, atol):
    ours = concentration.shallow_flow_speed(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("channel_flow_speed")
)
def test_channel_flow_speed_meets_source(inputs, expected, atol):
    ours = concentration.channel_flow_speed(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("concentration_velocity")
)
def test_concentration_velocity_meets_source(inputs, expected, atol):
    ours = concentration.concentration_velocity(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@given(path_m=st.floats(20, 5000), slope=st.floats(0.002, 0.3))
def test_metric_forms_equal_the_us_forms(path_m, slope):
    """Printed metric constants: 3.26 (FAA), 734.5 (NRCS lag); 0.4 % for rounding."""
    path_ft = path_m / FOOT_M
    kirpich = 0.0078 * path_ft**0.77 * slope**-0.385 * MINUTE_S
    ours = concentration.concentration_kirpich(path_m, slope)
    assert_allclose(ours, kirpich, rtol=0.004)
    faa = 3.26 * (1.1 - 0.4) * path_m**0.5 / (100 * slope) ** (1 / 3) * MINUTE_S
    ours = concentration.concentration_faa(path_m, slope, 0.4)
    assert_allclose(ours, faa, rtol=0.004)
    retention_in = 1000 / 70 - 10
    lag_h = path_m**0.8 * (retention_in + 1) ** 0.7 / (734.5 * (100 * slope) ** 0.5)
    ours = concentration.concentration_nrcs_lag(path_m, slope, 70.0)
    assert_allclose(ours, lag_h / 0.6 * HOUR_S, rtol=0.004)


def test_metric_sheet_flow_equals_the_us_form():
    """Printed metric constant 0.091 with mm; 0.5 % for its rounding."""
    metric_h = 0.091 * (0.24 * 30.0) ** 0.8 / (90.0**0.5 * 0.02**0.4)
    ours = concentration.sheet_flow_time(30.0, 0.02, 0.24, 0.09)
    assert_allclose(ours, metric_h * HOUR_S, rtol=0.005)


@pytest.mark.parametrize(
    "time",
    [
        concentration.concentration_kirpich,
        lambda path, slope: concentration.concentration_faa(path, slope, 0.3),
        lambda path, slope: concentration.concentration_nrcs_lag(path, slope, 75.0),
    ],
    ids=["kirpich", "faa", "nrcs_lag"],
)
def test_longer_and_flatter_paths_take_longer(time):
    time_s = time(np.array([100.0, 400.0, 400.0]), np.array([0.05, 0.05, 0.01]))
    assert (np.diff(time_s) > 0).all()


def test_wetter_ground_answers_sooner():
    by_number = concentration.concentration_nrcs_lag(800.0, 0.03, [55, 75, 90])
    by_share = concentration.concentration_faa(100.0, 0.03, [0.2, 0.5, 0.9])
    assert (np.diff(by_number) < 0).all()
    assert (np.diff(by_share) < 0).all()


def test_kirpich_and_nrcs_lag_agree_within_a_factor_of_eight_on_natural_ground():
    """One is for channels, one for the whole of a wooded catchment."""
    path_m = np.array([100.0, 300.0, 1000.0])
    lag_s = concentration.concentration_nrcs_lag(path_m, 0.05, 75.0)
    ratio = lag_s / concentration.concentration_kirpich(path_m, 0.05)
    assert ((ratio > 1) & (ratio < 8)).all()


def test_missing_values_stay_missing():
    nan = np.nan
    path, slope = [nan, 400.0], [0.02, nan]
    assert np.isnan(concentration.concentration_kirpich(path, slope)).all()
    assert np.isnan(concentration.concentration_faa(path, slope, 0.3)).all()
    assert np.isnan(concentration.concentration_nrcs_lag(path, slope, 70.0)).all()
    assert np.isnan(concentration.sheet_flow_time(path, slope, 0.2, 0.09)).all()
    assert np.isnan(concentration.shallow_flow_speed([nan, 0.1], [0, nan])).all()
    assert np.isnan(concentration.channel_flow_speed(path, slope, 0.05)).all()
    assert np.isnan(concentration.concentration_velocity([[nan, 1.0]], [[1.0, 1.0]]))


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("flow_path_by_area"))
def test_flow_path_by_area_meets_source(inputs, expected, atol):
    ours = catchment_shape.flow_path_by_area(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


def test_flow_path_grows_with_the_area_and_stays_unknown_with_it():
    path_m = catchment_shape.flow_path_by_area([1e3, 1e4, 1e6, np.nan])
    assert (np.diff(path_m[:3]) > 0).all()
    assert np.isnan(path_m[3])
