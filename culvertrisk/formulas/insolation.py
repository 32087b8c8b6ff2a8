"""What a horizon and trees leave of the sun and the sky at a point."""

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.clear_sky import SLOTS, SunTable
from culvertrisk.units import DAY_S

_STRIPS = 45  # rings of the sky, two degrees each
_CHUNK = 256  # points a thread takes at a time


def transmitted_fraction(optical_depth: ArrayLike) -> NDArray[np.float64]:
    r"""Share of a beam that passes through crowns (Beer-Lambert).

    .. math:: \tau = e^{-d}

    Parameters
    ----------
    optical_depth : array_like
        Extinction times path, or K times leaf area index.

    Returns
    -------
    transmitted_fraction : ndarray, shape as given
        1 without trees; NaN where the depth is NaN.

    Notes
    -----
    Holds for crowns without gaps; with gaps more light passes. No printed table was
    found: the check values are exact exponentials.

    References
    ----------
    definition.

    Examples
    --------
    >>> transmitted_fraction([0.0, 0.5]).round(3)
    array([1.   , 0.607])
    """
    return np.exp(-np.asarray(optical_depth, np.float64))


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
        Elevation angles e at which depth is given, rising [deg].

    Returns
    -------
    sky_view_fraction : ndarray, shape (n,)
        That of the horizon alone where no tree stands; NaN where the horizon is.

    Notes
    -----
    Depth is interpolated between elevations and even over two degrees. No printed
    value was found; even depth has the exact answer cos² H times exp(-d).

    References
    ----------
    definition.

    Examples
    --------
    >>> bare = np.zeros((1, 72, 2), np.float32)
    >>> plain = np.zeros((1, 72), np.float32)
    >>> sky_view_under_canopy(plain, bare, np.array([0.0, 90.0])).round(6)
    array([1.])
    """
    return _sky_sum(horizon_tangent, optical_depth, levels_deg)


def daily_insolation(
    sun: SunTable,
    horizon_tangent: NDArray[np.float32],
    sky_view_fraction: NDArray[np.float64],
    optical_depth: NDArray[np.float32],
    levels_deg: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Clear-sky insolation on level ground behind a horizon and trees, day by day.

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
        Elevation angles of the depths, rising [deg].

    Returns
    -------
    insolation_j_m2 : ndarray, shape (n, 243)
        Beam and diffuse light of each day of the season; NaN where the horizon is
        [J/m2].

    Notes
    -----
    The beam is lost while the sun stands below the horizon, interpolated in azimuth;
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
    >>> sunny = daily_insolation(sun_table(60.0, 25.0), plain, np.ones(1), no_trees,
    ...                          np.zeros(0))
    >>> (sunny[0, [81, 171]] / 1e6).round(1)  # 21 December and 21 March
    array([ 0.7, 12.6], dtype=float32)
    """
    total = np.empty((len(horizon_tangent), sun.beam_w_m2.shape[0]), np.float32)
    level_tangent = np.tan(np.radians(sun.elevation_deg))
    rays = sun.azimuth_deg / (360 / horizon_tangent.shape[1])

    def work(start: int) -> None:
        part = slice(start, start + _CHUNK)
        _add_days(
            level_tangent, rays, sun.elevation_deg, sun.beam_w_m2, sun.diffuse_w_m2,
            horizon_tangent[part], sky_view_fraction[part], optical_depth[part],
            levels_deg, total[part],
        )  # fmt: skip

    with ThreadPoolExecutor(cpu_count()) as pool:
        list(pool.map(work, range(0, len(total), _CHUNK)))
    return total


@njit(cache=True, nogil=True, inline="always")
def _depth_at(depths: NDArray, levels_deg: NDArray, level_deg: float) -> float:
    # Linear between the tabled elevations; outside them the end values hold.
    k = 0
    while k < levels_deg.size - 2 and levels_deg[k + 1] < level_deg:
        k += 1
    share = (level_deg - levels_deg[k]) / (levels_deg[k + 1] - levels_deg[k])
    share = min(max(share, 0.0), 1.0)
    return depths[k] * (1 - share) + depths[k + 1] * share


@njit(cache=True)
def _sky_sum(tangent: NDArray, depth: NDArray, levels_deg: NDArray) -> NDArray:
    points, rays = tangent.shape
    view = np.zeros(points)
    ring = np.pi / 2 / _STRIPS
    for i in range(points):
        for ray in range(rays):
            low = np.arctan(tangent[i, ray])
            if np.isnan(low):
                view[i] = np.nan
                continue
            for strip in range(int(low / ring), _STRIPS):
                bottom, top = max(strip * ring, low), (strip + 1) * ring
                weight = np.sin(top) ** 2 - np.sin(bottom) ** 2
                middle_deg = np.degrees((bottom + top) / 2)
                lost = _depth_at(depth[i, ray], levels_deg, middle_deg)
                view[i] += weight * np.exp(-lost) / rays
    return view


@njit(cache=True, nogil=True)
def _add_days(
    level_tangent: NDArray, rays: NDArray, level_deg: NDArray, beam: NDArray,
    diffuse: NDArray, tangent: NDArray, view: NDArray, depth: NDArray,
    levels_deg: NDArray, total: NDArray,
) -> None:  # fmt: skip
    for i in range(tangent.shape[0]):
        for day in range(beam.shape[0]):
            day_sum = tangent[i, 0] * 0.0  # NaN where the horizon is unknown
            for slot in range(beam.shape[1]):
                if level_deg[day, slot] <= 0:
                    continue
                left = int(rays[day, slot])
                share = rays[day, slot] - left
                left %= tangent.shape[1]
                right = (left + 1) % tangent.shape[1]
                edge = tangent[i, left] * (1 - share) + tangent[i, right] * share
                day_sum += diffuse[day, slot] * view[i]
                if level_tangent[day, slot] <= edge:
                    continue
                passed = 1.0
                if levels_deg.size > 0:
                    level = level_deg[day, slot]
                    lost = _depth_at(depth[i, left], levels_deg, level) * (1 - share)
                    lost += _depth_at(depth[i, right], levels_deg, level) * share
                    passed = np.exp(-lost)
                day_sum += beam[day, slot] * passed
            total[i, day] = day_sum * (DAY_S / SLOTS)
