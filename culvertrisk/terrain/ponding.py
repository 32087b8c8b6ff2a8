"""How water stands behind a road: ponds flooded up from an inlet, stage by stage."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.flow import COL_STEP, NEIGHBOURS, ROW_STEP
from culvertrisk.terrain.rising import (
    AT_ROAD,
    SPILLS,
    WALL,
    PondMarks,
    PondStarts,
    Room,
    rise,
    scratch_room,
)


@dataclass(frozen=True)
class Ponds:
    """Stage, area and volume of n ponds; NaN where not known.

    ``end`` has the shape (n,): how the rise ended, ``AT_ROAD``, ``SPILLS``,
    ``AT_EDGE``, ``TOO_LARGE`` or ``UNKNOWN``; ``level_m`` the elevation of the full
    pond [m]; ``stage_m``, ``area_m2`` and ``volume_m3``, shape (n, k), its k stages
    from the inlet's ground up to full [m, m2, m3]; ``box``, shape (n, 4), the first and
    last row and the first and last column of its cells; ``over``, shape (n, 2), row and
    column of the road cell where water goes over, -1 where it was no marked cell.
    """

    end: NDArray[np.uint8]
    level_m: NDArray[np.float64]
    stage_m: NDArray[np.float64]
    area_m2: NDArray[np.float64]
    volume_m3: NDArray[np.float64]
    box: NDArray[np.int64]
    over: NDArray[np.int64]


def fill_ponds(
    ground_m: NDArray[np.float32],
    starts: PondStarts,
    marks: PondMarks,
    *,
    cell_m: float,
    stage_count: int,
) -> Ponds:
    """Let water rise from each inlet until it goes over the road or elsewhere.

    Parameters
    ----------
    ground_m : ndarray, shape (rows, columns)
        Uncut ground, roads and all; NaN where unknown [m].
    starts : PondStarts
        Inlets and elevations of overflow.
    marks : PondMarks
        The road and the other pipes of each pond.
    cell_m : float
        Side of the cells [m].
    stage_count : int
        Stages k of each table, 2 or more.

    Returns
    -------
    ponds : Ponds
        Of all starts.

    Notes
    -----
    The lowest shore cell is flooded next, so the level rises only as far as it must.
    A hollow behind a saddle fills once the water reaches the saddle. Where the ground
    beyond falls half a metre below the inlet, more than 50 m away, or comes to another
    pipe or to lower road, the pond spills there, and is full at the saddle. A pond that
    comes to the edge of the data, 1 km from its inlet or 200 000 cells is not known.

    References
    ----------
    barnes2014, the priority flood, here from one cell upwards.

    Examples
    --------
    >>> pit_m = np.array([[9, 9, 9, 9]] * 2 + [[9, 0, 1, 9]] + [[9, 9, 9, 9]] * 2,
    ...                  np.float32)
    >>> start = PondStarts(np.array([2]), np.array([1]), np.array([3.0]))
    >>> none = np.zeros(0, np.int64)
    >>> marks = PondMarks(np.zeros(2, np.int64), none, none, none.astype(np.uint8),
    ...                   none.astype(np.float32))
    >>> fill_ponds(pit_m, start, marks, cell_m=10.0, stage_count=3).volume_m3
    array([[  0., 200., 500.]])
    """
    count, shape = len(starts.row), (len(starts.row), stage_count)
    end, level_m = np.zeros(count, np.uint8), np.full(count, np.nan)
    area_m2, volume_m3 = np.full(shape, np.nan), np.full(shape, np.nan)
    box, over = np.full((count, 4), -1, np.int64), np.full((count, 2), -1, np.int64)
    _fill_all(
        ground_m, starts, marks, cell_m, (end, level_m, area_m2, volume_m3, box, over)
    )
    known = starts.row >= 0
    start_m = np.full(count, np.nan)
    start_m[known] = ground_m[starts.row[known], starts.col[known]]
    rise_m = level_m - start_m
    stage_m = start_m[:, None] + rise_m[:, None] * np.linspace(0, 1, stage_count)
    return Ponds(end, level_m, stage_m, area_m2, volume_m3, box, over)


@njit(cache=True)
def lowest_starts(
    ground_m: NDArray[np.float32],
    starts: PondStarts,
    marks: PondMarks,
    reach_cells: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The lowest ground to which water runs from each inlet on its side of the road.

    Parameters
    ----------
    ground_m, starts, marks
        As in :func:`fill_ponds`.
    reach_cells : float
        How far from the inlet it may lie [cells].

    Returns
    -------
    rows, cols : ndarray, shape (n,)
        Cell of the lowest ground reached without a climb over the inlet's own.

    Notes
    -----
    A mapped place is some 10 m off: the inlet lies at the low place beside it.
    """
    rows, cols = starts.row.copy(), starts.col.copy()
    half = int(np.ceil(reach_cells)) + 1
    width = 2 * half + 1
    for i in range(rows.size):
        if rows[i] < 0:
            continue
        corner = (starts.row[i] - half, starts.col[i] - half)
        seen = _near_walls(marks, i, corner[0], corner[1], width)
        lowest = _run_down(ground_m, seen, corner, reach_cells)
        rows[i], cols[i] = corner[0] + lowest // width, corner[1] + lowest % width
    return rows, cols


@njit(cache=True)
def _run_down(
    ground_m: NDArray, seen: NDArray, corner: tuple[int, int], reach_cells: float
) -> int:
    """Lowest cell of the window reached from its middle without a climb."""
    width, half = seen.shape[0], seen.shape[0] // 2
    queue, head, tail = np.empty(width * width, np.int64), 0, 1
    queue[0] = lowest = half * width + half
    seen[half, half] = True
    start_m = lowest_m = ground_m[corner[0] + half, corner[1] + half]
    while head < tail:
        row, col = queue[head] // width, queue[head] % width
        head += 1
        if ground_m[corner[0] + row, corner[1] + col] < lowest_m:
            lowest = row * width + col
            lowest_m = ground_m[corner[0] + row, corner[1] + col]
        for code in range(NEIGHBOURS):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            is_far = (r - half) ** 2 + (c - half) ** 2 > reach_cells**2
            if (
                is_far
                or seen[r, c]
                or not _is_on(ground_m, corner[0] + r, corner[1] + c)
            ):
                continue
            seen[r, c] = True
            if ground_m[corner[0] + r, corner[1] + c] <= start_m:
                queue[tail] = r * width + c
                tail += 1
    return lowest


@njit(cache=True)
def _near_walls(marks: PondMarks, i: int, top: int, left: int, width: int) -> NDArray:
    is_wall = np.zeros((width, width), np.bool_)
    for j in range(marks.first[i], marks.first[i + 1]):
        row, col = marks.row[j] - top, marks.col[j] - left
        if marks.kind[j] == WALL and 0 <= row < width and 0 <= col < width:
            is_wall[row, col] = True
    return is_wall


@njit(cache=True)
def _is_on(ground_m: NDArray, row: int, col: int) -> bool:
    is_inside = 0 <= row < ground_m.shape[0] and 0 <= col < ground_m.shape[1]
    return is_inside and not np.isnan(ground_m[row, col])


@njit(cache=True)
def pond_cells(
    ground_m: NDArray[np.float32],
    starts: PondStarts,
    marks: PondMarks,
    cell_m: float,
    which: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns of the cells under water when one pond is full.

    Parameters
    ----------
    ground_m, starts, marks, cell_m
        As in :func:`fill_ponds`.
    which : int
        Number of the pond.

    Returns
    -------
    rows, cols : ndarray, shape (cells,)
        Empty where the pond is unknown or holds nothing.
    """
    room = scratch_room(cell_m)
    held, level_m, end, _ = rise(ground_m, starts, marks, which, room)
    if end != AT_ROAD and end != SPILLS:
        held = 0
    wet = room.cells[:held][room.reach_m[:held] < level_m]
    width = room.stamp.shape[0]
    rows = starts.row[which] - width // 2 + wet // width
    return rows, starts.col[which] - width // 2 + wet % width


@njit(cache=True)
def _fill_all(
    ground_m: NDArray, starts: PondStarts, marks: PondMarks, cell_m: float, out: tuple
) -> None:
    end, level_m, area_m2, volume_m3, box, over = out
    room = scratch_room(cell_m)
    width = room.stamp.shape[0]
    for i in range(starts.row.size):
        held, full_m, end[i], last = rise(ground_m, starts, marks, i, room)
        if end[i] != AT_ROAD and end[i] != SPILLS:
            continue
        level_m[i] = full_m
        corner = (starts.row[i] - width // 2, starts.col[i] - width // 2)
        if end[i] == AT_ROAD and last >= 0:
            over[i] = corner[0] + last // width, corner[1] + last % width
        start_m = ground_m[starts.row[i], starts.col[i]]
        stages_m = np.linspace(start_m, full_m, area_m2.shape[1])
        _tabulate(ground_m, room, held, corner, stages_m, area_m2[i], volume_m3[i])
        area_m2[i] *= cell_m * cell_m
        volume_m3[i] *= cell_m * cell_m
        _bound(room, held, corner, full_m, box[i])


@njit(cache=True)
def _tabulate(
    ground_m: NDArray,
    room: Room,
    held: int,
    corner: tuple[int, int],
    stages_m: NDArray,
    area: NDArray,
    volume: NDArray,
) -> None:
    width = room.stamp.shape[0]
    area[:], volume[:] = 0, 0
    for j in range(held):
        cell = room.cells[j]
        here_m = ground_m[corner[0] + cell // width, corner[1] + cell % width]
        for k in range(stages_m.size - 1, -1, -1):
            if room.reach_m[j] >= stages_m[k]:
                break
            area[k] += 1
            volume[k] += stages_m[k] - here_m


@njit(cache=True)
def _bound(
    room: Room, held: int, corner: tuple[int, int], full_m: float, box: NDArray
) -> None:
    width = room.stamp.shape[0]
    for j in range(held):
        if room.reach_m[j] >= full_m:
            continue
        row = corner[0] + room.cells[j] // width
        col = corner[1] + room.cells[j] % width
        if box[0] < 0:
            box[:2], box[2:] = row, col
        box[0], box[1] = min(box[0], row), max(box[1], row)
        box[2], box[3] = min(box[2], col), max(box[3], col)
