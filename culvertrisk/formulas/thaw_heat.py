"""Heat of a thaw: burner and fuel, steam, ice melted and the pilot hole."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import (
    FUSION_HEAT_J_KG,
    ICE_DENSITY_KG_M3,
    ICE_HEAT_CAPACITY_J_KGK,
    WATER_DENSITY_KG_M3,
    WATER_HEAT_CAPACITY_J_KGK,
)


def water_heat(flow_m3s: ArrayLike, rise_c: ArrayLike) -> NDArray[np.float64]:
    r"""Heat carried by a flow of water that is warmer by a rise.

    .. math:: P = \rho Q c_p \Delta T

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow [m3/s].
    rise_c : array_like, shape (n,)
        Temperature difference, to 100 °C without pressure [°C].

    Returns
    -------
    water_heat_w : ndarray, shape (n,)
        Heat; NaN where an input is NaN [W].

    Notes
    -----
    US form: Btu/h = 500 gpm dT(°F). The trade sheet's fuel nozzle row (420 000 Btu/h)
    disagrees with its own 5 gpm row (435 000); nozzle ratings are nominal, so heat
    and efficiency are used.

    References
    ----------
    pumpsheet, burner input by flow and rise.

    Examples
    --------
    >>> water_heat(3e-4, [0.0, 75.0]).round(-2)
    array([    0., 94300.])
    """
    heat_j_m3k = WATER_DENSITY_KG_M3 * WATER_HEAT_CAPACITY_J_KGK
    return np.asarray(flow_m3s, float) * heat_j_m3k * np.asarray(rise_c, float)


def burner_fuel(
    heat_w: ArrayLike,
    burner_efficiency_fraction: ArrayLike,
    fuel_heat_j_m3: ArrayLike,
) -> NDArray[np.float64]:
    r"""Fuel burnt to bring heat into the water.

    .. math:: q = P / (\eta H)

    Parameters
    ----------
    heat_w : array_like, shape (n,)
        Heat into the water P [W].
    burner_efficiency_fraction : array_like, shape (n,) or scalar
        Heat into water over heat of the fuel, above 0.
    fuel_heat_j_m3 : array_like, shape (n,) or scalar
        Heating value on the same basis as the efficiency [J/m3].

    Returns
    -------
    fuel_m3s : ndarray, shape (n,)
        Fuel flow; NaN where an input is NaN [m3/s].

    Notes
    -----
    No ``published`` row exists; the heating value of diesel is from eia.

    References
    ----------
    eia, diesel 137 381 Btu/gal (higher heating value).

    Examples
    --------
    >>> (burner_fuel(109.9e3, 0.8, 38.29e9) * 3600e3).round(1)
    np.float64(12.9)
    """
    useful = np.asarray(burner_efficiency_fraction) * np.asarray(fuel_heat_j_m3, float)
    return np.asarray(heat_w, float) / useful


def steam_heat(
    flow_m3s: ArrayLike, return_c: ArrayLike, condensing_heat_j_kg: ArrayLike
) -> NDArray[np.float64]:
    r"""Heat given by steam that condenses at 100 °C and leaves as water.

    .. math:: P = \rho Q (h_{fg} + c_p (100 - T_r))

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Feed water of the boiler Q [m3/s].
    return_c : array_like, shape (n,) or scalar
        Temperature at which the water leaves Tr [°C].
    condensing_heat_j_kg : array_like, shape (n,) or scalar
        Heat of condensation at atmospheric pressure [J/kg].

    Returns
    -------
    steam_heat_w : ndarray, shape (n,)
        Heat; NaN where an input is NaN [W].

    Notes
    -----
    Dry steam at atmospheric pressure; wet steam gives less. No ``published`` row
    exists; a reference library is the check.

    References
    ----------
    iapws, saturation at 0.101325 MPa.

    Examples
    --------
    >>> steam_heat(4.4e-5, 5.0, 2.2564e6).round(-3)
    np.float64(117000.0)
    """
    mass_kg_s = np.asarray(flow_m3s, float) * WATER_DENSITY_KG_M3
    warm_j_kg = WATER_HEAT_CAPACITY_J_KGK * (100 - np.asarray(return_c, float))
    return mass_kg_s * (np.asarray(condensing_heat_j_kg, float) + warm_j_kg)


def ice_heat(ice_kg: ArrayLike, ice_c: ArrayLike) -> NDArray[np.float64]:
    r"""Heat that warms ice to 0 °C and melts it.

    .. math:: E = m (L_f - c_i T_i)

    Parameters
    ----------
    ice_kg : array_like, shape (n,)
        Mass of ice m [kg].
    ice_c : array_like, shape (n,) or scalar
        Temperature of the ice Ti, 0 or below [°C].

    Returns
    -------
    ice_heat_j : ndarray, shape (n,)
        Heat; NaN where an input is NaN [J].

    Notes
    -----
    Fresh-water ice; salt is out of scope.

    References
    ----------
    iapws, ice at 0 and -10 °C.

    Examples
    --------
    >>> ice_heat(1.0, [0.0, -10.0])
    array([333500., 354500.])
    """
    cold_j_kg = ICE_HEAT_CAPACITY_J_KGK * np.asarray(ice_c, float)
    return np.asarray(ice_kg, float) * (FUSION_HEAT_J_KG - cold_j_kg)


def pilot_ice(
    pilot_bore_m: ArrayLike, length_m: ArrayLike, blocked_fraction: ArrayLike
) -> NDArray[np.float64]:
    r"""Ice that a pilot hole takes away.

    .. math:: m = \rho_i \frac{\pi d^2}{4} L b

    Parameters
    ----------
    pilot_bore_m : array_like, shape (n,)
        Diameter of the hole d [m].
    length_m : array_like, shape (n,)
        Length of the barrel L [m].
    blocked_fraction : array_like, shape (n,) or scalar
        Share of the section that is ice b.

    Returns
    -------
    pilot_ice_kg : ndarray, shape (n,)
        Mass of ice; NaN where an input is NaN [kg].

    Notes
    -----
    With d the rise of a round barrel it is the whole plug. No ``published`` row exists.

    References
    ----------
    definition, volume times density.

    Examples
    --------
    >>> pilot_ice(0.1, 12.0, [0.5, 1.0]).round(1)
    array([43.2, 86.4])
    """
    area_m2 = np.pi / 4 * np.asarray(pilot_bore_m, float) ** 2
    volume_m3 = area_m2 * np.asarray(length_m, float) * np.asarray(blocked_fraction)
    return ICE_DENSITY_KG_M3 * volume_m3


def pilot_time(
    pilot_heat_j: ArrayLike,
    nozzle_heat_w: ArrayLike,
    jet_efficiency_fraction: ArrayLike,
    length_m: ArrayLike,
    advance_m_s: ArrayLike,
) -> NDArray[np.float64]:
    r"""Time to drive a pilot hole: the slower of heat and advance.

    .. math:: t = \max(E / (\eta P), L / v)

    Parameters
    ----------
    pilot_heat_j : array_like, shape (n,)
        Heat that the hole's ice takes E [J].
    nozzle_heat_w : array_like, shape (n,)
        Heat at the nozzle above the return temperature P, above 0 [W].
    jet_efficiency_fraction : array_like, shape (n,) or scalar
        Share of the heat that reaches ice, above 0.
    length_m : array_like, shape (n,)
        Length of the barrel L [m].
    advance_m_s : array_like, shape (n,) or scalar
        Advance that crews see through such ice v, above 0 [m/s].

    Returns
    -------
    pilot_s : ndarray, shape (n,)
        Time; NaN where an input is NaN [s].

    Notes
    -----
    No rate of advance was found in print, so no ``published`` row exists; the rates
    are common practice.

    References
    ----------
    definition, energy over power; practice, advance through ice.

    Examples
    --------
    >>> pilot_time(20e6, 100e3, 0.5, 12.0, [0.002, 0.1])
    array([6000.,  400.])
    """
    reaching_w = np.asarray(jet_efficiency_fraction) * np.asarray(nozzle_heat_w, float)
    heat_s = np.asarray(pilot_heat_j, float) / reaching_w
    return np.maximum(heat_s, np.asarray(length_m, float) / np.asarray(advance_m_s))
