"""Open section of a barrel: circle, ellipse and box, less a bed of silt and ice."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Barrel(NamedTuple):
    """The inside of one barrel; the four fields broadcast against each other.

    A round pipe has rise = span. An arch or pipe arch is taken as an ellipse of its
    rise and span. Against standard pipe arches the ellipse has, full, the area of the
    tables within 2.5 % from 35 x 24 in up (up to 10 % more in the smallest, whose
    areas are printed to 0.1 ft2), and against their three arcs 0 to 4 % less area and
    1 to 5 % less perimeter. Part full the flat bottom of the arch holds more: the
    ellipse has 11 to 13 % less area at half the rise and 25 to 27 % less at a fifth,
    so that it errs towards less flow. Over a bed of silt it errs the other way: at
    half the rise up to 15 % more stays open. ``bed_fraction`` is the share of the
    rise lost at the bottom to silt and ice together.
    """

    rise_m: ArrayLike
    span_m: ArrayLike
    is_box: ArrayLike
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
    >>> open_height(Barrel([1.0, 1.0], 1.0, False, [0.0, 0.25]))
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
    An ellipse of span S and rise D is a circle of diameter D stretched by S/D.

    References
    ----------
    chow1959, table 2-1.

    Examples
    --------
    >>> full = open_area(Barrel(1.0, 1.0, False, [0.0, 0.25, 0.5, 0.75]), 1.0)
    >>> (full / full[0]).round(3)
    array([1.   , 0.804, 0.5  , 0.196])
    """
    rise_m, span_m, bed_m, depth_m, is_box = _measures(barrel, depth_m)
    segment_m2 = circle_area(bed_m + depth_m, rise_m) - circle_area(bed_m, rise_m)
    return np.where(is_box, span_m * depth_m, span_m / rise_m * segment_m2)


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
    >>> surface_width(Barrel(1.0, 2.0, [False, True], 0.0), 0.5)
    array([2., 2.])
    """
    rise_m, span_m, bed_m, depth_m, is_box = _measures(barrel, depth_m)
    chord_m = circle_top_width(bed_m + depth_m, rise_m)
    return np.where(is_box, span_m + 0 * depth_m, span_m / rise_m * chord_m)


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
    The perimeter of an ellipse is the circle's share of the whole times Ramanujan's
    perimeter of the ellipse: exact for a circle and for a full ellipse without bed.
    The crown of a full box is wetted.

    References
    ----------
    chow1959, table 2-1.

    Examples
    --------
    >>> wetted_perimeter(Barrel(1.0, 1.0, [False, True], 0.0), 1.0).round(4)
    array([3.1416, 4.    ])
    """
    # not bed + depth against rise: their sum may fall short by rounding
    is_full = np.asarray(depth_m) >= open_height(barrel)
    rise_m, span_m, bed_m, depth_m, is_box = _measures(barrel, depth_m)
    arc_m = circle_perimeter(bed_m + depth_m, rise_m) - circle_perimeter(bed_m, rise_m)
    round_m = arc_m * _ellipse_perimeter(rise_m, span_m) / (np.pi * rise_m)
    chord_m = span_m / rise_m * circle_top_width(bed_m, rise_m)
    crown_m = np.where(is_full, span_m, 0.0)
    return np.where(is_box, span_m + 2 * depth_m + crown_m, round_m + chord_m)


def _measures(
    barrel: Barrel, depth_m: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.bool_]]:
    rise_m = np.asarray(barrel.rise_m, dtype=float)
    height_m = open_height(barrel)
    return (
        rise_m,
        np.asarray(barrel.span_m, dtype=float),
        rise_m - height_m,
        np.minimum(depth_m, height_m),
        np.asarray(barrel.is_box, dtype=bool),
    )


def _angle(depth_m: ArrayLike, diameter_m: ArrayLike) -> Floats:
    ratio = np.asarray(depth_m, dtype=float) / np.asarray(diameter_m, dtype=float)
    return 2 * np.arccos(1 - 2 * np.clip(ratio, 0, 1))


def _ellipse_perimeter(rise_m: Floats, span_m: Floats) -> Floats:
    h = ((span_m - rise_m) / (span_m + rise_m)) ** 2
    return np.pi / 2 * (span_m + rise_m) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
