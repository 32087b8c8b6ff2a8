"""Blocks behind a log of thaws: what the log says of the model and of each place."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit

Floats = NDArray[np.float64]

EFFECT_POINTS_COUNT = 15  # nodes of the Gauss-Hermite rule
LEAST_CHANCE = 1e-4  # in the fit only: the logit of 0 or 1 is not a number
_REACH = 4.0  # standard deviations of the penalties that the fit may go
_NODES, _RAW = np.polynomial.hermite_e.hermegauss(EFFECT_POINTS_COUNT)
_NODE_WEIGHTS = _RAW / _RAW.sum()


@dataclass(frozen=True)
class LogRecord:
    """What is known of n places over w winters, and in which of g groups they lie.

    ``chance`` is the model's, shape (n, w); ``is_thawed`` tells winters with a thaw
    logged, ``is_exposed`` those that count; ``kept_fraction``, shape (w,), is the
    share of a winter's log that was not lost; ``group``, shape (n,), is 0 to g - 1.
    """

    chance: Floats
    is_thawed: NDArray[np.bool_]
    is_exposed: NDArray[np.bool_]
    kept_fraction: Floats
    group: NDArray[np.intp]


@dataclass(frozen=True)
class LogModel:
    """Level and slope on the model's log-odds, spread of places, logging by group."""

    level: float
    slope: float
    effect_spread: float
    logged_fraction: Floats


@dataclass(frozen=True)
class LogPrior:
    """What holds the fit where the log says little; spreads are of logarithms.

    ``level_spread`` is of the log-odds, ``logged_spread`` and ``group_spread`` of
    the log-odds of being logged: of the town and of a group about its town.
    """

    level_spread: float
    slope_spread: float
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
              \sigma\left(a + b \, \mathrm{logit}\, p_{iw} + \tau z_i\right),
              \quad z_i \sim N(0, 1)

    Parameters
    ----------
    record : LogRecord
        Of n places, w winters and g groups; places without an exposed winter
        take no part.
    prior : LogPrior
        Normal penalties on a, ln b, ln tau and the log-odds of every l.
    is_calibrated : bool
        False holds a at 0 and b at 1: the model's own chance.

    Returns
    -------
    model : LogModel
        Level a, slope b, effect_spread tau, and l of each group, shape (g,).

    Notes
    -----
    A block is logged with the chance l of its group (where crews go), less in
    winters of which a share 1 - c is lost. The log alone cannot tell few blocks,
    all logged, from many, seldom logged: the level rests on the penalties and on
    ``prior.logged_fraction``. Integrated over z by Gauss-Hermite, 15 nodes. No
    published example exists: checked against scipy's quadrature and by recovery.

    References
    ----------
    definition, likelihood of a Bernoulli record with a normal random effect.

    Examples
    --------
    >>> record = LogRecord(np.full((60, 4), 0.3), np.zeros((60, 4), bool),
    ...     np.ones((60, 4), bool), np.ones(4), np.zeros(60, int))
    >>> prior = LogPrior(1.0, 0.5, 1.0, 1.0, 0.5, 0.7, 1.0)
    >>> fitted_log_model(record, prior, is_calibrated=True).level < 0
    True
    """
    groups = int(record.group.max(initial=0)) + 1
    centre = _centre(prior, groups)
    spread = _spread(prior, groups)

    def loss(unknowns: Floats) -> tuple[float, Floats]:
        away = (unknowns - centre) / spread
        value, slope = log_likelihood(record, _model(unknowns), groups)
        return float((away**2).sum() / 2 - value), away / spread - slope

    # so far from the centre no answer lies; within, no chance is rounded to 0 or 1
    reach = np.where(is_calibrated | (np.arange(len(centre)) > 1), _REACH * spread, 0)
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
    slope : ndarray, shape (4 + g,)
        Its derivatives by a, ln b, ln tau, the town's log-odds of being logged, and
        each group's.

    References
    ----------
    definition.
    """
    x = logit(np.clip(record.chance, LEAST_CHANCE, 1 - LEAST_CHANCE))
    blocked = _blocked(x, model)
    logged = model.logged_fraction[record.group]
    thaw = (logged[:, None] * record.kept_fraction)[:, :, None] * blocked
    total, share = _shares(record, thaw)
    y, counts = record.is_thawed[:, :, None], record.is_exposed[:, :, None]
    by_thaw = (y - thaw) / (1 - thaw) * counts * share[:, None, :]
    by_score = (1 - blocked) * by_thaw
    place = (1 - logged) * by_thaw.sum(axis=(1, 2))
    by_group = np.bincount(record.group, place, groups)
    slope = [
        by_score.sum(),
        model.slope * (x * by_score.sum(axis=2)).sum(),
        model.effect_spread * (by_score.sum(axis=(0, 1)) * _NODES).sum(),
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
    x = logit(np.clip(record.chance, LEAST_CHANCE, 1 - LEAST_CHANCE))
    logged = model.logged_fraction[record.group]
    thaw = (logged[:, None] * record.kept_fraction)[:, :, None] * _blocked(x, model)
    return _shares(record, thaw)[1]


def believed_chance(chance: ArrayLike, weights: Floats, model: LogModel) -> Floats:
    r"""Chance of a block, recalibrated, averaged over a place's effect.

    .. math:: q_i = \sum_k w_{ik} \,
              \sigma\left(a + b \, \mathrm{logit}\, p_i + \tau z_k\right)

    Parameters
    ----------
    chance : array_like, shape (n,) or (n, w)
        The model's chance p.
    weights : ndarray, shape (n, 15)
        As :func:`effect_weights`.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    believed_chance : ndarray
        Of the shape of ``chance``, from 0 to 1; NaN where it is.

    References
    ----------
    definition.
    """
    given = np.asarray(chance, dtype=float)
    with np.errstate(divide="ignore"):
        odds = logit(given)
    whole = weights if given.ndim == 1 else weights[:, None, :]
    # the nodes one by one: a few arrays of the shape of chance, not one 15 times it
    believed = np.zeros(given.shape)
    for node, z in enumerate(_NODES):
        score = model.level + model.slope * odds + model.effect_spread * z
        believed += whole[..., node] * expit(score)
    return believed


def calibrated_chance(chance: ArrayLike, model: LogModel) -> Floats:
    r"""Chance of a block at a place like this one, of whose own log nothing is known.

    .. math:: q = \sum_k w_k \,
              \sigma\left(a + b \, \mathrm{logit}\, p + \tau z_k\right)

    Parameters
    ----------
    chance : array_like
        The model's chance p.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    calibrated_chance : ndarray
        From 0 to 1, never falling with ``chance``; NaN where it is.

    References
    ----------
    definition.

    Examples
    --------
    >>> same = LogModel(0.0, 1.0, 0.0, np.array([0.5]))
    >>> calibrated_chance([0.0, 0.3, 1.0], same).round(6)
    array([0. , 0.3, 1. ])
    """
    given = np.asarray(chance, dtype=float)
    weights = np.broadcast_to(_NODE_WEIGHTS, (given.size, EFFECT_POINTS_COUNT))
    return believed_chance(given.ravel(), weights, model).reshape(given.shape)


def _blocked(log_odds: Floats, model: LogModel) -> Floats:
    score = model.level + model.slope * log_odds
    return np.asarray(expit(score[:, :, None] + model.effect_spread * _NODES))


def _shares(record: LogRecord, thaw: Floats) -> tuple[Floats, Floats]:
    """Log chance of each place's record, and the weights of its nodes."""
    happened = np.where(record.is_thawed[:, :, None], thaw, 1 - thaw)
    by_node = (np.log(happened) * record.is_exposed[:, :, None]).sum(axis=1)
    most = by_node.max(axis=1, keepdims=True)
    weighed = np.exp(by_node - most) * _NODE_WEIGHTS
    total = weighed.sum(axis=1, keepdims=True)
    return (most + np.log(total))[:, 0], weighed / total


def _centre(prior: LogPrior, groups: int) -> Floats:
    town = logit(prior.logged_fraction)
    head = [0.0, 0.0, np.log(prior.effect_spread), town]
    return np.concatenate([head, np.zeros(groups)])


def _spread(prior: LogPrior, groups: int) -> Floats:
    head = [prior.level_spread, prior.slope_spread, prior.effect_spread_spread]
    tail = np.full(groups, prior.group_spread)
    return np.concatenate([head, [prior.logged_spread], tail])


def _model(unknowns: Floats) -> LogModel:
    return LogModel(
        level=float(unknowns[0]),
        slope=float(np.exp(unknowns[1])),
        effect_spread=float(np.exp(unknowns[2])),
        logged_fraction=np.asarray(expit(unknowns[3] + unknowns[4:])),
    )
