"""Culvert flow held by its outlet: the hand method for a barrel that flows full."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.hydraulics import critical_depth
from culvertrisk.formulas.sections import (
    Barrel,
    Conduit,
    open_area,
    open_height,
    wetted_perimeter,
)
from culvertrisk.units import GRAVITY_M_S2

Floats = NDArray[np.float64]

FRICTION_KU = 19.63  # HDS-5: KU of the friction loss in SI units
RADIUS_EXPONENT = 1.33  # HDS-5: exponent of R as printed (4/3)


def full_flow_head_loss(
    flow_m3s: ArrayLike, barrel: Barrel, conduit: Conduit
) -> Floats:
    r"""Head lost by a barrel flowing full: entrance, friction and exit.

    .. math:: H = \left(1 + K_e + \frac{19.63\, n^2 L}{R^{1.33}}\right)
              \frac{V^2}{2 g}

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
    head_loss_m : ndarray, shape (n,)
        NaN where an input is NaN or the barrel is closed [m].

    References
    ----------
    fhwa2012, outlet control (loss equation of the full barrel).

    Examples
    --------
    >>> conduit = Conduit(36.576, 0.025, 0.9, 0.024)
    >>> full_flow_head_loss([1.18931], Barrel(0.9144, 0.9144), conduit).round(3)
    array([0.81])
    """
    area_m2 = open_area(barrel, open_height(barrel))
    area_m2 = np.where(area_m2 <= 0, np.nan, area_m2)
    return _loss_factor(barrel, conduit) * np.square(np.asarray(flow_m3s) / area_m2)


def outlet_control_headwater(
    flow_m3s: ArrayLike, barrel: Barrel, conduit: Conduit
) -> Floats:
    r"""Headwater held by the outlet, by the approximation of a full barrel.

    .. math:: HW = H + h_o - S L, \quad h_o = \max(TW, (d_c + D)/2)

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
        Over the invert of the pipe at the inlet; NaN where an input is NaN or the
        barrel is closed [m].

    Notes
    -----
    Not for headwater below 0.75 of the open height, nor for a barrel that runs part
    full over most of its length: there a water-surface profile is needed. A bed of
    silt or ice is taken at both ends.

    References
    ----------
    fhwa2012, outlet control.

    Examples
    --------
    >>> conduit = Conduit(36.576, 0.025, 0.9, 0.024, 0.1524)
    >>> outlet_control_headwater(
    ...     [1.18931], Barrel(0.9144, 0.9144), conduit
    ... ).round(3)
    array([0.675])
    """
    height_m = open_height(barrel)
    bed_m = np.asarray(barrel.rise_m) - height_m
    depth_m = critical_depth(barrel, flow_m3s)
    outlet_m = np.maximum(
        np.asarray(conduit.tailwater_m) - bed_m, (depth_m + height_m) / 2
    )
    fall_m = np.asarray(conduit.slope_m_per_m) * np.asarray(conduit.length_m)
    return bed_m + full_flow_head_loss(flow_m3s, barrel, conduit) + outlet_m - fall_m


def _loss_factor(barrel: Barrel, conduit: Conduit) -> Floats:
    """Head loss over the square of velocity [s2/m]."""
    perimeter_m = wetted_perimeter(barrel, open_height(barrel))
    perimeter_m = np.where(perimeter_m <= 0, 1.0, perimeter_m)
    radius_m = open_area(barrel, open_height(barrel)) / perimeter_m
    radius_m = np.where(radius_m <= 0, 1.0, radius_m)
    length_m = np.asarray(conduit.length_m)
    friction = FRICTION_KU * np.square(conduit.roughness) * length_m
    friction = friction / radius_m**RADIUS_EXPONENT
    return (1 + np.asarray(conduit.entrance_loss) + friction) / (2 * GRAVITY_M_S2)
