"""Time of a flood above a capacity: known answers and how it moves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas.consequence import time_over_capacity
from tests.published import published


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("time_over_capacity")
)
def test_time_over_capacity_meets_source(inputs, expected, atol):
    assert_allclose(time_over_capacity(**inputs), expected, rtol=0, atol=atol)


@given(st.floats(0, 50), st.floats(0, 50), st.floats(0, 50), st.floats(60, 1e5))
def test_more_water_is_longer_over_the_road_and_never_longer_than_the_flood(
    peak_m3s, more_m3s, capacity_m3s, base_s
):
    peaks = np.array([peak_m3s, peak_m3s + more_m3s])
    less, more = time_over_capacity(peaks, capacity_m3s, base_s)
    assert 0 <= less <= more <= base_s
    assert time_over_capacity(peak_m3s, capacity_m3s + 1, base_s) <= less


def test_missing_values_stay_missing():
    nan = np.nan
    found = time_over_capacity([nan, 1.0, 1.0], [1.0, nan, 1.0], [1.0, 1.0, nan])
    assert np.isnan(found).all()
