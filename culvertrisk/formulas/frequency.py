"""Chances: of an uncertain peak above a limit, of floods by the year, of their cost."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, ndtr, ndtri

Floats = NDArray[np.float64]

_NO_SKEW = 5e-4  # below it the gamma form loses its digits


def exceedance_chance(
    median: ArrayLike, limit: ArrayLike, spread_fraction: ArrayLike
) -> Floats:
    r"""Chance that a lognormal quantity is above a limit.

    .. math:: P = \Phi\left( \ln(x_{50} / x_{lim}) / \sigma \right)

    Parameters
    ----------
    median : array_like, shape (n,)
        Median of the quantity, 0 or more, in any unit.
    limit : array_like, shape (n,) or scalar
        Limit, 0 or more, in the same unit.
    spread_fraction : array_like, shape (n,) or scalar
        Standard deviation of its logarithm, above 0.

    Returns
    -------
    exceedance_chance : ndarray, shape (n,)
        0 where the median is 0, even at a limit of 0; 1 where only the limit is 0;
        NaN where an input is NaN.

    Notes
    -----
    No published value exists beside the normal table it rests on.

    References
    ----------
    definition.

    Examples
    --------
    >>> exceedance_chance([0.0, 1.0, 2.0, 1.0], [1.0, 1.0, 1.0, 0.0], 0.5).round(3)
    array([0.   , 0.5  , 0.917, 1.   ])
    """
    median, limit = np.asarray(median, float), np.asarray(limit, float)
    both = (median > 0) & (limit > 0)
    excess = np.log(np.where(both, median, 1.0)) - np.log(np.where(both, limit, 1.0))
    chance = ndtr(excess / np.asarray(spread_fraction))
    chance = np.where(limit <= 0, 1.0, chance)
    chance = np.where(median <= 0, 0.0, chance)
    return np.where(np.isnan(median + limit), np.nan, chance)


def lognormal_quantile(
    median: ArrayLike, chance: ArrayLike, spread_fraction: ArrayLike
) -> Floats:
    r"""Value that a lognormal quantity stays below with a chance.

    .. math:: x_p = x_{50} \exp(\sigma \Phi^{-1}(p))

    Parameters
    ----------
    median : array_like, shape (n,)
        Median of the quantity, 0 or more, in any unit.
    chance : array_like, shape (n,) or scalar
        Chance p to stay below, above 0 and below 1.
    spread_fraction : array_like, shape (n,) or scalar
        Standard deviation of its logarithm, 0 or more.

    Returns
    -------
    lognormal_quantile : ndarray, shape (n,)
        In the unit of the median; NaN where an input is NaN.

    Notes
    -----
    The inverse of ``exceedance_chance``. No published value exists beside the normal
    table it rests on.

    References
    ----------
    definition.

    Examples
    --------
    >>> lognormal_quantile([1.0, 2.0], 0.9, 0.5).round(3)
    array([1.898, 3.796])
    """
    away = ndtri(np.asarray(chance, float)) * np.asarray(spread_fraction, float)
    return np.asarray(np.asarray(median, float) * np.exp(away))


def gumbel_factor(return_years: ArrayLike) -> Floats:
    r"""Frequency factor of an extreme-value (Gumbel) series.

    .. math:: K_T = -\frac{\sqrt 6}{\pi} \left( \gamma + \ln \ln \frac{T}{T-1} \right)

    Parameters
    ----------
    return_years : array_like, shape (n,)
        Return period T, above 1 [years].

    Returns
    -------
    gumbel_factor : ndarray, shape (n,)
        Standard deviations above the mean; NaN where the input is NaN.

    Notes
    -----
    For a long record; short ones need their own table.

    References
    ----------
    usgs2019, table values from memory.

    Examples
    --------
    >>> gumbel_factor([2.0, 100.0]).round(3)
    array([-0.164,  3.137])
    """
    years = np.asarray(return_years, float)
    reduced = -np.log(np.log(years / (years - 1)))
    return (reduced - np.euler_gamma) * np.sqrt(6) / np.pi


def log_pearson_factor(skew: ArrayLike, return_years: ArrayLike) -> Floats:
    r"""Frequency factor of a log-Pearson type III series.

    .. math:: K = \frac{g}{2} \left( P^{-1}(4 / g^2,\, p) - 4 / g^2 \right)

    where P is the gamma distribution of shape 4/g² and p = 1 - 1/T; the normal
    deviate at g = 0, and mirrored below 0.

    Parameters
    ----------
    skew : array_like, shape (n,) or scalar
        Skew of the logarithms g.
    return_years : array_like, shape (n,) or scalar
        Return period T, above 1 [years].

    Returns
    -------
    log_pearson_factor : ndarray, shape (n,)
        Standard deviations of the logarithms above their mean; NaN where an input
        is NaN.

    Notes
    -----
    Within 0.0005 of a skew of 0 the factor is that of the normal distribution.

    References
    ----------
    usgs1982, appendix 3; usgs2019.

    Examples
    --------
    >>> log_pearson_factor([0.0, 1.0], 100.0).round(3)
    array([2.326, 3.023])
    """
    skew, years = np.broadcast_arrays(np.asarray(skew, float), return_years)
    below = 1 - 1 / np.asarray(years, float)
    is_normal = np.abs(skew) < _NO_SKEW
    size = np.where(is_normal, 1, np.abs(skew))
    shape = 4 / np.square(size)
    upper = gammaincinv(shape, np.where(skew > 0, below, 1 - below))
    skewed = np.sign(skew) * size / 2 * (upper - shape)
    return np.where(is_normal, ndtri(below), skewed)


def annual_exceedance_chance(partial_return_years: ArrayLike) -> Floats:
    r"""Chance in a year of an event known by its mean interval.

    .. math:: AEP = 1 - e^{-1 / ARI}

    Parameters
    ----------
    partial_return_years : array_like, shape (n,)
        Mean interval of a partial-duration series ARI, above 0 [years].

    Returns
    -------
    annual_exceedance_chance : ndarray, shape (n,)
        NaN where the input is NaN.

    References
    ----------
    atlas14v9.

    Examples
    --------
    >>> annual_exceedance_chance([1.0, 2.0, 10.0]).round(3)
    array([0.632, 0.393, 0.095])
    """
    return -np.expm1(-1 / np.asarray(partial_return_years, float))


def partial_return_years(annual_return_years: ArrayLike) -> Floats:
    r"""Mean interval of all events, from the return period of yearly highest ones.

    .. math:: ARI = -1 / \ln(1 - 1 / T)

    Parameters
    ----------
    annual_return_years : array_like, shape (n,)
        Return period T of the yearly highest, above 1 [years].

    Returns
    -------
    partial_return_years : ndarray, shape (n,)
        Shorter by up to half a year; NaN where the input is NaN [years].

    References
    ----------
    atlas14v9; the inverse of ``annual_exceedance_chance``.

    Examples
    --------
    >>> partial_return_years([2.0, 10.0, 100.0]).round(2)
    array([ 1.44,  9.49, 99.5 ])
    """
    return -1 / np.log1p(-1 / np.asarray(annual_return_years, float))


def chance_over_years(annual_chance: ArrayLike, years: ArrayLike) -> Floats:
    r"""Chance of at least one event in a number of years.

    .. math:: R = 1 - (1 - AEP)^n

    Parameters
    ----------
    annual_chance : array_like, shape (n,)
        Chance of the event in one year AEP, 0 to 1.
    years : array_like, shape (n,) or scalar
        Number of years n, 0 or more.

    Returns
    -------
    chance_over_years : ndarray, shape (n,)
        NaN where an input is NaN.

    References
    ----------
    usgs1982, risk; cwcb, flood report.

    Examples
    --------
    >>> chance_over_years(0.01, [30.0, 50.0, 100.0]).round(2)
    array([0.26, 0.39, 0.63])
    """
    return 1 - np.power(1 - np.asarray(annual_chance, float), years)


def expected_annual_damage(
    exceedance_chance: ArrayLike, damage: ArrayLike, is_tail_held: bool = True
) -> Floats:
    r"""Mean damage a year, over a curve of damage by yearly chance.

    .. math:: EAD = \sum (p_i - p_{i+1}) (D_i + D_{i+1}) / 2 \; (+ p_k D_k)

    Parameters
    ----------
    exceedance_chance : array_like, shape (k,) or (..., k)
        Yearly chances p that a flood is larger, falling; floods a year, where
        several in one year all count.
    damage : array_like, shape (..., k)
        Damage of the flood of each chance, in any unit.
    is_tail_held : bool
        Floods beyond the rarest do its damage; else they are left out.

    Returns
    -------
    expected_annual_damage : ndarray, shape (...)
        In the unit of the damage, a year; NaN where an input is NaN.

    Notes
    -----
    The rule is the trapezium. With few points rules differ much, and the return
    period at which damage begins weighs most (rosbjerg2024). Floods more frequent
    than the first point count as harmless.

    References
    ----------
    cwcb (the procedure of the US Army Corps of Engineers).

    Examples
    --------
    >>> expected_annual_damage([0.5, 0.1, 0.02, 0.01], [0.0, 50e3, 200e3, 350e3])
    array(26250.)
    """
    chances, damage = np.asarray(exceedance_chance, float), np.asarray(damage, float)
    between = (damage[..., 1:] + damage[..., :-1]) / 2
    sums = (between * -np.diff(chances, axis=-1)).sum(axis=-1)
    return np.asarray(sums + is_tail_held * chances[..., -1] * damage[..., -1])
