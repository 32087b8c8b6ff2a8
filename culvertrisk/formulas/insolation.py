"""What a horizon and trees leave of the sun and the sky at a point."""

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.clear_sky import SLOTS, SunTable
from culvertrisk.units import DAY_S, HOUR_S

_RINGS = 45  # of the sky, two degrees each
_CHUNK = 128  # points a thread takes at a time, side by side in vector registers
_HALVINGS = 7  # exp(-d) as the 128th power of a cubic: within 1e-5 up to d = 4
_OPAQUE = 32.0  # optical depth beyond which no light is told from none
_STILL = 1e-6  # climb of a sun that neither rises nor sinks [tangent in a quarter]


def sky_view_fraction(horizon_tangent: ArrayLike) -> NDArray[np.float64]:
    r"""Share of the sky's diffuse light that reaches level ground.

    .. math:: F = \frac{1}{2 \pi} \int_0^{2 \pi} \cos^2 H \, d\varphi

    Parameters
    ----------
    horizon_tangent : array_like, shape (n, azimuths) or one even height
        Tangent of the horizon's elevation angle H, at even steps of azimuth.

    Returns
    -------
    sky_view_fraction : ndarray, shape (n,)
        1 on an open plain; NaN where an input is NaN.

    Notes
    -----
    Holds for level ground under a sky of even brightness. No published table was
    found; the uniform horizon has the exact answer cos² H.

    References
    ----------
    definition.

    Examples
    --------
    >>> sky_view_fraction([[0.0, 0.0], [1.0, 1.0]])
    array([1. , 0.5])
    """
    tangent = np.atleast_1d(np.asarray(horizon_tangent, np.float64))
    return np.asarray((1 / (1 + tangent**2)).mean(axis=-1))


def sky_view_under_canopy(
    horizon_tangent: NDArray[np.float32],
    optical_depth: NDArray[np.float32],
    levels_deg: NDArray[np.float64],
) -> NDArray[np.float64]:
    r"""Share of the sky's diffuse light that reaches level ground under trees.

    .. math:: F = \frac{1}{2 \pi} \int_0^{2 \pi} \int_H^{\pi / 2}
              2 \sin e \cos e \, e^{-d} \, de \, d\varphi

    Parameters
    ----------
    horizon_tangent : ndarray, shape (n, azimuths)
        Tangent of the horizon's elevation angle H.
    optical_depth : ndarray, shape (n, azimuths, levels)
        Depth d of the crowns.
    levels_deg : ndarray, shape (levels,)
        Elevation angles e at which depth is given, rising from above 0 [deg].

    Returns
    -------
    sky_view_fraction : ndarray, shape (n,)
        That of the horizon alone where no tree stands; NaN where the horizon is.

    Notes
    -----
    Depth times sin e is interpolated between elevations, which is exact for a wood
    without end, and held even over two degrees. No printed value was found; a wood
    without end has the exact answer 2 E3(D), D its depth towards the zenith and E3
    the exponential integral.

    References
    ----------
    definition.
    """
    edges = np.linspace(0, np.pi / 2, _RINGS + 1)
    low, high = np.sin(edges[:-1]) ** 2, np.sin(edges[1:]) ** 2
    middle_deg = np.degrees((edges[:-1] + edges[1:]) / 2)
    rings = (*_as_single(low, high), *_between_levels(middle_deg, levels_deg))
    view = np.empty(len(horizon_tangent), np.float32)

    def work(part: slice) -> None:
        tangent, depth = _points_last(horizon_tangent[part], optical_depth[part])
        _add_rings(rings, tangent, depth, view[part])

    _share_out(work, len(view))
    return view.astype(np.float64)


def daily_sun(
    sun: SunTable,
    horizon_tangent: NDArray[np.float32],
    sky_view_fraction: NDArray[np.float64],
    optical_depth: NDArray[np.float32],
    levels_deg: NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Clear-sky insolation and hours of direct sun, day by day, on level ground.

    Parameters
    ----------
    sun : SunTable
        Sun and clear sky at the points' latitude.
    horizon_tangent : ndarray, shape (n, azimuths)
        Tangent of the horizon's elevation angle, at even steps from true north.
    sky_view_fraction : ndarray, shape (n,)
        Share of the diffuse light that reaches the point.
    optical_depth : ndarray, shape (n, azimuths, levels) or (n, azimuths, 0)
        Depth of the crowns; no levels means no trees.
    levels_deg : ndarray, shape (levels,)
        Elevation angles of the depths, rising from above 0 [deg].

    Returns
    -------
    insolation_j_m2 : ndarray, shape (n, 243)
        Beam and diffuse light of each day of the season; NaN where the horizon is
        [J/m2].
    direct_sun_h : ndarray, shape (n, 243)
        Time the sun stands above the horizon, counted by the share of its beam
        that the trees let through [h].

    Notes
    -----
    The beam is lost while the sun stands below the horizon, interpolated in azimuth;
    a quarter in which the sun clears it counts in part, by the sun's climb;
    light thrown back by snow and slopes is left out. No printed value was found;
    the open plain must return the table's own sums.

    References
    ----------
    definition.

    Examples
    --------
    >>> from culvertrisk.formulas.clear_sky import sun_table
    >>> plain = np.zeros((1, 72), np.float32)
    >>> no_trees = np.zeros((1, 72, 0), np.float32)
    >>> sunny, hours = daily_sun(sun_table(60.0, 25.0), plain, np.ones(1), no_trees,
    ...                          np.zeros(0))
    >>> (sunny[0, [81, 171]] / 1e6).round(1)  # 21 December and 21 March
    array([ 0.7, 12.6], dtype=float32)
    >>> hours[0, [81, 171]].round(1)
    array([ 5.8, 12.2], dtype=float32)
    """
    slots = _slots_with_sun(sun, horizon_tangent.shape[1], levels_deg)
    slot_s = DAY_S / SLOTS
    diffuse_j_m2 = (sun.diffuse_w_m2.sum(axis=1) * slot_s).astype(np.float32)
    view = np.asarray(sky_view_fraction, np.float32)
    total, hours = np.empty((2, len(view), len(diffuse_j_m2)), np.float32)

    def work(part: slice) -> None:
        tangent, depth = _points_last(horizon_tangent[part], optical_depth[part])
        if levels_deg.size and depth.any():
            beam, up = _under_trees(slots, tangent, depth)
        else:
            beam, up = _behind_horizon(slots, tangent)
        total[part] = (beam * np.float32(slot_s) + diffuse_j_m2[:, None] * view[part]).T
        hours[part] = (up * np.float32(slot_s / HOUR_S)).T

    _share_out(work, len(total))
    return total, hours


def _share_out(work, points: int) -> None:  # type: ignore[no-untyped-def]
    parts = [slice(start, start + _CHUNK) for start in range(0, points, _CHUNK)]
    with ThreadPoolExecutor(cpu_count()) as pool:
        list(pool.map(work, parts))


def _points_last(
    tangent: NDArray[np.float32], depth: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    # Points side by side let the kernels' inner loops run in vector registers.
    depth = np.ascontiguousarray(np.moveaxis(depth, 0, -1), np.float32)
    return np.ascontiguousarray(tangent.T, np.float32), depth


def _as_single(*numbers: NDArray) -> tuple[NDArray[np.float32], ...]:
    return tuple(np.asarray(part, np.float32) for part in numbers)


def _between_levels(at_deg: NDArray, levels_deg: NDArray) -> tuple[NDArray, ...]:
    """Return the level below, and the weights of it and the next, of elevations."""
    if not levels_deg.size:
        return np.zeros(len(at_deg), np.int64), *_as_single(0 * at_deg, 0 * at_deg)
    inside = np.clip(at_deg, levels_deg[0], levels_deg[-1])
    below = np.searchsorted(levels_deg, inside, side="right") - 1
    below = np.clip(below, 0, levels_deg.size - 2)
    share = (inside - levels_deg[below]) / (levels_deg[below + 1] - levels_deg[below])
    slant = np.sin(np.radians(levels_deg))
    here = np.sin(np.radians(np.maximum(at_deg, levels_deg[0])))
    lower, upper = (1 - share) * slant[below], share * slant[below + 1]
    return below, *_as_single(lower / here, upper / here)


def _slots_with_sun(sun: SunTable, rays: int, levels_deg: NDArray) -> tuple:
    """Return each quarter with the sun up: its rays, tangent, climb, beam and level."""
    tangent = np.tan(np.radians(sun.elevation_deg))
    climb = np.maximum(np.abs(np.gradient(tangent, axis=1)), _STILL)
    open_share = np.clip(1 / 2 + tangent / climb, 0, 1)
    is_up = open_share > 0
    first = np.append(0, np.cumsum(is_up.sum(axis=1)))
    elevation_deg, ray = sun.elevation_deg[is_up], sun.azimuth_deg[is_up] * rays / 360
    left = ray.astype(np.int64)
    share = ray - left
    left, right = left % rays, (left + 1) % rays
    # The table's beam is a quarter's mean: it falls in the time the sun is up.
    beam = (sun.beam_w_m2[is_up] / open_share[is_up]).astype(np.float32)
    sky = _as_single(share, tangent[is_up], 1 / climb[is_up])
    return first, left, right, *sky, beam, *_between_levels(elevation_deg, levels_deg)


@njit(cache=True, nogil=True, inline="always")
def _lit(above: np.float32, per_climb: np.float32) -> np.float32:
    # Share of the quarter in which the sun, climbing or sinking, clears the horizon.
    share = np.float32(1 / 2) + above * per_climb
    return min(max(share, np.float32(0)), np.float32(1))


@njit(cache=True, nogil=True, fastmath={"contract"})
def _behind_horizon(slots: tuple, tangent: NDArray) -> tuple:
    first, left, right, share, level, per_climb, beam, _, _, _ = slots
    days, points = first.size - 1, tangent.shape[1]
    total = np.empty((days, points), np.float32)
    up = np.empty((days, points), np.float32)
    for day in range(days):
        day_total, day_up = tangent[0] * np.float32(0), tangent[0] * np.float32(0)
        for slot in range(first[day], first[day + 1]):
            a, b = tangent[left[slot]], tangent[right[slot]]
            w, sun, watts = share[slot], level[slot], beam[slot]
            per = per_climb[slot]
            for i in range(points):
                lit = _lit(sun - a[i] - (b[i] - a[i]) * w, per)
                day_up[i] += lit
                day_total[i] += lit * watts
        total[day], up[day] = day_total, day_up
    return total, up


@njit(cache=True, nogil=True, inline="always")
def _passed(depth: np.float32) -> np.float32:
    part = min(depth, np.float32(_OPAQUE)) / np.float32(2**_HALVINGS)
    half, third = np.float32(1 / 2), np.float32(1 / 3)
    power = np.float32(1) - part * (np.float32(1) - part * half * (1 - part * third))
    for _ in range(_HALVINGS):
        power *= power
    return power


@njit(cache=True, nogil=True, fastmath={"contract"})
def _under_trees(slots: tuple, tangent: NDArray, depth: NDArray) -> tuple:
    first, left, right, share, level, per_climb, beam, below, lower, upper = slots
    days, points = first.size - 1, tangent.shape[1]
    total = np.empty((days, points), np.float32)
    up = np.empty((days, points), np.float32)
    for day in range(days):
        day_total, day_up = tangent[0] * np.float32(0), tangent[0] * np.float32(0)
        for slot in range(first[day], first[day + 1]):
            a, b = tangent[left[slot]], tangent[right[slot]]
            w, sun, watts = share[slot], level[slot], beam[slot]
            per = per_climb[slot]
            low, u, v = below[slot], lower[slot], upper[slot]
            a0, a1 = depth[left[slot], low], depth[left[slot], low + 1]
            b0, b1 = depth[right[slot], low], depth[right[slot], low + 1]
            for i in range(points):
                lit = _lit(sun - a[i] - (b[i] - a[i]) * w, per)
                near, far = a0[i] * u + a1[i] * v, b0[i] * u + b1[i] * v
                lit *= _passed(near + (far - near) * w)
                day_up[i] += lit
                day_total[i] += lit * watts
        total[day], up[day] = day_total, day_up
    return total, up


@njit(cache=True, nogil=True, fastmath={"contract"})
def _add_rings(rings: tuple, tangent: NDArray, depth: NDArray, view: NDArray) -> None:
    low, high, below, lower, upper = rings
    rays, points = tangent.shape
    view[:] = 0
    for ray in range(rays):
        hidden = tangent[ray] ** 2 / (1 + tangent[ray] ** 2)  # sin² H
        for ring in range(low.size):
            a, b = depth[ray, below[ring]], depth[ray, below[ring] + 1]
            u, v, bottom, top = lower[ring], upper[ring], low[ring], high[ring]
            for i in range(points):
                seen = max(top - max(bottom, hidden[i]), np.float32(0))
                view[i] += seen * _passed(a[i] * u + b[i] * v)
        view += hidden * np.float32(0)  # NaN stays NaN
    view /= np.float32(rays)
