"""Elevations between the cells of a DEM, and the way the ground falls."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, inline="always")
def bilinear(ground_m: NDArray, row: float, col: float) -> np.float32:
    """Elevation between cell centres at one place.

    Parameters
    ----------
    ground_m : ndarray, shape (rows, columns)
        Elevation, NaN where unknown [m].
    row, col : float
        Place in cells, whole numbers at cell centres.

    Returns
    -------
    elevation_m : float32
        NaN outside the outer cell centres or beside an unknown cell [m].
    """
    if not (0 <= row <= ground_m.shape[0] - 1 and 0 <= col <= ground_m.shape[1] - 1):
        return np.float32(np.nan)
    r = min(int(row), ground_m.shape[0] - 2)
    c = min(int(col), ground_m.shape[1] - 2)
    down, right = np.float32(row - r), np.float32(col - c)
    upper = ground_m[r, c] + (ground_m[r, c + 1] - ground_m[r, c]) * right
    lower = ground_m[r + 1, c] + (ground_m[r + 1, c + 1] - ground_m[r + 1, c]) * right
    return np.float32(upper + (lower - upper) * down)


@njit(cache=True)
def sample(
    ground_m: NDArray[np.float32], rows: NDArray[np.float64], cols: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Elevation between cell centres at many places.

    Parameters
    ----------
    ground_m : ndarray, shape (rows, columns)
        Elevation, NaN where unknown [m].
    rows, cols : ndarray, shape (n,)
        Places in cells, whole numbers at cell centres.

    Returns
    -------
    elevation_m : ndarray, shape (n,)
        NaN outside the outer cell centres or beside an unknown cell [m].

    Examples
    --------
    >>> sample(np.array([[0, 2], [4, 6]], np.float32), np.array([0.5]), np.array([0.5]))
    array([3.])
    """
    elevation_m = np.empty(rows.size)
    for i in range(rows.size):
        elevation_m[i] = bilinear(ground_m, rows[i], cols[i])
    return elevation_m


def fall_bearing(
    ground_m: NDArray[np.float32],
    rows: NDArray[np.float64],
    cols: NDArray[np.float64],
    reach_cells: float,
) -> NDArray[np.float64]:
    """Grid bearing in which the ground falls round places, by four samples.

    Parameters
    ----------
    ground_m : ndarray, shape (rows, columns)
        Elevation, NaN where unknown [m].
    rows, cols : ndarray, shape (n,)
        Places in cells, whole numbers at cell centres.
    reach_cells : float
        Distance of the samples from the place [cells].

    Returns
    -------
    bearing_rad : ndarray, shape (n,)
        Clockwise from the grid's up; NaN on level or unknown ground [rad].

    Examples
    --------
    >>> ramp_m = np.array([[3, 2, 1, 0, -1]] * 5, np.float32)
    >>> here = np.array([2.0])
    >>> np.degrees(fall_bearing(ramp_m, here, here, 1.0))
    array([90.])
    """
    up = sample(ground_m, rows - reach_cells, cols)
    down = sample(ground_m, rows + reach_cells, cols)
    left = sample(ground_m, rows, cols - reach_cells)
    right = sample(ground_m, rows, cols + reach_cells)
    bearing_rad = np.arctan2(left - right, down - up)
    return np.where((left == right) & (up == down), np.nan, bearing_rad)
