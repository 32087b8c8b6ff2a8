"""Rain of any duration and return period, from a table or a rule."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MINUTE_S = 60.0  # exact
_SAME = 1e-9  # of two logarithms that stand for one number


def storm_rain(
    asked_return_years: ArrayLike, return_years: ArrayLike, rain_m: ArrayLike
) -> Floats:
    r"""Rain of a return period between those of a table.

    Straight between the table's points in rain against the logarithm of the return
    period.

    Parameters
    ----------
    asked_return_years : array_like, shape (n,)
        Return period wanted [years].
    return_years : array_like, shape (k,)
        Return periods of the table, growing [years].
    rain_m : array_like, shape (k,)
        Rain of one duration at those return periods [m].

    Returns
    -------
    storm_rain_m : ndarray, shape (n,)
        NaN outside the table and where an input is NaN [m].

    Notes
    -----
    Extremes of Gumbel's kind are close to a straight line on this scale above two
    years. The table is not stretched.

    References
    ----------
    practice.

    Examples
    --------
    >>> storm_rain([10.0, 15.811388, 500.0], [10.0, 25.0], [0.041, 0.051]).round(3)
    array([0.041, 0.046,   nan])
    """
    asked, table = np.log(asked_return_years), np.log(return_years)
    depths_m = np.asarray(rain_m, float)
    return np.asarray(np.interp(asked, table, depths_m, left=np.nan, right=np.nan))


def rain_depth(
    asked_duration_s: ArrayLike,
    asked_return_years: ArrayLike,
    duration_s: ArrayLike,
    return_years: ArrayLike,
    rain_m: ArrayLike,
) -> Floats:
    r"""Rain of any duration and return period from a table of both.

    Straight between durations in the logarithms of rain and duration; between return
    periods as ``storm_rain``.

    Parameters
    ----------
    asked_duration_s : array_like, shape (n,)
        Durations wanted [s].
    asked_return_years : array_like, shape (n,) or scalar
        Return periods wanted, in the table's kind of series [years].
    duration_s : array_like, shape (d,)
        Durations of the table, growing [s].
    return_years : array_like, shape (k,)
        Return periods of the table, growing [years].
    rain_m : array_like, shape (d, k)
        Rain of the table, above 0 [m].

    Returns
    -------
    rain_m : ndarray, shape (n,)
        NaN outside the table and where an input is NaN [m].

    Notes
    -----
    The table is not stretched.

    References
    ----------
    atlas14v9, 30 and 60 minutes.

    Examples
    --------
    >>> rain_depth([2700.0], 10.0, [1800.0, 3600.0], [10.0], [[60.2], [79.5]]).round(1)
    array([70.8])
    """
    asked = np.log(np.asarray(asked_duration_s, float)).reshape(-1)
    years = np.log(np.asarray(asked_return_years, float)).reshape(-1)
    durations, logs = np.log(duration_s), np.log(np.asarray(rain_m, float))
    by_year = [
        np.exp(np.interp(asked, durations, column, left=np.nan, right=np.nan))
        for column in logs.T
    ]
    table, depth_m = np.log(return_years), np.stack(by_year)
    asked, years = np.broadcast_arrays(asked, years)
    after = np.clip(np.searchsorted(table, years), 1, max(len(table) - 1, 1))
    rows = np.arange(len(asked))
    if len(table) == 1:
        return np.where(np.isclose(years, table[0]), depth_m[0], np.nan)
    part = (years - table[after - 1]) / (table[after] - table[after - 1])
    low, high = depth_m[after - 1, rows], depth_m[after, rows]
    is_inside = (years >= table[0] - _SAME) & (years <= table[-1] + _SAME)
    return np.where(is_inside, low + (high - low) * part, np.nan)


def rain_duration_ratio(duration_s: ArrayLike) -> Floats:
    r"""Rain of a duration over the rain of one hour, at one return period (Bell).

    .. math:: P_t / P_{60} = 0.54\, t^{0.25} - 0.50

    t in minutes.

    Parameters
    ----------
    duration_s : array_like, shape (n,)
        Duration, 300 to 7 200 [s].

    Returns
    -------
    rain_duration_ratio : ndarray, shape (n,)
        NaN where the input is NaN.

    Notes
    -----
    From short bursts in several countries; 1.003 at one hour, as printed. Above two
    hours it gives more rain than most tables.

    References
    ----------
    bell1969, from memory.

    Examples
    --------
    >>> rain_duration_ratio([1800.0, 3600.0]).round(3)
    array([0.764, 1.003])
    """
    minutes = np.asarray(duration_s, float) / _MINUTE_S
    return 0.54 * np.power(minutes, 0.25) - 0.50
