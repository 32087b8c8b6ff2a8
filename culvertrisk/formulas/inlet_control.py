"""Culvert flow held by its inlet: HDS-5 equations and their inverse."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.hydraulics import (
    critical_depth,
    critical_flow,
    critical_head,
    depth_where,
)
from culvertrisk.formulas.sections import Barrel, open_area, open_height

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
    >>> pipe = Barrel(0.9144, 0.9144, False)
    >>> inlet_control_headwater([0.0, 0.84951], pipe, 0.01, square_edge).round(3)
    array([0.   , 0.815])
    """
    height_m, unit_m3s = open_height(barrel), _unit_flow(barrel)
    flow_m3s = np.asarray(flow_m3s, dtype=float) + 0 * unit_m3s
    ratio = flow_m3s / np.where(unit_m3s > 0, unit_m3s, 1.0)
    low = _unsubmerged(np.minimum(ratio, LAST_UNSUBMERGED), barrel, coefficients)
    high = np.maximum(_submerged(np.maximum(ratio, FIRST_SUBMERGED), coefficients), low)
    share = (ratio - LAST_UNSUBMERGED) / (FIRST_SUBMERGED - LAST_UNSUBMERGED)
    head = low + np.clip(share, 0, 1) * (high - low)
    head = head + _slope_head(barrel, slope_m_per_m, coefficients)
    closed = np.where(flow_m3s > 0, np.inf, 0.0)
    over_bed_m = np.where(unit_m3s <= 0, closed, height_m * np.maximum(head, 0))
    return np.asarray(barrel.rise_m) - height_m + over_bed_m


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
    >>> pipe = Barrel(0.9144, 0.9144, False, [0.0, 1.0])
    >>> inlet_control_flow(0.81505, pipe, 0.01, square_edge).round(2)
    array([0.85, 0.  ])
    """
    height_m, unit_m3s = open_height(barrel), _unit_flow(barrel)
    over_bed_m = np.asarray(headwater_m) - (np.asarray(barrel.rise_m) - height_m)
    head = over_bed_m / np.where(height_m <= 0, 1.0, height_m)
    head = head - _slope_head(barrel, slope_m_per_m, coefficients)
    low = _unsubmerged(LAST_UNSUBMERGED + 0 * head, barrel, coefficients)
    high = np.maximum(_submerged(FIRST_SUBMERGED, coefficients), low)
    share = (head - low) / np.where(high > low, high - low, 1.0)
    between = LAST_UNSUBMERGED + share * (FIRST_SUBMERGED - LAST_UNSUBMERGED)
    over_orifice = np.maximum(head, high) - np.asarray(coefficients.y)
    above = np.sqrt(over_orifice / np.asarray(coefficients.c))
    unsubmerged = np.where(head < low, np.maximum(head, 0), np.nan)
    below = _unsubmerged_ratio(unsubmerged, barrel, coefficients)
    ratio = np.where(head < low, below, np.where(head < high, between, above))
    return np.where((over_bed_m <= 0) | (unit_m3s <= 0), 0.0, ratio * unit_m3s)


def _unit_flow(barrel: Barrel) -> Floats:
    """Flow at which q* is 1."""
    height_m = open_height(barrel)
    return open_area(barrel, height_m) * np.sqrt(height_m) / INLET_KU


def _slope_head(
    barrel: Barrel, slope_m_per_m: ArrayLike, coefficients: InletCoefficients
) -> Floats:
    """Slope term of HW/D; one that raises the headwater is not shrunk by a bed."""
    term = np.asarray(coefficients.slope_term) * np.asarray(slope_m_per_m)
    share = open_height(barrel) / np.asarray(barrel.rise_m)
    return term / np.where((term > 0) & (share > 0), share, 1.0)


def _submerged(ratio: ArrayLike, coefficients: InletCoefficients) -> Floats:
    return np.asarray(coefficients.c) * np.square(ratio) + np.asarray(coefficients.y)


def _unsubmerged(
    ratio: Floats, barrel: Barrel, coefficients: InletCoefficients
) -> Floats:
    """HW/D of the unsubmerged form, without its slope term."""
    loss = np.asarray(coefficients.k) * np.power(ratio, coefficients.m)
    is_form_1 = np.asarray(coefficients.form) == 1
    flow_m3s = np.where(is_form_1, ratio * _unit_flow(barrel), np.nan)
    depth_m = critical_depth(barrel, flow_m3s)
    height_m = open_height(barrel)
    crest = critical_head(barrel, depth_m) / np.where(height_m <= 0, 1.0, height_m)
    return np.where(is_form_1, crest + loss, loss + 0 * height_m)


def _unsubmerged_ratio(
    head: Floats, barrel: Barrel, coefficients: InletCoefficients
) -> Floats:
    """Ratio q* at which the unsubmerged form has a head, without its slope term."""
    form, k, m = (np.asarray(field, dtype=float) for field in coefficients[:3])
    depth_m = depth_where(_head_at, np.where(form == 1, head, np.nan), barrel, k, m)
    unit_m3s = _unit_flow(barrel)
    weir = critical_flow(barrel, depth_m) / np.where(unit_m3s <= 0, 1.0, unit_m3s)
    return np.where(form == 1, weir, np.power(head / k, 1 / m))


def _head_at(barrel: Barrel, depth_m: Floats, k: Floats, m: Floats) -> Floats:
    """HW/D of form 1 whose critical depth is given."""
    height_m, unit_m3s = open_height(barrel), _unit_flow(barrel)
    ratio = critical_flow(barrel, depth_m) / np.where(unit_m3s <= 0, 1.0, unit_m3s)
    crest = critical_head(barrel, depth_m) / np.where(height_m <= 0, 1.0, height_m)
    return crest + k * np.power(ratio, m)
