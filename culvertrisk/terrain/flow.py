"""Where water goes on a DEM: flood, steepest way down, areas and longest paths."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from culvertrisk.terrain.heap import FIRST_ROOM, key, pop, push, with_room

# Direction codes 0 to 7 run clockwise from east: E, SE, S, SW, W, NW, N, NE.
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], np.int64)
COL_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], np.int64)
NEIGHBOURS = 8
HALF_TURN = 4  # codes between a direction and its opposite
OUTLET = 8  # code of a cell whose water leaves the DEM
NODATA = 255  # code of a cell without an elevation
_STEP_CELLS = np.array([1, np.sqrt(2.0)])  # straight and diagonal, to the next cell
_UNSEEN = 254  # code of a cell the flood has not reached yet
_DONE = 255  # count of a cell the accumulation has finished with
Grid = NDArray  # of the DEM's shape
MAX_CELLS = 2**32 - 1  # cell numbers and counts are kept in 32 bits
DEEP_FILL_M = 1.0  # lines through deeper fill are doubtful; common practice, no source


@dataclass(frozen=True)
class FlowField:
    """Where water goes on a DEM; all arrays have the DEM's shape.

    ``filled_m`` is the DEM with its hollows filled to their sills [m];
    ``direction`` the D8 code (0 to 7 clockwise from east, 8 outlet, 255 no data);
    ``cell_count`` the cells that drain through a cell, itself included, 0 without
    data; ``path_m`` the longest flow path to its centre [m]; ``mean_slope`` the mean
    over the catchment of each cell's fall to the next [m/m] and ``deep_fraction`` the
    share of its area filled by more than a metre, both of the filled ground;
    ``is_cut`` whether the catchment touches the edge of the data, so that its area is
    a lower bound. ``cell_m`` is the side of the cells [m].
    """

    filled_m: NDArray[np.float32]
    direction: NDArray[np.uint8]
    cell_count: NDArray[np.uint32]
    path_m: NDArray[np.float32]
    mean_slope: NDArray[np.float32]
    deep_fraction: NDArray[np.float32]
    is_cut: NDArray[np.bool_]
    cell_m: float

    @property
    def area_m2(self) -> NDArray[np.float64]:
        """Area that drains through each cell, NaN without data; a new array [m2]."""
        # Counts are kept, not areas: they are exact and take half the memory.
        known = np.where(self.cell_count == 0, np.nan, self.cell_count)
        known *= self.cell_m * self.cell_m
        return known


def flow_field(elevation_m: NDArray[np.float32], cell_m: float) -> FlowField:
    """Flow directions, catchment areas and longest flow paths of a DEM.

    Parameters
    ----------
    elevation_m : ndarray, shape (rows, columns)
        Ground elevation; NaN where unknown [m].
    cell_m : float
        Side of the square cells [m].

    Returns
    -------
    flow : FlowField
        Every cell with an elevation drains to exactly one outlet; areas are NaN
        where the elevation is.

    Raises
    ------
    ValueError
        If the DEM has 2**32 cells or more.

    Notes
    -----
    Hollows are filled to their sill; each cell drains to its steepest lower
    neighbour on the filled ground, and a cell of a filled flat to the neighbour
    from which the flood reached it, so that no loop can arise. A line through a
    filled hollow is one of many: read the fill depth beside the area. A cell on the
    edge of the data drains inwards where a neighbour is lower, else it is an outlet.

    References
    ----------
    barnes2014, algorithm 2 (priority flood with a queue for hollows).

    Examples
    --------
    >>> ramp_m = np.array([[3, 2, 1], [3, 2, 1], [3, 2, 1]], np.float32)
    >>> flow_field(ramp_m, 10.0).area_m2[1]
    array([100., 200., 300.])
    """
    if elevation_m.size > MAX_CELLS:
        raise ValueError(f"a DEM of {elevation_m.size} cells is too large to flood")
    filled_m = np.array(elevation_m, np.float32, order="C")
    direction = flood(filled_m)
    is_cut = direction == OUTLET
    point_downhill(filled_m, direction)
    ground_m = np.ascontiguousarray(elevation_m, np.float32)
    sums = accumulate(direction, filled_m, ground_m, is_cut, cell_m)
    count, path_m, slope, deep = (values.reshape(filled_m.shape) for values in sums)
    return FlowField(filled_m, direction, count, path_m, slope, deep, is_cut, cell_m)


@njit(cache=True)
def _is_edge(elevation_m: NDArray, row: int, col: int) -> bool:
    rows, cols = elevation_m.shape
    if row == 0 or col == 0 or row == rows - 1 or col == cols - 1:
        return True
    for code in range(NEIGHBOURS):
        if np.isnan(elevation_m[row + ROW_STEP[code], col + COL_STEP[code]]):
            return True
    return False


@njit(cache=True)
def _sources(elevation_m: NDArray) -> tuple[NDArray, NDArray, int]:
    bits = elevation_m.view(np.uint32)
    rows, cols = elevation_m.shape
    parent = np.full((rows, cols), _UNSEEN, np.uint8)
    heap, count = np.empty(FIRST_ROOM, np.uint64), 0
    for row in range(rows):
        for col in range(cols):
            if np.isnan(elevation_m[row, col]):
                parent[row, col] = NODATA
            elif _is_edge(elevation_m, row, col):
                parent[row, col] = OUTLET
                heap = with_room(heap, count)
                push(heap, count, key(bits[row, col], row * cols + col))
                count += 1
    return parent, heap, count


@njit(cache=True)
def flood(elevation_m: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Fill the hollows of a DEM in place.

    Parameters
    ----------
    elevation_m : ndarray, shape (rows, columns)
        Elevation, NaN where unknown; changed in place [m].

    Returns
    -------
    parent : ndarray, shape (rows, columns)
        Code of the neighbour from which the flood came; 8 on the edge of the data.

    References
    ----------
    barnes2014, algorithm 2.
    """
    rows, cols = elevation_m.shape
    bits = elevation_m.view(np.uint32)
    parent, heap, count = _sources(elevation_m)
    queue, head, tail = np.empty(FIRST_ROOM, np.int64), 0, 0
    while count > 0 or head < tail:
        if head < tail:
            cell = queue[head]
            head += 1
        else:
            head, tail = 0, 0
            cell = np.int64(pop(heap, count) & np.uint64(0xFFFFFFFF))
            count -= 1
        row, col = cell // cols, cell % cols
        level_m = elevation_m[row, col]
        for code in range(NEIGHBOURS):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            if r < 0 or c < 0 or r >= rows or c >= cols or parent[r, c] != _UNSEEN:
                continue
            parent[r, c] = (code + HALF_TURN) % NEIGHBOURS
            if elevation_m[r, c] <= level_m:
                elevation_m[r, c] = level_m
                queue = with_room(queue, tail)
                queue[tail] = r * cols + c
                tail += 1
            else:
                heap = with_room(heap, count)
                push(heap, count, key(bits[r, c], r * cols + c))
                count += 1
    return parent


@njit(cache=True)
def point_downhill(filled_m: NDArray[np.float32], direction: NDArray[np.uint8]) -> None:
    """Turn each cell of a filled DEM to its steepest lower neighbour, in place.

    Parameters
    ----------
    filled_m : ndarray, shape (rows, columns)
        Filled elevation [m].
    direction : ndarray, shape (rows, columns)
        Codes of the flood; kept where no neighbour is lower.
    """
    rows, cols = filled_m.shape
    per_diagonal = np.float32(1 / np.sqrt(2.0))
    for row in range(rows):
        for col in range(cols):
            if direction[row, col] == NODATA:
                continue
            best_m = np.float32(0)
            for code in range(NEIGHBOURS):
                r, c = row + ROW_STEP[code], col + COL_STEP[code]
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    continue
                fall_m = filled_m[row, col] - filled_m[r, c]
                if code % 2 == 1:
                    fall_m *= per_diagonal
                if fall_m > best_m:
                    best_m = fall_m
                    direction[row, col] = code


@njit(cache=True)
def _entries(direction: NDArray) -> tuple[NDArray, NDArray]:
    codes = direction.ravel()
    offsets = ROW_STEP * direction.shape[1] + COL_STEP
    waiting = np.zeros(codes.size, np.uint8)
    for cell in range(codes.size):
        if codes[cell] < OUTLET:
            waiting[cell + offsets[codes[cell]]] += 1
    return waiting, offsets


@njit(cache=True)
def _own_figures(
    direction: NDArray, filled_m: NDArray, ground_m: NDArray, cell_m: float
) -> tuple[NDArray, NDArray]:
    """Each cell's fall to the next over its way, and whether it is filled deeply."""
    codes, filled, ground = direction.ravel(), filled_m.ravel(), ground_m.ravel()
    offsets = ROW_STEP * direction.shape[1] + COL_STEP
    slope, deep = np.zeros(codes.size, np.float32), np.zeros(codes.size, np.float32)
    for cell in range(codes.size):
        deep[cell] = filled[cell] - ground[cell] > DEEP_FILL_M
        if codes[cell] < OUTLET:
            step_m = cell_m * _STEP_CELLS[codes[cell] % 2]
            slope[cell] = (filled[cell] - filled[cell + offsets[codes[cell]]]) / step_m
    return slope, deep


@njit(cache=True, inline="always")
def _mix(mean: NDArray, here: int, there: int, weight: float) -> None:
    # Means and not sums: a sum in 32 bits stands still in a large catchment.
    mean[there] += (mean[here] - mean[there]) * weight


@njit(cache=True)
def accumulate(
    direction: Grid, filled_m: Grid, ground_m: Grid, is_cut: Grid, cell_m: float
) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Walk down from every head and add up cells, longest paths, slopes and fill.

    Parameters
    ----------
    direction, filled_m, ground_m : ndarray, shape (rows, columns)
        D8 codes without a loop, the filled and the unfilled elevation [m].
    is_cut : ndarray, shape (rows, columns)
        Cells on the edge of the data; spread downstream in place.
    cell_m : float
        Side of the cells [m].

    Returns
    -------
    cell_count, path_m, mean_slope, deep_fraction : ndarray, shape (cells,)
        As in :class:`FlowField`, row after row.
    """
    waiting, offsets = _entries(direction)
    codes, cut = direction.ravel(), is_cut.ravel()
    slope, deep = _own_figures(direction, filled_m, ground_m, cell_m)
    count = (codes != NODATA).astype(np.uint32)
    path_m = np.zeros(codes.size, np.float32)
    for start in range(codes.size):
        if waiting[start] != 0 or codes[start] == NODATA:
            continue
        here = start
        while True:
            waiting[here] = _DONE
            if codes[here] == OUTLET:
                break
            there = here + offsets[codes[here]]
            count[there] += count[here]
            weight = count[here] / count[there]
            _mix(slope, here, there, weight)
            _mix(deep, here, there, weight)
            cut[there] |= cut[here]
            length_m = path_m[here] + cell_m * _STEP_CELLS[codes[here] % 2]
            path_m[there] = max(path_m[there], length_m)
            waiting[there] -= 1
            if waiting[there] != 0:
                break
            here = there
    return count, path_m, slope, deep
