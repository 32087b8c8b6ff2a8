"""Peak runoff by the rational method, and the storm it needs."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MINUTE_S = 60.0  # exact


def flow_rational(
    catchment_m2: ArrayLike,
    intensity_m_s: ArrayLike,
    runoff_fraction: ArrayLike,
    frequency_factor: ArrayLike = 1.0,
) -> Floats:
    r"""Peak flow by the rational method.

    .. math:: Q = C_f C\, i\, A, \quad C_f C \le 1

    Parameters
    ----------
    catchment_m2 : array_like, shape (n,)
        Area that drains to the inlet [m2].
    intensity_m_s : array_like, shape (n,) or scalar
        Rain or melt over the time of concentration [m/s].
    runoff_fraction : array_like, shape (n,) or scalar
        Rational coefficient C, 0 to 1.
    frequency_factor : array_like, shape (n,) or scalar
        Cf, 1.0 up to 10 years to 1.25 at 100 years.

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        NaN where an input is NaN [m3/s].

    Notes
    -----
    For catchments up to 80 ha (200 acres), commonly 25 ha, and rain that lasts as
    long as the time of concentration.

    References
    ----------
    fhwa2009, rational method.

    Examples
    --------
    >>> flow_rational([60703.0], 1.6933e-5, 0.35).round(3)
    array([0.36])
    """
    share = np.asarray(frequency_factor) * np.asarray(runoff_fraction, float)
    return np.minimum(share, 1) * np.asarray(intensity_m_s) * np.asarray(catchment_m2)


def concentration_kirpich(
    flow_path_m: ArrayLike, flow_path_slope_m_per_m: ArrayLike
) -> Floats:
    r"""Time of concentration of a rural catchment with a channel (Kirpich).

    .. math:: t = 0.0195\, L^{0.77} S^{-0.385}

    t in minutes, L in metres; returned in seconds.

    Parameters
    ----------
    flow_path_m : array_like, shape (n,)
        Longest flow path L [m].
    flow_path_slope_m_per_m : array_like, shape (n,) or scalar
        Its fall over its length S, above 0 [m/m].

    Returns
    -------
    concentration_s : ndarray, shape (n,)
        NaN where an input is NaN [s].

    Notes
    -----
    From catchments up to 45 ha with slopes of 3 to 10 %. Times 0.4 on paved ground,
    0.2 in concrete channels, 2 over grass. No lower bound is set here.

    References
    ----------
    kirpich1940.

    Examples
    --------
    >>> concentration_kirpich([609.6], 0.04).round(0)
    array([563.])
    """
    path = np.power(np.asarray(flow_path_m, float), 0.77)
    slope = np.power(np.asarray(flow_path_slope_m_per_m, float), -0.385)
    return 0.0195 * path * slope * _MINUTE_S


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


def burst_intensity(
    depth_m: ArrayLike, duration_s: ArrayLike, concentration_s: ArrayLike
) -> Floats:
    r"""Highest mean intensity over the time of concentration, of a triangular rain.

    .. math:: i = P\, (1 - (1 - r)^2) / t_c, \quad r = \min(t_c / d,\, 1)

    Parameters
    ----------
    depth_m : array_like, shape (n,) or scalar
        Rain P [m].
    duration_s : array_like, shape (n,) or scalar
        Length d of the rain, above 0 [s].
    concentration_s : array_like, shape (n,)
        Time of concentration tc, above 0 [s].

    Returns
    -------
    intensity_m_s : ndarray, shape (n,)
        Twice the mean of the rain where tc is short, P / tc where tc is longer than
        the rain; NaN where an input is NaN [m/s].

    Notes
    -----
    The rain rises and falls along a triangle: common practice, no source. No
    published value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> burst_intensity(0.018, 36_000.0, [36_000.0, 72_000.0])
    array([5.0e-07, 2.5e-07])
    """
    window_s = np.asarray(concentration_s, float)
    share = np.minimum(window_s / np.asarray(duration_s, float), 1)
    return np.asarray(depth_m) * (1 - np.square(1 - share)) / window_s


def melt_intensity(
    depth_m: ArrayLike, duration_s: ArrayLike, concentration_s: ArrayLike
) -> Floats:
    r"""Highest mean intensity over the time of concentration, of a day's melt.

    .. math:: i = M \sin(\pi r / 2) / t_c, \quad r = \min(t_c / d,\, 1)

    Parameters
    ----------
    depth_m : array_like, shape (n,) or scalar
        Melt M [m].
    duration_s : array_like, shape (n,) or scalar
        Length d of the melt, above 0 [s].
    concentration_s : array_like, shape (n,)
        Time of concentration tc, above 0 [s].

    Returns
    -------
    intensity_m_s : ndarray, shape (n,)
        Pi/2 times the mean of the melt where tc is short, M / tc where tc is longer
        than the melt; NaN where an input is NaN [m/s].

    Notes
    -----
    Melt follows the sun along half a sine: common practice, no source. No published
    value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> melt_intensity(0.018, 36_000.0, [36_000.0, 72_000.0])
    array([5.0e-07, 2.5e-07])
    """
    window_s = np.asarray(concentration_s, float)
    share = np.minimum(window_s / np.asarray(duration_s, float), 1)
    return np.asarray(depth_m) * np.sin(np.pi * share / 2) / window_s


def pond_storage(
    depth_m: ArrayLike, width_m: ArrayLike, valley_slope_m_per_m: ArrayLike
) -> Floats:
    r"""Water held behind a blocked crossing, up to a depth at its inlet.

    .. math:: V = H^2 B / 2 S

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth H at the inlet; below 0 counts as 0 [m].
    width_m : array_like, shape (n,) or scalar
        Width B of the ponded bottom [m].
    valley_slope_m_per_m : array_like, shape (n,) or scalar
        Slope S of the bottom above the crossing, above 0 [m/m].

    Returns
    -------
    storage_m3 : ndarray, shape (n,)
        NaN where an input is NaN [m3].

    Notes
    -----
    A wedge with upright sides over a plane bottom: an assumption until the pond is
    taken from the DEM. No published value exists.

    References
    ----------
    definition.

    Examples
    --------
    >>> pond_storage([1.0, 2.0], 10.0, 0.02)
    array([ 250., 1000.])
    """
    depth_m = np.maximum(np.asarray(depth_m, float), 0)
    return (
        np.square(depth_m)
        * np.asarray(width_m)
        / (2 * np.asarray(valley_slope_m_per_m))
    )
