"""Curve number and graphical peak against the worked examples, and how they move."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import curve_number
from culvertrisk.tables import table
from tests.published import published

INCH_M = 0.0254
ACRE_M2 = 4046.8564224
MILE2_M2 = 1609.344**2
CFS_M3S = 0.3048**3
HOUR_S = 3600.0
CSM_IN_PER_S = CFS_M3S / (MILE2_M2 * INCH_M)
TYPES = ("I", "IA", "II", "III")


def _coefficients(rain_type):
    rows = table("tr55_peak").query("rain_type == @rain_type")
    return rows[["loss_ratio", "c0", "c1", "c2"]].to_numpy(float)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("runoff_depth"))
def test_runoff_depth_meets_source(inputs, expected, atol):
    assert_allclose(curve_number.runoff_depth(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("retention"))
def test_retention_meets_source(inputs, expected, atol):
    assert_allclose(curve_number.retention(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("wet_curve_number"))
def test_wet_curve_number_meets_source(inputs, expected, atol):
    ours = curve_number.wet_curve_number(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("composite_curve_number")
)
def test_composite_curve_number_meets_source(inputs, expected, atol):
    ours = curve_number.composite_curve_number(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("unit_peak"))
def test_unit_peak_meets_source(inputs, expected, atol):
    coefficients = _coefficients(inputs["rain_type"])
    given = {key: inputs[key] for key in ("concentration_s", "loss_ratio")}
    ours = curve_number.unit_peak(**given, peak_coefficients=coefficients)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("flow_graphical_peak")
)
def test_flow_graphical_peak_meets_source(inputs, expected, atol):
    ours = curve_number.flow_graphical_peak(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


def test_heavenly_acres_from_rain_to_peak_is_within_one_hundredth():
    """tr55, example 4-1 (public copy): 250 acre, CN 75, 6.0 in, 1.53 h: 345 cfs."""
    rain_m = 6.0 * INCH_M
    ratio = 0.2 * curve_number.retention(75.0) / rain_m
    assert_allclose(ratio, 0.11, atol=0.005)
    peak_m3s = curve_number.flow_graphical_peak(
        250 * ACRE_M2,
        curve_number.runoff_depth(rain_m, 75.0),
        curve_number.unit_peak(1.53 * HOUR_S, ratio, _coefficients("II")),
    )
    assert_allclose(peak_m3s / CFS_M3S, 345, rtol=0.01)


@pytest.mark.parametrize("rain_type", TYPES)
@pytest.mark.parametrize("hours", [0.1, 1.0, 10.0])
def test_unit_peak_falls_with_the_initial_loss(rain_type, hours):
    ratios = np.linspace(0.1, 0.5, 41)
    peaks = curve_number.unit_peak(hours * HOUR_S, ratios, _coefficients(rain_type))
    assert (np.diff(peaks) < 1e-12).all()


@pytest.mark.parametrize("rain_type", TYPES)
def test_unit_peak_falls_with_the_time_of_concentration(rain_type):
    times_s = np.geomspace(0.1, 10, 30) * HOUR_S
    peaks = curve_number.unit_peak(times_s, 0.2, _coefficients(rain_type))
    assert (np.diff(peaks) < 0).all()


@given(
    rain_m=st.floats(0, 0.5),
    more_m=st.floats(0, 0.2),
    number=st.floats(40, 99),
    higher=st.floats(0, 1),
)
def test_runoff_grows_with_rain_and_number_and_is_less_than_the_rain(
    rain_m, more_m, number, higher
):
    runoff_m = curve_number.runoff_depth(
        [rain_m, rain_m + more_m, rain_m], [number, number, number + higher]
    )
    assert runoff_m[0] <= min(runoff_m[1], runoff_m[2]) + 1e-15
    assert 0 <= runoff_m[0] <= rain_m


def test_metric_retention_equals_the_us_form():
    numbers = np.array([45.0, 70.0, 98.0])
    metric_mm = 25_400 / numbers - 254
    assert_allclose(curve_number.retention(numbers) * 1000, metric_mm, rtol=1e-9)


def test_wet_and_sealed_ground_have_higher_numbers():
    usual = np.linspace(40, 97, 30)
    assert (curve_number.wet_curve_number(usual) > usual).all()
    sealed = curve_number.composite_curve_number(70.0, np.linspace(0, 1, 9))
    assert (np.diff(sealed) > 0).all()


def test_pond_factors_are_those_of_the_source():
    """tr55, table 4-2."""
    rows = table("tr55_ponds").set_index("pond_percent")["pond_factor"]
    assert rows.to_dict() == {0: 1.0, 0.2: 0.97, 1: 0.87, 3: 0.75, 5: 0.72}


def test_missing_values_stay_missing():
    nan = np.nan
    pair, other = [nan, 0.1], [70.0, nan]
    assert np.isnan(curve_number.runoff_depth(pair, other)).all()
    assert np.isnan(curve_number.wet_curve_number([nan])).all()
    assert np.isnan(curve_number.composite_curve_number(pair, other)).all()
    peaks = curve_number.unit_peak([nan, 3600.0], [0.2, nan], _coefficients("II"))
    assert np.isnan(peaks).all()
    assert np.isnan(curve_number.flow_graphical_peak(pair, other, 1e-4)).all()
