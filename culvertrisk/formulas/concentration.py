"""Time of concentration: how long the farthest water takes to the inlet."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import HOUR_S

Floats = NDArray[np.float64]

_MINUTE_S = 60.0  # exact
_INCH_M = 0.0254  # exact
_FOOT_M = 0.3048  # exact
_PERCENT = 100.0  # exact


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


def concentration_faa(
    flow_path_m: ArrayLike,
    flow_path_slope_m_per_m: ArrayLike,
    runoff_fraction: ArrayLike,
) -> Floats:
    r"""Time of concentration of water that runs over land (FAA).

    .. math:: t = 1.8\, (1.1 - C)\, L^{1/2} S_\%^{-1/3}

    t in minutes, L in feet; given in metres and returned in seconds.

    Parameters
    ----------
    flow_path_m : array_like, shape (n,)
        Longest flow path [m].
    flow_path_slope_m_per_m : array_like, shape (n,) or scalar
        Its fall over its length, above 0 [m/m].
    runoff_fraction : array_like, shape (n,) or scalar
        Rational coefficient C, 0 to 1.

    Returns
    -------
    concentration_s : ndarray, shape (n,)
        NaN where an input is NaN [s].

    Notes
    -----
    From airfields: short paths over land without a channel.

    References
    ----------
    faa, by way of a public storm manual; its metric constant is 3.26.

    Examples
    --------
    >>> concentration_faa([152.4], 0.02, 0.3).round(0)
    array([1533.])
    """
    path_ft = np.asarray(flow_path_m, float) / _FOOT_M
    slope_percent = np.asarray(flow_path_slope_m_per_m, float) * _PERCENT
    rest = 1.1 - np.asarray(runoff_fraction, float)
    minutes = 1.8 * rest * np.sqrt(path_ft) * np.power(slope_percent, -1 / 3)
    return minutes * _MINUTE_S


def concentration_nrcs_lag(
    flow_path_m: ArrayLike, land_slope_m_per_m: ArrayLike, curve_number: ArrayLike
) -> Floats:
    r"""Time of concentration by the watershed lag of NRCS.

    .. math:: t = \frac{1}{0.6} \frac{L^{0.8} (S + 1)^{0.7}}{1900\, Y^{0.5}},
        \quad S = 1000 / CN - 10

    t in hours, L in feet, S in inches, Y in percent; given in metres and returned in
    seconds.

    Parameters
    ----------
    flow_path_m : array_like, shape (n,)
        Longest flow path [m].
    land_slope_m_per_m : array_like, shape (n,) or scalar
        Mean slope of the land Y, above 0 [m/m].
    curve_number : array_like, shape (n,) or scalar
        CN, 50 to 95.

    Returns
    -------
    concentration_s : ndarray, shape (n,)
        NaN where an input is NaN [s].

    Notes
    -----
    From catchments of 0.5 ha to 24 km2, usable to 49 km2 (1.3 acres, 9.2 and 19 square
    miles).

    References
    ----------
    nrcs2004, chapter 15.

    Examples
    --------
    >>> concentration_nrcs_lag([1524.0], 0.04, 75.0).round(0)
    array([4012.])
    """
    path_ft = np.asarray(flow_path_m, float) / _FOOT_M
    retention_in = 1000 / np.asarray(curve_number, float) - 10
    slope_percent = np.asarray(land_slope_m_per_m, float) * _PERCENT
    lag = np.power(path_ft, 0.8) * np.power(retention_in + 1, 0.7)
    return lag / (1900 * np.sqrt(slope_percent)) / 0.6 * HOUR_S


def sheet_flow_time(
    length_m: ArrayLike,
    slope_m_per_m: ArrayLike,
    roughness: ArrayLike,
    rain_m: ArrayLike,
) -> Floats:
    r"""Travel time of a thin sheet of water.

    .. math:: t = \frac{0.007\, (n L)^{0.8}}{P_2^{0.5} s^{0.4}}

    t in hours, L in feet, P2 in inches; given and returned in SI.

    Parameters
    ----------
    length_m : array_like, shape (n,)
        Length of the sheet L, up to 30 m (100 ft) [m].
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the land s, above 0 [m/m].
    roughness : array_like, shape (n,) or scalar
        Manning's n for sheet flow, 0.011 (smooth) to 0.8 (dense woods).
    rain_m : array_like, shape (n,) or scalar
        Rain of 2 years and 24 hours P2, above 0 [m].

    Returns
    -------
    travel_s : ndarray, shape (n,)
        NaN where an input is NaN [s].

    Notes
    -----
    The worksheet of 1986 allows 300 ft; later guidance of its makers allows 100 ft.

    References
    ----------
    tr55, eq. 3-3.

    Examples
    --------
    >>> sheet_flow_time([30.48], 0.01, 0.24, 0.09144).round(0)
    array([1065.])
    """
    path_ft = np.asarray(length_m, float) / _FOOT_M
    rain_in = np.asarray(rain_m, float) / _INCH_M
    slope = np.power(np.asarray(slope_m_per_m, float), 0.4)
    drag = np.power(np.asarray(roughness, float) * path_ft, 0.8)
    return 0.007 * drag / (np.sqrt(rain_in) * slope) * HOUR_S


def shallow_flow_speed(slope_m_per_m: ArrayLike, is_paved: ArrayLike) -> Floats:
    r"""Mean speed of shallow concentrated flow.

    .. math:: V = 16.1345\, s^{0.5} \text{ unpaved}, \quad 20.3282\, s^{0.5}
        \text{ paved}

    V in feet a second; returned in SI.

    Parameters
    ----------
    slope_m_per_m : array_like, shape (n,)
        Slope of the watercourse s, 0 or more [m/m].
    is_paved : array_like, shape (n,) or scalar
        1 on pavement, 0 off it.

    Returns
    -------
    speed_m_s : ndarray, shape (n,)
        NaN where an input is NaN [m/s].

    References
    ----------
    tr55, appendix F.

    Examples
    --------
    >>> shallow_flow_speed([0.01, 0.01], [0.0, 1.0]).round(3)
    array([0.492, 0.62 ])
    """
    paved = np.asarray(is_paved, float)
    factor_ft_s = 16.1345 + (20.3282 - 16.1345) * paved
    return factor_ft_s * np.sqrt(np.asarray(slope_m_per_m, float)) * _FOOT_M


def channel_flow_speed(
    hydraulic_radius_m: ArrayLike, slope_m_per_m: ArrayLike, roughness: ArrayLike
) -> Floats:
    r"""Mean speed of a bank-full channel (Manning).

    .. math:: V = R^{2/3} s^{1/2} / n

    Parameters
    ----------
    hydraulic_radius_m : array_like, shape (n,)
        Wetted area over wetted perimeter, bank-full R [m].
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the channel s, 0 or more [m/m].
    roughness : array_like, shape (n,) or scalar
        Manning's n, above 0.

    Returns
    -------
    speed_m_s : ndarray, shape (n,)
        NaN where an input is NaN [m/s].

    References
    ----------
    tr55, eq. 3-4 (with 1.49 in feet).

    Examples
    --------
    >>> channel_flow_speed([0.2918], 0.005, 0.05).round(3)
    array([0.622])
    """
    radius = np.power(np.asarray(hydraulic_radius_m, float), 2 / 3)
    slope = np.sqrt(np.asarray(slope_m_per_m, float))
    return radius * slope / np.asarray(roughness, float)


def concentration_velocity(length_m: ArrayLike, speed_m_s: ArrayLike) -> Floats:
    r"""Time of concentration as the sum of travel times (velocity method).

    .. math:: t = \sum L_j / V_j

    Parameters
    ----------
    length_m : array_like, shape (n, k)
        Lengths of the reaches of each flow path; 0 where there is none [m].
    speed_m_s : array_like, shape (n, k)
        Mean speed in each reach, above 0 [m/s].

    Returns
    -------
    concentration_s : ndarray, shape (n,)
        NaN where an input is NaN [s].

    Notes
    -----
    A sheet of water enters with its length over ``sheet_flow_time`` as speed.

    References
    ----------
    tr55, eq. 3-1 and 3-2.

    Examples
    --------
    >>> concentration_velocity([[30.0, 400.0]], [[0.03, 0.5]])
    array([1800.])
    """
    times_s = np.asarray(length_m, float) / np.asarray(speed_m_s, float)
    return np.asarray(times_s.sum(axis=-1))
