"""The likelihood of a log of thaws against scipy, what it recovers, how it moves."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial.hermite_e import hermegauss
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import approx_fprime
from scipy.special import expit
from scipy.stats import norm

from culvertrisk.formulas.fragility_trials import (
    MEDIAN_FACTORS,
    SPREAD_FACTORS,
    at_factors,
    levelled_chance,
    slopes_at_factors,
)
from culvertrisk.formulas.log_model import (
    believed_chance,
    effect_weights,
    empty_log_chance,
    log_likelihood,
    logged_shares,
)
from culvertrisk.formulas.log_model_fit import fitted_log_model
from culvertrisk.formulas.log_record import Callers, LogModel, LogPrior, LogRecord

LOOSE = LogPrior(1.5, 1.0, 1.0, 1.0, 1.0, 0.5, 1.0, 1.0, 0.1, 1.5, 1.5)
MODEL = LogModel(1.6, 0.7, 0.8, 0.9, np.array([0.5, 0.2]))
CHANCE = st.floats(0.001, 0.999)
USUAL = hermegauss(15)[1] / hermegauss(15)[1].sum()


def _deviates(ratio):
    """Normal deviates of a lognormal fragility at the trial factors, median 1."""
    median = MEDIAN_FACTORS[:, None, None, None]
    return np.log(ratio / median) / (0.6 * SPREAD_FACTORS[:, None, None])


def _record(places=40, winters=5, seed=1, model=MODEL):
    """A record drawn from a model; some winters not exposed, a page lost in one."""
    rng = np.random.default_rng(seed)
    group = rng.integers(0, len(model.logged_fraction), places)
    ratio = np.exp(rng.normal(-0.3, 0.7, (places, winters)))
    tau = model.effect_spread
    own = norm.ppf(_chance(ratio, model))
    effect = tau * rng.normal(size=(places, 1))
    blocked = norm.cdf(np.sqrt(1 + tau**2) * own + effect)
    kept = np.linspace(1.0, 0.7, winters)
    thawed = (
        rng.random(ratio.shape)
        < blocked * kept * (model.logged_fraction[group][:, None])
    )
    exposed = rng.random(ratio.shape) < 0.9
    return LogRecord(_deviates(ratio), thawed & exposed, exposed, kept, group)


def _factors(model):
    return model.median_factor, model.spread_factor, model.level


def _chance(ratio, model):
    closed = norm.cdf(np.log(ratio / model.median_factor) / (0.6 * model.spread_factor))
    return 1 - (1 - closed) ** model.level


def _at(record, model):
    return at_factors(record.deviate, *_factors(model))


def test_log_likelihood_equals_the_integral_of_the_library():
    record, total = _record(places=12), 0.0
    for place in range(12):

        def density(z, place=place):
            score = np.sqrt(1 + MODEL.effect_spread**2) * _at(record, MODEL)[place]
            blocked = norm.cdf(score + MODEL.effect_spread * z)
            logged = MODEL.logged_fraction[record.group[place]]
            thaw = logged * record.kept_fraction * blocked
            happened = np.where(record.is_thawed[place], thaw, 1 - thaw)
            return norm.pdf(z) * happened[record.is_exposed[place]].prod()

        total += np.log(quad(density, -8, 8)[0])
    assert_allclose(log_likelihood(record, MODEL, 2)[0], total, rtol=1e-6)


def test_slope_of_the_log_likelihood_equals_differences():
    record = _record()

    def value(t):
        logged = expit(t[4] + t[5:])
        model = LogModel(*np.exp(t[:4]), logged)
        return log_likelihood(record, model, 2)[0]

    at = np.array([0.4, -0.3, -0.7, 0.2, 0.1, 0.4, -0.6])
    model = LogModel(*np.exp(at[:4]), expit(at[4] + at[5:]))
    slope = log_likelihood(record, model, 2)[1]
    assert_allclose(slope, approx_fprime(at, value, 1e-6), rtol=1e-3, atol=1e-3)


def test_fit_recovers_what_a_large_log_was_drawn_with():
    fit = fitted_log_model(_record(places=3000, winters=8), LOOSE, is_calibrated=True)
    # level and logging are told apart by the penalty only: their product must be right
    assert_allclose(fit.spread_factor, MODEL.spread_factor, rtol=0.15)
    assert_allclose(fit.effect_spread, MODEL.effect_spread, rtol=0.15)
    assert_allclose(fit.logged_fraction[1] / fit.logged_fraction[0], 0.4, atol=0.06)
    means = [_chance(0.8, m) * m.logged_fraction[0] for m in (fit, MODEL)]
    assert_allclose(means[0], means[1], rtol=0.1)


def test_uncalibrated_fit_leaves_the_physics_alone():
    fit = fitted_log_model(_record(), LOOSE, is_calibrated=False)
    assert _factors(fit) == (1.0, 1.0, 1.0)


def test_nothing_logged_keeps_to_the_penalties():
    record = replace(_record(), is_exposed=np.zeros((40, 5), dtype=bool))
    fit = fitted_log_model(record, LOOSE, is_calibrated=True)
    found = [*_factors(fit), *fit.logged_fraction]
    assert_allclose(found, [1, 1, 1, 0.5, 0.5])


@given(place=st.integers(0, 39), winter=st.integers(0, 4))
def test_one_more_logged_thaw_never_lowers_the_belief(place, winter):
    record = _record()
    more = record.is_thawed.copy()
    more[place, winter] = True
    richer = replace(record, is_thawed=more)
    chance = norm.cdf(_at(record, MODEL)[:, 0])
    less = believed_chance(chance, effect_weights(record, MODEL), MODEL)
    now = believed_chance(chance, effect_weights(richer, MODEL), MODEL)
    assert (now >= less - 1e-12).all()


@given(low=CHANCE, high=CHANCE, node=st.integers(0, 14))
def test_believed_chance_never_falls_with_the_chance(low, high, node):
    weights = np.tile(0.5 * USUAL + 0.5 * np.eye(15)[node], (2, 1))
    first, second = believed_chance(sorted([low, high]), weights, MODEL)
    assert 0 <= first <= second + 1e-12 <= 1 + 1e-12


def test_certain_stays_certain_and_unknown_unknown():
    believed = believed_chance([0.0, 1.0, np.nan], np.tile(USUAL, (3, 1)), MODEL)
    assert_allclose(believed, [0.0, 1.0, np.nan])


@given(chance=CHANCE, tau=st.floats(0.01, 1.5))
def test_places_that_look_alike_have_the_models_chance_on_average(chance, tau):
    model = LogModel(1.0, 1.0, 1.0, tau, np.array([0.5]))
    believed = believed_chance([chance], USUAL[None, :], model)
    assert_allclose(believed, chance, atol=0.01)


def test_weights_of_a_place_without_a_winter_are_those_of_anybody():
    blind = replace(_record(), is_exposed=np.zeros((40, 5), dtype=bool))
    assert_allclose(effect_weights(blind, MODEL), np.tile(USUAL, (40, 1)))


@pytest.mark.parametrize("shape", [(3,), (3, 2)])
def test_chance_of_places_and_of_places_by_winters_are_both_taken(shape):
    weights = np.full((3, 15), 1 / 15)
    assert believed_chance(np.full(shape, 0.4), weights, MODEL).shape == shape


def test_trials_are_met_exactly_and_read_smoothly_between():
    ratio = np.array([[0.05, 0.4], [1.0, 3.0]])
    trials = _deviates(ratio)
    for i, median in enumerate(MEDIAN_FACTORS):
        for j, spread in enumerate(SPREAD_FACTORS):
            assert_allclose(at_factors(trials, median, spread), trials[i, j])
    between = at_factors(trials, 1.7, 0.8)
    assert_allclose(between, np.log(ratio / 1.7) / (0.6 * 0.8))


@pytest.mark.parametrize("level", [0.3, 1.0, 2.5])
def test_level_multiplies_how_many_mechanisms_are_at_work(level):
    """One pipe open with the chance 1 - p stays so with (1 - p)**level."""
    trials = _deviates(np.array([[0.1, 0.5], [0.9, 2.0]]))
    open_once = 1 - norm.cdf(at_factors(trials, 1.2, 0.9))
    open_now = 1 - norm.cdf(at_factors(trials, 1.2, 0.9, level))
    assert_allclose(open_now, open_once**level, rtol=1e-9)


@pytest.mark.parametrize(("level", "spread"), [(0.35, 0.0), (2.0, 0.0), (0.35, 0.7)])
def test_level_moves_what_is_guessed_and_not_what_is_recorded(level, spread):
    """The fit and the day itself must say the same: one rule for both."""
    guessed = _deviates(np.array([[0.1, 0.5], [0.9, 2.0]]))
    recorded = _deviates(np.array([[0.6, 0.01], [1.5, 0.3]]))
    both = np.stack([guessed, recorded])
    g, r = (norm.cdf(at_factors(kind, 1.2, 0.9)) for kind in both)
    found = norm.cdf(at_factors(both, 1.2, 0.9, level, spread))
    assert_allclose(found, levelled_chance(g, level, spread, r), rtol=1e-9)
    assert (found > r).all()
    alone = norm.cdf(at_factors(guessed, 1.2, 0.9, level, spread))
    assert_allclose(1 - found, (1 - r) * (1 - alone), rtol=1e-9)


@pytest.mark.parametrize("spread", [0.0, 0.7])
def test_slopes_with_what_is_recorded_are_those_of_small_steps(spread):
    both = np.stack(
        [
            _deviates(np.array([[0.1, 0.5], [0.9, 2.0]])),
            _deviates(np.array([[0.6, 0.01], [1.5, 0.3]])),
        ]
    )
    at, step = np.array([1.1, 0.9, 0.4]), 1e-5
    _, *slopes = slopes_at_factors(both, *at, spread)
    for which, slope in enumerate(slopes):
        ahead, back = (
            at_factors(both, *(at * np.exp(sign * step * np.eye(3)[which])), spread)
            for sign in (1, -1)
        )
        assert_allclose(slope, (ahead - back) / (2 * step), rtol=1e-4, atol=1e-7)


@pytest.mark.parametrize("spread", [0.3, 0.7, 1.0])
def test_chance_at_an_unsure_level_equals_the_integral_of_the_library(spread):
    chance = np.array([0.0, 0.02, 0.3, 0.9, 0.999, 1.0])

    def mean(p):
        open_log = np.log1p(-p) if p < 1 else -np.inf
        return quad(
            lambda z: norm.pdf(z) * -np.expm1(0.35 * np.exp(spread * z) * open_log),
            *(-8, 8),
        )[0]

    found = levelled_chance(chance, 0.35, spread)
    assert_allclose(found, [mean(p) for p in chance], atol=2e-3)
    assert_allclose(found[[0, -1]], [0.0, 1.0])


def test_level_that_is_known_is_a_power_of_the_open_chance():
    assert_allclose(levelled_chance([0.19, np.nan], 0.5), [0.1, np.nan])


@given(low=CHANCE, high=CHANCE, spread=st.floats(0, 1.5))
def test_levelled_chance_never_falls_with_the_chance(low, high, spread):
    first, second = levelled_chance(sorted([low, high]), 0.35, spread)
    assert 0 <= first <= second + 1e-12 <= 1 + 1e-12


def test_deviates_at_an_unsure_level_are_those_of_the_mean_chance():
    trials = _deviates(np.array([[0.1, 0.5], [0.9, 2.0]]))
    known = norm.cdf(at_factors(trials, 1.2, 0.9))
    unsure = norm.cdf(at_factors(trials, 1.2, 0.9, 0.4, 0.7))
    assert_allclose(unsure, levelled_chance(known, 0.4, 0.7), rtol=1e-9)


CALLED = LogModel(1.6, 0.7, 0.8, 0.9, np.array([0.35, 0.15]), 0.0, -0.5, 0.9)


def _told_record(places, winters=8, seed=2, model=CALLED):
    """A record in which who called is written, drawn from a known effect of homes."""
    rng = np.random.default_rng(seed)
    record = _record(places, winters, seed, replace(MODEL, logged_fraction=np.ones(2)))
    homes = np.log1p(rng.poisson(rng.choice([0.2, 3.0, 15.0], places)))
    near = homes - homes.mean()
    size = record.is_thawed.shape
    by_round = rng.random(size) < model.logged_fraction[record.group][:, None]
    odds = model.called_odds + model.near_odds * near
    by_call = rng.random(size) < expit(odds)[:, None]
    thawed = record.is_thawed & (by_round | by_call)
    called = np.where(thawed, (~by_round).astype(float), np.nan)
    called[rng.random(size) < 0.3] = np.nan  # nobody wrote it down
    return replace(record, is_thawed=thawed, callers=Callers(called, near))


def test_slope_with_callers_and_an_unsure_level_equals_differences():
    record = _told_record(60)

    def model_at(t):
        logged = expit(t[4] + t[5:7])
        return LogModel(*np.exp(t[:4]), logged, 0.7, t[7], t[8])

    at = np.array([0.4, -0.3, -0.7, 0.2, 0.1, 0.4, -0.6, -1.0, 0.5])
    slope = log_likelihood(record, model_at(at), 2)[1]
    by_steps = approx_fprime(
        at, lambda t: log_likelihood(record, model_at(t), 2)[0], 1e-6
    )
    assert_allclose(slope, by_steps, rtol=1e-3, atol=1e-3)


def _called_share(model, near):
    """Of the thaws logged those called for, by group: what a log can tell."""
    own, called = (
        model.logged_fraction,
        expit(model.called_odds + model.near_odds * near),
    )
    return (1 - own) * called / (1 - (1 - own) * (1 - called))


@pytest.mark.parametrize("near_odds", [0.0, 0.9])
def test_fit_recovers_a_known_effect_of_who_lives_near(near_odds):
    """A made log, no town: homes near bring calls, and the fit must find how many."""
    truth = replace(CALLED, near_odds=near_odds)
    fit = fitted_log_model(
        _told_record(1500, 6, model=truth), LOOSE, is_calibrated=True
    )
    assert_allclose(fit.near_odds, near_odds, atol=0.2)
    for near in (-1.0, 1.5):
        expected = _called_share(truth, near)
        assert_allclose(_called_share(fit, near), expected, atol=0.06)


def test_without_callers_the_shares_are_those_of_the_groups():
    record = _record()
    assert_allclose(logged_shares(record, MODEL), MODEL.logged_fraction[record.group])


def test_more_dwellings_near_never_lower_the_share_logged_where_they_call():
    record = _told_record(50)
    order = np.argsort(record.callers.near)
    for group in (0, 1):
        at = order[record.group[order] == group]
        assert (np.diff(logged_shares(record, CALLED)[at]) >= 0).all()


def test_chance_of_an_empty_log_equals_the_integral_of_the_library():
    record = _record(places=6)
    for place in range(6):
        deviate = np.sqrt(1 + MODEL.effect_spread**2) * _at(record, MODEL)[place]
        share = MODEL.logged_fraction[record.group[place]] * record.kept_fraction
        seen = record.is_exposed[place]

        def density(z, deviate=deviate, share=share, seen=seen):
            blocked = norm.cdf(deviate + MODEL.effect_spread * z)
            return norm.pdf(z) * (1 - share * blocked)[seen].prod()

        expected = quad(density, -8, 8)[0]
        assert_allclose(empty_log_chance(record, MODEL)[place], expected, rtol=1e-6)


def test_uncalibrated_chances_are_averages_over_the_level():
    fit = fitted_log_model(_record(), LOOSE, is_calibrated=False)
    assert fit.level_spread == LOOSE.level_spread
    calibrated = fitted_log_model(_record(), LOOSE, is_calibrated=True)
    assert calibrated.level_spread == 0
