"""The likelihood of a log of thaws against scipy, what it recovers, how it moves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import approx_fprime
from scipy.special import expit, logit
from scipy.stats import norm

from culvertrisk.formulas.log_model import (
    LogModel,
    LogPrior,
    LogRecord,
    believed_chance,
    calibrated_chance,
    effect_weights,
    fitted_log_model,
    log_likelihood,
)

LOOSE = LogPrior(3.0, 1.0, 1.0, 1.0, 0.5, 1.0, 1.0)
MODEL = LogModel(-0.8, 0.7, 1.2, np.array([0.5, 0.2]))
CHANCE = st.floats(0.001, 0.999)


def _record(places=40, winters=5, seed=1, model=MODEL):
    """A record drawn from a model; some winters not exposed, a page lost in one."""
    rng = np.random.default_rng(seed)
    group = rng.integers(0, len(model.logged_fraction), places)
    chance = expit(rng.normal(-0.5, 1.5, (places, winters)))
    effect = model.effect_spread * rng.normal(size=(places, 1))
    blocked = expit(model.level + model.slope * logit(chance) + effect)
    kept = np.linspace(1.0, 0.7, winters)
    thawed = (
        rng.random(chance.shape)
        < blocked * kept * (model.logged_fraction[group][:, None])
    )
    exposed = rng.random(chance.shape) < 0.9
    return LogRecord(chance, thawed & exposed, exposed, kept, group)


def test_log_likelihood_equals_the_integral_of_the_library():
    record, total = _record(places=12), 0.0
    for place in range(12):

        def density(z, place=place):
            score = MODEL.level + MODEL.slope * logit(record.chance[place])
            blocked = expit(score + MODEL.effect_spread * z)
            logged = MODEL.logged_fraction[record.group[place]]
            thaw = logged * record.kept_fraction * blocked
            happened = np.where(record.is_thawed[place], thaw, 1 - thaw)
            return norm.pdf(z) * happened[record.is_exposed[place]].prod()

        total += np.log(quad(density, -8, 8)[0])
    assert_allclose(log_likelihood(record, MODEL, 2)[0], total, rtol=1e-6)


def test_slope_of_the_log_likelihood_equals_differences():
    record = _record()

    def value(t):
        logged = expit(t[3] + t[4:])
        model = LogModel(t[0], np.exp(t[1]), np.exp(t[2]), logged)
        return log_likelihood(record, model, 2)[0]

    at = np.array([-0.8, -0.3, 0.2, 0.1, 0.4, -0.6])
    model = LogModel(at[0], np.exp(at[1]), np.exp(at[2]), expit(at[3] + at[4:]))
    slope = log_likelihood(record, model, 2)[1]
    assert_allclose(slope, approx_fprime(at, value, 1e-6), rtol=1e-3, atol=1e-3)


def test_fit_recovers_what_a_large_log_was_drawn_with():
    true = LogModel(-0.8, 0.7, 1.2, np.array([0.5, 0.2]))
    fit = fitted_log_model(
        _record(places=3000, winters=8, model=true), LOOSE, is_calibrated=True
    )
    # level and logging are told apart by the penalty only: their product must be right
    assert_allclose(fit.slope, 0.7, atol=0.1)
    assert_allclose(fit.effect_spread, 1.2, atol=0.2)
    assert_allclose(fit.logged_fraction[1] / fit.logged_fraction[0], 0.4, atol=0.06)
    mean = (calibrated_chance(0.3, fit) * fit.logged_fraction[0]).item()
    expected = (calibrated_chance(0.3, true) * 0.5).item()
    assert_allclose(mean, expected, rtol=0.1)


def test_uncalibrated_fit_leaves_the_physics_alone():
    fit = fitted_log_model(_record(), LOOSE, is_calibrated=False)
    assert (fit.level, fit.slope) == (0.0, 1.0)


def test_nothing_logged_keeps_to_the_penalties():
    record = _record()
    none = LogRecord(
        record.chance,
        np.zeros_like(record.is_thawed),
        np.zeros_like(record.is_exposed),
        record.kept_fraction,
        record.group,
    )
    fit = fitted_log_model(none, LOOSE, is_calibrated=True)
    assert_allclose([fit.level, fit.slope, *fit.logged_fraction], [0, 1, 0.5, 0.5])


@given(place=st.integers(0, 39), winter=st.integers(0, 4))
def test_one_more_logged_thaw_never_lowers_the_belief(place, winter):
    record = _record()
    more = record.is_thawed.copy()
    more[place, winter] = True
    richer = LogRecord(
        record.chance, more, record.is_exposed, record.kept_fraction, record.group
    )
    less = believed_chance(record.chance[:, 0], effect_weights(record, MODEL), MODEL)
    now = believed_chance(record.chance[:, 0], effect_weights(richer, MODEL), MODEL)
    assert (now >= less - 1e-12).all()


@given(low=CHANCE, high=CHANCE, level=st.floats(-4, 4), slope=st.floats(0.1, 3))
def test_calibrated_chance_never_falls_with_the_chance(low, high, level, slope):
    model = LogModel(level, slope, 1.3, np.array([0.5]))
    low, high = sorted([low, high])
    first, second = calibrated_chance([low, high], model)
    assert 0 <= first <= second + 1e-12 <= 1 + 1e-12


def test_certain_stays_certain_and_unknown_unknown():
    calibrated = calibrated_chance([0.0, 1.0, np.nan], MODEL)
    assert_allclose(calibrated, [0.0, 1.0, np.nan])


def test_weights_of_a_place_without_a_winter_are_those_of_anybody():
    record = _record()
    blind = LogRecord(
        record.chance,
        record.is_thawed,
        np.zeros_like(record.is_exposed),
        record.kept_fraction,
        record.group,
    )
    believed = believed_chance(record.chance[:, 0], effect_weights(blind, MODEL), MODEL)
    assert_allclose(believed, calibrated_chance(record.chance[:, 0], MODEL))


@pytest.mark.parametrize("shape", [(3,), (3, 2)])
def test_chance_of_places_and_of_places_by_winters_are_both_taken(shape):
    weights = np.full((3, 15), 1 / 15)
    assert believed_chance(np.full(shape, 0.4), weights, MODEL).shape == shape
