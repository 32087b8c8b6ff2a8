"""Water surface in a barrel held by its outlet: gradually varied flow, part full."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import (
    each,
    full_section,
    kernel_jit,
    section_of,
)
from culvertrisk.formulas.profile_kernels import inlet_depth, outlet_headwater
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.units import GRAVITY_M_S2

Floats = NDArray[np.float64]

_HALVINGS = 42  # of the flow: to 1e-12 of it


def profile_depth(flow_m3s: ArrayLike, barrel: Barrel, conduit: Conduit) -> Floats:
    r"""Depth just inside the inlet, by the water surface drawn up from the outlet.

    .. math:: \frac{d}{dx}\left(y + \frac{V^2}{2 g}\right) = S_0 - S_f, \quad
              S_f = \frac{n^2 V^2}{R^{4/3}}

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow of one barrel, 0 or more [m3/s].
    barrel : Barrel
        Of arrays of shape (n,).
    conduit : Conduit
        Of arrays of shape (n,) or scalars; any length gives the surface at that
        distance above the outlet.

    Returns
    -------
    depth_m : ndarray, shape (n,)
        Over the bed; above the open height it is the pressure head of a full barrel.
        Critical depth where the surface comes down to it below the inlet (steep
        barrel). NaN where an input is NaN or the barrel is closed [m].

    Notes
    -----
    Starts at the outlet from critical depth or tailwater, whichever is higher.
    Upstream the surface nears the lower normal depth, comes down to critical depth,
    or reaches the crown and runs on full. Energy is kept exactly between the depths
    of each step (direct step); the length of a step is integrated by Gauss-Legendre
    points in the depth's distance from normal depth on a log scale. Where a barrel
    just fails to carry the flow part full the steps are coarse for their curve.

    References
    ----------
    chow1959, ch. 9 and 10 (direct step method).

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> profile_depth(0.5, pipe, Conduit([0.0, 15.0, 900.0], 0.002, 0.5, 0.024)
    ... ).round(3)
    array([0.41 , 0.564, 0.853])
    """
    return each(_depths, flow_m3s, *barrel, *conduit)


def profile_headwater(flow_m3s: ArrayLike, barrel: Barrel, conduit: Conduit) -> Floats:
    r"""Headwater held by the outlet of a barrel, full or part full.

    .. math:: HW = \max\left(y + \frac{V^2}{2 g} + h_e,\;
              H_c + K_e s^2 \frac{V_c^2}{2 g}\right)

    .. math:: s = \min(S_c / S_0, 1), \quad h_e = K_e V^2/2g \text{, in an open
              surface at most } K_e s^2 V_c^2/2g

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow of one barrel, 0 or more [m3/s].
    barrel : Barrel
        Of arrays of shape (n,).
    conduit : Conduit
        Of arrays of shape (n,) or scalars.

    Returns
    -------
    headwater_m : ndarray, shape (n,)
        Over the invert of the pipe at the inlet, never below the bed; NaN where an
        input is NaN; infinite where the barrel is closed and water comes [m].

    Notes
    -----
    y and V are those of ``profile_depth``. A full barrel loses what
    ``full_flow_head_loss`` says; the approximation (dc + D)/2 of a part-full one is
    never taken, so its limits do not bind. No flow enters below the head of critical
    flow: that is the least. It also keeps a rougher barrel from needing less head,
    where just above critical depth the entrance loss falls faster than the depth
    rises (by at most 6 % for Ke 0.9).

    A steep barrel passes critical depth at its inlet, and the measured inlet
    equations hold its entrance loss, which is below the tabulated Ke. Ke is faded
    out by the square of the critical slope Sc over the slope S0: whole where the
    barrel turns from mild to steep, little in a decidedly steep one, where the inlet
    governs. As Hc, s2 Vc2/2g and the energy inside all grow with flow, headwater
    never falls with it. Where a drowned steep barrel fills up to its inlet it jumps
    up by less than Ke V2/2g. The velocity of approach is neglected.

    References
    ----------
    fhwa2012, outlet control; chow1959, ch. 10. Fading of Ke and least headwater: ours.

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> conduit = Conduit(36.576, [0.0, 0.025], 0.9, 0.024, [2.0, 0.0])
    >>> profile_headwater(1.18931, pipe, conduit).round(2)
    array([2.81, 1.09])
    """
    return each(_headwaters, flow_m3s, *barrel, *conduit)


def profile_flow(
    headwater_m: ArrayLike, barrel: Barrel, conduit: Conduit, most_m3s: ArrayLike
) -> Floats:
    """Flow that the outlet lets through at a headwater, up to a flow.

    Parameters
    ----------
    headwater_m : array_like, shape (n,)
        Depth of water over the invert of the pipe at the inlet [m].
    barrel : Barrel
        Of arrays of shape (n,).
    conduit : Conduit
        Of arrays of shape (n,) or scalars.
    most_m3s : array_like, shape (n,) or scalar
        Flow not to go above, such as that of the inlet [m3/s].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Flow of one barrel: inverse of ``profile_headwater`` by halving; 0 where the
        barrel is closed; NaN where an input is NaN [m3/s].

    References
    ----------
    fhwa2012, outlet control.

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144, bed_fraction=[0.0, 1.0])
    >>> conduit = Conduit(36.576, 0.0, 0.9, 0.024, 2.0)
    >>> profile_flow(2.81, pipe, conduit, [9.0, 9.0]).round(2)
    array([1.19, 0.  ])
    """
    return each(_flows, headwater_m, *barrel, *conduit, most_m3s)


@kernel_jit
def _depths(  # type: ignore[no-untyped-def]
    result, flow, rise, span, shape, bed, length, slope, loss, roughness, tail
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        conduit = (length[i], slope[i], loss[i], roughness[i], tail[i])
        depth = inlet_depth(flow[i], section, conduit)[0]
        result[i] = depth if section[4] > 0 else np.nan


@kernel_jit
def _headwaters(  # type: ignore[no-untyped-def]
    result, flow, rise, span, shape, bed, length, slope, loss, roughness, tail
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        conduit = (length[i], slope[i], loss[i], roughness[i], tail[i])
        result[i] = outlet_headwater(flow[i], section, conduit)


@kernel_jit
def _flows(  # type: ignore[no-untyped-def]
    result,
    headwater,
    rise,
    span,
    shape,
    bed,
    length,
    slope,
    loss,
    roughness,
    tail,
    most,
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        conduit = (length[i], slope[i], loss[i], roughness[i], tail[i])
        result[i] = _flow(headwater[i], section, conduit, most[i])


@kernel_jit
def _flow(headwater, section, conduit, most):  # type: ignore[no-untyped-def]
    """The largest flow whose headwater is not above the one given."""
    if np.isnan(headwater + most + outlet_headwater(0.0, section, conduit)):
        return np.nan
    if section[4] <= 0:
        return 0.0
    # No flow has more velocity head than the water has head over the outlet
    head = headwater - section[1] + section[4] + max(conduit[0] * conduit[1], 0.0)
    speed = np.sqrt(2 * GRAVITY_M_S2 * max(head, 0.0))
    low, high = 0.0, min(most, full_section(section)[0] * speed)
    if outlet_headwater(high, section, conduit) <= headwater:
        return high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if outlet_headwater(middle, section, conduit) <= headwater:
            low = middle
        else:
            high = middle
    return low
