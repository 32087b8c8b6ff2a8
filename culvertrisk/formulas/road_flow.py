"""Water over the road, and the headwater at which barrel and road carry a flow."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize.elementwise import find_root

Floats = NDArray[np.float64]

_HIGHEST_M = 1000.0  # stands for the endless headwater of a closed barrel
_CLOSE = 1e-9  # of flows [m3/s] and levels [m]


class Road(NamedTuple):
    """Crest of the road over n crossings as m level lengths; the fields broadcast.

    ``crest_m`` is the height of each length over the invert of the pipe at its inlet,
    ``length_m`` its length, ``width_m`` the width Lr that the water crosses, and
    ``tailwater_m`` the water below the road over the same invert, all in m.
    """

    crest_m: ArrayLike
    length_m: ArrayLike
    width_m: ArrayLike
    is_gravel: ArrayLike = False
    tailwater_m: ArrayLike = -np.inf


class WeirCurves(NamedTuple):
    """Curves of HDS-5 figure III-11: places on an axis, and coefficients at them.

    Cr is in m^1/2/s, over the head in m (``low``) or over head / width (``deep``);
    kt over the depth below the road / head.
    """

    low: tuple[Floats, Floats]
    deep: tuple[Floats, Floats]
    paved: tuple[Floats, Floats]
    gravel: tuple[Floats, Floats]


def roadway_overtopping_flow(
    overtopping_m: ArrayLike, crest_m: ArrayLike, weir_coefficient: ArrayLike
) -> Floats:
    r"""Flow over a road that acts as a broad-crested weir.

    .. math:: Q_o = C_d L \, HW_r^{3/2}

    Parameters
    ----------
    overtopping_m : array_like, shape (n,)
        Depth of the upstream water over the crest of the road; below 0 is dry [m].
    crest_m : array_like, shape (n,) or scalar
        Length of crest under water; a sag is split into level lengths [m].
    weir_coefficient : array_like, shape (n,) or scalar
        Cd, 1.38 to 1.71 for 2.5 to 3.1 in US units (x 0.5521); less when the
        water below the road is high [m^1/2/s].

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        NaN where an input is NaN [m3/s].

    References
    ----------
    fhwa2012, roadway overtopping; fhwa2005, figure III-11.

    Examples
    --------
    >>> roadway_overtopping_flow([-0.1, 0.3048], 30.48, 1.656).round(2)
    array([0.  , 8.49])
    """
    head_m = np.maximum(np.asarray(overtopping_m, dtype=float), 0)
    return np.asarray(weir_coefficient) * np.asarray(crest_m) * head_m**1.5


def weir_coefficient(
    overtopping_m: ArrayLike,
    width_m: ArrayLike,
    submergence_ratio: ArrayLike,
    is_gravel: ArrayLike,
    curves: WeirCurves,
) -> Floats:
    r"""Coefficient of a road as a weir.

    .. math:: C_d = k_t C_r

    Parameters
    ----------
    overtopping_m : array_like, shape (n,)
        Depth HWr of the upstream water over the crest; below 0 is dry [m].
    width_m : array_like, shape (n,) or scalar
        Width Lr that the water crosses, above 0 [m].
    submergence_ratio : array_like, shape (n,) or scalar
        Depth ht of the water below over the crest, as a share of HWr; 0 or less is
        free flow.
    is_gravel : array_like of bool, shape (n,) or scalar
        The road is not paved.
    curves : WeirCurves
        The table ``weir_coefficients``.

    Returns
    -------
    weir_coefficient : ndarray, shape (n,)
        NaN where an input is NaN [m^1/2/s].

    Notes
    -----
    Straight lines between the ends of the figure's axes, whose curves are not
    printed as numbers; the ends hold beyond them. ``deep`` from HWr/Lr 0.15 on, but
    for gravel.

    References
    ----------
    fhwa2005, figure III-11.

    Examples
    --------
    >>> flat = (np.array([0.0, 1.0]), np.array([1.6, 1.6]))
    >>> falling = (np.array([0.7, 1.0]), np.array([1.0, 0.5]))
    >>> curves = WeirCurves(flat, flat, falling, falling)
    >>> weir_coefficient([0.3, 0.3], 7.0, [0.0, 0.85], False, curves)
    array([1.6, 1.2])
    """
    head_m = np.maximum(np.asarray(overtopping_m, dtype=float), 0)
    ratio = head_m / np.asarray(width_m)
    is_paved = ~np.asarray(is_gravel, dtype=bool)
    free = np.interp(head_m, *curves.low)
    is_deep = (ratio > curves.deep[0][0]) & is_paved
    free = np.where(is_deep, np.maximum(np.interp(ratio, *curves.deep), free), free)
    share = np.asarray(submergence_ratio, dtype=float)
    drowned = np.interp(share, *curves.paved)
    return free * np.where(is_paved, drowned, np.interp(share, *curves.gravel))


def road_flow(headwater_m: ArrayLike, road: Road, curves: WeirCurves) -> Floats:
    """Flow over a road whose sag is split into level lengths.

    Parameters
    ----------
    headwater_m : array_like, shape (n,)
        Water over the invert of the pipe at its inlet [m].
    road : Road
        Of arrays of shape (n, m).
    curves : WeirCurves
        The table ``weir_coefficients``.

    Returns
    -------
    flow_m3s : ndarray, shape (n,)
        Over all lengths; NaN where an input is NaN [m3/s].

    References
    ----------
    fhwa2005, figure III-11 and text (sag vertical curve by segments).

    Examples
    --------
    >>> flat = (np.array([0.0, 1.0]), np.array([1.656, 1.656]))
    >>> falling = (np.array([0.7, 1.0]), np.array([1.0, 0.5]))
    >>> curves = WeirCurves(flat, flat, falling, falling)
    >>> road = Road([[1.0, 1.2]], [[30.48, 10.0]], 7.0)
    >>> road_flow([0.9, 1.3048], road, curves).round(3)
    array([0.   , 9.056])
    """
    head_m = np.asarray(headwater_m, dtype=float)[..., None] - np.asarray(road.crest_m)
    below_m = np.asarray(road.tailwater_m) - np.asarray(road.crest_m)
    ratio = np.maximum(below_m, 0) / np.where(head_m > 0, head_m, np.inf)
    coefficient = weir_coefficient(
        head_m, road.width_m, np.minimum(ratio, 1), road.is_gravel, curves
    )
    return roadway_overtopping_flow(head_m, road.length_m, coefficient).sum(axis=-1)


def balanced_headwater(
    flow_m3s: ArrayLike,
    barrel_headwater: Callable[[Floats, NDArray[np.int_]], Floats],
    road: Road,
    curves: WeirCurves,
) -> tuple[Floats, Floats]:
    r"""Headwater at which barrel and road together carry a flow.

    .. math:: Q = Q_b(HW) + Q_o(HW)

    Parameters
    ----------
    flow_m3s : array_like, shape (n,)
        Whole flow, 0 or more [m3/s].
    barrel_headwater : callable
        ``barrel_headwater(flow_m3s, rows)``: headwater over the invert [m] at a flow
        of all barrels [m3/s] of the elements ``rows`` of the flattened flow.
    road : Road
        Of arrays that broadcast to the shape of the flow and m.
    curves : WeirCurves
        The table ``weir_coefficients``.

    Returns
    -------
    headwater_m : ndarray, shape (n,)
        Over the invert of the pipe at its inlet; NaN where an input is NaN [m].
    road_flow_m3s : ndarray, shape (n,)
        The part that goes over the road [m3/s].

    Notes
    -----
    Chandrupatla's bracketing method on the barrels' share, since both parts grow with
    it; the headwater follows from the rest that goes over the road.

    References
    ----------
    fhwa2012, roadway overtopping (trial headwaters until the flows add up);
    chandrupatla1997.

    Examples
    --------
    >>> flat = (np.array([0.0, 1.0]), np.array([1.656, 1.656]))
    >>> falling = (np.array([0.7, 1.0]), np.array([1.0, 0.5]))
    >>> curves = WeirCurves(flat, flat, falling, falling)
    >>> road = Road([[1.0]], [[30.48]], 7.0)
    >>> level_m, over_m3s = balanced_headwater(
    ...     [0.5, 10.0], lambda flow_m3s, rows: flow_m3s, road, curves
    ... )
    >>> level_m.round(3), over_m3s.round(3)
    (array([0.5  , 1.309]), array([0.   , 8.691]))
    """
    whole_m3s = np.asarray(flow_m3s, dtype=float)
    flow, every = whole_m3s.ravel(), np.arange(whole_m3s.size)
    road = _flat(road, whole_m3s.shape)
    headwater_m = np.array(barrel_headwater(flow, every), dtype=float)
    wet = np.flatnonzero(headwater_m > np.min(road.crest_m, axis=-1))

    def too_much(part: Floats, at: Floats, whole: Floats) -> Floats:
        level_m = np.minimum(barrel_headwater(part, at.astype(int)), _HIGHEST_M)
        return part + road_flow(level_m, _rows(road, at), curves) - whole

    bracket, given = (np.zeros(len(wet)), flow[wet]), (wet.astype(float), flow[wet])
    found = find_root(too_much, bracket, args=given, tolerances={"xatol": _CLOSE})
    over = flow[wet] - np.nan_to_num(found.x)  # none through where it goes over at 0
    road_m3s = np.where(np.isnan(headwater_m), np.nan, 0.0)
    headwater_m[wet], road_m3s[wet] = _level_over(over, _rows(road, wet), curves), over
    return headwater_m.reshape(whole_m3s.shape), road_m3s.reshape(whole_m3s.shape)


def _level_over(flow_m3s: Floats, road: Road, curves: WeirCurves) -> Floats:
    """Water level at which a flow goes over the road [m]."""
    crest_m = np.asarray(road.crest_m)
    every = np.arange(len(crest_m))
    lowest = crest_m.argmin(axis=-1)
    # The lowest length alone, at the least coefficient, would carry it so deep
    least = curves.low[1].min() * min(curves.paved[1].min(), curves.gravel[1].min())
    least_m = np.asarray(road.length_m)[every, lowest] * least
    low_m = crest_m[every, lowest]
    high_m = low_m + (flow_m3s / least_m) ** (2 / 3)

    def too_high(level_m: Floats, at: Floats, wanted_m3s: Floats) -> Floats:
        return road_flow(level_m, _rows(road, at), curves) - wanted_m3s

    given = (every.astype(float), flow_m3s)
    return find_root(
        too_high, (low_m, high_m), args=given, tolerances={"xatol": _CLOSE}
    ).x


def _flat(road: Road, shape: tuple[int, ...]) -> Road:
    """The same with one row of lengths for each flow; none lies at no height."""
    whole = (*shape, np.asarray(road.crest_m).shape[-1])
    crest_m = np.where(np.asarray(road.length_m) == 0, np.inf, road.crest_m)
    parts = [np.asarray(field) for field in road._replace(crest_m=crest_m)]
    return Road(*(np.broadcast_to(f, whole).reshape(-1, whole[-1]) for f in parts))


def _rows(road: Road, rows: NDArray) -> Road:
    return Road(*(np.asarray(field)[rows.astype(int)] for field in road))
