"""Ice in a barrel: how it grows on still water and at a seep, and how it melts."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import (
    DAY_S,
    FUSION_HEAT_J_KG,
    ICE_CONDUCTIVITY_W_MK,
    ICE_DENSITY_KG_M3,
    WATER_DENSITY_KG_M3,
)

Floats = NDArray[np.float64]

_FREEZING_J_M3 = ICE_DENSITY_KG_M3 * FUSION_HEAT_J_KG  # heat to freeze 1 m3 of ice


def ice_thickness(
    afdd_cday: ArrayLike, ice_growth_coefficient: ArrayLike
) -> NDArray[np.float64]:
    r"""Thickness of an ice cover grown on still water (Stefan).

    .. math:: h = \alpha \sqrt{AFDD}

    Parameters
    ----------
    afdd_cday : array_like
        Net freezing degree-days since freeze-up, 0 or more [°C·day].
    ice_growth_coefficient : array_like
        Alpha, by kind of site [m·(°C·day)^-1/2].

    Returns
    -------
    ice_thickness_m : ndarray
        Ice thickness; NaN where an input is NaN [m].

    Notes
    -----
    Thermal growth on still water only; too thick below about 0.1 m, where
    :func:`standing_ice` holds. Conduction bounds alpha at about 0.0356.

    References
    ----------
    usace2002, ch. 2 (coefficients), from memory.

    Examples
    --------
    >>> ice_thickness([0.0, 400.0, 900.0], 0.017)
    array([0.  , 0.34, 0.51])
    """
    alpha = np.asarray(ice_growth_coefficient, dtype=float)
    return np.asarray(alpha * np.sqrt(afdd_cday))


def standing_ice(
    ice_m: ArrayLike,
    freezing_cday: ArrayLike,
    *,
    surface_w_m2k: ArrayLike,
    snow_m2k_w: ArrayLike = 0.0,
) -> Floats:
    r"""Ice cover after a cold step, with the surface's and the snow's resistance.

    .. math:: h = -kR + \sqrt{(h_0 + kR)^2 + 2 k S / (\rho L)}, \qquad
              R = 1/H + R_s

    Parameters
    ----------
    ice_m : array_like
        Ice at the start of the step h_0, 0 or more [m].
    freezing_cday : array_like
        Frost of the step, 0 or more (S is this in K·s) [°C·day].
    surface_w_m2k : array_like
        Heat transfer coefficient from ice to air H, above 0 [W/(m2·K)].
    snow_m2k_w : array_like
        Resistance of the snow on the ice R_s, 0 or more [m2·K/W].

    Returns
    -------
    ice_m : ndarray
        Ice at the end of the step; NaN where an input is NaN [m].

    Notes
    -----
    Quasi-steady conduction, no sun, no heat from below. Exact for constant R, so
    20 K over 5 days equals 10 K over 10 days; tends to Stefan for thick ice.

    References
    ----------
    ashton1986, ch. on thermal growth; closed form derived.

    Examples
    --------
    >>> standing_ice(0.0, [100.0, 10.0], surface_w_m2k=20.0).round(3)
    array([0.261, 0.047])
    """
    k = ICE_CONDUCTIVITY_W_MK
    ice = np.asarray(ice_m, dtype=float)
    snow = np.asarray(snow_m2k_w, dtype=float)
    lag = k * (1 / np.asarray(surface_w_m2k, dtype=float) + snow)
    growth = 2 * k * DAY_S / _FREEZING_J_M3 * np.asarray(freezing_cday, dtype=float)
    # the difference of two near numbers, written so that small growth survives
    start = ice + lag
    return np.asarray(ice + growth / (start + np.sqrt(start**2 + growth)))


def seep_ice_growth(
    freezing_cday: ArrayLike,
    *,
    surface_w_m2k: ArrayLike,
    trickle_m3s: ArrayLike,
    wet_area_m2: ArrayLike,
    snow_m2k_w: ArrayLike = 0.0,
) -> Floats:
    r"""Depth of icing a trickle adds in a day: limited by cold or by water.

    .. math:: \Delta h = \min\left( \frac{S}{R \rho L},\
              \frac{Q \, t \, \rho_w}{A \rho} \right)

    Parameters
    ----------
    freezing_cday : array_like
        Frost of the day, 0 or more (S is this in K·s) [°C·day].
    surface_w_m2k : array_like
        Heat transfer coefficient of the wet surface, above 0 [W/(m2·K)].
    trickle_m3s : array_like
        Steady flow of the seep Q, 0 or more [m3/s].
    wet_area_m2 : array_like
        Area A it spreads over, above 0 [m2].
    snow_m2k_w : array_like
        Resistance of snow over it; R adds it to the surface's own [m2·K/W].

    Returns
    -------
    growth_m : ndarray
        Ice added in the day; NaN where an input is NaN [m].

    Notes
    -----
    The surface stays wet, so the ice below resists nothing. Order of magnitude;
    no published growth case was found.

    References
    ----------
    carey1983 for scope; the surface energy balance, from memory.

    Examples
    --------
    >>> float(seep_ice_growth(10.0, surface_w_m2k=20.0, trickle_m3s=1.0,
    ...                       wet_area_m2=1.0).round(4))
    0.0565
    """
    snow = np.asarray(snow_m2k_w, dtype=float)
    resistance = 1 / np.asarray(surface_w_m2k, dtype=float) + snow
    by_cold = np.asarray(freezing_cday) * DAY_S / (resistance * _FREEZING_J_M3)
    swelling = WATER_DENSITY_KG_M3 / ICE_DENSITY_KG_M3
    by_water = np.asarray(trickle_m3s) * DAY_S * swelling / np.asarray(wet_area_m2)
    return np.asarray(np.minimum(by_cold, by_water), dtype=float)


def icing_length(
    supply_m3: ArrayLike, ice_m: ArrayLike, width_m: ArrayLike, length_m: ArrayLike
) -> Floats:
    r"""Length of barrel, from its colder end, over which a seep's water has frozen.

    .. math:: l = \min\left( \frac{V \rho_w}{h \, b \, \rho},\ l_0 \right)

    Parameters
    ----------
    supply_m3 : array_like
        Water the seep has brought while it froze V, 0 or more [m3].
    ice_m : array_like
        Depth of the icing h, 0 or more [m].
    width_m : array_like
        Width of the barrel b, above 0 [m].
    length_m : array_like
        Length of the barrel l_0 [m].

    Returns
    -------
    icing_length_m : ndarray
        0 without ice; NaN where an input is NaN [m].

    Notes
    -----
    Ends first: it grows as fast as the cold lets it and reaches in only as far as
    the water lasts. Order of magnitude.

    References
    ----------
    carey1983 for scope; the balance of volume, from memory.

    Examples
    --------
    >>> icing_length([0.0917, 9.0], 0.2, 0.5, 12.0).round(3)
    array([ 1., 12.])
    """
    ice = np.asarray(ice_m, dtype=float)
    frozen_m3 = np.asarray(supply_m3) * WATER_DENSITY_KG_M3 / ICE_DENSITY_KG_M3
    full = np.where(ice > 0, ice, 1.0) * np.asarray(width_m)
    reach = np.where(ice > 0, frozen_m3 / full, 0.0)
    return np.where(np.isnan(ice), np.nan, np.minimum(reach, length_m))


def melt_depth(thawing_cday: ArrayLike, melt_coefficient: ArrayLike) -> Floats:
    r"""Water melted by a number of thawing degree-days.

    .. math:: M = C_m \, (T_a - T_b)

    Parameters
    ----------
    thawing_cday : array_like
        Degree-days above 0 °C, 0 or more [°C·day].
    melt_coefficient : array_like
        C_m, 0.0016 to 0.0060 [m/(°C·day)].

    Returns
    -------
    melt_m : ndarray
        Depth of water; NaN where an input is NaN [m].

    Notes
    -----
    The base is 0 °C. Divide by the density of ice over water for a depth of ice.

    References
    ----------
    nrcs2004, ch. 11; kuusisto1980, abstract (coefficients).

    Examples
    --------
    >>> float(melt_depth(5.0, 0.00351))
    0.01755
    """
    return np.asarray(np.asarray(thawing_cday) * melt_coefficient, dtype=float)


def cylinder_freezing_time(
    radius_m: ArrayLike,
    open_radius_m: ArrayLike,
    *,
    below_freezing_k: ArrayLike,
    surface_w_m2k: ArrayLike,
) -> Floats:
    r"""Time for still water in a pipe to freeze inward to a radius (Plank).

    .. math:: t = \frac{\rho L}{\Delta T}\left[
              \frac{(R^2 - r^2)/4 - (r^2/2) \ln(R/r)}{k} + \frac{R^2 - r^2}{2 h R}
              \right]

    Parameters
    ----------
    radius_m : array_like
        Inside radius of the pipe R, above 0 [m].
    open_radius_m : array_like
        Radius r still open at the end, from 0 to R [m].
    below_freezing_k : array_like
        How far the air is below 0 °C, above 0 [K].
    surface_w_m2k : array_like
        Heat transfer coefficient at the wall, above 0; may be infinite [W/(m2·K)].

    Returns
    -------
    time_s : ndarray
        Freezing time; NaN where an input is NaN [s].

    Notes
    -----
    Full pipe, water at 0 °C, no flow, wall as cold on all sides. Equals Plank's
    cylinder (1/4 and 1/16 on diameter) at r = 0.

    References
    ----------
    ashrae2009; Plank's cylinder, derived.

    Examples
    --------
    >>> float(cylinder_freezing_time(0.3, 0.0, below_freezing_k=10.0,
    ...                              surface_w_m2k=20.0).round(-3))
    536000.0
    """
    outer, inner = np.broadcast_arrays(
        np.asarray(radius_m, dtype=float), np.asarray(open_radius_m, dtype=float)
    )
    ratio = np.where(inner > 0, inner / outer, 1)
    frozen = outer**2 - inner**2
    # r² ln(R/r) tends to 0 with r; the ratio of 1 there gives just that
    shell = frozen / 4 + inner**2 / 2 * np.log(ratio)
    per_kelvin = shell / ICE_CONDUCTIVITY_W_MK + frozen / (
        2 * np.asarray(surface_w_m2k) * outer
    )
    return np.asarray(_FREEZING_J_M3 / np.asarray(below_freezing_k) * per_kelvin)
