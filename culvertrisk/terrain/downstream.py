"""Up and down along flow: catchments, where streams meet roads, who comes next."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.flow import (
    COL_STEP,
    HALF_TURN,
    NEIGHBOURS,
    OUTLET,
    ROW_STEP,
)
from culvertrisk.terrain.heap import FIRST_ROOM, with_room

NOBODY = -1  # owner of a cell without one
_DIAGONAL_CELLS = float(np.sqrt(2.0))


@njit(cache=True)
def upstream_cells(
    direction: NDArray[np.uint8], row: int, col: int
) -> NDArray[np.int64]:
    """Cells that drain through one cell, itself first.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes of :class:`FlowField`, without a loop.
    row, col : int
        The cell.

    Returns
    -------
    cell : ndarray of int, shape (n,)
        Numbers of the cells, row after row; each comes once.
    """
    rows, cols = direction.shape
    cell, count, done = np.empty(FIRST_ROOM, np.int64), 1, 0
    cell[0] = row * cols + col
    while done < count:
        r0, c0 = cell[done] // cols, cell[done] % cols
        done += 1
        for code in range(NEIGHBOURS):
            r, c = r0 + ROW_STEP[code], c0 + COL_STEP[code]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            # Each cell has one way down: none can be met twice.
            if direction[r, c] == (code + HALF_TURN) % NEIGHBOURS:
                cell = with_room(cell, count)
                cell[count] = r * cols + c
                count += 1
    return cell[:count]


def upstream_mask(
    direction: NDArray[np.uint8], row: int, col: int
) -> tuple[NDArray[np.bool_], int, int]:
    """Cells that drain through one cell, itself included, on the least rectangle.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes of :class:`FlowField`, without a loop.
    row, col : int
        The cell.

    Returns
    -------
    mask : ndarray of bool, shape (high, wide)
        The catchment.
    top, left : int
        Row and column of its first cell.

    Examples
    --------
    >>> upstream_mask(np.array([[8, 0, 0, 8]], np.uint8), 0, 3)
    (array([[ True,  True,  True]]), 0, 1)
    """
    cell = upstream_cells(direction, row, col)
    rows, cols = np.divmod(cell, direction.shape[1])
    top, left = int(rows.min()), int(cols.min())
    mask = np.zeros((rows.max() - top + 1, cols.max() - left + 1), np.bool_)
    mask[rows - top, cols - left] = True
    return mask, top, left


def road_entries(
    direction: NDArray[np.uint8],
    cell_count: NDArray[np.uint32],
    is_road: NDArray[np.bool_],
    least_cells: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells beside a road from which a stream runs onto it.

    Parameters
    ----------
    direction, cell_count : ndarray, shape (rows, columns)
        D8 codes and counts of a :class:`~culvertrisk.terrain.flow.FlowField`.
    is_road : ndarray of bool, shape (rows, columns)
        The whole footprint of the roads.
    least_cells : float
        Catchment from which flow counts as a stream [cells].

    Returns
    -------
    row, col : ndarray of int, shape (n,)
        The last cell before the road; largest catchment first.

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> count = np.array([[1, 2, 3, 4]], np.uint32)
    >>> is_road = np.array([[False, False, True, False]])
    >>> road_entries(codes, count, is_road, 2)
    (array([0]), array([1]))
    """
    row, col = np.nonzero(~is_road & (cell_count >= least_cells) & (direction < OUTLET))
    code = direction[row, col]
    enters = is_road[row + ROW_STEP[code], col + COL_STEP[code]]
    row, col = row[enters], col[enters]
    order = np.argsort(-cell_count[row, col].astype(np.int64), kind="stable")
    return row[order], col[order]


@njit(cache=True)
def first_met(
    direction: NDArray[np.uint8],
    owner: NDArray[np.int32],
    starts: NDArray[np.int64],
    reach_cells: float,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Follow the water of each start to the first cell that another one owns.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes.
    owner : ndarray of int, shape (rows, columns)
        Number of the start that owns a cell; -1 none.
    starts : ndarray of int, shape (n, 2)
        Row and column, -1 where unknown.
    reach_cells : float
        How far water is followed [cells].

    Returns
    -------
    met : ndarray of int, shape (n,)
        The owner met, -1 none.
    away_cells : ndarray, shape (n,)
        Length of the way there; NaN where none is met [cells].

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> owner = np.array([[0, 0, -1, 1]], np.int32)
    >>> first_met(codes, owner, np.array([[0, 0]]), 9.0)
    (array([1]), array([3.]))
    """
    met = np.full(starts.shape[0], NOBODY, np.int64)
    away_cells = np.full(starts.shape[0], np.nan)
    for i in range(starts.shape[0]):
        row, col = starts[i]
        away = 0.0
        while row >= 0 and away <= reach_cells and direction[row, col] < OUTLET:
            code = direction[row, col]
            row, col = row + ROW_STEP[code], col + COL_STEP[code]
            away += _DIAGONAL_CELLS if code % 2 == 1 else 1.0
            if owner[row, col] != NOBODY and owner[row, col] != i:
                met[i], away_cells[i] = owner[row, col], away
                break
    return met, away_cells


@njit(cache=True)
def ways_over_road(
    direction: NDArray[np.uint8],
    is_road: NDArray[np.bool_],
    row: NDArray[np.int64],
    col: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Follow water that meets a road until it has left it.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes.
    is_road : ndarray of bool, shape (rows, columns)
        The whole footprint of the roads.
    row, col : ndarray of int, shape (n,)
        Last cells before the road.

    Returns
    -------
    exit_cell : ndarray of int, shape (n, 2)
        First row and column beyond the road; the outlet where the DEM ends first.
    away_cells : ndarray, shape (n,)
        Length of the way there [cells].

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> is_road = np.array([[False, True, True, False]])
    >>> ways_over_road(codes, is_road, np.array([0]), np.array([0]))
    (array([[0, 3]]), array([3.]))
    """
    exit_cell = np.empty((row.size, 2), np.int64)
    away_cells = np.zeros(row.size)
    for i in range(row.size):
        r, c = row[i], col[i]
        while direction[r, c] < OUTLET:
            code = direction[r, c]
            r, c = r + ROW_STEP[code], c + COL_STEP[code]
            away_cells[i] += _DIAGONAL_CELLS if code % 2 == 1 else 1.0
            if not is_road[r, c]:
                break
        exit_cell[i, 0], exit_cell[i, 1] = r, c
    return exit_cell, away_cells


@njit(cache=True)
def path_heads(
    direction: NDArray[np.uint8],
    path_m: NDArray[np.float32],
    cell_m: float,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Walk up the longest flow path of each place to its head.

    Parameters
    ----------
    direction, path_m : ndarray, shape (rows, columns)
        D8 codes and longest paths of a :class:`~culvertrisk.terrain.flow.FlowField`.
    cell_m : float
        Side of the cells [m].
    rows, cols : ndarray of int, shape (n,)
        Cells; a negative row is unknown.

    Returns
    -------
    row, col : ndarray of int, shape (n,)
        The head; the place itself where nothing drains to it or it is unknown.
    """
    head_row, head_col = rows.copy(), cols.copy()
    for i in range(rows.size):
        row, col, is_below = rows[i], cols[i], rows[i] >= 0
        while is_below:
            is_below, longest_m, here_row, here_col = False, -1.0, row, col
            for code in range(NEIGHBOURS):
                r, c = here_row - ROW_STEP[code], here_col - COL_STEP[code]
                if r < 0 or c < 0 or r >= path_m.shape[0] or c >= path_m.shape[1]:
                    continue
                if direction[r, c] == code:
                    length_m = path_m[r, c] + cell_m * np.sqrt(1 + code % 2)
                    if length_m > longest_m:
                        is_below, longest_m, row, col = True, length_m, r, c
        head_row[i], head_col[i] = row, col
    return head_row, head_col
