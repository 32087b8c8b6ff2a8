"""Cut known culverts through their embankments before the flood."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray


@dataclass(frozen=True)
class Carved:
    """A DEM with culverts cut through, and the ground cells they were cut between.

    ``elevation_m`` has the DEM's shape; ``is_carved`` and the cells have one entry a
    culvert. ``first_row``, ``first_col`` and ``second_row``, ``second_col`` are the
    lowest ground beyond the first and the second end, -1 where none was found.
    """

    elevation_m: NDArray[np.float32]
    is_carved: NDArray[np.bool_]
    first_row: NDArray[np.int64]
    first_col: NDArray[np.int64]
    second_row: NDArray[np.int64]
    second_col: NDArray[np.int64]


def carve(
    elevation_m: NDArray[np.float32],
    ends: NDArray[np.float64],
    reach_cells: NDArray[np.float64],
) -> Carved:
    """Cut culverts through a DEM along falling lines.

    Parameters
    ----------
    elevation_m : ndarray, shape (rows, columns)
        Ground elevation, NaN where unknown; not changed [m].
    ends : ndarray, shape (n, 4)
        Row and column of the first and of the second end, in cells, whole numbers at
        cell centres; NaN where unknown. For a crossing mapped as a point: two places
        on either side of the road, half the barrel's length apart from it.
    reach_cells : ndarray, shape (n,)
        How far beyond an end the lowest ground is looked for [cells].

    Returns
    -------
    carved : Carved
        A copy of the DEM with the cuts, and the cells found on the uncut ground.

    Notes
    -----
    Mapped ends often lie on the embankment's toe, where a cut gains nothing; each end
    is therefore pushed to the lowest cell within reach on its far side. The line falls
    evenly between the two, and ground already below it stays; of cells equally low
    the nearest is taken. Which end was named
    first does not matter.

    Examples
    --------
    >>> dam_m = np.array([[3, 9, 1, 0]] * 3, np.float32)
    >>> carve(dam_m, np.array([[1.0, 0.5, 1.0, 1.5]]), np.array([2.0])).elevation_m[1]
    array([3., 2., 1., 0.], dtype=float32)
    """
    first = _lowest_beyond(elevation_m, ends[:, [0, 1, 2, 3]], reach_cells)
    second = _lowest_beyond(elevation_m, ends[:, [2, 3, 0, 1]], reach_cells)
    is_carved = np.asarray((first >= 0).all(axis=1) & (second >= 0).all(axis=1))
    cut_m = np.array(elevation_m, np.float32, order="C")
    _cut(cut_m, elevation_m, first[is_carved], second[is_carved])
    cells = (first[:, 0], first[:, 1], second[:, 0], second[:, 1])
    return Carved(cut_m, is_carved, *cells)


@njit(cache=True)
def _lowest_beyond(
    elevation_m: NDArray, ends: NDArray, reach_cells: NDArray
) -> NDArray:
    rows, cols = elevation_m.shape
    found = np.full((ends.shape[0], 2), -1, np.int64)
    for i in range(ends.shape[0]):
        row, col, far_row, far_col = ends[i]
        reach = reach_cells[i]
        if np.isnan(row + col + far_row + far_col + reach):
            continue
        lowest_m, nearest = np.inf, np.inf
        for r in range(max(int(row - reach), 0), min(int(row + reach) + 2, rows)):
            for c in range(max(int(col - reach), 0), min(int(col + reach) + 2, cols)):
                down, right = r - row, c - col
                is_beyond = down * (far_row - row) + right * (far_col - col) <= 0
                away = down * down + right * right
                if not is_beyond or away > reach * reach:
                    continue
                ground_m = elevation_m[r, c]
                if ground_m < lowest_m or (ground_m == lowest_m and away < nearest):
                    lowest_m, nearest = ground_m, away
                    found[i, 0], found[i, 1] = r, c
    return found


@njit(cache=True)
def _cut(cut_m: NDArray, ground_m: NDArray, first: NDArray, second: NDArray) -> None:
    for i in range(first.shape[0]):
        from_row, from_col = first[i]
        down, right = second[i, 0] - from_row, second[i, 1] - from_col
        steps = max(abs(down), abs(right), 1)
        start_m = ground_m[from_row, from_col]
        fall_m = start_m - ground_m[second[i, 0], second[i, 1]]
        for step in range(steps + 1):
            share = step / steps
            row = int(np.floor(from_row + share * down + 1 / 2))
            col = int(np.floor(from_col + share * right + 1 / 2))
            line_m = start_m - share * fall_m
            if line_m < cut_m[row, col]:
                cut_m[row, col] = line_m
