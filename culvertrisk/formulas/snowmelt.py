"""Snowmelt by degree-days and with rain, and what a snowpack holds back."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import FUSION_HEAT_J_KG, HOUR_S, ICE_HEAT_CAPACITY_J_KGK

Floats = NDArray[np.float64]

_MM_PER_M = 1000.0  # exact
_KM_PER_M = 1e-3  # exact


def melt_degree_day(
    air_c: ArrayLike, melt_factor: ArrayLike, melt_base_c: ArrayLike = 0.0
) -> Floats:
    r"""Snowmelt of a day by the degree-day method.

    .. math:: M = C_m (T_a - T_b), \quad T_a > T_b

    Parameters
    ----------
    air_c : array_like, shape (n,)
        Mean air temperature of the day [°C].
    melt_factor : array_like, shape (n,) or scalar
        Cm, 0.0016 to 0.0060 [m/(°C·day)].
    melt_base_c : array_like, shape (n,) or scalar
        Temperature at which melt begins [°C].

    Returns
    -------
    melt_m : ndarray, shape (n,)
        Water melted if there is snow enough; 0 below the base; NaN where an input is
        NaN [m/day].

    References
    ----------
    nrcs2004, chapter 11; kuusisto1980 (observed factors).

    Examples
    --------
    >>> melt_degree_day([-3.0, 5.0], 0.00351)
    array([0.     , 0.01755])
    """
    degrees_c = np.maximum(np.asarray(air_c, float) - np.asarray(melt_base_c), 0)
    return np.asarray(melt_factor) * degrees_c


def melt_rain_open(
    air_c: ArrayLike, wind_m_s: ArrayLike, rain_m: ArrayLike, open_exposure: ArrayLike
) -> Floats:
    r"""Snowmelt of a rainy day on open to partly forested ground.

    .. math:: M = (1.326 + 0.239\, k v + 0.0126\, P_r) T_a + 2.29

    M and Pr in mm/day, v in km/h, Ta in °C; given and returned in SI.

    Parameters
    ----------
    air_c : array_like, shape (n,)
        Mean air temperature of the day, above 0 [°C].
    wind_m_s : array_like, shape (n,) or scalar
        Mean wind v, 15 m above the ground [m/s].
    rain_m : array_like, shape (n,) or scalar
        Rain of the day Pr [m/day].
    open_exposure : array_like, shape (n,) or scalar
        Share k of the wind that reaches the snow, 0.3 dense forest to 1.0 open plain.

    Returns
    -------
    melt_m : ndarray, shape (n,)
        Water melted if there is snow enough; 0 at or below 0 °C; NaN where an input
        is NaN [m/day].

    Notes
    -----
    For steps of a day, saturated air, and a pack that is at 0 °C throughout and is
    rained upon; cover below 80 %. The metric coefficients are the US ones converted.

    References
    ----------
    usace1998, ch. 5 (rain on snow, open) and appendix E.

    Examples
    --------
    >>> melt_rain_open([0.0, 5.5556], 4.4704, 0.0508, 0.5).round(4)
    array([0.    , 0.0239])
    """
    air_c = np.asarray(air_c, float)
    wind_km_h = np.asarray(wind_m_s) * HOUR_S * _KM_PER_M
    rain_mm = np.asarray(rain_m) * _MM_PER_M
    wind_term = 0.239 * np.asarray(open_exposure) * wind_km_h
    melt_mm = (1.326 + wind_term + 0.0126 * rain_mm) * air_c + 2.29
    return np.where(air_c <= 0, 0 * melt_mm, melt_mm) / _MM_PER_M


def melt_rain_forest(air_c: ArrayLike, rain_m: ArrayLike) -> Floats:
    r"""Snowmelt of a rainy day under heavy forest.

    .. math:: M = (3.38 + 0.0126\, P_r) T_a + 1.27

    M and Pr in mm/day, Ta in °C; given and returned in SI.

    Parameters
    ----------
    air_c : array_like, shape (n,)
        Mean air temperature of the day, above 0 [°C].
    rain_m : array_like, shape (n,) or scalar
        Rain of the day [m/day].

    Returns
    -------
    melt_m : ndarray, shape (n,)
        Water melted if there is snow enough; 0 at or below 0 °C; NaN where an input
        is NaN [m/day].

    Notes
    -----
    Limits of ``melt_rain_open``, for cover above 80 %.

    References
    ----------
    usace1998, ch. 5 (rain on snow, heavily forested) and appendix E.

    Examples
    --------
    >>> melt_rain_forest([5.5556], 0.0508).round(4)
    array([0.0236])
    """
    air_c = np.asarray(air_c, float)
    rain_mm = np.asarray(rain_m) * _MM_PER_M
    melt_mm = (3.38 + 0.0126 * rain_mm) * air_c + 1.27
    return np.where(air_c <= 0, 0 * melt_mm, melt_mm) / _MM_PER_M


def cold_content(snow_water_m: ArrayLike, snow_c: ArrayLike) -> Floats:
    r"""Water that must freeze in a cold pack before it is at 0 °C.

    .. math:: W_c = SWE\, c_I |T_s| / L_f

    Parameters
    ----------
    snow_water_m : array_like, shape (n,)
        Water in the pack, SWE [m].
    snow_c : array_like, shape (n,) or scalar
        Mean temperature of the pack; above 0 counts as 0 [°C].

    Returns
    -------
    cold_content_m : ndarray, shape (n,)
        As depth of water; NaN where an input is NaN [m].

    Notes
    -----
    The manual's shortcut is SWE |Ts| / 160, within 1 %.

    References
    ----------
    usace1998, ch. 2 (cold content).

    Examples
    --------
    >>> cold_content([0.2], -5.0).round(5)
    array([0.0063])
    """
    frost_c = np.maximum(-np.asarray(snow_c, float), 0)
    heat_j_kg = ICE_HEAT_CAPACITY_J_KGK * frost_c
    return np.asarray(snow_water_m) * heat_j_kg / FUSION_HEAT_J_KG


def retained_water(
    snow_water_m: ArrayLike, snow_c: ArrayLike, held_water_fraction: ArrayLike
) -> Floats:
    r"""Melt and rain a cold dry pack takes up before it lets water go.

    .. math:: W_r = W_c + f\, SWE

    Parameters
    ----------
    snow_water_m : array_like, shape (n,)
        Water in the pack [m].
    snow_c : array_like, shape (n,) or scalar
        Mean temperature of the pack [°C].
    held_water_fraction : array_like, shape (n,) or scalar
        Liquid water the pack holds f, 0.02 to 0.05.

    Returns
    -------
    retained_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    References
    ----------
    usace1998, ch. 2; nws (snow model training page: 0.02 to 0.05).

    Examples
    --------
    >>> retained_water([0.2], -5.0, 0.03).round(5)
    array([0.0123])
    """
    held_m = np.asarray(held_water_fraction) * np.asarray(snow_water_m)
    return cold_content(snow_water_m, snow_c) + held_m


def snow_water(snowfall_water_m: ArrayLike, melt_m: ArrayLike) -> Floats:
    r"""Water in the pack at the end of each day.

    .. math:: W_t = \max(W_{t-1} + S_t - M_t,\, 0)

    Parameters
    ----------
    snowfall_water_m : array_like, shape (days, ...)
        Water fallen as snow [m].
    melt_m : array_like, shape (days, ...)
        Melt of the day if there were snow enough [m].

    Returns
    -------
    snow_water_m : ndarray, shape (days, ...)
        From bare ground before the first day; NaN from the first NaN on [m].

    Notes
    -----
    In one pass: the running sum less its lowest value so far, where that is below 0.

    References
    ----------
    definition.

    Examples
    --------
    >>> snow_water([0.03, 0.0, 0.0, 0.01], [0.0, 0.01, 0.05, 0.0]).round(3)
    array([0.03, 0.02, 0.  , 0.01])
    """
    gain_m = np.asarray(snowfall_water_m, float) - np.asarray(melt_m)
    total_m = np.cumsum(gain_m, axis=0)
    return total_m - np.minimum(np.minimum.accumulate(total_m), 0)
