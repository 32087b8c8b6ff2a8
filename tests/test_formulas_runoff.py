"""Rational method, storms and chances against their sources, and how they move."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import frequency, runoff
from culvertrisk.tables import table
from tests.published import published

YEARS = (2.0, 10.0, 50.0)
HOUR_RAIN_M = (0.025, 0.041, 0.058)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("flow_rational"))
def test_flow_rational_meets_source(inputs, expected, atol):
    assert_allclose(runoff.flow_rational(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("concentration_kirpich")
)
def test_concentration_kirpich_meets_source(inputs, expected, atol):
    assert_allclose(runoff.concentration_kirpich(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("storm_rain"))
def test_storm_rain_meets_source(inputs, expected, atol):
    ours = runoff.storm_rain(**inputs, return_years=YEARS, rain_m=HOUR_RAIN_M)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("rain_duration_ratio")
)
def test_rain_duration_ratio_meets_source(inputs, expected, atol):
    assert_allclose(runoff.rain_duration_ratio(**inputs), expected, rtol=0, atol=atol)


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
    rain_m = runoff.storm_rain([1.0, 200.0], YEARS, HOUR_RAIN_M)
    assert np.isnan(rain_m).all()


def test_longer_and_flatter_paths_take_longer():
    time_s = runoff.concentration_kirpich([100.0, 400.0, 400.0], [0.05, 0.05, 0.01])
    assert (np.diff(time_s) > 0).all()


def test_missing_values_stay_missing():
    nan = np.nan
    assert np.isnan(runoff.flow_rational([nan, 1e4], [1e-5, nan], 0.3)).all()
    assert np.isnan(runoff.concentration_kirpich([nan, 400.0], [0.02, nan])).all()
    assert np.isnan(runoff.storm_rain([nan], YEARS, HOUR_RAIN_M)).all()
    assert np.isnan(runoff.rain_duration_ratio([nan])).all()
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
