"""The blocks behind a log of thaws fitted to it by penalised maximum likelihood."""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit

from culvertrisk.formulas.fragility_trials import MEDIAN_REACH, SPREAD_REACH
from culvertrisk.formulas.log_model import log_likelihood
from culvertrisk.formulas.log_record import LogModel, LogPrior, LogRecord

Floats = NDArray[np.float64]

_REACH = 4.0  # standard deviations of the penalties that the fit may go


def fitted_log_model(
    record: LogRecord, prior: LogPrior, *, is_calibrated: bool
) -> LogModel:
    r"""Fit a log of thaws by penalised maximum likelihood.

    .. math:: P(y_{iw}=1 \mid z_i) = c_w \, \ell_i \,
              \Phi\left(\sqrt{1 + \tau^2} \, q_{iw}(m, s, \lambda) + \tau z_i\right),
              \quad z_i \sim N(0, 1)

    .. math:: \ell_i = 1 - (1 - \ell_{g(i)}) (1 - \kappa_i), \quad
              \ln\frac{\kappa_i}{1 - \kappa_i} = a + b x_i

    Parameters
    ----------
    record : LogRecord
        Of n places, w winters and g groups; places without an exposed winter
        take no part. Without its ``callers`` kappa is 0.
    prior : LogPrior
        Normal penalties on ln m, ln s, ln level, ln tau, the log-odds of every l, a
        and b.
    is_calibrated : bool
        False holds m, s and the level at 1, the model's own, and averages over
        the level's spread.

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
    the chance l of its group (where crews go on their own rounds), or else with
    kappa because somebody near it (x) calls; less in winters of which a share 1 - c
    is lost. Of a thaw whose caller is written it counts which of the two it was. The
    log alone cannot tell few blocks, all logged, from many,
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
    >>> prior = LogPrior(0.7, 0.5, 0.7, 0.6, 1.0, 0.5, 0.7, 1.0, 0.1, 1.0, 1.0)
    >>> fitted_log_model(record, prior, is_calibrated=True).median_factor > 1
    True
    """
    groups = int(record.group.max(initial=0)) + 1
    has_callers = record.callers is not None
    centre, spread = _centre(prior, groups), _spread(prior, groups)
    if has_callers:
        centre = np.append(centre, [logit(prior.called_fraction), 0.0])
        spread = np.append(spread, [prior.called_spread, prior.near_spread])
    unsure = 0.0 if is_calibrated else prior.level_spread

    def model_of(unknowns: Floats) -> LogModel:
        return _model(unknowns, groups, unsure)

    def loss(unknowns: Floats) -> tuple[float, Floats]:
        away = (unknowns - centre) / spread
        value, slope = log_likelihood(record, model_of(unknowns), groups)
        return float((away**2).sum() / 2 - value), away / spread - slope

    reach = _REACH * spread
    reach[:2] = MEDIAN_REACH, SPREAD_REACH
    reach[:3] *= is_calibrated
    bounds = list(zip(centre - reach, centre + reach, strict=True))
    found = minimize(loss, centre, jac=True, method="L-BFGS-B", bounds=bounds)
    return model_of(found.x)


def _centre(prior: LogPrior, groups: int) -> Floats:
    town = logit(prior.logged_fraction)
    head = [0.0, 0.0, 0.0, np.log(prior.effect_spread), town]
    return np.concatenate([head, np.zeros(groups)])


def _spread(prior: LogPrior, groups: int) -> Floats:
    head = prior.median_spread, prior.factor_spread, prior.level_spread
    tail = np.full(groups, prior.group_spread)
    return np.array([*head, prior.effect_spread_spread, prior.logged_spread, *tail])


def _model(unknowns: Floats, groups: int, level_spread: float) -> LogModel:
    end = 5 + groups
    called, near = unknowns[end:] if len(unknowns) > end else (-np.inf, 0.0)
    return LogModel(
        median_factor=float(np.exp(unknowns[0])),
        spread_factor=float(np.exp(unknowns[1])),
        level=float(np.exp(unknowns[2])),
        effect_spread=float(np.exp(unknowns[3])),
        logged_fraction=np.asarray(expit(unknowns[4] + unknowns[5:end])),
        level_spread=level_spread,
        called_odds=float(called),
        near_odds=float(near),
    )
