"""Culvert flow held by its inlet: HDS-5 equations and their inverse."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import (
    each,
    full_section,
    geometry,
    kernel_jit,
    section_of,
)
from culvertrisk.formulas.depth_kernels import CRITICAL, HEAD, NO_TERMS, depth_of
from culvertrisk.formulas.sections import Barrel
from culvertrisk.units import GRAVITY_M_S2

Floats = NDArray[np.float64]

INLET_KU = 1.811  # HDS-5 appendix A: Ku of q* in SI units
LAST_UNSUBMERGED = 3.5  # HDS-5 appendix A: q* up to which the unsubmerged form holds
FIRST_SUBMERGED = 4.0  # HDS-5 appendix A: q* from which the submerged form holds


class InletCoefficients(NamedTuple):
    """One or more rows of HDS-5 table A.1, dimensionless; the fields broadcast.

    ``slope_term`` is Ks: -0.5, or +0.7 for an inlet mitred to the slope.
    """

    form: ArrayLike
    k: ArrayLike
    m: ArrayLike
    c: ArrayLike
    y: ArrayLike
    slope_term: ArrayLike


def inlet_control_headwater(
    flow_m3s: ArrayLike,
    barrel: Barrel,
    slope_m_per_m: ArrayLike,
    coefficients: InletCoefficients,
) -> Floats:
    r"""Headwater at which an inlet lets a flow in (HDS-5 inlet control).

    .. math:: q^* = K_u Q / (A D^{1/2})

    .. math:: HW/D = H_c/D + K q^{*M} + K_s S \quad (q^* \le 3.5, form 1)

    .. math:: HW/D = K q^{*M} + K_s S \quad (q^* \le 3.5, form 2)

    .. math:: HW/D = c q^{*2} + Y + K_s S \quad (q^* \ge 4.0)

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Flow of one barrel, 0 or more [m3/s].
    barrel : Barrel
        Of arrays of shape (n,); A and D are those over the bed.
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the barrel [m/m].
    coefficients : InletCoefficients
        Of arrays of shape (n,) or scalars.

    Returns
    -------
    headwater_m : ndarray, shape (n,)
        Over the invert of the pipe (the bed lies on it), never below the bed;
        infinite where the barrel is closed and water comes; NaN where an input is
        NaN [m].

    Notes
    -----
    A straight line in q* joins the two forms between 3.5 and 4.0; where the
    submerged form would start below the end of the unsubmerged one it is lifted to
    it, so that headwater never falls with flow. The charts hold S = 0.02 and are
    good to about 10 % (both from memory). The velocity of approach is neglected.
    With a bed of silt or ice the equations are used on the open section; that is an
    engineering assumption, not a standard. A slope term that raises the headwater
    (mitred inlet) then stays that of the clear rise, so that ice never helps.

    References
    ----------
    fhwa2012, appendix A and table A.1.

    Examples
    --------
    >>> square_edge = InletCoefficients(1, 0.0098, 2.0, 0.0398, 0.67, -0.5)
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> inlet_control_headwater([0.0, 0.84951], pipe, 0.01, square_edge).round(3)
    array([0.   , 0.815])
    """
    return each(_headwaters, flow_m3s, *barrel, slope_m_per_m, *coefficients)


def inlet_control_flow(
    headwater_m: ArrayLike,
    barrel: Barrel,
    slope_m_per_m: ArrayLike,
    coefficients: InletCoefficients,
) -> Floats:
    r"""Flow that an inlet lets in at a headwater: inverse of the HDS-5 equations.

    Parameters
    ----------
    headwater_m : array_like, shape (n,)
        Depth of water over the invert of the pipe [m].
    barrel : Barrel
        Of arrays of shape (n,).
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the barrel [m/m].
    coefficients : InletCoefficients
        Of arrays of shape (n,) or scalars.

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Flow of one barrel; 0 where the headwater is not above the bed or the barrel
        is closed; NaN where an input is NaN [m3/s].

    Notes
    -----
    Closed form, but for the unsubmerged form 1: there the critical depth is
    bracketed, since flow and head both grow with it. Inverse of
    ``inlet_control_headwater``, with its limits.

    References
    ----------
    fhwa2012, appendix A and table A.1.

    Examples
    --------
    >>> square_edge = InletCoefficients(1, 0.0098, 2.0, 0.0398, 0.67, -0.5)
    >>> pipe = Barrel(0.9144, 0.9144, bed_fraction=[0.0, 1.0])
    >>> inlet_control_flow(0.81505, pipe, 0.01, square_edge).round(2)
    array([0.85, 0.  ])
    """
    return each(_flows, headwater_m, *barrel, slope_m_per_m, *coefficients)


@kernel_jit
def inlet_headwater(flow, section, slope, coefficients):  # type: ignore[no-untyped-def]
    """Headwater over the invert of one barrel: see ``inlet_control_headwater``.

    Parameters
    ----------
    flow : float
        Of one barrel [m3/s].
    section : tuple
        Of ``section_of``.
    slope : float
        In the slope term [m/m].
    coefficients : tuple of float
        Form, K, M, c, Y, Ks.

    Returns
    -------
    headwater_m : float
        Infinite where the barrel is closed and water comes [m].

    References
    ----------
    fhwa2012, appendix A and table A.1.
    """
    height, unit = section[4], _unit_flow(section)
    bed = section[1] - height
    if unit <= 0:
        return bed + (np.inf if flow > 0 else 0.0)
    ratio = flow / unit
    low_ratio = min(ratio, LAST_UNSUBMERGED) if ratio == ratio else ratio
    head = _unsubmerged(low_ratio, section, unit, coefficients)
    if ratio > LAST_UNSUBMERGED:
        high = max(_submerged(max(ratio, FIRST_SUBMERGED), coefficients), head)
        share = (ratio - LAST_UNSUBMERGED) / (FIRST_SUBMERGED - LAST_UNSUBMERGED)
        head += min(share, 1.0) * (high - head)
    head += _slope_head(section, slope, coefficients)
    return bed + (height * max(head, 0.0) if head == head else head)


@kernel_jit
def inlet_flow(headwater, section, slope, coefficients):  # type: ignore[no-untyped-def]
    """Flow of one barrel at a headwater: see ``inlet_control_flow``.

    Parameters
    ----------
    headwater : float
        Over the invert of the pipe [m].
    section : tuple
        Of ``section_of``.
    slope : float
        In the slope term [m/m].
    coefficients : tuple of float
        Form, K, M, c, Y, Ks.

    Returns
    -------
    flow_m3s : float
        Of one barrel [m3/s].

    References
    ----------
    fhwa2012, appendix A and table A.1.
    """
    height, unit = section[4], _unit_flow(section)
    over_bed = headwater - (section[1] - height)
    if over_bed <= 0 or unit <= 0:
        return 0.0
    head = over_bed / height - _slope_head(section, slope, coefficients)
    low = _unsubmerged(LAST_UNSUBMERGED, section, unit, coefficients)
    high = max(_submerged(FIRST_SUBMERGED, coefficients), low)
    if head < low:
        return unit * _unsubmerged_ratio(max(head, 0.0), section, unit, coefficients)
    if head < high:
        share = (head - low) / (high - low)
        between = share * (FIRST_SUBMERGED - LAST_UNSUBMERGED)
        return unit * (LAST_UNSUBMERGED + between)
    # NaN of any input ends here and stays NaN
    return unit * np.sqrt((head - coefficients[4]) / coefficients[3])


@kernel_jit
def _headwaters(  # type: ignore[no-untyped-def]
    result, flow, rise, span, shape, bed, slope, form, k, m, c, y, slope_term
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        inlet = (form[i], k[i], m[i], c[i], y[i], slope_term[i])
        result[i] = inlet_headwater(flow[i], section, slope[i], inlet)


@kernel_jit
def _flows(  # type: ignore[no-untyped-def]
    result, headwater, rise, span, shape, bed, slope, form, k, m, c, y, slope_term
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        inlet = (form[i], k[i], m[i], c[i], y[i], slope_term[i])
        result[i] = inlet_flow(headwater[i], section, slope[i], inlet)


@kernel_jit
def _unit_flow(section):  # type: ignore[no-untyped-def]
    """Flow at which q* is 1."""
    return full_section(section)[0] * np.sqrt(section[4]) / INLET_KU


@kernel_jit
def _slope_head(section, slope, coefficients):  # type: ignore[no-untyped-def]
    """Slope term of HW/D; one that raises the headwater is not shrunk by a bed."""
    term = coefficients[5] * slope
    return term * section[1] / section[4] if term > 0 else term


@kernel_jit
def _submerged(ratio, coefficients):  # type: ignore[no-untyped-def]
    return coefficients[3] * ratio**2 + coefficients[4]


@kernel_jit
def _unsubmerged(ratio, section, unit, coefficients):  # type: ignore[no-untyped-def]
    """HW/D of the unsubmerged form, without its slope term."""
    loss = coefficients[1] * ratio ** coefficients[2]
    if coefficients[0] != 1:
        return loss
    top = section[4]
    depth = depth_of(CRITICAL, ratio * unit, section, top, NO_TERMS)
    area, width, _ = geometry(depth, section)
    return (depth + (area / (2 * width) if width > 0 else 0.0)) / top + loss


@kernel_jit
def _unsubmerged_ratio(  # type: ignore[no-untyped-def]
    head, section, unit, coefficients
):
    """Ratio q* at which the unsubmerged form has a head, without its slope term."""
    form, k, m = coefficients[:3]
    if form != 1:
        return (head / k) ** (1 / m)
    depth = depth_of(HEAD, head, section, section[4], (k, m, unit))
    area, width, _ = geometry(depth, section)
    return area * np.sqrt(GRAVITY_M_S2 * area / width) / unit if area > 0 else 0.0
