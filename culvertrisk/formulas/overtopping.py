"""How often a crossing's capacity is exceeded, over a curve of peaks by frequency."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]

_LEAST_M3S = 1e-9  # a drop, so that a peak of 0 has a logarithm


def peak_of_return(
    asked_return_years: ArrayLike, return_years: ArrayLike, peaks_m3s: ArrayLike
) -> Floats:
    r"""Peak of a return period between those of a frequency curve.

    .. math:: \ln Q = a + b\, z, \quad z = \Phi^{-1}(1 - 1 / T)

    straight between neighbouring points of the curve.

    Parameters
    ----------
    asked_return_years : array_like, shape (n,) or scalar
        Return period wanted, above 1 [years].
    return_years : array_like, shape (k,)
        Return periods of the curve, growing [years].
    peaks_m3s : array_like, shape (n, k)
        Peaks at those return periods, growing [m3/s].

    Returns
    -------
    peak_m3s : ndarray, shape (n,)
        Along the line of the last two points outside the curve; NaN where an input
        is NaN [m3/s].

    Notes
    -----
    The straight line of log-probability paper. No published value exists beside the
    points themselves.

    References
    ----------
    usgs1982 (log-normal where the skew is 0).

    Examples
    --------
    >>> peak_of_return([10.0, 25.0], [10.0, 100.0], [[1.0, 2.0], [1.0, 2.0]]).round(2)
    array([1.  , 1.37])
    """
    deviates = ndtri(1 - 1 / np.asarray(return_years, float))
    logs = np.log(np.maximum(np.asarray(peaks_m3s, float), _LEAST_M3S))
    asked = ndtri(1 - 1 / np.asarray(asked_return_years, float))
    asked = np.broadcast_to(asked, logs.shape[:1])
    after = np.clip(np.searchsorted(deviates, asked), 1, len(deviates) - 1)
    low, high = _pair(logs, after)
    step = deviates[after] - deviates[after - 1]
    return np.exp(low + (high - low) * (asked - deviates[after - 1]) / step)


def limiting_return_years(
    capacity_m3s: ArrayLike, return_years: ArrayLike, peaks_m3s: ArrayLike
) -> Floats:
    r"""Return period of the peak that just fills a capacity.

    The inverse of ``peak_of_return``: "holds a 7-year storm".

    Parameters
    ----------
    capacity_m3s : array_like, shape (n,)
        Flow passed before water reaches the road, 0 or more [m3/s].
    return_years : array_like, shape (k,)
        Return periods of the curve, growing [years].
    peaks_m3s : array_like, shape (n, k)
        Peaks at those return periods, growing [m3/s].

    Returns
    -------
    limiting_return_years : ndarray, shape (n,)
        From 1 upwards, along the line of the last two points outside the curve; NaN
        where an input is NaN or the curve does not grow [years].

    Notes
    -----
    Outside the curve the line is a guess; bound the result before it is shown. No
    published value exists beside the points themselves.

    References
    ----------
    usgs1982 (log-normal where the skew is 0).

    Examples
    --------
    >>> limiting_return_years([1.0, 1.365, 0.0], [10, 100], [[1.0, 2.0]] * 3).round(0)
    array([10., 25.,  1.])
    """
    deviates = ndtri(1 - 1 / np.asarray(return_years, float))
    logs = np.log(np.maximum(np.asarray(peaks_m3s, float), _LEAST_M3S))
    level = np.log(np.maximum(np.asarray(capacity_m3s, float), _LEAST_M3S))
    after = np.clip((logs < level[..., None]).sum(axis=1), 1, len(deviates) - 1)
    low, high = _pair(logs, after)
    rise = np.where(high > low, high - low, np.nan)
    step = deviates[after] - deviates[after - 1]
    return 1 / ndtr(-(deviates[after - 1] + step * (level - low) / rise))


def floods_per_year(return_years: ArrayLike) -> Floats:
    r"""Mean number of floods a year above one of a return period.

    .. math:: \lambda = -\ln(1 - 1 / T)

    Parameters
    ----------
    return_years : array_like, shape (n,)
        Return period of the yearly highest, above 1 [years].

    Returns
    -------
    floods_per_year : ndarray, shape (n,)
        NaN where the input is NaN [1/year].

    Notes
    -----
    Floods come independently of each other. One over ``partial_return_years``.

    References
    ----------
    atlas14v9 (AEP = 1 - exp(-1/ARI)).

    Examples
    --------
    >>> floods_per_year([2.0, 100.0]).round(4)
    array([0.6931, 0.0101])
    """
    return -np.log1p(-1 / np.asarray(return_years, float))


def season_blocked_chance(blocked_chance: ArrayLike, flood_share: ArrayLike) -> Floats:
    r"""Chance that a flood of the iced season meets a blocked pipe.

    .. math:: b = \sum s_j b_j / \sum s_j

    Parameters
    ----------
    blocked_chance : array_like, shape (n, m)
        Chance that the crossing is blocked in each month of the season.
    flood_share : array_like, shape (m,)
        Share of the season's floods in each month, not all 0.

    Returns
    -------
    season_blocked_chance : ndarray, shape (n,)
        NaN where an input is NaN.

    References
    ----------
    definition.

    Examples
    --------
    >>> season_blocked_chance([[0.8, 0.4, 0.1]], [1.0, 2.0, 1.0])
    array([0.425])
    """
    share = np.asarray(flood_share, float)
    return np.asarray(blocked_chance, float) @ (share / share.sum())


def overtopping_per_year(
    open_per_year: ArrayLike,
    iced_per_year: ArrayLike,
    blocked_chance: ArrayLike,
    iced_season_fraction: ArrayLike,
    thaw_floods_per_year: ArrayLike,
) -> Floats:
    r"""Mean number of times a year that water goes over the road, ice counted in.

    .. math:: \lambda = (1 - w b) \lambda_o + b \max(w \lambda_o, \min(N, w \lambda_i))

    Parameters
    ----------
    open_per_year : array_like, shape (n,)
        Floods a year above the open capacity, lambda_o [1/year].
    iced_per_year : array_like, shape (n,)
        Floods a year above the capacity left when blocked, lambda_i; large where
        nothing passes [1/year].
    blocked_chance : array_like, shape (n,) or scalar
        Chance that a flood of the iced season meets a blocked pipe b.
    iced_season_fraction : array_like, shape (n,) or scalar
        Share w of the year's floods that come in the iced season.
    thaw_floods_per_year : array_like, shape (n,) or scalar
        Rises of water N that a wholly blocked pipe meets in a winter [1/year].

    Returns
    -------
    overtopping_per_year : ndarray, shape (n,)
        Over n years n times as many; NaN where an input is NaN [1/year].

    Notes
    -----
    If no crew comes. A blocked pipe fails at each thaw flood, at most N a winter;
    the pond it fills first is left out. No published value exists; its limits are
    exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> overtopping_per_year(0.1, 50.0, [0.0, 0.5, 1.0], 0.4, 1.0)
    array([0.1 , 0.58, 1.06])
    """
    blocked, share = np.asarray(blocked_chance, float), np.asarray(iced_season_fraction)
    when_open = np.asarray(open_per_year, float)
    in_winter = np.minimum(thaw_floods_per_year, share * np.asarray(iced_per_year))
    when_blocked = np.maximum(share * when_open, in_winter)
    return (1 - share * blocked) * when_open + blocked * when_blocked


def _pair(logs: Floats, after: NDArray[np.intp]) -> tuple[Floats, Floats]:
    rows = np.arange(len(after))
    return logs[rows, after - 1], logs[rows, after]
