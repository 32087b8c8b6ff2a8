"""Water to an inlet: whether it runs through the cut, and over which lowest ground."""

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


@njit(cache=True)
def comes_to(
    direction: NDArray[np.uint8],
    starts: NDArray[np.int64],
    goals: NDArray[np.int64],
    most_steps: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Whether water of each start comes to its goal, or a cell beside it.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes.
    starts, goals : ndarray of int, shape (n, 2)
        Row and column, -1 where unknown.
    most_steps : ndarray of int, shape (n,)
        How far water is followed [cells].

    Returns
    -------
    comes : ndarray of bool, shape (n,)
        False where a place is unknown.

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> comes_to(codes, np.array([[0, 0], [0, 3]]), np.array([[0, 3], [0, 0]]),
    ...          np.array([9, 9]))
    array([ True, False])
    """
    comes = np.zeros(starts.shape[0], np.bool_)
    for i in range(starts.shape[0]):
        row, col = starts[i]
        if row < 0 or goals[i, 0] < 0:
            continue
        for _ in range(most_steps[i]):
            code = direction[row, col]
            if code >= OUTLET:
                break
            row, col = row + ROW_STEP[code], col + COL_STEP[code]
            if max(abs(row - goals[i, 0]), abs(col - goals[i, 1])) <= 1:
                comes[i] = True
                break
    return comes


@njit(cache=True)
def fall_along(
    flow: tuple[NDArray[np.uint8], NDArray[np.uint32]],
    filled_m: NDArray[np.float32],
    places: NDArray[np.int64],
    steps_up: int,
    steps_down: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Fall of the filled ground along the stream through each place.

    Parameters
    ----------
    flow : tuple of ndarray, shape (rows, columns)
        D8 codes and cell counts of a :class:`~culvertrisk.terrain.flow.FlowField`.
    filled_m : ndarray, shape (rows, columns)
        Filled elevation [m].
    places : ndarray of int, shape (n, 2)
        Row and column, -1 where unknown.
    steps_up : int
        How far the largest inflow is followed up [cells].
    steps_down : ndarray of int, shape (n,)
        How far the water is followed down [cells].

    Returns
    -------
    fall_m : ndarray, shape (n,)
        0 on level ground, where the way of the water is one of many; NaN where the
        place is unknown [m].

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> count = np.array([[1, 2, 3, 4]], np.uint32)
    >>> ground_m = np.array([[6, 5, 5, 3]], np.float32)
    >>> place = np.array([[0, 1]])
    >>> fall_along((codes, count), ground_m, place, 0, np.array([1]))
    array([0.])
    >>> fall_along((codes, count), ground_m, place, 9, np.array([9]))
    array([3.])
    """
    fall_m = np.full(places.shape[0], np.nan)
    for i in range(places.shape[0]):
        if places[i, 0] < 0:
            continue
        row, col = places[i]
        top_m = bottom_m = filled_m[row, col]
        for _ in range(steps_up):
            row, col = _largest_above(flow, row, col)
            if row < 0:
                break
            top_m = filled_m[row, col]
        row, col = places[i]
        for _ in range(steps_down[i]):
            row, col = _below(flow, row, col)
            if row < 0:
                break
            bottom_m = filled_m[row, col]
        fall_m[i] = top_m - bottom_m
    return fall_m


@njit(cache=True)
def lowest_inflow(
    flow: tuple[NDArray[np.uint8], NDArray[np.uint32]],
    ground_m: NDArray[np.float32],
    starts: NDArray[np.int64],
    sides: NDArray[np.float64],
    reach_cells: float,
) -> NDArray[np.int64]:
    """Lowest ground along the stream through each place, on its side of the road.

    Parameters
    ----------
    flow : tuple of ndarray, shape (rows, columns)
        D8 codes and cell counts of a :class:`~culvertrisk.terrain.flow.FlowField`.
    ground_m : ndarray, shape (rows, columns)
        Ground elevation before any cut [m].
    starts : ndarray of int, shape (n, 2)
        Row and column of each place, -1 where unknown.
    sides : ndarray, shape (n, 4)
        Row and column of the middle of each barrel, and the way upstream from it
        [cells].
    reach_cells : float
        How far from its place the stream is followed, down and up its largest inflow
        [cells].

    Returns
    -------
    lowest : ndarray of int, shape (n, 2)
        Row and column, -1 where the place is unknown or lies on the other side.

    Examples
    --------
    >>> codes = np.array([[0, 0, 0, 8]], np.uint8)
    >>> count = np.array([[1, 2, 3, 4]], np.uint32)
    >>> hollow_m = np.array([[5, 2, 4, 9]], np.float32)
    >>> lowest_inflow((codes, count), hollow_m, np.array([[0, 2]]),
    ...               np.array([[0.0, 3.0, 0.0, -1.0]]), 5.0)
    array([[0, 1]])
    """
    lowest = np.full(starts.shape, -1, np.int64)
    for i in range(starts.shape[0]):
        if starts[i, 0] < 0:
            continue
        lowest_m = np.inf
        for is_up in (False, True):
            row, col = starts[i]
            while row >= 0 and _is_near(row, col, starts[i], sides[i], reach_cells):
                if ground_m[row, col] < lowest_m:
                    lowest_m, lowest[i, 0], lowest[i, 1] = ground_m[row, col], row, col
                if is_up:
                    row, col = _largest_above(flow, row, col)
                else:
                    row, col = _below(flow, row, col)
    return lowest


@njit(cache=True)
def _is_near(row: int, col: int, start: NDArray, side: NDArray, reach: float) -> bool:
    """Whether a cell lies near the start and on the upstream side."""
    south, east = row - side[0], col - side[1]
    is_upstream = south * side[2] + east * side[3] > 0
    return is_upstream and np.hypot(row - start[0], col - start[1]) <= reach


@njit(cache=True)
def _below(flow: tuple, row: int, col: int) -> tuple[int, int]:
    """Neighbour to which a cell gives its water, -1 where it leaves the DEM."""
    code = flow[0][row, col]
    if code >= OUTLET:
        return -1, -1
    return row + ROW_STEP[code], col + COL_STEP[code]


@njit(cache=True)
def _largest_above(flow: tuple, row: int, col: int) -> tuple[int, int]:
    """Neighbour that gives a cell most of its water, -1 where none does."""
    direction, cell_count = flow
    found_row, found_col, most = -1, -1, 0
    for code in range(NEIGHBOURS):
        r, c = row + ROW_STEP[code], col + COL_STEP[code]
        if r < 0 or c < 0 or r >= direction.shape[0] or c >= direction.shape[1]:
            continue
        gives = direction[r, c] == (code + HALF_TURN) % NEIGHBOURS
        if gives and cell_count[r, c] > most:
            found_row, found_col, most = r, c, cell_count[r, c]
    return found_row, found_col
