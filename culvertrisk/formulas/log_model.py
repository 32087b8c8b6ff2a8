"""Blocks behind a log of thaws: what the log says of the model and of each place."""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, ndtr, ndtri

from culvertrisk.formulas.fragility_trials import (
    at_factors,
    slopes_at_factors,
)
from culvertrisk.formulas.log_record import LogModel, LogRecord

Floats = NDArray[np.float64]

EFFECT_POINTS_COUNT = 15  # nodes of the Gauss-Hermite rule
_TINY = 1e-200  # in the fit only: what is as unlikely as this has a logarithm still
_NODES, _RAW = np.polynomial.hermite_e.hermegauss(EFFECT_POINTS_COUNT)
_NODE_WEIGHTS = _RAW / _RAW.sum()


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
    slope : ndarray, shape (5 + g,) or (7 + g,)
        Its derivatives by ln m, ln s, ln level, ln tau, the town's log-odds of being
        logged, each group's and, with callers, by a and b.

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
    by_log = (by_place * blocked).sum((1, 2))
    of_callers, by_shares = _by_shares(record, model, by_log, groups)
    slope = [
        *((by_deviate * by_one).sum() for by_one in slopes),
        tau * (by_score * by_tau).sum(),
    ]
    return float(total.sum() + of_callers), np.concatenate([slope, by_shares])


def logged_shares(record: LogRecord, model: LogModel) -> Floats:
    r"""Share of blocks at each place that leave a row in the log.

    .. math:: \ell_i = 1 - (1 - \ell_{g(i)}) (1 - \kappa_i)

    Parameters
    ----------
    record : LogRecord
        Of n places.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    logged_fraction : ndarray, shape (n,)
        From 0 to 1: by the crews' own rounds or a call.

    References
    ----------
    definition, of either of two independent events.
    """
    own = model.logged_fraction[record.group]
    return np.asarray(own + (1 - own) * _called(record, model))


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


def empty_log_chance(record: LogRecord, model: LogModel) -> Floats:
    r"""Chance that nothing at all is logged of each place.

    .. math:: P_i = \sum_k w_k \prod_w (1 - c_w \, \ell_i \, p_{iwk})

    Parameters
    ----------
    record : LogRecord
        Of n places and w winters; what was logged is not looked at.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    empty_log_chance : ndarray, shape (n,)
        From 0 to 1; 1 where no winter is exposed.

    References
    ----------
    definition.
    """
    nothing = replace(record, is_thawed=np.zeros_like(record.is_thawed))
    score, _ = _score(at_factors(record.deviate, *_factors(model)), model)
    return np.exp(_shares(nothing, _logged(record, model) * ndtr(score))[0])


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


def _factors(model: LogModel) -> tuple[float, float, float, float]:
    own = model.median_factor, model.spread_factor
    return *own, model.level, model.level_spread


def _score(deviate: Floats, model: LogModel) -> tuple[Floats, float]:
    """Deviate of a place's own chance at each node, and the stretch of the model's."""
    stretch = float(np.sqrt(1 + model.effect_spread**2))
    return stretch * deviate[..., None] + model.effect_spread * _NODES, stretch


def _logged(record: LogRecord, model: LogModel) -> Floats:
    by_place = logged_shares(record, model)
    return (by_place[:, None] * record.kept_fraction)[:, :, None]


def _called(record: LogRecord, model: LogModel) -> Floats:
    """Chance that somebody calls for a block that crews would not have found."""
    if record.callers is None:
        return np.zeros(len(record.group))
    return np.asarray(expit(model.called_odds + model.near_odds * record.callers.near))


def _by_shares(
    record: LogRecord, model: LogModel, by_log: Floats, groups: int
) -> tuple[float, Floats]:
    """Log chance of who called, and the slopes by the log-odds of being logged.

    ``by_log`` is the slope of the rest by the logarithm of each place's share.
    """
    own, called = model.logged_fraction[record.group], _called(record, model)
    either = logged_shares(record, model)
    by_odds = (1 - either) / either * by_log
    by_own, by_called = own * by_odds, called * by_odds
    if record.callers is None:
        by_group = np.bincount(record.group, by_own, groups)
        return 0.0, np.append(by_group.sum(), by_group)
    counts = record.is_thawed & record.is_exposed
    with_call = (counts & (record.callers.is_called == 1)).sum(axis=1)
    without = (counts & (record.callers.is_called == 0)).sum(axis=1)
    both = (with_call + without) * (1 - either) / either
    by_own = by_own - with_call * own + without * (1 - own) - both * own
    by_called = by_called + with_call * (1 - called) - both * called
    by_group = np.bincount(record.group, by_own, groups)
    told = with_call * np.log((1 - own) * called / either)
    told = told + without * np.log(own / either)
    by_caller = [by_called.sum(), (by_called * record.callers.near).sum()]
    slopes = np.concatenate([[by_group.sum()], by_group, by_caller])
    return float(told.sum()), slopes


def _shares(record: LogRecord, thaw: Floats) -> tuple[Floats, Floats]:
    """Log chance of each place's record, and the weights of its nodes."""
    happened = np.where(record.is_thawed[:, :, None], np.maximum(thaw, _TINY), 1 - thaw)
    by_node = (np.log(happened) * record.is_exposed[:, :, None]).sum(axis=1)
    most = by_node.max(axis=1, keepdims=True)
    weighed = np.exp(by_node - most) * _NODE_WEIGHTS
    total = weighed.sum(axis=1, keepdims=True)
    return (most + np.log(total))[:, 0], weighed / total
