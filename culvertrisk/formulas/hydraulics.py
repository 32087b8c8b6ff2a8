"""Critical flow in a barrel: depth, flow and head."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import each, kernel_jit, section_of
from culvertrisk.formulas.depth_kernels import CRITICAL, NO_TERMS, depth_of
from culvertrisk.formulas.sections import Barrel, open_area, surface_width
from culvertrisk.units import GRAVITY_M_S2

Floats = NDArray[np.float64]


def critical_flow(barrel: Barrel, depth_m: ArrayLike) -> Floats:
    r"""Flow that is critical at a depth.

    .. math:: Q = \sqrt{g A^3 / T}

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    depth_m : array_like, shape (n,) or scalar
        Depth over the bed [m].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Grows with depth, without bound towards the crown of a round barrel; NaN
        where an input is NaN [m3/s].

    References
    ----------
    chow1959, ch. 4 (critical flow).

    Examples
    --------
    >>> critical_flow(Barrel(1.0, 1.0), [0.0, 0.57302]).round(3)
    array([0., 1.])
    """
    area_m2 = open_area(barrel, depth_m)
    depth_m = _mean_depth(area_m2, surface_width(barrel, depth_m))
    return area_m2 * np.sqrt(GRAVITY_M_S2 * depth_m)


def critical_depth(barrel: Barrel, flow_m3s: ArrayLike) -> Floats:
    r"""Depth at which a flow is critical: the root of :math:`Q^2 T = g A^3`.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    flow_m3s : array_like, shape (n,) or scalar
        Flow of one barrel, 0 or more [m3/s].

    Returns
    -------
    critical_depth_m : ndarray, shape (n,)
        Depth over the bed, at most the open height; NaN where an input is NaN [m].

    Notes
    -----
    The critical flow grows with depth, so the root is the only one; it is bracketed
    between bed and crown, which no step leaves (Chandrupatla's method).

    References
    ----------
    chow1959, ch. 4 (critical flow); fhwa2012, chart 4 (circular), from memory.

    Examples
    --------
    >>> critical_depth(Barrel(1.0, 1.0), [0.0, 1.0]).round(4)
    array([0.    , 0.5731])
    """
    return each(_critical_depths, *barrel, flow_m3s)


def critical_head(barrel: Barrel, critical_depth_m: ArrayLike) -> Floats:
    r"""Specific head of critical flow: depth and velocity head.

    .. math:: H_c = d_c + V_c^2 / 2 g = d_c + A / 2 T

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    critical_depth_m : array_like, shape (n,) or scalar
        Depth over the bed [m].

    Returns
    -------
    critical_head_m : ndarray, shape (n,)
        Over the bed; NaN where an input is NaN [m].

    References
    ----------
    fhwa2012, appendix A.

    Examples
    --------
    >>> from culvertrisk.formulas.barrel_kernels import BOX
    >>> critical_head(Barrel(1.2, 1.8, BOX), [0.0, 0.8]).round(3)
    array([0. , 1.2])
    """
    area_m2 = open_area(barrel, critical_depth_m)
    width_m = surface_width(barrel, critical_depth_m)
    return np.asarray(critical_depth_m) + _mean_depth(area_m2, width_m) / 2


def _mean_depth(area_m2: Floats, width_m: Floats) -> Floats:
    at_crown = np.where(area_m2 > 0, np.inf, 0.0)
    mean_m = area_m2 / np.where(width_m <= 0, 1.0, width_m)
    return np.where(width_m <= 0, at_crown, mean_m)


@kernel_jit
def _critical_depths(result, rise, span, shape, bed, flow):  # type: ignore[no-untyped-def]
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        result[i] = depth_of(CRITICAL, flow[i], section, section[4], NO_TERMS)
