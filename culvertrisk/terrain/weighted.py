"""What lies in each catchment: cells counted by class, along the flow."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.flow import COL_STEP, NODATA, OUTLET, ROW_STEP
from culvertrisk.terrain.heap import FIRST_ROOM, with_room

_NOBODY = -1  # owner of a cell that drains to none of the outlets
_UNSEEN = -2  # owner of a cell not walked yet


def catchment_counts(
    direction: NDArray[np.uint8],
    row: NDArray[np.int64],
    col: NDArray[np.int64],
    classes: NDArray[np.uint8],
    class_count: int,
) -> NDArray[np.int64]:
    """Count the cells of each class in the catchments of some cells.

    Parameters
    ----------
    direction : ndarray, shape (rows, columns)
        D8 codes of :class:`~culvertrisk.terrain.flow.FlowField`.
    row, col : ndarray, shape (n,)
        Outlet cell of each catchment; -1 where there is none.
    classes : ndarray, shape (rows, columns)
        Class of each cell, from 0; ``class_count`` and above is not counted.
    class_count : int
        How many classes there are.

    Returns
    -------
    counts : ndarray of int, shape (n, class_count)
        Catchments inside one another count in both; 0 where there is none.

    Notes
    -----
    Each cell is walked down once, to the next outlet below it; then the counts are
    handed down from outlet to outlet.

    Examples
    --------
    >>> east = np.array([[0, 0, 0, 8]], np.uint8)
    >>> catchment_counts(east, np.array([0, 0]), np.array([1, 3]),
    ...                  np.array([[0, 1, 1, 0]], np.uint8), 2)
    array([[1, 1],
           [2, 2]])
    """
    cells = np.where(row < 0, _NOBODY, row * direction.shape[1] + col)
    outlets, place = np.unique(cells[cells >= 0], return_inverse=True)
    counts = np.zeros((len(cells), class_count), np.int64)
    codes = np.ascontiguousarray(direction).ravel()
    kinds = np.ascontiguousarray(classes).ravel()
    own, below = _own_counts(codes, direction.shape[1], outlets, kinds, class_count)
    counts[cells >= 0] = _handed_down(own, below)[place]
    return counts


@njit(cache=True)
def _own_counts(
    codes: NDArray, width: int, outlets: NDArray, kinds: NDArray, class_count: int
) -> tuple[NDArray, NDArray]:
    """Count between each outlet and those above it; which outlet comes below it."""
    offsets = ROW_STEP * width + COL_STEP
    owner = np.full(codes.size, _UNSEEN, np.int32)
    owner[outlets] = np.arange(outlets.size)
    counts = np.zeros((outlets.size, class_count), np.int64)
    way = np.empty(FIRST_ROOM, np.int64)
    for start in range(codes.size):
        here, count = start, 0
        while owner[here] == _UNSEEN and codes[here] < OUTLET:
            way = with_room(way, count)
            way[count] = here
            count += 1
            here += offsets[codes[here]]
        found = max(owner[here], _NOBODY)
        for step in range(count):
            owner[way[step]] = found
        found = owner[start]
        if found >= 0 and codes[start] != NODATA and kinds[start] < class_count:
            counts[found, kinds[start]] += 1
    below = np.full(outlets.size, _NOBODY, np.int64)
    for which in range(outlets.size):
        code = codes[outlets[which]]
        if code < OUTLET:
            below[which] = owner[outlets[which] + offsets[code]]
    return counts, below


@njit(cache=True)
def _handed_down(own: NDArray, below: NDArray) -> NDArray:
    counts = own.copy()
    for which in range(own.shape[0]):
        there = below[which]
        while there >= 0:
            counts[there] += own[which]
            there = below[there]
    return counts
