"""Paths of light through the crowns of trees, by direction, from a canopy raster."""

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from culvertrisk.terrain.horizon import AZIMUTHS, CHUNK, TILE_CELLS

# Elevation angles at which depth is tabled; denser where paths change fast.
ELEVATIONS_DEG = np.array([1.0, 4.0, 8.0, 12.0, 17.0, 23.0, 31.0, 42.0, 58.0, 80.0])
REACH_M = 250.0  # a tree of 30 m hides the sun from 7 degrees up at this distance
_NEAR_STEP = 0.5  # least step [cells]
_GROWTH = 0.04  # step over distance; rays stand 0.09 of the distance apart


def canopy_depth(
    elevation_m: NDArray[np.float32],
    canopy_height_m: NDArray[np.float32],
    places: NDArray[np.float64],
    *,
    cell_m: float,
    extinction_per_m: ArrayLike,
) -> NDArray[np.float32]:
    """Optical depth of the crowns between points and the sky, by direction.

    Parameters
    ----------
    elevation_m, canopy_height_m : ndarray, shape (rows, columns)
        Ground and height of the trees above it; NaN or 0 without trees [m].
    places : ndarray, shape (n, 3)
        Row, column (whole at cell centres) and grid bearing of true north [rad].
    cell_m : float
        Side of the cells [m].
    extinction_per_m : float or array_like, shape (rows, columns)
        Light lost on a metre of path through the crowns of a cell [1/m].

    Returns
    -------
    optical_depth : ndarray, shape (n, 72, 10)
        By true azimuth and by ``ELEVATIONS_DEG``; 0 outside the raster.

    Notes
    -----
    Rays of 250 m in steps of half a cell, or 4 % of the distance where that is more.
    Crowns are taken to reach from the ground to the canopy's height and to be even
    inside; a road's clearing narrower than a cell is not seen. The even crown is an
    assumption: no field data stand behind it.

    Examples
    --------
    >>> ground_m, trees_m = np.zeros((30, 30)), np.full((30, 30), 10.0)
    >>> place = np.array([[15.0, 15.0, 0.0]])
    >>> depth = canopy_depth(ground_m, trees_m, place, cell_m=10.0,
    ...                      extinction_per_m=0.05)
    >>> bool(depth[0, 0, 0] > depth[0, 0, 9] > 0.4)
    True
    """
    rasters = tuple(
        np.ascontiguousarray(np.broadcast_to(raster, elevation_m.shape), np.float32)
        for raster in (elevation_m, canopy_height_m, np.asarray(extinction_per_m))
    )
    steps = _steps(cell_m)
    depth = np.zeros((len(places), AZIMUTHS, ELEVATIONS_DEG.size), np.float32)
    order = np.lexsort((places[:, 1] // TILE_CELLS, places[:, 0] // TILE_CELLS))
    slopes = np.tan(np.radians(ELEVATIONS_DEG)).astype(np.float32)

    def work(start: int) -> None:
        part = order[start : start + CHUNK]
        _add_paths(rasters, places, part, (cell_m, *steps), slopes, depth)

    with ThreadPoolExecutor(cpu_count()) as pool:
        list(pool.map(work, range(0, len(places), CHUNK)))
    return depth


def _steps(cell_m: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the ends and the middles of a ray's steps [m]."""
    edges_m = [0.0]
    while edges_m[-1] < REACH_M:
        edges_m.append(edges_m[-1] + max(_NEAR_STEP * cell_m, _GROWTH * edges_m[-1]))
    edges = np.array(edges_m)
    return edges.astype(np.float32), ((edges[1:] + edges[:-1]) / 2).astype(np.float32)


@njit(cache=True, nogil=True)
def _add_paths(
    rasters: tuple, places: NDArray, part: NDArray, steps: tuple, slopes: NDArray,
    depth: NDArray,
) -> None:  # fmt: skip
    elevation_m, height_m, extinction_per_m = rasters
    cell_m, edges_m, middles_m = steps
    rows, cols = elevation_m.shape
    flat, slant = 1 / slopes, np.sqrt(1 + slopes**2)
    for i in part:
        row, col, north = places[i]
        r, c = int(np.floor(row + 1 / 2)), int(np.floor(col + 1 / 2))
        if np.isnan(row + col) or r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        eye_m = elevation_m[r, c]
        for ray in range(depth.shape[1]):
            bearing = 2 * np.pi * ray / depth.shape[1] + north
            down, right = -np.cos(bearing) / cell_m, np.sin(bearing) / cell_m
            for step in range(middles_m.size):
                y = row + down * middles_m[step] + 1 / 2
                x = col + right * middles_m[step] + 1 / 2
                if y < 0 or x < 0 or y >= rows or x >= cols:
                    break
                r, c = int(y), int(x)
                if not height_m[r, c] > 0:
                    continue
                foot_m = elevation_m[r, c] - eye_m
                crown = (foot_m, foot_m + height_m[r, c], extinction_per_m[r, c])
                ends = (edges_m[step], edges_m[step + 1])
                _add_step(crown, ends, (flat, slant), depth[i, ray])


@njit(cache=True, nogil=True, inline="always")
def _add_step(crown: tuple, ends: tuple, rays: tuple, depth: NDArray) -> None:
    foot_m, top_m, extinction_per_m = crown
    near_m, far_m = ends
    flat, slant = rays
    for k in range(depth.size):
        out_m = min(far_m, top_m * flat[k])
        if not out_m > near_m:  # steeper rays pass above these crowns
            break
        path_m = max(out_m - max(near_m, foot_m * flat[k]), 0) * slant[k]
        depth[k] += path_m * extinction_per_m
