"""Chances for a few trial fragilities, and smoothly for every one between."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtri, ndtri_exp

Floats = NDArray[np.float64]

# so many trials of each parameter, at Chebyshev's points of its logarithm, where a
# polynomial through them strays least; an odd number: the middle is the defaults'
TRIALS = (5, 5)
MEDIAN_REACH = SPREAD_REACH = float(np.log(2.0))  # furthest tried, either way
_POINTS = [
    -np.cos((2 * np.arange(k) + 1) * np.pi / (2 * k)) * (np.arange(k) != k // 2)
    for k in TRIALS
]
MEDIAN_FACTORS = np.exp(MEDIAN_REACH * _POINTS[0])  # on the median closing ratio
SPREAD_FACTORS = np.exp(SPREAD_REACH * _POINTS[1])  # on the spread of the fragility
LEAST_CHANCE = 1e-6  # in the fit only: the deviate of 0 or 1 is not a number


def deviate_of(chance: ArrayLike) -> Floats:
    r"""Normal deviate of a chance, kept where it is a number.

    .. math:: q = \Phi^{-1}(p)

    Parameters
    ----------
    chance : array_like
        From 0 to 1; below 1e-6 and above 1 - 1e-6 counts as that.

    Returns
    -------
    deviate : ndarray
        From -4.75 to 4.75; NaN where the chance is.

    References
    ----------
    definition.
    """
    return np.asarray(ndtri(np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)))


def at_factors(
    deviate: Floats, median_factor: float, spread_factor: float, level: float = 1.0
) -> Floats:
    r"""Deviates for any factors, by the polynomial through the trials.

    .. math:: q(m, s) = \frac{1}{s} \sum_{jl} L_j(\ln m) \, L_l(\ln s) \, s_l q_{jl},
              \quad 1 - p(\lambda) = (1 - p)^\lambda

    Parameters
    ----------
    deviate : ndarray, shape (5, 5, ...)
        Normal deviates of the chance for each of ``MEDIAN_FACTORS``, then each of
        ``SPREAD_FACTORS``.
    median_factor, spread_factor : float
        Within the reach of the trials: from a half to 2.
    level : float
        Above 0: so many times as many mechanisms find what they need.

    Returns
    -------
    deviate : ndarray, shape (...)
        Exact at the trials; NaN where a trial is.

    References
    ----------
    definition, of Lagrange's polynomials L; for one mechanism, known in full, s q is
    a straight line in ln m.

    Examples
    --------
    >>> float(at_factors(-0.4 / SPREAD_FACTORS * np.ones((5, 1)), 1.7, 0.8).round(3))
    -0.5
    """
    return slopes_at_factors(deviate, median_factor, spread_factor, level)[0]


def slopes_at_factors(
    deviate: Floats, median_factor: float, spread_factor: float, level: float = 1.0
) -> tuple[Floats, Floats, Floats, Floats]:
    r"""Deviates for any factors, and how they move with their logarithms.

    .. math:: q, \quad \frac{\partial q}{\partial \ln m}, \quad
              \frac{\partial q}{\partial \ln s}, \quad
              \frac{\partial q}{\partial \ln \lambda}

    Parameters
    ----------
    deviate : ndarray, shape (5, 5, ...)
        As :func:`at_factors`.
    median_factor, spread_factor : float
        Within the reach of the trials: from a half to 2.
    level : float
        Above 0: so many times as many mechanisms find what they need.

    Returns
    -------
    deviate, by_median, by_spread, by_level : ndarray, shape (...)
        The deviate and its derivatives.

    References
    ----------
    definition, of Lagrange's polynomials.
    """
    median, by_median = _lagrange(_POINTS[0], np.log(median_factor) / MEDIAN_REACH)
    spread, by_spread = _lagrange(_POINTS[1], np.log(spread_factor) / SPREAD_REACH)
    scale = SPREAD_FACTORS / spread_factor
    along = np.tensordot(median, deviate, 1)
    at = np.tensordot(spread * scale, along, 1)
    across = np.tensordot(by_median, deviate, 1)
    levelled, stretch, by_level = _at_level(at, level)
    return (
        levelled,
        stretch * np.tensordot(spread * scale, across, 1) / MEDIAN_REACH,
        stretch * (np.tensordot(by_spread * scale, along, 1) / SPREAD_REACH - at),
        by_level,
    )


def _at_level(deviate: Floats, level: float) -> tuple[Floats, Floats, Floats]:
    """Deviate of 1 - (1 - p)**level, its derivative by that of p and by ln level."""
    open_log = log_ndtr(-deviate)
    levelled = -ndtri_exp(level * open_log)
    growth = np.exp(level * open_log + levelled**2 / 2)
    stretch = level * growth * np.exp(-open_log - deviate**2 / 2)
    return levelled, stretch, -np.sqrt(2 * np.pi) * level * open_log * growth


def _lagrange(points: Floats, place: float) -> tuple[Floats, Floats]:
    """Weight of each trial at a place from -1 to 1, and its derivative."""
    weight, slope = np.empty((2, len(points)))
    for own, point in enumerate(points):
        others = np.delete(points, own)
        whole = np.polynomial.Polynomial.fromroots(others)
        scale = whole(point)
        weight[own], slope[own] = whole(place) / scale, whole.deriv()(place) / scale
    return weight, slope
