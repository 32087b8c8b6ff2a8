"""Blocks behind a log of thaws: what the log says of the model and of each place."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit, ndtr, ndtri

from culvertrisk.formulas.fragility_trials import (
    MEDIAN_REACH,
    SPREAD_REACH,
    at_factors,
    slopes_at_factors,
)

Floats = NDArray[np.float64]

EFFECT_POINTS_COUNT = 15  # nodes of the Gauss-Hermite rule
_TINY = 1e-200  # in the fit only: what is as unlikely as this has a logarithm still
_REACH = 4.0  # standard deviations of the penalties that the fit may go
_NODES, _RAW = np.polynomial.hermite_e.hermegauss(EFFECT_POINTS_COUNT)
_NODE_WEIGHTS = _RAW / _RAW.sum()


@dataclass(frozen=True)
class LogRecord:
    """What is known of n places over w winters, and in which of g groups they lie.

    ``deviate`` is the normal deviate of the model's chance for a grid of trial
    fragilities, shape (5, 5, n, w): see ``fragility_trials``. ``is_thawed`` tells
    winters with a thaw logged, ``is_exposed`` those that count; ``kept_fraction``,
    shape (w,), is the share of a winter's log that was not lost; ``group``, shape
    (n,), is 0 to g - 1.
    """

    deviate: Floats
    is_thawed: NDArray[np.bool_]
    is_exposed: NDArray[np.bool_]
    kept_fraction: Floats
    group: NDArray[np.intp]


@dataclass(frozen=True)
class LogModel:
    """What is fitted; ``level`` is the factor on how many mechanisms are at work."""

    median_factor: float
    spread_factor: float
    level: float
    effect_spread: float
    logged_fraction: Floats


@dataclass(frozen=True)
class LogPrior:
    """What holds the fit where the log says little; spreads are of logarithms.

    ``median_spread`` and ``factor_spread`` are of the two factors on the fragility,
    ``level_spread`` of the level, ``logged_spread`` and ``group_spread`` of the
    log-odds of being logged: of the town and of a group about its town.
    """

    median_spread: float
    factor_spread: float
    level_spread: float
    effect_spread: float
    effect_spread_spread: float
    logged_fraction: float
    logged_spread: float
    group_spread: float


def fitted_log_model(
    record: LogRecord, prior: LogPrior, *, is_calibrated: bool
) -> LogModel:
    r"""Fit a log of thaws by penalised maximum likelihood.

    .. math:: P(y_{iw}=1 \mid z_i) = c_w \, \ell_{g(i)} \,
              \Phi\left(\sqrt{1 + \tau^2} \, q_{iw}(m, s, \lambda) + \tau z_i\right),
              \quad z_i \sim N(0, 1)

    Parameters
    ----------
    record : LogRecord
        Of n places, w winters and g groups; places without an exposed winter
        take no part.
    prior : LogPrior
        Normal penalties on ln m, ln s, ln level, ln tau and the log-odds of every l.
    is_calibrated : bool
        False holds m, s and the level at 1: the model's own.

    Returns
    -------
    model : LogModel
        Factors m on the median closing ratio and s on the spread of the fragility,
        the level lambda, effect_spread tau, and l of each group, shape (g,).

    Notes
    -----
    q is the normal deviate of the chance with that fragility. Averaged over places
    that look alike the chance is the model's own: tau only parts what differs from
    place to place from what differs from winter to winter. A block is logged with
    the chance l of its group (where crews go), less in winters of which a share
    1 - c is lost. The log alone cannot tell few blocks, all logged, from many,
    seldom logged: the level rests on the penalties and on ``prior.logged_fraction``.
    Integrated over z by Gauss-Hermite, 15 nodes. No published example exists:
    checked against scipy's quadrature and by recovery.

    References
    ----------
    definition, likelihood of a Bernoulli record with a normal random effect.

    Examples
    --------
    >>> trials = np.linspace(1, -2, 5)[:, None, None, None] * np.ones((5, 5, 60, 4))
    >>> record = LogRecord(trials, np.zeros((60, 4), bool),
    ...     np.ones((60, 4), bool), np.ones(4), np.zeros(60, int))
    >>> prior = LogPrior(0.7, 0.5, 0.7, 0.6, 1.0, 0.5, 0.7, 1.0)
    >>> fitted_log_model(record, prior, is_calibrated=True).median_factor > 1
    True
    """
    groups = int(record.group.max(initial=0)) + 1
    centre = _centre(prior, groups)
    spread = _spread(prior, groups)

    def loss(unknowns: Floats) -> tuple[float, Floats]:
        away = (unknowns - centre) / spread
        value, slope = log_likelihood(record, _model(unknowns), groups)
        return float((away**2).sum() / 2 - value), away / spread - slope

    reach = _REACH * spread
    reach[:2] = MEDIAN_REACH, SPREAD_REACH
    reach[:3] *= is_calibrated
    bounds = list(zip(centre - reach, centre + reach, strict=True))
    found = minimize(loss, centre, jac=True, method="L-BFGS-B", bounds=bounds)
    return _model(found.x)


def log_likelihood(
    record: LogRecord, model: LogModel, groups: int
) -> tuple[float, Floats]:
    r"""Logarithm of the chance of a log, and how it moves with each unknown.

    .. math:: \ln L = \sum_i \ln \sum_k w_k \prod_w P(y_{iw} \mid z_k)

    Parameters
    ----------
    record : LogRecord
        Of n places and w winters.
    model : LogModel
        What is supposed of the town.
    groups : int
        Count of groups g.

    Returns
    -------
    log_likelihood : float
        0 or less.
    slope : ndarray, shape (5 + g,)
        Its derivatives by ln m, ln s, ln level, ln tau, the town's log-odds of being
        logged, and each group's.

    References
    ----------
    definition.
    """
    deviate, *slopes = slopes_at_factors(record.deviate, *_factors(model))
    score, stretch, tau = *_score(deviate, model), model.effect_spread
    blocked = ndtr(score)
    logged = _logged(record, model)
    total, share = _shares(record, logged * blocked)
    y, counts = record.is_thawed[:, :, None], record.is_exposed[:, :, None]
    by_blocked = np.where(
        y, 1 / np.maximum(blocked, _TINY), -logged / (1 - logged * blocked)
    )
    by_place = by_blocked * counts * share[:, None, :]
    by_score = by_place * np.exp(-(score**2) / 2) / np.sqrt(2 * np.pi)
    by_deviate = stretch * by_score.sum(axis=2)
    by_tau = tau / stretch * deviate[:, :, None] + _NODES
    place = (1 - model.logged_fraction[record.group]) * (by_place * blocked).sum((1, 2))
    by_group = np.bincount(record.group, place, groups)
    slope = [
        *((by_deviate * by_one).sum() for by_one in slopes),
        tau * (by_score * by_tau).sum(),
        by_group.sum(),
    ]
    return float(total.sum()), np.concatenate([slope, by_group])


def effect_weights(record: LogRecord, model: LogModel) -> Floats:
    r"""Weights of the nodes of a place's effect, after its log was seen.

    .. math:: w_{ik} \propto w_k \prod_w P(y_{iw} \mid z_k)

    Parameters
    ----------
    record : LogRecord
        Of n places and w winters.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    weights : ndarray, shape (n, 15)
        Rows add up to 1; those of the normal rule where no winter is exposed.

    References
    ----------
    definition, of Bayes' rule.
    """
    deviate = at_factors(record.deviate, *_factors(model))
    score, _ = _score(deviate, model)
    return _shares(record, _logged(record, model) * ndtr(score))[1]


def believed_chance(chance: ArrayLike, weights: Floats, model: LogModel) -> Floats:
    r"""Chance of a block at a place of whose own log something is known.

    .. math:: p'_i = \sum_k w_{ik} \,
              \Phi\left(\sqrt{1 + \tau^2} \, \Phi^{-1}(p_i) + \tau z_k\right)

    Parameters
    ----------
    chance : array_like, shape (n,) or (n, w)
        The model's chance p, with the fitted fragility.
    weights : ndarray, shape (n, 15)
        As :func:`effect_weights`; those of the normal rule give back p.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    believed_chance : ndarray
        Of the shape of ``chance``, from 0 to 1; NaN where it is.

    References
    ----------
    definition.

    Examples
    --------
    >>> same = LogModel(1.0, 1.0, 1.0, 0.8, np.array([0.5]))
    >>> usual = np.polynomial.hermite_e.hermegauss(15)[1]
    >>> believed_chance([0.0, 0.3, 1.0], usual / usual.sum() * np.ones((3, 1)), same)
    array([0. , 0.3, 1. ])
    """
    given = np.asarray(chance, dtype=float)
    deviate = np.asarray(ndtri(given))
    whole = weights if given.ndim == 1 else weights[:, None, :]
    score, _ = _score(deviate, model)
    return np.asarray((whole * ndtr(score)).sum(axis=-1))


def _factors(model: LogModel) -> tuple[float, float, float]:
    return model.median_factor, model.spread_factor, model.level


def _score(deviate: Floats, model: LogModel) -> tuple[Floats, float]:
    """Deviate of a place's own chance at each node, and the stretch of the model's."""
    stretch = float(np.sqrt(1 + model.effect_spread**2))
    return stretch * deviate[..., None] + model.effect_spread * _NODES, stretch


def _logged(record: LogRecord, model: LogModel) -> Floats:
    by_place = model.logged_fraction[record.group]
    return (by_place[:, None] * record.kept_fraction)[:, :, None]


def _shares(record: LogRecord, thaw: Floats) -> tuple[Floats, Floats]:
    """Log chance of each place's record, and the weights of its nodes."""
    happened = np.where(record.is_thawed[:, :, None], np.maximum(thaw, _TINY), 1 - thaw)
    by_node = (np.log(happened) * record.is_exposed[:, :, None]).sum(axis=1)
    most = by_node.max(axis=1, keepdims=True)
    weighed = np.exp(by_node - most) * _NODE_WEIGHTS
    total = weighed.sum(axis=1, keepdims=True)
    return (most + np.log(total))[:, 0], weighed / total


def _centre(prior: LogPrior, groups: int) -> Floats:
    town = logit(prior.logged_fraction)
    head = [0.0, 0.0, 0.0, np.log(prior.effect_spread), town]
    return np.concatenate([head, np.zeros(groups)])


def _spread(prior: LogPrior, groups: int) -> Floats:
    head = prior.median_spread, prior.factor_spread, prior.level_spread
    tail = np.full(groups, prior.group_spread)
    return np.array([*head, prior.effect_spread_spread, prior.logged_spread, *tail])


def _model(unknowns: Floats) -> LogModel:
    return LogModel(
        median_factor=float(np.exp(unknowns[0])),
        spread_factor=float(np.exp(unknowns[1])),
        level=float(np.exp(unknowns[2])),
        effect_spread=float(np.exp(unknowns[3])),
        logged_fraction=np.asarray(expit(unknowns[4] + unknowns[5:])),
    )
