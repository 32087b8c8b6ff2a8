"""Section of a barrel reduced by a bed of ice: an engineering assumption."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import each, kernel_jit, section_of
from culvertrisk.formulas.depth_kernels import AREA, NO_TERMS, depth_of
from culvertrisk.formulas.sections import (
    Barrel,
    open_area,
    open_height,
    surface_width,
    wetted_perimeter,
)

Floats = NDArray[np.float64]


def iced_barrel(barrel: Barrel, blocked_fraction: ArrayLike) -> Barrel:
    r"""The barrel with a level bed of ice on its silt that closes a share of it.

    .. math:: A(b) - A(s) = f\, (A(1) - A(s))

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,); its bed is the silt s.
    blocked_fraction : array_like, shape (n,) or scalar
        Share f of the clear section closed by ice, 0 to 1.

    Returns
    -------
    barrel : Barrel
        Its bed b is silt and ice, 1 where all is closed; NaN where an input is NaN.

    Notes
    -----
    An engineering assumption, not a standard: the ice lies flat and all along.

    References
    ----------
    chow1959, table 2-1 (geometry of the segment).

    Examples
    --------
    >>> from culvertrisk.formulas.barrel_kernels import BOX
    >>> clear = Barrel(1.0, 1.0, [0, 0, BOX])
    >>> iced_barrel(clear, [0.5, 1.0, 0.3]).bed_fraction
    array([0.5, 1. , 0.3])
    """
    closed_m2 = np.asarray(blocked_fraction) * open_area(barrel, open_height(barrel))
    ice_m = each(_filled_depths, *barrel, closed_m2)
    bed = np.asarray(barrel.bed_fraction) + ice_m / np.asarray(barrel.rise_m)
    is_closed = (np.asarray(blocked_fraction) >= 1) & ~np.isnan(bed)
    return barrel._replace(bed_fraction=np.where(is_closed, 1.0, np.minimum(bed, 1)))


def composite_roughness(
    perimeter_m: ArrayLike,
    roughness: ArrayLike,
    ice_perimeter_m: ArrayLike,
    ice_roughness: ArrayLike,
) -> Floats:
    r"""Manning's n of a section walled partly by ice (Belokon-Sabaneev).

    .. math:: n = \left( \frac{P_1 n_1^{3/2} + P_2 n_2^{3/2}}{P_1 + P_2}
              \right)^{2/3}

    Parameters
    ----------
    perimeter_m : array_like, shape (n,)
        Wetted perimeter of the barrel's own wall [m].
    roughness : array_like, shape (n,) or scalar
        Manning's n of the wall [s·m^-1/3].
    ice_perimeter_m : array_like, shape (n,) or scalar
        Wetted perimeter of the ice [m].
    ice_roughness : array_like, shape (n,) or scalar
        Manning's n of the ice [s·m^-1/3].

    Returns
    -------
    roughness : ndarray, shape (n,)
        NaN where an input is NaN or nothing is wetted [s·m^-1/3].

    References
    ----------
    crrel1998, table 1 (values of n); formula from memory.

    Examples
    --------
    >>> composite_roughness([1.0], 0.024, [1.0], 0.010).round(5)
    array([0.01772])
    """
    wall_m, ice_m = np.asarray(perimeter_m, float), np.asarray(ice_perimeter_m, float)
    weighted = wall_m * np.power(roughness, 1.5) + ice_m * np.power(ice_roughness, 1.5)
    total_m = wall_m + ice_m
    unknown = np.full(np.broadcast(weighted, total_m).shape, np.nan)
    mean = np.divide(weighted, total_m, out=unknown, where=total_m > 0)
    return np.power(mean, 2 / 3)


def iced_roughness(
    barrel: Barrel, roughness: ArrayLike, ice_roughness: ArrayLike
) -> Floats:
    """Manning's n of a full barrel whose bed is ice.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,); its bed is ice.
    roughness : array_like, shape (n,) or scalar
        Manning's n of the wall [s·m^-1/3].
    ice_roughness : array_like, shape (n,) or scalar
        Manning's n of the ice [s·m^-1/3].

    Returns
    -------
    roughness : ndarray, shape (n,)
        NaN where an input is NaN or the barrel is closed [s·m^-1/3].

    References
    ----------
    crrel1998, table 1 (values of n).

    Examples
    --------
    >>> from culvertrisk.formulas.barrel_kernels import BOX
    >>> iced_roughness(Barrel(1.0, 1.0, BOX, 0.5), [0.024], 0.024).round(3)
    array([0.024])
    """
    bed_m = np.asarray(barrel.rise_m) - open_height(barrel)
    ice_m = surface_width(barrel._replace(bed_fraction=0.0), bed_m)
    wall_m = wetted_perimeter(barrel, open_height(barrel)) - ice_m
    mean = composite_roughness(wall_m, roughness, ice_m, ice_roughness)
    return np.where(open_height(barrel) <= 0, np.nan, mean)


@kernel_jit
def _filled_depths(result, rise, span, shape, bed, area):  # type: ignore[no-untyped-def]
    """Depth over the bed up to which the section has an area."""
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        result[i] = depth_of(AREA, area[i], section, section[4], NO_TERMS)
