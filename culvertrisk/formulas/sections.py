"""Open section of a barrel: round, box and arch, less a bed of silt and ice."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_kernels import (
    ROUND,
    each,
    full_section,
    geometry,
    kernel_jit,
    section_of,
)

Floats = NDArray[np.float64]

_AREA, _WIDTH, _PERIMETER = 0, 1, 2  # of what ``_measured`` returns


class Barrel(NamedTuple):
    """The inside of one barrel; the four fields broadcast against each other.

    ``shape`` is one of the codes of ``barrel_kernels``: ``ROUND``, a circle, or an
    ellipse where rise and span differ; ``BOX``; ``PIPE_ARCH``, three arcs tangent to
    each other; ``OPEN_ARCH``, half an ellipse on a flat floor. ``bed_fraction`` is
    the share of the rise lost at the bottom to silt and ice together.

    The arcs of a pipe arch follow from rise D and span S and two proportions, the
    means of the twelve standard sizes (ncspa2008, from memory), with B the height of
    the corners' centres and x = S/2 - Rc their distance from the middle:

    ================  =====================================================
    B                 0.334 D; at least D - S/2, so that the span is widest
    Rc, corners       0.848 B
    Rb, floor         (x2 + B2 - Rc2) / 2 (B - Rc)
    Rt, top           (x2 + (D - B)2 - Rc2) / 2 (D - B - Rc)
    ================  =====================================================

    Against the table's own arcs, from 35 x 24 in up, the full area is within 1 %, the
    area at a tenth of the rise within 3 % and the full perimeter within 4 %; smaller
    ones hold up to 9 % less at a tenth of the rise. The printed areas are 0 to 4 %
    less than the printed arcs enclose.
    """

    rise_m: ArrayLike
    span_m: ArrayLike
    shape: ArrayLike = ROUND
    bed_fraction: ArrayLike = 0.0


class Conduit(NamedTuple):
    """What outlet control needs of a barrel beside its section; fields broadcast.

    ``entrance_loss`` is Ke, ``roughness`` Manning's n [s·m^-1/3], ``tailwater_m``
    the depth below the road over the outlet invert.
    """

    length_m: ArrayLike
    slope_m_per_m: ArrayLike
    entrance_loss: ArrayLike
    roughness: ArrayLike
    tailwater_m: ArrayLike = 0.0


def circle_area(depth_m: ArrayLike, diameter_m: ArrayLike) -> Floats:
    r"""Area of flow in a part-full circle.

    .. math:: A = D^2 (\theta - \sin\theta) / 8, \quad
              \theta = 2 \arccos(1 - 2 y / D)

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth y, from 0 to the diameter; more counts as full [m].
    diameter_m : array_like, shape (n,) or scalar
        Inside diameter D, above 0 [m].

    Returns
    -------
    area_m2 : ndarray, shape (n,)
        NaN where an input is NaN [m2].

    References
    ----------
    chow1959, table 2-1 (formula) and appendix A (values).

    Examples
    --------
    >>> circle_area([0.0, 0.5], 1.0).round(4)
    array([0.    , 0.3927])
    """
    theta = _angle(depth_m, diameter_m)
    return np.asarray(diameter_m) ** 2 * (theta - np.sin(theta)) / 8


def circle_perimeter(depth_m: ArrayLike, diameter_m: ArrayLike) -> Floats:
    r"""Wetted perimeter of a part-full circle.

    .. math:: P = \theta D / 2

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth, from 0 to the diameter; more counts as full [m].
    diameter_m : array_like, shape (n,) or scalar
        Inside diameter, above 0 [m].

    Returns
    -------
    perimeter_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    References
    ----------
    chow1959, table 2-1 (formula) and appendix A (values).

    Examples
    --------
    >>> circle_perimeter([0.0, 0.5], 1.0).round(4)
    array([0.    , 1.5708])
    """
    return _angle(depth_m, diameter_m) * np.asarray(diameter_m) / 2


def circle_top_width(depth_m: ArrayLike, diameter_m: ArrayLike) -> Floats:
    r"""Width of the water surface in a part-full circle.

    .. math:: T = 2 \sqrt{y (D - y)}

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth, from 0 to the diameter; more counts as full [m].
    diameter_m : array_like, shape (n,) or scalar
        Inside diameter, above 0 [m].

    Returns
    -------
    top_width_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    References
    ----------
    chow1959, table 2-1 (formula) and appendix A (values).

    Examples
    --------
    >>> circle_top_width([0.0, 0.5, 1.0], 1.0).round(4)
    array([0., 1., 0.])
    """
    diameter_m = np.asarray(diameter_m, dtype=float)
    depth_m = np.clip(depth_m, 0, diameter_m)
    return 2 * np.sqrt(depth_m * (diameter_m - depth_m))


def open_height(barrel: Barrel) -> Floats:
    """Height between the bed and the crown.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).

    Returns
    -------
    open_height_m : ndarray, shape (n,)
        Rise less the bed; NaN where an input is NaN [m].

    References
    ----------
    definition.

    Examples
    --------
    >>> open_height(Barrel([1.0, 1.0], 1.0, bed_fraction=[0.0, 0.25]))
    array([1.  , 0.75])
    """
    return np.asarray(barrel.rise_m) * (1 - np.asarray(barrel.bed_fraction))


def open_area(barrel: Barrel, depth_m: ArrayLike) -> Floats:
    """Area of flow between the bed and a depth over it.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    depth_m : array_like, shape (n,) or scalar
        Depth over the bed; more than the open height counts as full [m].

    Returns
    -------
    area_m2 : ndarray, shape (n,)
        NaN where an input is NaN [m2].

    Notes
    -----
    An ellipse of span S and rise D is a circle of diameter D stretched by S/D; a
    pipe arch is cut from the circles of its floor, corners and top.

    References
    ----------
    chow1959, table 2-1.

    Examples
    --------
    >>> full = open_area(Barrel(1.0, 1.0, bed_fraction=[0.0, 0.25, 0.5, 0.75]), 1.0)
    >>> (full / full[0]).round(3)
    array([1.   , 0.804, 0.5  , 0.196])
    """
    return each(_measures, *barrel, depth_m, _AREA)


def surface_width(barrel: Barrel, depth_m: ArrayLike) -> Floats:
    """Width of the water surface at a depth over the bed.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    depth_m : array_like, shape (n,) or scalar
        Depth over the bed; more than the open height counts as full [m].

    Returns
    -------
    top_width_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    References
    ----------
    chow1959, table 2-1.

    Examples
    --------
    >>> from culvertrisk.formulas.barrel_kernels import BOX
    >>> surface_width(Barrel(1.0, 2.0, [ROUND, BOX]), 0.5)
    array([2., 2.])
    """
    return each(_measures, *barrel, depth_m, _WIDTH)


def wetted_perimeter(barrel: Barrel, depth_m: ArrayLike) -> Floats:
    """Wetted perimeter at a depth over the bed, with the bed, without the surface.

    Parameters
    ----------
    barrel : Barrel
        Of arrays of shape (n,).
    depth_m : array_like, shape (n,) or scalar
        Depth over the bed; more than the open height counts as full [m].

    Returns
    -------
    perimeter_m : ndarray, shape (n,)
        NaN where an input is NaN [m].

    Notes
    -----
    The arc of an ellipse is that of Ramanujan's perimeter and two terms of a Fourier
    series: within 0.7 % of the integral for spans of 0.5 to 2.5 times the rise. The
    crown of a full box is wetted.

    References
    ----------
    chow1959, table 2-1.

    Examples
    --------
    >>> from culvertrisk.formulas.barrel_kernels import BOX
    >>> wetted_perimeter(Barrel(1.0, 1.0, [ROUND, BOX]), 1.0).round(4)
    array([3.1416, 4.    ])
    """
    return each(_measures, *barrel, depth_m, _PERIMETER)


def _angle(depth_m: ArrayLike, diameter_m: ArrayLike) -> Floats:
    ratio = np.asarray(depth_m, dtype=float) / np.asarray(diameter_m, dtype=float)
    return 2 * np.arccos(1 - 2 * np.clip(ratio, 0, 1))


@kernel_jit
def _measured(depth, section):  # type: ignore[no-untyped-def]
    """Area, top width and wetted perimeter; NaN where something is unknown."""
    unknown = 0 * (depth + section[4] + section[2])
    if depth >= section[4]:
        area, perimeter = full_section(section)
        return area, geometry(section[4], section)[1], perimeter
    area, width, perimeter = geometry(depth, section)
    return area + unknown, width + unknown, perimeter + unknown


@kernel_jit
def _measures(  # type: ignore[no-untyped-def]
    result, rise, span, shape, bed, depth, which
):
    for i in range(result.size):
        section = section_of(rise[i], span[i], shape[i], bed[i])
        result[i] = _measured(depth[i], section)[int(which[i])]
