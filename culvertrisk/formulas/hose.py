"""The hose of a thaw unit: friction, heat lost to the air, reach into the barrel."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import WATER_DENSITY_KG_M3, WATER_HEAT_CAPACITY_J_KGK

_COLEBROOK_STEPS = 30  # the iteration gains about one digit a step


def friction_factor(
    reynolds_number: ArrayLike, relative_roughness: ArrayLike
) -> NDArray[np.float64]:
    r"""Darcy friction factor of a round bore (Colebrook; laminar below Re 2300).

    .. math:: 1/\sqrt{f} = -2 \log_{10}(\epsilon / 3.7 + 2.51 / (Re \sqrt{f}))

    Parameters
    ----------
    reynolds_number : array_like, shape (n,)
        Re, above 0 [-].
    relative_roughness : array_like, shape (n,) or scalar
        Roughness over bore [-].

    Returns
    -------
    friction_factor : ndarray, shape (n,)
        Darcy f; NaN where an input is NaN or Re is 0 [-].

    Notes
    -----
    Iterated to the last digit, no explicit approximation. Between Re 2300 and 4000
    the flow is uncertain and the turbulent value is returned.

    References
    ----------
    colebrook1939, transition formula.

    Examples
    --------
    >>> friction_factor([1000.0, 1e5], 0.0001).round(4)
    array([0.064 , 0.0185])
    """
    reynolds = np.asarray(reynolds_number, float)
    reynolds = np.where(reynolds > 0, reynolds, np.nan)
    rough = np.asarray(relative_roughness, float) / 3.7
    root = np.full(np.broadcast(reynolds, rough).shape, 7.0)  # 1/sqrt(f) at f = 0.02
    for _ in range(_COLEBROOK_STEPS):
        root = -2 * np.log10(rough + 2.51 * root / reynolds)
    return np.where(reynolds < 2300, 64 / reynolds, root**-2.0)


def hose_pressure_loss(
    flow_m3s: ArrayLike,
    hose_bore_m: ArrayLike,
    hose_m: ArrayLike,
    *,
    roughness_m: ArrayLike,
    viscosity_m2s: ArrayLike,
) -> NDArray[np.float64]:
    r"""Pressure lost along a hose (Darcy-Weisbach).

    .. math:: \Delta p = f \frac{L}{D} \frac{\rho V^2}{2}

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow, 0 or more [m3/s].
    hose_bore_m : array_like, shape (n,)
        Inside diameter D [m].
    hose_m : array_like, shape (n,)
        Length L [m].
    roughness_m : array_like, shape (n,) or scalar
        Roughness of the bore, 1.5e-6 for smooth rubber [m].
    viscosity_m2s : array_like, shape (n,) or scalar
        Kinematic viscosity at the water's temperature [m2/s].

    Returns
    -------
    hose_pressure_loss_pa : ndarray, shape (n,)
        Loss; 0 without flow; NaN where an input is NaN [Pa].

    Notes
    -----
    Couplings and swivels add 10 to 20 %. Loss goes with the bore to the power -5,
    so the bore's tolerance matters more than the formula.

    References
    ----------
    colebrook1939, transition formula; hosechart, loss of 100 ft of hose.

    Examples
    --------
    >>> hose_pressure_loss(3e-4, 0.0127, 30.0, roughness_m=1.5e-6,
    ...     viscosity_m2s=1e-6).round(-3)
    np.float64(158000.0)
    """
    flow = np.asarray(flow_m3s, float)
    bore = np.asarray(hose_bore_m, float)
    speed_m_s = flow / (np.pi / 4 * bore**2)
    reynolds = speed_m_s * bore / np.asarray(viscosity_m2s, float)
    friction = friction_factor(reynolds, np.asarray(roughness_m, float) / bore)
    pressure = WATER_DENSITY_KG_M3 * speed_m_s**2 / 2
    loss = friction * np.asarray(hose_m, float) / bore * pressure
    return np.where(flow == 0, flow * np.asarray(hose_m, float), loss)


def push_reach(
    hose_m: ArrayLike, hose_lead_m: ArrayLike, push_limit_m: ArrayLike
) -> NDArray[np.float64]:
    r"""Length of barrel that a hose reaches from one end.

    .. math:: R = \min(\max(L - L_0, 0), R_{max})

    Parameters
    ----------
    hose_m : array_like, shape (n,)
        Length of the hose L [m].
    hose_lead_m : array_like, shape (n,) or scalar
        Hose between machine and pipe end L0 [m].
    push_limit_m : array_like, shape (n,) or scalar
        How far a nozzle can be pushed in practice from one end [m].

    Returns
    -------
    push_reach_m : ndarray, shape (n,)
        Reach into the barrel; NaN where an input is NaN [m].

    Notes
    -----
    Bends, open joints and crushed places stop a nozzle earlier. No ``published``
    row exists: the limits are common practice.

    References
    ----------
    practice, push from one end.

    Examples
    --------
    >>> push_reach([5.0, 40.0, 120.0], 10.0, 45.0)
    array([ 0., 30., 45.])
    """
    inside = np.maximum(np.asarray(hose_m, float) - np.asarray(hose_lead_m), 0)
    return np.minimum(inside, push_limit_m)


def hose_conductance(
    hose_bore_m: ArrayLike,
    hose_outside_m: ArrayLike,
    hose_conductivity_w_mk: ArrayLike,
    surface_w_m2k: ArrayLike,
) -> NDArray[np.float64]:
    r"""Heat lost by a metre of hose for each degree above the air.

    .. math:: 1/U' = \frac{\ln(r_o/r_i)}{2 \pi k} + \frac{1}{2 \pi r_o h}

    Parameters
    ----------
    hose_bore_m : array_like, shape (n,)
        Inside diameter [m].
    hose_outside_m : array_like, shape (n,)
        Outside diameter, above the bore [m].
    hose_conductivity_w_mk : array_like, shape (n,) or scalar
        Conductivity k of the wall [W/(m·K)].
    surface_w_m2k : array_like, shape (n,) or scalar
        Surface coefficient h: wind and snow decide [W/(m2·K)].

    Returns
    -------
    hose_conductance_w_mk : ndarray, shape (n,)
        U'; NaN where an input is NaN [W/(m·K)].

    Notes
    -----
    The resistance of the water's own film is left out; it is small in a jet hose.
    No ``published`` row exists.

    References
    ----------
    definition, radial conduction and surface film in series.

    Examples
    --------
    >>> hose_conductance(0.0095, 0.018, 0.25, 25.0).round(3)
    np.float64(0.897)
    """
    inside, outside = np.asarray(hose_bore_m, float), np.asarray(hose_outside_m, float)
    wall = np.log(outside / inside) / (2 * np.pi * np.asarray(hose_conductivity_w_mk))
    film = 1 / (np.pi * outside * np.asarray(surface_w_m2k, float))
    return 1 / (wall + film)


def hose_outlet(
    water_c: ArrayLike,
    air_c: ArrayLike,
    flow_m3s: ArrayLike,
    hose_m: ArrayLike,
    hose_conductance_w_mk: ArrayLike,
) -> NDArray[np.float64]:
    r"""Temperature of the water at the end of a hose that lies in cold air.

    .. math:: T = T_a + (T_0 - T_a) \exp(-U' L / (\rho Q c_p))

    Parameters
    ----------
    water_c : array_like, shape (n,)
        Temperature at the heater T0 [°C].
    air_c : array_like, shape (n,)
        Air temperature Ta [°C].
    flow_m3s : array_like, shape (n,)
        Flow, above 0 [m3/s].
    hose_m : array_like, shape (n,)
        Length of hose L [m].
    hose_conductance_w_mk : array_like, shape (n,) or scalar
        U' of :func:`hose_conductance` [W/(m·K)].

    Returns
    -------
    nozzle_c : ndarray, shape (n,)
        Temperature at the nozzle; NaN where an input is NaN or without flow [°C].

    Notes
    -----
    Steady flow in a warm hose. No ``published`` row exists.

    References
    ----------
    definition, exponential approach to the air temperature.

    Examples
    --------
    >>> hose_outlet(80.0, -20.0, [1e-4, 3e-4], 60.0, 0.9).round(1)
    array([67.9, 75.8])
    """
    flow = np.asarray(flow_m3s, float)
    carried_w_k = (
        np.where(flow > 0, flow, np.nan)
        * WATER_DENSITY_KG_M3
        * WATER_HEAT_CAPACITY_J_KGK
    )
    share = np.exp(
        -np.asarray(hose_conductance_w_mk) * np.asarray(hose_m) / carried_w_k
    )
    air = np.asarray(air_c, float)
    return air + (np.asarray(water_c, float) - air) * share
