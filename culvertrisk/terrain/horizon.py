"""The horizon seen from points on a DEM."""

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.sampling import bilinear
from culvertrisk.units import EARTH_RADIUS_M

AZIMUTHS = 72  # rays a point; 36 is enough for a season, 72 for single days
REACH_M = 8_000.0  # 8 km misses 0.01 degree on average, 0.6 at most, of 12 km
REFRACTION = 0.13  # bend of a level ray over the Earth's, Gauss; from memory
_GROWTH = 0.02  # step over distance
_NEAR_STEP = 0.25  # least step [cells]: the near field makes most of the error
_POOL = 4  # each coarser DEM averages 4 x 4 cells of the finer one
_POOL_FROM_CELLS = 200  # distance from which a step spans 4 cells of the finer DEM
_CHUNK = 256  # points a thread takes at a time
_TILE_CELLS = 128  # points of one tile follow one another


def horizon_tangent(
    elevation_m: NDArray[np.float32],
    rows: NDArray[np.float64],
    cols: NDArray[np.float64],
    *,
    cell_m: float,
    eye_m: float,
    north_rad: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Tangent of the horizon's elevation angle all round, from points on a DEM.

    Parameters
    ----------
    elevation_m : ndarray, shape (rows, columns)
        Ground elevation, NaN where unknown [m].
    rows, cols : ndarray, shape (n,)
        Places in cells, whole numbers at cell centres; NaN where unknown.
    cell_m : float
        Side of the cells [m].
    eye_m : float
        Height of the point above the ground [m].
    north_rad : ndarray, shape (n,)
        Grid bearing of true north, clockwise from the grid's up [rad].

    Returns
    -------
    horizon_tangent : ndarray, shape (n, 72)
        By true azimuth 0, 5 ... 355 degrees; 0 where nothing stands above the level;
        NaN for a point outside the DEM.

    Notes
    -----
    Rays of 8 km by bilinear elevation, with quarter-cell steps near the point, steps
    of 2 % of the distance further on, and from 200 and 800 cells on the DEM averaged
    by 4 and by 16 cells. The Earth's curve and the ray's bend are included. A ray ends
    at the edge of the DEM: what stands beyond is not seen. Against rays of quarter-cell
    steps all the way, the root mean square error was 0.01 degree on rolling ground of
    10 m cells and 0.05 on mountains of 30 m cells; sharp far crests are lowered most.

    Examples
    --------
    >>> plain_m = np.zeros((50, 50), np.float32)
    >>> here = np.array([25.0])
    >>> float(horizon_tangent(plain_m, here, here, cell_m=10.0, eye_m=0.5,
    ...                       north_rad=np.zeros(1)).max())
    0.0
    """
    elevation_m = np.ascontiguousarray(elevation_m, np.float32)
    finer_m, coarser_m = elevation_m, _pool(_pool(elevation_m))
    middle_m = _pool(finer_m)
    # Neighbours share cached ground, so points are taken tile by tile.
    order = np.lexsort((cols // _TILE_CELLS, rows // _TILE_CELLS))
    places = np.column_stack([rows, cols, north_rad])[order]
    sorted_tangent = np.empty((len(rows), AZIMUTHS), np.float32)

    def work(start: int) -> None:
        part = slice(start, start + _CHUNK)
        onto = sorted_tangent[part]
        _march(finer_m, middle_m, coarser_m, places[part], cell_m, eye_m, onto)

    with ThreadPoolExecutor(cpu_count()) as pool:
        list(pool.map(work, range(0, len(rows), _CHUNK)))
    tangent = np.empty_like(sorted_tangent)
    tangent[order] = sorted_tangent
    return tangent


@njit(cache=True)
def _pool(fine_m: NDArray) -> NDArray:
    rows, cols = -(-fine_m.shape[0] // _POOL), -(-fine_m.shape[1] // _POOL)
    sums, counts = np.zeros((rows, cols)), np.zeros((rows, cols))
    for row in range(fine_m.shape[0]):
        for col in range(fine_m.shape[1]):
            if not np.isnan(fine_m[row, col]):
                sums[row // _POOL, col // _POOL] += fine_m[row, col]
                counts[row // _POOL, col // _POOL] += 1
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan).astype(np.float32)


@njit(cache=True, inline="always")
def _ground(
    finer_m: NDArray, middle_m: NDArray, coarser_m: NDArray, row: float, col: float,
    steps: float,
) -> np.float32:  # fmt: skip
    # The centre of a pooled cell lies half a pool less half a cell from its corner.
    if steps < _POOL_FROM_CELLS:
        return bilinear(finer_m, row, col)
    if steps < _POOL_FROM_CELLS * _POOL:
        shift = (_POOL - 1) / 2
        return bilinear(middle_m, (row - shift) / _POOL, (col - shift) / _POOL)
    wide = _POOL * _POOL
    shift = (wide - 1) / 2
    return bilinear(coarser_m, (row - shift) / wide, (col - shift) / wide)


@njit(cache=True, nogil=True)
def _march(
    finer_m: NDArray, middle_m: NDArray, coarser_m: NDArray, places: NDArray,
    cell_m: float, eye_m: float, tangent: NDArray,
) -> None:  # fmt: skip
    drop = np.float32((1 - REFRACTION) / (2 * EARTH_RADIUS_M) * cell_m)
    reach = REACH_M / cell_m
    per_cell = np.float32(1 / cell_m)
    for i in range(places.shape[0]):
        row, col, north = places[i]
        eye = np.float32(bilinear(finer_m, row, col) + eye_m)
        tangent[i] = eye * 0
        if np.isnan(eye):
            continue
        for ray in range(AZIMUTHS):
            bearing = 2 * np.pi * ray / AZIMUTHS + north
            down, right = -np.cos(bearing), np.sin(bearing)
            best, steps = np.float32(0), _NEAR_STEP
            while steps <= reach:
                r, c = row + down * steps, col + right * steps
                if r < 0 or c < 0 or r > finer_m.shape[0] or c > finer_m.shape[1]:
                    break
                ground_m = _ground(finer_m, middle_m, coarser_m, r, c, steps)
                far = np.float32(steps)
                rise = (ground_m - eye) * per_cell / far - drop * far
                if rise > best:  # never true of NaN
                    best = rise
                steps += max(_NEAR_STEP, _GROWTH * steps)
            tangent[i, ray] = best
