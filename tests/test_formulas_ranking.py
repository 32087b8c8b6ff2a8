"""Brier score, hits of a list with ties, and of lists drawn at random."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import hypergeom, permutation_test

from culvertrisk.formulas.ranking import (
    brier_score,
    expected_hits,
    random_hits,
    sign_flip_chance,
)

# fifteen pairs of crossed and self-fertilised maize, in eighths of an inch
MAIZE = (49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48)


def test_brier_score_by_hand():
    # (0.3² + 0.3² + 0.1²) / 3
    assert_allclose(brier_score([0.7, 0.3, 0.1], [1, 0, 0]), 0.19 / 3)


def test_brier_score_of_certain_forecasts():
    assert brier_score([1.0, 0.0], [1, 0]) == 0
    assert brier_score([0.0, 1.0], [1, 0]) == 1
    assert np.isnan(brier_score([], []))


@given(
    happened=st.lists(st.integers(0, 1), min_size=1, max_size=30),
    other=st.floats(0, 1),
)
def test_no_single_chance_for_all_beats_their_share(happened, other):
    share = np.mean(happened)
    usual = brier_score(np.full(len(happened), share), happened)
    assert usual <= brier_score(np.full(len(happened), other), happened) + 1e-12


@given(
    score=st.lists(st.integers(0, 2), min_size=4, max_size=5),
    hits=st.lists(st.integers(0, 1), min_size=5, max_size=5),
    count=st.integers(1, 5),
)
def test_hits_are_the_mean_over_all_orders_of_equal_scores(score, hits, count):
    hits = hits[: len(score)]
    found = []
    for order in permutations(range(len(score))):
        ranked = sorted(order, key=lambda i: -score[i])  # a stable sort keeps the order
        found.append(sum(hits[i] for i in ranked[:count]))
    assert_allclose(expected_hits(score, hits, count), np.mean(found))


@pytest.mark.parametrize(("places", "hits", "length"), [(850, 40, 50), (100, 7, 20)])
def test_one_random_list_equals_the_library_distribution(places, hits, length):
    reference = hypergeom(places, hits, length)
    mean, low, high = random_hits([(places, hits, length)], 0.9)
    assert_allclose(mean, reference.mean())
    assert (low, high) == (reference.ppf(0.05), reference.ppf(0.95))


def test_sum_of_random_lists_equals_draws():
    rng = np.random.default_rng(4)
    draws = [(200, 15, 50), (180, 30, 50), (200, 5, 50)]
    sums = sum(rng.hypergeometric(k, n - k, m, 200_000) for n, k, m in draws)
    mean, low, high = random_hits(draws, 0.9)
    assert_allclose(mean, sums.mean(), rtol=5e-3)
    assert (low, high) == tuple(np.quantile(sums, [0.05, 0.95]))


def test_sign_flip_chance_meets_its_source():
    """fisher1935, section 21, from memory: 863 of 32,768 a side reach the sum of 314,
    5.267 % for both."""
    assert sum(MAIZE) == 314
    assert_allclose(sign_flip_chance(MAIZE), 2 * 863 / 32768)


@given(
    differences=st.lists(
        st.integers(-12, 12).map(lambda n: n / 4), min_size=2, max_size=8
    )
)
def test_sign_flip_chance_equals_the_library(differences):
    found = permutation_test(
        (differences, np.zeros(len(differences))),
        lambda x, y: abs(np.sum(x - y)),
        permutation_type="samples",
        alternative="greater",
        n_resamples=np.inf,
    )
    assert_allclose(sign_flip_chance(differences), found.pvalue)


@given(differences=st.lists(st.floats(-9, 9), min_size=1, max_size=9))
def test_sign_flip_chance_has_no_side_no_order_and_a_least(differences):
    chance = sign_flip_chance(differences)
    assert 2.0 ** (1 - len(differences)) <= chance <= 1
    assert sign_flip_chance([-d for d in differences[::-1]]) == chance
    assert sign_flip_chance([*differences, 0.0]) == chance


def test_sign_flip_chance_by_hand():
    # all of n ahead: both ends of 2**n ways
    assert sign_flip_chance(np.ones(6)) == 2 / 64
    assert sign_flip_chance([]) == sign_flip_chance([0.0, 0.0]) == 1
