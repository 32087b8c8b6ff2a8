"""One pond's rise from its inlet: shore cell by shore cell, lowest first."""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.flow import COL_STEP, NEIGHBOURS, ROW_STEP
from culvertrisk.terrain.heap import FIRST_ROOM, key, pop, push, with_room

# How the rise of a pond ends.
UNKNOWN, AT_ROAD, SPILLS, AT_EDGE, TOO_LARGE = 0, 1, 2, 3, 4
WALL, EXIT = 1, 2  # kinds of marked cells: the road, another pipe
_SEEN, _SEEN_EXIT, _SEEN_WALL, _STATES = 3, 4, 5, 6
POND_REACH_M = 1_000.0  # a pond that runs farther is a lake; common practice, no source
MOST_CELLS = 200_000  # bounds time and memory of one pond
SPILL_DROP_M = 0.5  # ground so far below the inlet is another place's; our choice
SPILL_AWAY_M = 50.0  # nearer low ground is the inlet's own hollow; our choice


class PondStarts(NamedTuple):
    """Where n ponds begin and how high they may rise; arrays of shape (n,).

    ``row`` and ``col`` are the inlet's cell, -1 where unknown; ``full_m`` is the
    elevation at which water goes over the road whatever the marks, NaN unknown [m].
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    full_m: NDArray[np.float64]


class PondMarks(NamedTuple):
    """Cells with a meaning for one pond: the road (``WALL``), another pipe (``EXIT``).

    Pond i owns entries ``first[i]`` to ``first[i + 1]`` of ``row``, ``col``, ``kind``
    and ``road_m``, the elevation of the road in the cell [m]; ``first`` has the shape
    (n + 1,).
    """

    first: NDArray[np.int64]
    row: NDArray[np.int64]
    col: NDArray[np.int64]
    kind: NDArray[np.uint8]
    road_m: NDArray[np.float32]


class Room(NamedTuple):
    """Scratch arrays of one pond: a window round its inlet, and its cells."""

    stamp: NDArray[np.int32]
    road_m: NDArray[np.float32]
    cells: NDArray[np.int64]
    reach_m: NDArray[np.float32]
    cell_m: float


@njit(cache=True)
def scratch_room(cell_m: float) -> Room:
    """Room for one pond after another.

    Parameters
    ----------
    cell_m : float
        Side of the cells [m].

    Returns
    -------
    room : Room
        A window of 1 km round an inlet.
    """
    width = 2 * int(np.ceil(POND_REACH_M / cell_m)) + 1
    most = min(MOST_CELLS, width * width)
    stamp = np.full((width, width), -1, np.int32)
    road_m = np.zeros((width, width), np.float32)
    cells, reach_m = np.empty(most, np.int64), np.empty(most, np.float32)
    return Room(stamp, road_m, cells, reach_m, cell_m)


@njit(cache=True)
def _mark(
    room: Room, starts: PondStarts, marks: PondMarks, i: int
) -> tuple[int, int, int]:
    """Stamp the marks into the window; its width and first row and column."""
    # Stamps of earlier ponds are lower numbers: the window need not be wiped.
    width = room.stamp.shape[0]
    top, left = starts.row[i] - width // 2, starts.col[i] - width // 2
    for j in range(marks.first[i], marks.first[i + 1]):
        row, col = marks.row[j] - top, marks.col[j] - left
        if 0 <= row < width and 0 <= col < width:
            room.stamp[row, col] = _STATES * i + marks.kind[j]
            room.road_m[row, col] = marks.road_m[j]
    room.stamp[width // 2, width // 2] = _STATES * i + _SEEN
    return width, top, left


@njit(cache=True)
def rise(
    ground_m: NDArray, starts: PondStarts, marks: PondMarks, i: int, room: Room
) -> tuple[int, float, int, int]:
    """Let the water of one pond rise until it leaves.

    Parameters
    ----------
    ground_m : ndarray, shape (rows, columns)
        Uncut ground [m].
    starts, marks : PondStarts, PondMarks
        Of all ponds.
    i : int
        Number of the pond; numbers rise from call to call in one room.
    room : Room
        Filled with the pond's cells.

    Returns
    -------
    held : int
        Cells in the room; those reached below the level are under water.
    level_m : float
        Elevation of the full pond, NaN if unknown [m].
    end : int
        How it ended.
    last : int
        Window cell where it ended; the road's where water goes over it, -1 if none.
    """
    full_m = starts.full_m[i]
    if starts.row[i] < 0 or np.isnan(full_m):
        return 0, np.nan, UNKNOWN, -1
    width, top, left = _mark(room, starts, marks, i)
    start_m = level_m = ground_m[starts.row[i], starts.col[i]]
    heap, waiting, held = np.empty(FIRST_ROOM, np.uint64), 1, 0
    heap[0] = np.uint64(width // 2 * (width + 1))
    while waiting > 0:
        cell = int(np.int64(pop(heap, waiting) & np.uint64(0xFFFFFFFF)))
        waiting -= 1
        row, col = cell // width, cell % width
        state = room.stamp[row, col] - _STATES * i
        here_m = ground_m[top + row, left + col]
        if state == _SEEN_WALL:
            here_m = room.road_m[row, col]
        level_m = max(level_m, here_m)
        if level_m >= full_m:
            break
        end = _end(room, (cell, held, state), here_m - level_m, here_m - start_m)
        if end != UNKNOWN:
            return held, level_m, end, cell
        room.cells[held], room.reach_m[held] = cell, level_m
        held += 1
        heap, waiting = _wet(ground_m, room, heap, waiting, (cell, top, left, i))
        if waiting < 0:
            return held, level_m, AT_EDGE, -1
    return held, max(full_m, start_m), AT_ROAD, -1


@njit(cache=True)
def _end(room: Room, place: tuple, over_level_m: float, over_start_m: float) -> int:
    """How the rise ends at a cell; ``UNKNOWN`` where it goes on."""
    cell, held, state = place
    half = room.stamp.shape[0] // 2
    row, col = cell // room.stamp.shape[0], cell % room.stamp.shape[0]
    if state == _SEEN_WALL:
        return AT_ROAD if over_level_m >= 0 else SPILLS
    away_m = room.cell_m * np.hypot(row - half, col - half)
    is_other = over_start_m < -SPILL_DROP_M and away_m > SPILL_AWAY_M
    if is_other or state == _SEEN_EXIT:
        return SPILLS
    if held == room.cells.size or max(abs(row - half), abs(col - half)) == half:
        return TOO_LARGE
    return UNKNOWN


@njit(cache=True)
def _wet(
    ground_m: NDArray, room: Room, heap: NDArray, waiting: int, place: tuple
) -> tuple[NDArray, int]:
    """Put the dry neighbours of a cell on the shore; -1 waiting at the data's edge."""
    cell, top, left, i = place
    width = room.stamp.shape[0]
    for code in range(NEIGHBOURS):
        row, col = cell // width + ROW_STEP[code], cell % width + COL_STEP[code]
        r, c = top + row, left + col
        if r < 0 or c < 0 or r >= ground_m.shape[0] or c >= ground_m.shape[1]:
            return heap, -1
        state = room.stamp[row, col] - _STATES * i
        if state >= _SEEN:
            continue
        if np.isnan(ground_m[r, c]):
            return heap, -1
        shore_m = ground_m[r : r + 1, c]
        if state == WALL:
            shore_m = room.road_m[row : row + 1, col]
        seen = _SEEN_WALL if state == WALL else _SEEN
        room.stamp[row, col] = _STATES * i + (_SEEN_EXIT if state == EXIT else seen)
        heap = with_room(heap, waiting)
        push(heap, waiting, key(shore_m.view(np.uint32)[0], row * width + col))
        waiting += 1
    return heap, waiting
