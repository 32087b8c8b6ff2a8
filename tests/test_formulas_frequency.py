"""Frequency factors, risk and mean damage against their sources and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from culvertrisk.formulas import frequency
from tests.published import published

CHANCES = (0.5, 0.1, 0.02, 0.01)
DAMAGE = (0.0, 50e3, 200e3, 350e3)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("gumbel_factor"))
def test_gumbel_factor_meets_source(inputs, expected, atol):
    assert_allclose(frequency.gumbel_factor(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("log_pearson_factor")
)
def test_log_pearson_factor_meets_source(inputs, expected, atol):
    assert_allclose(frequency.log_pearson_factor(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("annual_exceedance_chance")
)
def test_annual_exceedance_chance_meets_source(inputs, expected, atol):
    ours = frequency.annual_exceedance_chance(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("partial_return_years")
)
def test_partial_return_years_meets_source(inputs, expected, atol):
    ours = frequency.partial_return_years(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("chance_over_years"))
def test_chance_over_years_meets_source(inputs, expected, atol):
    assert_allclose(frequency.chance_over_years(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("expected_annual_damage")
)
def test_expected_annual_damage_meets_source(inputs, expected, atol):
    ours = frequency.expected_annual_damage(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@given(skew=st.floats(-3, 3), years=st.floats(1.05, 500))
def test_log_pearson_factor_is_that_of_scipy(skew, years):
    expected = stats.pearson3.ppf(1 - 1 / years, skew)
    ours = frequency.log_pearson_factor(skew, years)
    assert_allclose(ours, expected, rtol=1e-4, atol=2e-3)


@given(years=st.floats(1.01, 1000))
def test_gumbel_factor_is_that_of_scipy(years):
    reduced = stats.gumbel_r.ppf(1 - 1 / years)
    expected = (reduced - stats.gumbel_r.mean()) / stats.gumbel_r.std()
    assert_allclose(frequency.gumbel_factor(years), expected, rtol=1e-6, atol=1e-9)


@given(years=st.floats(1.05, 1000))
def test_partial_and_annual_series_are_each_others_inverse(years):
    partial = frequency.partial_return_years(years)
    assert partial < years
    chance = frequency.annual_exceedance_chance(partial)
    assert_allclose(1 / chance, years, rtol=1e-9)


def test_more_damage_and_a_held_tail_cost_more():
    more = np.add(DAMAGE, [[0.0], [1.0]])
    damage = frequency.expected_annual_damage(CHANCES, more)
    assert damage.shape == (2,)
    assert damage[1] > damage[0]
    assert damage[0] > frequency.expected_annual_damage(CHANCES, DAMAGE, False)


def test_missing_values_stay_missing():
    nan = np.nan
    assert np.isnan(frequency.gumbel_factor([nan])).all()
    assert np.isnan(frequency.log_pearson_factor([nan, 0.5], [10.0, nan])).all()
    assert np.isnan(frequency.annual_exceedance_chance([nan])).all()
    assert np.isnan(frequency.partial_return_years([nan])).all()
    assert np.isnan(frequency.chance_over_years([nan, 0.1], [3.0, nan])).all()
    assert np.isnan(frequency.expected_annual_damage(CHANCES, [0.0, nan, 1.0, 2.0]))


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("lognormal_quantile")
)
def test_lognormal_quantile_meets_source(inputs, expected, atol):
    ours = frequency.lognormal_quantile(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


def test_lognormal_quantile_turns_the_chance_round():
    """What is not passed in nine cases of ten is passed in one."""
    chances = np.array([0.05, 0.1, 0.5, 0.9])
    values = frequency.lognormal_quantile(3.0, chances, 0.4)
    passed = frequency.exceedance_chance(3.0, values, 0.4)
    assert_allclose(passed, 1 - chances)
    assert np.isnan(frequency.lognormal_quantile([np.nan], 0.9, 0.4)).all()


@given(st.lists(st.floats(0, 4), min_size=3, max_size=3, unique=True))
def test_each_row_may_have_its_own_chances(rates):
    rates = sorted(rates, reverse=True)
    chances, damage = np.array([rates, CHANCES[:3]]), np.array([[1.0, 2.0, 4.0]] * 2)
    both = frequency.expected_annual_damage(chances, damage)
    each = [
        frequency.expected_annual_damage(row, damage[0]) for row in (rates, CHANCES[:3])
    ]
    assert_allclose(both, each)
