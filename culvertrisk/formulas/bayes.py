"""Empirical Bayes: what a count at one place says beside the model's expectation."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.special import gammaln

Floats = NDArray[np.float64]

# range of the overdispersion: below it counts are Poisson, above all in one place
_LOG_LOW, _LOG_HIGH = np.log(1e-6), np.log(1e3)


def expected_weight(expected_count: ArrayLike, overdispersion: ArrayLike) -> Floats:
    r"""Weight of the model's expectation against the place's own count.

    .. math:: w = \frac{1}{1 + k N_{pred}}

    Parameters
    ----------
    expected_count : array_like
        Count the model expects over the whole time N_pred, 0 or more.
    overdispersion : array_like
        k of the negative binomial, 0 or more.

    Returns
    -------
    weight : ndarray
        From 0 to 1; NaN where an input is NaN.

    Notes
    -----
    With phi per kilometre (Hauer) k is 1/(phi L).

    References
    ----------
    hsm2010, Part C appendix A; hauer2002, example 1, from memory.

    Examples
    --------
    >>> float(expected_weight(6.0, 0.4).round(3))
    0.294
    """
    weight = 1 / (1 + np.asarray(overdispersion) * np.asarray(expected_count))
    return np.asarray(weight, dtype=float)


def empirical_bayes_count(
    expected_count: ArrayLike, logged_count: ArrayLike, overdispersion: ArrayLike
) -> Floats:
    r"""Count to be believed, between the model's and the log's.

    .. math:: N = w N_{pred} + (1 - w) N_{obs}

    Parameters
    ----------
    expected_count : array_like
        Count the model expects N_pred, 0 or more.
    logged_count : array_like
        Count in the log over the same time N_obs, 0 or more.
    overdispersion : array_like
        k of the negative binomial, 0 or more.

    Returns
    -------
    believed_count : ndarray
        NaN where an input is NaN.

    Notes
    -----
    w is :func:`expected_weight`. Corrects for luck in a short log, not for where
    the crews did not go.

    References
    ----------
    hsm2010, Part C appendix A; hauer2002, example 1, from memory.

    Examples
    --------
    >>> float(empirical_bayes_count(6.0, 11.0, 0.4).round(2))
    9.53
    """
    weight = expected_weight(expected_count, overdispersion)
    expected = np.asarray(expected_count, dtype=float)
    logged = np.asarray(logged_count, dtype=float)
    return np.asarray(weight * expected + (1 - weight) * logged)


def corrected_chance(chance: ArrayLike, odds_factor: ArrayLike) -> Floats:
    r"""Chance whose odds are a factor times those of another chance.

    .. math:: p' = \frac{f p}{1 - p + f p}

    Parameters
    ----------
    chance : array_like
        From 0 to 1.
    odds_factor : array_like
        f, 0 or more.

    Returns
    -------
    corrected_chance : ndarray
        From 0 to 1; NaN where an input is NaN.

    Notes
    -----
    A factor on the odds keeps a chance a chance, where one on it would not.

    References
    ----------
    definition, of odds.

    Examples
    --------
    >>> corrected_chance([0.2, 0.5, 1.0], [4.0, 1.0, 3.0])
    array([0.5, 0.5, 1. ])
    """
    share = np.asarray(chance, dtype=float)
    weighed = share * odds_factor
    return np.asarray(weighed / (1 - share + weighed))


def negative_binomial_log_chance(
    logged_count: ArrayLike, expected_count: ArrayLike, overdispersion: ArrayLike
) -> Floats:
    r"""Logarithm of the chance of a count under the negative binomial.

    .. math:: \ln P = \ln\Gamma(n + r) - \ln\Gamma(r) - \ln n!
              + r \ln\frac{r}{r + \mu} + n \ln\frac{\mu}{r + \mu}, \quad r = 1/k

    Parameters
    ----------
    logged_count : array_like
        Count n, 0 or more.
    expected_count : array_like
        Mean mu, above 0.
    overdispersion : array_like
        k, above 0: the variance is mu + k mu².

    Returns
    -------
    log_chance : ndarray
        0 or less; NaN where an input is NaN.

    Notes
    -----
    Tends to the Poisson as k tends to 0. Checked against scipy.stats.nbinom.

    References
    ----------
    hauer2002, from memory.

    Examples
    --------
    >>> float(np.exp(negative_binomial_log_chance(0.0, 1.0, 1.0)).round(6))
    0.5
    """
    count = np.asarray(logged_count, dtype=float)
    mean = np.asarray(expected_count, dtype=float)
    shape = 1 / np.asarray(overdispersion, dtype=float)
    ways = gammaln(count + shape) - gammaln(shape) - gammaln(count + 1)
    return np.asarray(
        ways - shape * np.log1p(mean / shape) + count * np.log(mean / (shape + mean))
    )


def fitted_overdispersion(logged_count: ArrayLike, expected_count: ArrayLike) -> float:
    r"""Overdispersion of counts about their expectations, by maximum likelihood.

    .. math:: \hat k = \arg\max_k \sum_i \ln P(n_i \mid \mu_i, k)

    Parameters
    ----------
    logged_count : array_like, shape (n,)
        Counts of the places.
    expected_count : array_like, shape (n,)
        Their expectations; places that are NaN or 0 in either are left out.

    Returns
    -------
    overdispersion : float
        k from 1e-6 to 1e3; NaN if no place is left.

    Notes
    -----
    The bound is met when counts scatter no more than Poisson counts do.

    References
    ----------
    hauer2002, from memory; likelihood of the negative binomial.

    Examples
    --------
    >>> fitted_overdispersion([2, 2, 2, 2], [2, 2, 2, 2]) < 1e-5
    True
    """
    count = np.asarray(logged_count, dtype=float)
    mean = np.asarray(expected_count, dtype=float)
    known = np.isfinite(count) & (mean > 0)
    if not known.any():
        return float("nan")
    count, mean = count[known], mean[known]
    found = minimize_scalar(
        lambda log_k: -negative_binomial_log_chance(count, mean, np.exp(log_k)).sum(),
        bounds=(_LOG_LOW, _LOG_HIGH),
        method="bounded",
    )
    return float(np.exp(found.x))
