"""Chances for a few trial fragilities, and smoothly for every one between."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtr, ndtri, ndtri_exp

Floats = NDArray[np.float64]

# so many trials of each parameter, at Chebyshev's points of its logarithm, where a
# polynomial through them strays least; an odd number: the middle is the defaults'
TRIALS = (5, 5)
_KINDS = 2  # what is guessed and what is recorded
MEDIAN_REACH = SPREAD_REACH = float(np.log(2.0))  # furthest tried, either way
_POINTS = [
    -np.cos((2 * np.arange(k) + 1) * np.pi / (2 * k)) * (np.arange(k) != k // 2)
    for k in TRIALS
]
MEDIAN_FACTORS = np.exp(MEDIAN_REACH * _POINTS[0])  # on the median closing ratio
SPREAD_FACTORS = np.exp(SPREAD_REACH * _POINTS[1])  # on the spread of the fragility
LEAST_CHANCE = 1e-6  # in the fit only: the deviate of 0 or 1 is not a number
_NODES, _RAW = np.polynomial.hermite_e.hermegauss(5)  # exact to 1e-4 at a spread of 1
_WEIGHTS = _RAW / _RAW.sum()


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


def levelled_chance(
    chance: ArrayLike,
    level: ArrayLike,
    level_spread: ArrayLike = 0.0,
    recorded_chance: ArrayLike = 0.0,
) -> Floats:
    r"""Chance where more or fewer mechanisms are at work, the number itself unsure.

    .. math:: p' = 1 - (1 - r) \int (1 - p)^{\lambda e^{\sigma z}} \varphi(z) \, dz

    Parameters
    ----------
    chance : array_like
        p, from 0 to 1, by what is guessed.
    level : array_like, shape () or (1,)
        lambda, above 0: the median of how many times as many are at work.
    level_spread : array_like, shape () or (1,)
        sigma, standard deviation of its logarithm, 0 or more; 0 is known.
    recorded_chance : array_like
        r, from 0 to 1, by what is recorded: no level moves it.

    Returns
    -------
    levelled_chance : ndarray
        From 0 to 1: certain stays certain; NaN where the chance is.

    Notes
    -----
    Gauss-Hermite with 5 nodes. Checked against scipy's quadrature.

    References
    ----------
    definition.

    Examples
    --------
    >>> levelled_chance([0.0, 0.19, 1.0], 0.5)
    array([0. , 0.1, 1. ])
    """
    with np.errstate(divide="ignore"):  # certain: the logarithm of nothing
        open_log = np.log1p(-np.minimum(chance, 1))
    levels, weights = _levels(float(np.squeeze(level)), float(np.squeeze(level_spread)))
    blocked = np.zeros(open_log.shape)
    for one, weight in zip(levels, weights, strict=True):
        blocked -= weight * np.expm1(one * open_log)
    recorded = np.asarray(recorded_chance, dtype=float)
    return np.asarray(recorded + (1 - recorded) * blocked)


def at_factors(
    deviate: Floats,
    median_factor: float,
    spread_factor: float,
    level: float = 1.0,
    level_spread: float = 0.0,
) -> Floats:
    r"""Deviates for any factors, by the polynomial through the trials.

    .. math:: q(m, s) = \frac{1}{s} \sum_{jl} L_j(\ln m) \, L_l(\ln s) \, s_l q_{jl},
              \quad 1 - p(\lambda) = (1 - p)^\lambda

    Parameters
    ----------
    deviate : ndarray, shape (5, 5, ...) or (2, 5, 5, ...)
        Normal deviates of the chance for each of ``MEDIAN_FACTORS``, then each of
        ``SPREAD_FACTORS``; of two, the first is by what is guessed, which alone the
        level moves, the second by what is recorded.
    median_factor, spread_factor : float
        Within the reach of the trials: from a half to 2.
    level, level_spread : float
        As :func:`levelled_chance`.

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
    factors = median_factor, spread_factor, level, level_spread
    return slopes_at_factors(deviate, *factors)[0]


def slopes_at_factors(
    deviate: Floats,
    median_factor: float,
    spread_factor: float,
    level: float = 1.0,
    level_spread: float = 0.0,
) -> tuple[Floats, Floats, Floats, Floats]:
    r"""Deviates for any factors, and how they move with their logarithms.

    .. math:: q, \quad \frac{\partial q}{\partial \ln m}, \quad
              \frac{\partial q}{\partial \ln s}, \quad
              \frac{\partial q}{\partial \ln \lambda}

    Parameters
    ----------
    deviate : ndarray, shape (5, 5, ...) or (2, 5, 5, ...)
        As :func:`at_factors`.
    median_factor, spread_factor : float
        Within the reach of the trials: from a half to 2.
    level, level_spread : float
        As :func:`levelled_chance`.

    Returns
    -------
    deviate, by_median, by_spread, by_level : ndarray, shape (...)
        The deviate and its derivatives.

    References
    ----------
    definition, of Lagrange's polynomials.
    """
    if len(deviate) != _KINDS:
        return _slopes(deviate, median_factor, spread_factor, (level, level_spread))
    guessed = _slopes(deviate[0], median_factor, spread_factor, (level, level_spread))
    recorded = _slopes(deviate[1], median_factor, spread_factor, (1.0, 0.0))
    # both must leave it open; whatever moves the chance of either moves the whole
    open_log = [log_ndtr(-guessed[0]), log_ndtr(-recorded[0])]
    whole = -ndtri_exp(open_log[0] + open_log[1])
    parts = [
        np.exp(open_log[other] + (whole**2 - own[0] ** 2) / 2)
        for own, other in ((guessed, 1), (recorded, 0))
    ]
    return (
        whole,
        parts[0] * guessed[1] + parts[1] * recorded[1],
        parts[0] * guessed[2] + parts[1] * recorded[2],
        parts[0] * guessed[3],
    )


def _slopes(
    deviate: Floats,
    median_factor: float,
    spread_factor: float,
    levels: tuple[float, float],
) -> tuple[Floats, Floats, Floats, Floats]:
    """The deviate of one kind and its slopes, at a level and its spread."""
    median, by_median = _lagrange(_POINTS[0], np.log(median_factor) / MEDIAN_REACH)
    spread, by_spread = _lagrange(_POINTS[1], np.log(spread_factor) / SPREAD_REACH)
    scale = SPREAD_FACTORS / spread_factor
    along = np.tensordot(median, deviate, 1)
    at = np.tensordot(spread * scale, along, 1)
    across = np.tensordot(by_median, deviate, 1)
    levelled, stretch, by_level = _at_levels(at, *levels)
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


def _at_levels(
    deviate: Floats, level: float, level_spread: float
) -> tuple[Floats, Floats, Floats]:
    """The same averaged over a level that is not sure."""
    if level_spread == 0:
        return _at_level(deviate, level)
    levels, weights = _levels(level, level_spread)
    each = [_at_level(deviate, float(one)) for one in levels]
    chance = sum(w * ndtr(q) for w, (q, _, _) in zip(weights, each, strict=True))
    mean = np.asarray(ndtri(chance))
    # the slope of a mean of chances, as one of its deviate
    shares = [
        w * np.exp((mean**2 - q**2) / 2)
        for w, (q, _, _) in zip(weights, each, strict=True)
    ]
    pairs = [*zip(shares, each, strict=True)]
    stretch = sum(share * by_own for share, (_, by_own, _) in pairs)
    by_level = sum(share * by_one for share, (_, _, by_one) in pairs)
    return mean, np.asarray(stretch), np.asarray(by_level)


def _levels(level: float, level_spread: float) -> tuple[Floats, Floats]:
    """Levels that stand for all of a spread, and their weights."""
    if level_spread == 0:
        return np.array([level]), np.ones(1)
    return level * np.exp(level_spread * _NODES), _WEIGHTS


def _lagrange(points: Floats, place: float) -> tuple[Floats, Floats]:
    """Weight of each trial at a place from -1 to 1, and its derivative."""
    weight, slope = np.empty((2, len(points)))
    for own, point in enumerate(points):
        others = np.delete(points, own)
        whole = np.polynomial.Polynomial.fromroots(others)
        scale = whole(point)
        weight[own], slope[own] = whole(place) / scale, whole.deriv()(place) / scale
    return weight, slope
