"""Degree-days, the day's frost, cloud from the daily range, sol-air temperature."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from culvertrisk.formulas import cold
from tests.published import published

TEMPERATURE = st.floats(-50, 40)
SERIES = st.lists(TEMPERATURE, min_size=1, max_size=60)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("freezing_degree_days")
)
def test_freezing_degree_days_meets_source(inputs, expected, atol):
    total = cold.freezing_degree_days(**inputs)
    assert_allclose(total, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("net_afdd"))
def test_net_afdd_meets_source(inputs, expected, atol):
    afdd = np.atleast_1d(cold.net_afdd(**inputs))
    assert_allclose(afdd[-1], expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("seasonal_freezing_index")
)
def test_seasonal_freezing_index_meets_source(inputs, expected, atol):
    index = cold.seasonal_freezing_index(**inputs)
    assert_allclose(index, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("freezing_part"))
def test_freezing_part_meets_source(inputs, expected, atol):
    assert_allclose(cold.freezing_part(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("clear_sun_fraction")
)
def test_clear_sun_fraction_meets_source(inputs, expected, atol):
    assert_allclose(cold.clear_sun_fraction(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("sol_air_temperature")
)
def test_sol_air_temperature_meets_source(inputs, expected, atol):
    assert_allclose(cold.sol_air_temperature(**inputs), expected, rtol=0, atol=atol)


@rules(deadline=None)
@given(mean=TEMPERATURE, half=st.floats(0, 20))
def test_freezing_part_equals_the_integral_of_the_sine(mean, half):
    def below(phase):
        return max(-(mean + half * np.sin(phase)), 0) / (2 * np.pi)

    # the kinks are where the sine crosses 0; told, the integral is exact
    kinks = []
    if abs(mean) < half:
        first = np.arcsin(-mean / half)
        kinks = sorted({first % (2 * np.pi), (np.pi - first) % (2 * np.pi)})
    expected = quad(below, 0, 2 * np.pi, points=kinks or None)[0]
    assert_allclose(cold.freezing_part(mean, half), expected, rtol=0, atol=1e-6)


@rules(deadline=None)
@given(mean=TEMPERATURE, half=st.floats(0, 20), colder=st.floats(0, 10))
def test_freezing_part_is_bounded_and_grows_with_cold(mean, half, colder):
    part = cold.freezing_part(mean, half)
    assert part >= max(0.0, -mean) - 1e-9
    assert cold.freezing_part(mean - colder, half) >= part - 1e-9


@rules(deadline=None)
@given(series=SERIES)
def test_the_three_sums_stand_in_order(series):
    freezing = cold.freezing_degree_days(series)
    seasonal = cold.seasonal_freezing_index(series)
    net = cold.net_afdd(series)
    assert freezing >= seasonal - 1e-9
    # the most a sum floored at 0 reaches is the largest fall of the curve
    assert_allclose(net.max(), seasonal, rtol=0, atol=1e-9)


def test_sums_run_along_days_for_many_crossings_and_keep_missing_missing():
    air = np.array([[-1.0, np.nan], [-2.0, -3.0]])
    assert_allclose(cold.freezing_degree_days(air), [3.0, np.nan])
    assert_allclose(cold.net_afdd(air)[-1], [3.0, np.nan])
    assert_allclose(cold.seasonal_freezing_index(air), [3.0, np.nan])
    assert np.isnan(cold.freezing_part([np.nan, 1.0], [1.0, np.nan])).all()


def test_clear_sun_fraction_grows_with_the_range_and_stops_at_clear():
    share = cold.clear_sun_fraction(
        np.linspace(0, 20, 50), range_coefficient=0.16, clear_sky_fraction=0.75
    )
    assert (np.diff(share) >= 0).all()
    assert share.max() == 1.0
