"""Cold and sun at a place: degree-days, frost of a day, sol-air temperature."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def freezing_degree_days(air_mean_c: ArrayLike) -> Floats:
    r"""Freezing-only sum: every day below 0 °C counts, thaw days take nothing back.

    .. math:: F = \sum_d \max(0, -T_d)

    Parameters
    ----------
    air_mean_c : array_like, shape (days, ...)
        Daily mean air temperature, days along the first axis [°C].

    Returns
    -------
    freezing_cday : ndarray, shape (...)
        Sum over the days; NaN where any day is NaN [°C·day].

    Notes
    -----
    Fresh water: the datum is 0 °C. No published row exists; the check is exact
    arithmetic.

    References
    ----------
    ufc2004, definition of the freezing degree-day.

    Examples
    --------
    >>> float(freezing_degree_days([2, -1, -4, -10, -12, -3, 1, -6]))
    36.0
    """
    return np.asarray(np.maximum(-np.asarray(air_mean_c, dtype=float), 0).sum(axis=0))


def net_afdd(air_mean_c: ArrayLike, start_cday: ArrayLike = 0.0) -> Floats:
    r"""Accumulated freezing degree-days, thaw days subtracted, never below 0.

    .. math:: A_d = \max(0, A_{d-1} - T_d)

    Parameters
    ----------
    air_mean_c : array_like, shape (days, ...)
        Daily mean air temperature, days along the first axis [°C].
    start_cday : array_like, shape (...)
        Sum carried in from before the first day [°C·day].

    Returns
    -------
    afdd_cday : ndarray, shape (days, ...)
        The sum at the end of each day; NaN from the first NaN on [°C·day].

    Notes
    -----
    The accumulator for ice growth. No published row exists; the check is exact
    arithmetic.

    References
    ----------
    usace2002, ch. 2, from memory.

    Examples
    --------
    >>> net_afdd([2, -1, -4, 3, -6])
    array([0., 1., 5., 2., 8.])
    """
    air = np.asarray(air_mean_c, dtype=float)
    afdd = np.empty_like(air)
    total = np.asarray(start_cday, dtype=float)
    for day in range(len(air)):
        total = np.maximum(total - air[day], 0)
        afdd[day] = total
    return afdd


def seasonal_freezing_index(air_mean_c: ArrayLike) -> Floats:
    r"""Air freezing index: from the highest to a later lowest point of the curve.

    .. math:: FI = \max_{i \le j} (C_i - C_j), \qquad C_d = \sum_{e \le d} T_e

    Parameters
    ----------
    air_mean_c : array_like, shape (days, ...)
        Daily mean air temperature of one season, days along the first axis [°C].

    Returns
    -------
    freezing_index_cday : ndarray, shape (...)
        Largest fall of the cumulative curve; NaN where any day is NaN [°C·day].

    Notes
    -----
    The index of frost depth. The curve starts at 0 before the first day.

    References
    ----------
    ufc2004, glossary: air freezing index.

    Examples
    --------
    >>> float(seasonal_freezing_index([2, -1, -4, -10, -12, -3, 1, -6]))
    35.0
    """
    air = np.asarray(air_mean_c, dtype=float)
    curve = np.concatenate([np.zeros_like(air[:1]), np.cumsum(air, axis=0)])
    return np.asarray((np.maximum.accumulate(curve, axis=0) - curve).max(axis=0))


def freezing_part(air_mean_c: ArrayLike, half_range_c: ArrayLike) -> Floats:
    r"""Part of a day's degree-days below 0 °C, the day taken as a sine.

    .. math:: F = \frac{1}{\pi}\left[ A \cos\theta - m (\pi/2 - \theta) \right],
              \qquad \theta = \arcsin(m / A)

    Parameters
    ----------
    air_mean_c : array_like
        Mean m of the day's highest and lowest temperature [°C].
    half_range_c : array_like
        Half their difference A, 0 or more [K].

    Returns
    -------
    freezing_cday : ndarray
        Frost of the day, 0 or more; the day's thaw is this plus m [°C·day].

    Notes
    -----
    So a day of -6 and +6 °C both freezes and thaws. Where the whole day lies on
    one side of 0 °C it is max(0, -m). No published row exists.

    References
    ----------
    baskerville1969, sine method, from memory.

    Examples
    --------
    >>> freezing_part([-5.0, 0.0, 5.0], [3.0, np.pi, 3.0]).round(6) + 0
    array([5., 1., 0.])
    """
    mean = np.asarray(air_mean_c, dtype=float)
    half = np.asarray(half_range_c, dtype=float)
    one_side = np.maximum(-mean, 0) + 0 * half  # a missing range stays missing
    crosses = np.abs(mean) < half
    if not crosses.any():  # most winter days: the sine need not be worked out
        return np.asarray(one_side)
    safe = np.where(half > 0, half, 1)
    sine = np.clip(mean / safe, -1, 1)
    both = (safe * np.sqrt(1 - sine**2) - mean * (np.pi / 2 - np.arcsin(sine))) / np.pi
    return np.asarray(np.where(crosses, both, one_side))


def clear_sun_fraction(
    half_range_c: ArrayLike,
    *,
    range_coefficient: ArrayLike,
    clear_sky_fraction: ArrayLike,
) -> Floats:
    r"""Share of the clear-sky sun let through, from the day's temperature range.

    .. math:: c = \min\left(1, \frac{k \sqrt{T_{max} - T_{min}}}{c_0}\right)

    Parameters
    ----------
    half_range_c : array_like
        Half the difference of the day's highest and lowest temperature [K].
    range_coefficient : array_like
        k, 0.16 inland and 0.19 at a coast [K^-1/2].
    clear_sky_fraction : array_like
        Clear-sky sun over the sun above the air, 0.75 [1].

    Returns
    -------
    clear_sun_fraction : ndarray
        From 0, overcast, to 1, clear; NaN where the range is NaN.

    Notes
    -----
    A cloudy day warms and cools little. A rough daily estimate; good to about a
    fifth over weeks.

    References
    ----------
    allen1998, eq. 37 and 50, example 15, from memory.

    Examples
    --------
    >>> clear_sun_fraction([0.0, 5.9, 20.0], range_coefficient=0.16,
    ...                    clear_sky_fraction=0.75).round(3)
    array([0.   , 0.733, 1.   ])
    """
    span = 2 * np.asarray(half_range_c, dtype=float)
    share = np.asarray(range_coefficient) * np.sqrt(span) / clear_sky_fraction
    return np.asarray(np.minimum(share, 1))


def sol_air_temperature(
    air_c: ArrayLike,
    sun_w_m2: ArrayLike,
    *,
    absorbed_fraction: ArrayLike,
    surface_w_m2k: ArrayLike,
    sky_loss_w_m2: ArrayLike = 0.0,
) -> Floats:
    r"""Air temperature that would warm a surface as air and sun together do.

    .. math:: t_e = t_o + \frac{a E - \varepsilon \Delta R}{h_o}

    Parameters
    ----------
    air_c : array_like
        Air temperature t_o [°C].
    sun_w_m2 : array_like
        Sun on the surface E, 0 or more [W/m2].
    absorbed_fraction : array_like
        Share a of the sun the surface takes up [1].
    surface_w_m2k : array_like
        Heat transfer coefficient of the surface h_o, above 0 [W/(m2·K)].
    sky_loss_w_m2 : array_like
        Long-wave loss to the sky: emittance times Delta R [W/m2].

    Returns
    -------
    sol_air_c : ndarray
        Sol-air temperature; NaN where an input is NaN [°C].

    Notes
    -----
    Steady heat flow; the surface stores none. Delta R is about 63 W/m2 for a
    horizontal surface under a clear sky and 0 for a wall.

    References
    ----------
    ashrae2009, ch. 18, sol-air temperature.

    Examples
    --------
    >>> float(sol_air_temperature(-10.0, 300.0, absorbed_fraction=0.3,
    ...                           surface_w_m2k=20.0))
    -5.5
    """
    gain = np.asarray(absorbed_fraction) * np.asarray(sun_w_m2) - sky_loss_w_m2
    return np.asarray(np.asarray(air_c) + gain / surface_w_m2k, dtype=float)
