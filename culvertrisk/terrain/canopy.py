"""Paths of light through the crowns of trees, by direction, from a canopy raster."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.horizon import AZIMUTHS

# Elevation angles at which depth is tabled; denser where paths change fast.
ELEVATIONS_DEG = np.array([1.0, 4.0, 8.0, 12.0, 17.0, 23.0, 31.0, 42.0, 58.0, 80.0])
EXTINCTION_PER_M = 0.05  # of conifer crowns in leaf; common practice, no source
LEAF_OFF_FACTOR = 1.0  # conifers keep needles; 0.4 for broadleaves; no source
REACH_M = 250.0  # a tree of 30 m hides the sun from 7 degrees up at this distance


def canopy_depth(
    elevation_m: NDArray[np.float32],
    canopy_height_m: NDArray[np.float32],
    places: NDArray[np.float64],
    *,
    cell_m: float,
    extinction_per_m: float = EXTINCTION_PER_M,
    leaf_off_factor: float = LEAF_OFF_FACTOR,
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
    extinction_per_m : float, optional
        Light lost on a metre of path through crowns in leaf [1/m].
    leaf_off_factor : float, optional
        Share of the extinction left in winter; 1 for conifers.

    Returns
    -------
    optical_depth : ndarray, shape (n, 72, 10)
        By true azimuth and by ``ELEVATIONS_DEG``; 0 outside the raster.

    Notes
    -----
    Crowns are taken to reach from the ground to the canopy's height and to be even
    inside; a road's clearing narrower than a cell is not seen. Both the extinction
    and the even crown are assumptions: no field data stand behind them.

    Examples
    --------
    >>> ground_m, trees_m = np.zeros((30, 30)), np.full((30, 30), 10.0)
    >>> place = np.array([[15.0, 15.0, 0.0]])
    >>> depth = canopy_depth(ground_m, trees_m, place, cell_m=10.0)
    >>> bool(depth[0, 0, 0] > depth[0, 0, 9] > 0.4)
    True
    """
    depth = np.zeros((len(places), AZIMUTHS, ELEVATIONS_DEG.size), np.float32)
    slopes = np.tan(np.radians(ELEVATIONS_DEG))
    _add_paths(elevation_m, canopy_height_m, places, cell_m, slopes, depth)
    depth *= extinction_per_m * leaf_off_factor
    return depth


@njit(cache=True)
def _add_paths(
    elevation_m: NDArray, canopy_height_m: NDArray, places: NDArray, cell_m: float,
    slopes: NDArray, depth: NDArray,
) -> None:  # fmt: skip
    rows, cols = elevation_m.shape
    step_m = cell_m / 2
    for i in range(places.shape[0]):
        row, col, north = places[i]
        r, c = int(np.floor(row + 1 / 2)), int(np.floor(col + 1 / 2))
        if np.isnan(row + col) or r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        eye_m = elevation_m[r, c]
        for ray in range(depth.shape[1]):
            bearing = 2 * np.pi * ray / depth.shape[1] + north
            for step in range(int(REACH_M / step_m)):
                far_m = (step + 1 / 2) * step_m
                r = int(np.floor(row - np.cos(bearing) * far_m / cell_m + 1 / 2))
                c = int(np.floor(col + np.sin(bearing) * far_m / cell_m + 1 / 2))
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    break
                if not canopy_height_m[r, c] > 0:
                    continue
                foot_m = elevation_m[r, c] - eye_m
                top_m = foot_m + canopy_height_m[r, c]
                for k in range(slopes.size):
                    into_m = max(far_m - step_m / 2, foot_m / slopes[k])
                    out_m = min(far_m + step_m / 2, top_m / slopes[k])
                    along = np.sqrt(1 + slopes[k] ** 2)
                    depth[i, ray, k] += max(out_m - into_m, 0.0) * along
