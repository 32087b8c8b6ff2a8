"""Uniform flow by Manning's formula: in a barrel, and in the channel below it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import (
    each,
    geometry,
    kernel_jit,
    section_of,
)
from culvertrisk.formulas.depth_kernels import CONVEYANCE, NO_TERMS, depth_of
from culvertrisk.formulas.sections import Barrel, open_area, wetted_perimeter

Floats = NDArray[np.float64]

_HALVINGS = 45  # of a bracket: to 1e-13 of it, or 1e-9 by golden section
_GOLDEN = (5**0.5 - 1) / 2
_DEPTH_STEPS = 80  # of the channel's depth, each at least a third nearer


def manning_flow(
    barrel: Barrel, depth_m: ArrayLike, slope_m_per_m: ArrayLike, roughness: ArrayLike
) -> Floats:
    r"""Uniform flow by Manning's formula.

    .. math:: Q = A R^{2/3} S^{1/2} / n

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    depth_m : array_like, shape (n,) or scalar
        Depth over the bed [m].
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the barrel, 0 or more [m/m].
    roughness : array_like, shape (n,) or scalar
        Manning's n, above 0 [s·m^-1/3].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        NaN where an input is NaN [m3/s].

    Notes
    -----
    A closed pipe carries most just below full (y/D 0.938), so that two depths
    belong to flows above the full one.

    References
    ----------
    chow1959, ch. 5.

    Examples
    --------
    >>> manning_flow(Barrel(0.9144, 0.9144), 0.9144, [0.01], 0.012).round(3)
    array([2.046])
    """
    area_m2 = open_area(barrel, depth_m)
    perimeter_m = wetted_perimeter(barrel, depth_m)
    radius_m = area_m2 / np.where(perimeter_m <= 0, 1.0, perimeter_m)
    power = np.power(radius_m, 2 / 3) * np.sqrt(slope_m_per_m)
    return area_m2 * power / np.asarray(roughness)


def normal_depth(
    barrel: Barrel, flow_m3s: ArrayLike, slope_m_per_m: ArrayLike, roughness: ArrayLike
) -> Floats:
    r"""Depth of uniform flow: the lower root of Manning's formula.

    .. math:: Q = A R^{2/3} S^{1/2} / n

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    flow_m3s : array_like, shape (n,) or scalar
        Flow of one barrel, 0 or more [m3/s].
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the barrel [m/m].
    roughness : array_like, shape (n,) or scalar
        Manning's n, above 0 [s·m^-1/3].

    Returns
    -------
    normal_depth_m : ndarray, shape (n,)
        Over the bed; infinite where the barrel cannot carry the flow part full, as on
        no slope; NaN where an input is NaN [m].

    Notes
    -----
    A circle carries most at y/D 0.938 (1.076 of the full flow). Flows between that
    and the full one have two normal depths; an open surface takes the lower. The
    crown of a box is not wetted below it.

    References
    ----------
    chow1959, ch. 6.

    Examples
    --------
    >>> pipe = Barrel(0.9144, 0.9144)
    >>> normal_depth(pipe, [0.84951, 3.0], 0.01, 0.012).round(3)
    array([0.411,   inf])
    """
    return each(_normal_depths, *barrel, flow_m3s, slope_m_per_m, roughness)


def channel_depth(
    flow_m3s: ArrayLike,
    bottom_m: ArrayLike,
    side_slope: ArrayLike,
    slope_m_per_m: ArrayLike,
    roughness: ArrayLike,
) -> Floats:
    r"""Depth of uniform flow in a trapezoid: the tailwater of a free channel.

    .. math:: Q = \frac{A R^{2/3} S^{1/2}}{n}, \quad A = (b + z y) y, \quad
              P = b + 2 y \sqrt{1 + z^2}

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Whole flow, 0 or more [m3/s].
    bottom_m : array_like, shape (n,) or scalar
        Width b of the bottom, 0 or more [m].
    side_slope : array_like, shape (n,) or scalar
        Run z of the banks over their rise, 0 or more; above 0 without a bottom.
    slope_m_per_m : array_like, shape (n,) or scalar
        Slope of the channel, above 0 [m/m].
    roughness : array_like, shape (n,) or scalar
        Manning's n, above 0 [s·m^-1/3].

    Returns
    -------
    depth_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    Notes
    -----
    Holds where nothing below dams the channel. Solved by repeated
    y (Q/Q(y))^{3/8}: exact at once in a triangle, and never past the root.

    References
    ----------
    chow1959, ch. 6 and table 2-1.

    Examples
    --------
    >>> channel_depth([0.0, 2.0], 1.0, 2.0, 0.01, 0.035).round(3)
    array([0.   , 0.614])
    """
    flow, b, z = (np.asarray(v, dtype=float) for v in (flow_m3s, bottom_m, side_slope))
    wanted = np.maximum(flow, 0) * np.asarray(roughness) / np.sqrt(slope_m_per_m)
    y = np.ones(np.broadcast(wanted, b, z).shape)
    for _ in range(_DEPTH_STEPS):
        area = (b + z * y) * y
        radius = area / (b + 2 * y * np.sqrt(1 + z**2))
        y = y * (wanted / (area * radius ** (2 / 3))) ** 0.375
        y = np.where(wanted > 0, y, 1 + 0 * y)
    return np.where(wanted == 0, 0 * b * z, y + 0 * wanted)


@kernel_jit
def normal_depths(flow, section, slope, roughness):  # type: ignore[no-untyped-def]
    """Both depths of uniform flow with an open surface in one barrel.

    Parameters
    ----------
    flow : float
        Of one barrel [m3/s].
    section : tuple
        Of ``section_of``.
    slope, roughness : float
        Slope [m/m] and Manning's n [s·m^-1/3].

    Returns
    -------
    lower_m, upper_m : float
        Infinite where there is none [m].

    References
    ----------
    chow1959, ch. 6.
    """
    if flow <= 0:
        return 0.0, np.inf
    if not slope > 0:
        return (np.inf if slope <= 0 else np.nan), np.inf
    wanted, height = flow * roughness / np.sqrt(slope), section[4]
    if wanted <= _conveyance(height, section):
        return depth_of(CONVEYANCE, wanted, section, height, NO_TERMS), np.inf
    peak = _best_depth(section)
    if not wanted <= _conveyance(peak, section):
        return (np.inf if wanted > 0 else np.nan), np.inf
    low, high = peak, height
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _conveyance(middle, section) > wanted:
            low = middle
        else:
            high = middle
    return depth_of(CONVEYANCE, wanted, section, peak, NO_TERMS), low


@kernel_jit
def _best_depth(section):  # type: ignore[no-untyped-def]
    """Depth at which most flows with an open surface, by golden section."""
    low, high = section[4] / 2, section[4]
    for _ in range(_HALVINGS):
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if _conveyance(left, section) < _conveyance(right, section):
            low = left
        else:
            high = right
    return (low + high) / 2


@kernel_jit
def _conveyance(depth, section):  # type: ignore[no-untyped-def]
    area, _, perimeter = geometry(depth, section)
    return area * (area / perimeter) ** (2 / 3) if area > 0 else 0.0 * area


@kernel_jit
def _normal_depths(  # type: ignore[no-untyped-def]
    result, rise, span, shape, bed, flow, slope, roughness
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        both = normal_depths(flow[i], section, slope[i], roughness[i])
        result[i] = both[0] + 0 * (rise[i] + span[i] + bed[i] + flow[i] + roughness[i])
