"""Delay and isolation formulas: hand values, missing values, shapes, direction."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import delay
from tests.published import published

counts = st.floats(0, 1e5)
times_s = st.floats(0, 1e6)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("detour_delay"))
def test_detour_delay_meets_source(inputs, expected, atol):
    assert_allclose(delay.detour_delay(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("waiting_delay"))
def test_waiting_delay_meets_source(inputs, expected, atol):
    assert_allclose(delay.waiting_delay(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("isolation"))
def test_isolation_meets_source(inputs, expected, atol):
    assert_allclose(delay.isolation(**inputs), expected, rtol=0, atol=atol)


def test_detour_delay_priced_gives_the_printed_daily_cost():
    # 1000 vehicles a day, 10 % trucks, 7.5 miles and 15 minutes more, 1.5 people:
    # 9,686 a day at 18.30 and 29.40 an hour, 0.30 and 1.00 a mile (mndot2017)
    hours = delay.detour_delay([900.0, 100.0], [1.5, 1.0], 900.0, 86_400.0)
    cost = hours @ [18.30, 29.40] + 7.5 * np.array([900.0, 100.0]) @ [0.30, 1.00]
    assert_allclose(cost, 9686, atol=0.5)


def test_delays_keep_missing_values_missing():
    hours = delay.detour_delay([np.nan, 10.0, 10.0], 1.5, [1.0, np.nan, 1.0], 3600.0)
    assert np.isnan(hours).tolist() == [True, True, False]
    assert np.isnan(delay.waiting_delay(np.nan, 1.5, 3600.0))
    assert np.isnan(delay.isolation([np.nan], 3600.0)).all()


def test_delays_broadcast():
    hours = delay.detour_delay(np.ones((3, 1)), 1.5, np.ones(2), 3600.0)
    assert hours.shape == (3, 2)


@given(counts, times_s, times_s, times_s)
def test_detour_delay_grows_with_detour(count, detour_s, more_s, closure_s):
    short = delay.detour_delay(count, 1.5, detour_s, closure_s)
    assert delay.detour_delay(count, 1.5, detour_s + more_s, closure_s) >= short


@given(counts, times_s)
def test_waiting_delay_is_a_detour_of_half_the_closure(count, closure_s):
    waiting = delay.waiting_delay(count, 1.5, closure_s)
    assert_allclose(waiting, delay.detour_delay(count, 1.5, closure_s / 2, closure_s))
