"""Empirical Bayes weights, counts, and the overdispersion by maximum likelihood."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import nbinom

from culvertrisk.formulas import bayes
from tests.published import published

COUNT = st.floats(0, 50)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("expected_weight"))
def test_expected_weight_meets_source(inputs, expected, atol):
    assert_allclose(bayes.expected_weight(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("empirical_bayes_count")
)
def test_empirical_bayes_count_meets_source(inputs, expected, atol):
    assert_allclose(bayes.empirical_bayes_count(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("corrected_chance"))
def test_corrected_chance_meets_source(inputs, expected, atol):
    assert_allclose(bayes.corrected_chance(**inputs), expected, rtol=0, atol=atol)


@rules(deadline=None)
@given(expected=COUNT, logged=COUNT, overdispersion=st.floats(0, 10))
def test_believed_count_lies_between_model_and_log(expected, logged, overdispersion):
    believed = bayes.empirical_bayes_count(expected, logged, overdispersion)
    low, high = sorted([expected, logged])
    assert low - 1e-9 <= believed <= high + 1e-9


@rules(deadline=None)
@given(
    count=st.integers(0, 40),
    mean=st.floats(0.01, 30),
    overdispersion=st.floats(0.01, 9),
)
def test_log_chance_equals_the_library_negative_binomial(count, mean, overdispersion):
    shape = 1 / overdispersion
    reference = nbinom.logpmf(count, shape, shape / (shape + mean))
    ours = bayes.negative_binomial_log_chance(count, mean, overdispersion)
    assert_allclose(ours, reference, rtol=1e-6, atol=1e-8)


def test_fitted_overdispersion_finds_the_one_the_counts_were_drawn_with():
    draw = np.random.default_rng(11)
    mean = draw.uniform(0.2, 4.0, 4000)
    shape = 1 / 1.5
    count = draw.negative_binomial(shape, shape / (shape + mean))
    # standard error of the fit at this size is about 0.06
    assert abs(bayes.fitted_overdispersion(count, mean) - 1.5) < 0.2


def test_fitted_overdispersion_is_the_top_of_the_library_likelihood():
    count, mean = np.array([0, 0, 1, 7, 2, 0, 5]), np.array([1, 2, 1, 2, 2, 0.5, 1.0])
    grid = np.geomspace(0.05, 20, 4000)
    shape = 1 / grid[:, None]
    likelihood = nbinom.logpmf(count, shape, shape / (shape + mean)).sum(axis=1)
    best = grid[likelihood.argmax()]
    assert_allclose(bayes.fitted_overdispersion(count, mean), best, rtol=5e-3)


def test_fitted_overdispersion_without_a_place_is_unknown():
    assert np.isnan(bayes.fitted_overdispersion([np.nan, 1.0], [1.0, 0.0]))


@rules(deadline=None)
@given(chance=st.floats(0, 1), factor=st.floats(0.001, 1000))
def test_corrected_chance_is_a_chance_and_moves_with_the_factor(chance, factor):
    corrected = bayes.corrected_chance(chance, factor)
    assert 0 <= corrected <= 1
    assert (corrected >= chance - 1e-12) if factor >= 1 else corrected <= chance + 1e-12
