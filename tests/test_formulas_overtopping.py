"""Return period of a capacity and floods a year, by hand and as they move."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from culvertrisk.formulas import overtopping
from tests.published import published

YEARS = (2.0, 10.0, 25.0, 50.0, 100.0)
LOG_MEAN, LOG_SPREAD = 0.3, 0.7


def _log_normal_peaks():
    deviates = stats.norm.ppf(1 - 1 / np.asarray(YEARS))
    return np.exp(LOG_MEAN + LOG_SPREAD * deviates)[None, :]


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("peak_of_return"))
def test_peak_of_return_meets_source(inputs, expected, atol):
    ours = overtopping.peak_of_return(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("limiting_return_years")
)
def test_limiting_return_years_meets_source(inputs, expected, atol):
    ours = overtopping.limiting_return_years(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("floods_per_year"))
def test_floods_per_year_meets_source(inputs, expected, atol):
    assert_allclose(overtopping.floods_per_year(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("season_blocked_chance")
)
def test_season_blocked_chance_meets_source(inputs, expected, atol):
    ours = overtopping.season_blocked_chance(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("overtopping_per_year")
)
def test_overtopping_per_year_meets_source(inputs, expected, atol):
    ours = overtopping.overtopping_per_year(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@given(capacity=st.floats(0.05, 30))
def test_return_period_of_a_capacity_is_that_of_the_log_normal_law(capacity):
    """Peaks laid on a log-normal law, within and beyond the curve's ends."""
    below = stats.lognorm.cdf(capacity, LOG_SPREAD, scale=np.exp(LOG_MEAN))
    peaks = _log_normal_peaks()
    years = overtopping.limiting_return_years([capacity], YEARS, peaks)
    assert_allclose(years, 1 / (1 - below), rtol=1e-6)


@given(asked=st.floats(1.2, 400))
def test_peak_and_return_period_are_each_others_inverse(asked):
    peaks = np.array([[0.4, 1.1, 1.3, 2.2, 2.9]])
    peak_m3s = overtopping.peak_of_return(asked, YEARS, peaks)
    years = overtopping.limiting_return_years(peak_m3s, YEARS, peaks)
    assert_allclose(years, asked, rtol=1e-6)


def test_a_larger_capacity_holds_a_rarer_storm():
    peaks = np.repeat(_log_normal_peaks(), 40, axis=0)
    years = overtopping.limiting_return_years(np.geomspace(0.3, 9, 40), YEARS, peaks)
    assert (np.diff(years) > 0).all()
    assert (np.diff(overtopping.floods_per_year(years)) < 0).all()


@given(
    open_per_year=st.floats(0, 3),
    more=st.floats(0, 50),
    blocked=st.floats(0, 0.9),
    season=st.floats(0, 1),
    thaws=st.floats(0, 5),
)
def test_ice_never_makes_floods_fewer(open_per_year, more, blocked, season, thaws):
    iced = open_per_year + more
    rates = overtopping.overtopping_per_year(
        open_per_year, iced, [0.0, blocked, blocked + 0.1], season, thaws
    )
    assert_allclose(rates[0], open_per_year)
    assert (np.diff(rates) >= -1e-12).all()


def test_a_curve_of_no_water_has_no_return_period():
    years = overtopping.limiting_return_years([1.0], YEARS, [[0.0] * 5])
    assert np.isnan(years).all()


def test_missing_values_stay_missing():
    nan = np.nan
    peaks = np.repeat(_log_normal_peaks(), 2, axis=0)
    peaks[0] = nan
    assert np.isnan(overtopping.limiting_return_years([1.0, nan], YEARS, peaks)).all()
    assert np.isnan(overtopping.peak_of_return([10.0, nan], YEARS, peaks)).all()
    assert np.isnan(overtopping.floods_per_year([nan])).all()
    assert np.isnan(overtopping.season_blocked_chance([[nan, 0.1]], [1.0, 1.0])).all()
    rates = overtopping.overtopping_per_year([nan, 0.1], 1.0, [0.1, nan], 0.5, 1.0)
    assert np.isnan(rates).all()
