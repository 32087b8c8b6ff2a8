"""Flow of one barrel and its headwater: inlet and outlet control together."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.inlet_control import (
    InletCoefficients,
    inlet_control_flow,
    inlet_control_headwater,
)
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.formulas.water_profile import profile_flow, profile_headwater

Floats = NDArray[np.float64]


def barrel_headwater(
    flow_m3s: ArrayLike,
    barrel: Barrel,
    conduit: Conduit,
    coefficients: InletCoefficients,
    inlet_slope_m_per_m: ArrayLike,
) -> Floats:
    """Headwater of one barrel at a flow: the higher of inlet and outlet control.

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow of one barrel, 0 or more [m3/s].
    barrel : Barrel
        Of arrays of shape (n,).
    conduit : Conduit
        Of arrays of shape (n,) or scalars. Where one of them is NaN, the inlet
        alone counts.
    coefficients : InletCoefficients
        Of arrays of shape (n,) or scalars.
    inlet_slope_m_per_m : array_like, shape (n,) or scalar
        Slope in the inlet equations [m/m].

    Returns
    -------
    headwater_m : ndarray, shape (n,)
        Over the invert of the pipe; infinite where the barrel is closed and water
        comes; NaN where flow, barrel or coefficients are NaN [m].

    References
    ----------
    fhwa2012, design method (the higher headwater governs).

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> thin_edge = InletCoefficients(1, 0.034, 1.5, 0.0553, 0.54, -0.5)
    >>> barrel_headwater(1.13, pipe, Conduit(36.576, [0.0, 0.03], 0.9, 0.024),
    ...                  thin_edge, [0.0, 0.03]).round(2)
    array([1.48, 1.08])
    """
    inlet_m = inlet_control_headwater(
        flow_m3s, barrel, inlet_slope_m_per_m, coefficients
    )
    outlet_m = profile_headwater(flow_m3s, barrel, conduit)
    return np.where(np.isnan(outlet_m), inlet_m, np.maximum(inlet_m, outlet_m))


def barrel_capacity(
    headwater_m: ArrayLike,
    barrel: Barrel,
    conduit: Conduit,
    coefficients: InletCoefficients,
    inlet_slope_m_per_m: ArrayLike,
) -> Floats:
    """Flow of one barrel at a headwater: the lesser of inlet and outlet control.

    Parameters
    ----------
    headwater_m : array_like, shape (n,)
        Depth of water over the invert of the pipe [m].
    barrel : Barrel
        Of arrays of shape (n,).
    conduit : Conduit
        Of arrays of shape (n,) or scalars. Where one of them is NaN, the inlet
        alone counts.
    coefficients : InletCoefficients
        Of arrays of shape (n,) or scalars.
    inlet_slope_m_per_m : array_like, shape (n,) or scalar
        Slope in the inlet equations [m/m].

    Returns
    -------
    capacity_m3s : ndarray, shape (n,)
        0 where the barrel is closed; NaN where headwater, barrel or coefficients
        are NaN [m3/s].

    Notes
    -----
    Outlet control by the water surface drawn up from the outlet, so that it holds
    for a barrel full, part full or in between.

    References
    ----------
    fhwa2012, design method (the higher headwater governs).

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> thin_edge = InletCoefficients(1, 0.034, 1.5, 0.0553, 0.54, -0.5)
    >>> barrel_capacity(1.5, pipe, Conduit(36.576, [0.0, 0.03], 0.9, 0.024),
    ...                 thin_edge, [0.0, 0.03]).round(2)
    array([1.14, 1.56])
    """
    inlet_m3s = inlet_control_flow(
        headwater_m, barrel, inlet_slope_m_per_m, coefficients
    )
    outlet_m3s = profile_flow(headwater_m, barrel, conduit, inlet_m3s)
    return np.where(np.isnan(outlet_m3s), inlet_m3s, outlet_m3s)
