"""Water under pressure: pump and engine power, nozzle flow, jet reaction."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import WATER_DENSITY_KG_M3


def hydraulic_power(pressure_pa: ArrayLike, flow_m3s: ArrayLike) -> NDArray[np.float64]:
    r"""Power that a pump puts into the water.

    .. math:: P = p Q

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Pump pressure, 0 or more [Pa].
    flow_m3s : array_like, shape (n,)
        Flow, 0 or more [m3/s].

    Returns
    -------
    hydraulic_power_w : ndarray, shape (n,)
        Power in the water; NaN where an input is NaN [W].

    Notes
    -----
    US form: hp = psi gpm / 1714. No ``published`` row exists.

    References
    ----------
    pumpsheet, hydraulic power.

    Examples
    --------
    >>> hydraulic_power(20e6, 3e-4).round()
    np.float64(6000.0)
    """
    return np.asarray(pressure_pa, float) * np.asarray(flow_m3s, float)


def engine_power(
    pressure_pa: ArrayLike, flow_m3s: ArrayLike, pump_efficiency_fraction: ArrayLike
) -> NDArray[np.float64]:
    r"""Power of the engine that drives a pump.

    .. math:: P = p Q / \eta

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Pump pressure, 0 or more [Pa].
    flow_m3s : array_like, shape (n,)
        Flow, 0 or more [m3/s].
    pump_efficiency_fraction : array_like, shape (n,) or scalar
        Water power over engine power: 1100/1714 for petrol, 1460/1714 electric.

    Returns
    -------
    engine_power_w : ndarray, shape (n,)
        Engine power; NaN where an input is NaN [W].

    Notes
    -----
    The sheet's row for 3000 psi and 4 gpm prints 8.21 hp where its own rule gives
    10.91 hp: a misprint, not used.

    References
    ----------
    pumpsheet, engine power by pressure and flow.

    Examples
    --------
    >>> engine_power(20e6, 3e-4, 0.6).round()
    np.float64(10000.0)
    """
    return hydraulic_power(pressure_pa, flow_m3s) / np.asarray(pump_efficiency_fraction)


def nozzle_flow(
    nozzle_bore_m: ArrayLike,
    pressure_pa: ArrayLike,
    discharge_coefficient: ArrayLike,
) -> NDArray[np.float64]:
    r"""Flow of cold water through a nozzle.

    .. math:: Q = C_d \frac{\pi d^2}{4} \sqrt{2 p / \rho}

    Parameters
    ----------
    nozzle_bore_m : array_like, shape (n,)
        Bore of the nozzle d [m].
    pressure_pa : array_like, shape (n,)
        Pressure at the nozzle p [Pa].
    discharge_coefficient : array_like, shape (n,) or scalar
        Cd, 0.87 to 0.92 for the charted sizes [-].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Flow; NaN where an input is NaN [m3/s].

    Notes
    -----
    US form: gpm = 29.85 Cd d² sqrt(psi), d in inches. Cd itself is not printed, so no
    ``published`` row exists: the charted bores give a physical Cd.

    References
    ----------
    nozzlechart, bore against nozzle number.

    Examples
    --------
    >>> nozzle_flow(0.001, 10e6, 0.9).round(7)
    np.float64(0.0001)
    """
    area_m2 = np.pi / 4 * np.asarray(nozzle_bore_m, float) ** 2
    speed_m_s = np.sqrt(2 * np.asarray(pressure_pa, float) / WATER_DENSITY_KG_M3)
    return np.asarray(discharge_coefficient) * area_m2 * speed_m_s


def nozzle_flow_rated(
    rated_flow_m3s: ArrayLike, rated_pressure_pa: ArrayLike, pressure_pa: ArrayLike
) -> NDArray[np.float64]:
    r"""Flow of a nozzle at another pressure than the one it is rated at.

    .. math:: Q = Q_0 \sqrt{p / p_0}

    Parameters
    ----------
    rated_flow_m3s : array_like, shape (n,)
        Flow at the rated pressure Q0 [m3/s].
    rated_pressure_pa : array_like, shape (n,) or scalar
        Rated pressure p0, above 0; charts take 4000 psi [Pa].
    pressure_pa : array_like, shape (n,)
        Pressure at the nozzle p [Pa].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Flow; NaN where an input is NaN [m3/s].

    Notes
    -----
    The nozzle number of the charts is the flow in gpm at 4000 psi.

    References
    ----------
    nozzlechart, nozzle size by flow and pressure.

    Examples
    --------
    >>> nozzle_flow_rated(4e-4, 20e6, 5e6)
    np.float64(0.0002)
    """
    ratio = np.asarray(pressure_pa, float) / np.asarray(rated_pressure_pa, float)
    return np.asarray(rated_flow_m3s, float) * np.sqrt(ratio)


def jet_reaction(flow_m3s: ArrayLike, pressure_pa: ArrayLike) -> NDArray[np.float64]:
    r"""Push back of a straight jet on the hand or hose that holds it.

    .. math:: F = Q \sqrt{2 \rho p}

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow [m3/s].
    pressure_pa : array_like, shape (n,)
        Pressure at the nozzle [Pa].

    Returns
    -------
    jet_reaction_n : ndarray, shape (n,)
        Force; NaN where an input is NaN [N].

    Notes
    -----
    All pressure becomes speed. US form: lbf = 0.0526 gpm sqrt(psi); that constant
    is from memory. No ``published`` row exists.

    References
    ----------
    definition, momentum of the jet.

    Examples
    --------
    >>> jet_reaction(3e-4, 20e6).round(1)
    np.float64(60.0)
    """
    momentum = np.sqrt(2 * WATER_DENSITY_KG_M3 * np.asarray(pressure_pa, float))
    return np.asarray(flow_m3s, float) * momentum
