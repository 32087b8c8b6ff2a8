"""Which stream each crossing carries: one stream, one place under the road."""

from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy.spatial import cKDTree

from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.ends import Ends
from culvertrisk.stages.misplaced import OFF_ROAD_M, misplaced, streams_on_road
from culvertrisk.stages.roadside import HALF_WIDTH_M
from culvertrisk.terrain.downstream import road_entries
from culvertrisk.terrain.flow import FlowField

STREAM_M2 = 20_000.0  # smaller catchments leave no channel; common practice, no source
MATCH_REACH_M = 50.0  # a stream farther from an end is another pipe's; our choice
REACH_CELLS = 3  # the same on coarse ground; common practice, no source
SAME_PLACE_M = 10.0  # ends nearer than this are barrels side by side; our choice
INLET_REACH_M = 10.0  # a mapped place misses its ditch by so much; our choice
TOE_M = 3.0  # side slope of a bank of 1.5 m at 2:1; common practice, no source
_SLIP_CELLS = 0.75  # half a band that D8 cannot slip through at a corner
NO_STREAM = "no stream near: a relief pipe or a wrong place"
MISPLACED = "mapped off its road: taken to be where a stream meets that road"
NOBODY = -1
Indexes = NDArray[np.int64]


@dataclass(frozen=True)
class Streams:
    """What each crossing carries; arrays of shape (n,).

    ``row`` and ``col`` are the cell whose catchment is the crossing's, -1 where
    unknown; ``is_met`` whether that is where a stream meets the road; ``note`` says
    what is odd, "" if nothing.
    """

    row: Indexes
    col: Indexes
    is_met: NDArray[np.bool_]
    note: NDArray[np.object_]


def match_streams(
    crossings: GeoDataFrame,
    terrain: Terrain,
    ends: Ends,
    flow: FlowField,
    roads: GeoDataFrame | None,
) -> Streams:
    """Give each stream that meets a road to one crossing, the others their own inlet.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain
        The DEM.
    ends : Ends
        Ends of the barrels.
    flow : FlowField
        Flow over the DEM with every culvert cut.
    roads : GeoDataFrame or None
        Road lines; without them each crossing takes the largest flow near it.

    Returns
    -------
    streams : Streams
        One entry a crossing.

    Notes
    -----
    The largest stream chooses first and takes the crossing nearest to it, up to 50 m
    away; rows within 10 m of that one are barrels side by side and share it. Pipes
    under driveways lie along the road and take no stream. A row mapped more than 25 m
    off the road it names takes the nearest stream left on that road, up to 150 m
    away, and says so. All others get the largest flow below the size of a stream
    within 10 m of their own inlet.
    """
    rows, cols = end_cells(crossings, terrain, ends)
    note = np.full(len(crossings), "", object)
    if roads is None or roads.empty:
        row, col = largest_near(flow.cell_count, rows, cols, REACH_CELLS)
        return Streams(row, col, np.zeros(len(crossings), np.bool_), note)
    is_road = road_mask(terrain, roads)
    least = STREAM_M2 / flow.cell_m**2
    entry = np.stack(road_entries(flow.direction, flow.cell_count, is_road, least))
    is_across = crossings["crossing_kind"].to_numpy() != "driveway"
    near = np.where(is_across, rows, np.nan), np.where(is_across, cols, np.nan)
    reach = match_reach_cells(terrain)
    taken = nearest_each(entry.T, np.column_stack(near), reach)
    first = taken.copy()
    _share(taken, np.column_stack(near), SAME_PLACE_M / terrain.cell_m)
    moved = _put_right(taken, crossings, terrain, roads, entry)
    row, col = _own_inlet(flow, terrain, (rows, cols), is_across)
    is_met = (taken >= 0) & (row >= 0)
    row[is_met], col[is_met] = entry[:, taken[is_met]]
    odd = is_across & ~is_met & (row >= 0)
    note[odd] = NO_STREAM
    note[moved] = MISPLACED
    _say_whose(note, crossings, np.column_stack([rows, cols]), (entry, first, reach))
    return Streams(row, col, is_met, note)


def road_mask(terrain: Terrain, roads: GeoDataFrame) -> NDArray[np.bool_]:
    """Cells of the roads' footprints, banks and all.

    Parameters
    ----------
    terrain : Terrain
        The grid.
    roads : GeoDataFrame
        Road lines in its CRS; a column ``width_m`` is used where it is known.

    Returns
    -------
    is_road : ndarray of bool, shape (rows, columns)
        Wide enough that flow cannot slip through at a corner.
    """
    half_m = np.full(len(roads), HALF_WIDTH_M)
    if "width_m" in roads:
        half_m = roads["width_m"].to_numpy(np.float64) / 2
        half_m = np.where(np.isnan(half_m), HALF_WIDTH_M, half_m)
    half_m = np.maximum(half_m + TOE_M, _SLIP_CELLS * terrain.cell_m)
    shapes = roads.geometry.buffer(half_m)
    shapes = shapes[~(shapes.is_empty | shapes.isna())]
    shape = terrain.elevation_m.shape
    if shapes.empty:
        return np.zeros(shape, np.bool_)
    mask = rasterize(shapes, shape, transform=terrain.transform, dtype=np.uint8)
    return np.asarray(mask, np.bool_)


def cell_points(terrain: Terrain, row: NDArray, col: NDArray) -> NDArray[np.object_]:
    """Centres of cells as points."""
    grid, half = terrain.transform, 1 / 2
    x_m, y_m = grid.c + (col + half) * grid.a, grid.f + (row + half) * grid.e
    return np.asarray(shapely.points(x_m, y_m))


def end_cells(
    crossings: GeoDataFrame, terrain: Terrain, ends: Ends
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Row and column of each upstream end, or of the point where it is unknown."""
    is_known = ~np.isnan(ends.upstream_x_m + ends.upstream_y_m)
    x_m = np.where(is_known, ends.upstream_x_m, crossings.geometry.x)
    y_m = np.where(is_known, ends.upstream_y_m, crossings.geometry.y)
    rows, cols = cells(terrain, x_m, y_m)
    height, width = terrain.elevation_m.shape
    is_off = (rows < 0) | (cols < 0) | (rows > height - 1) | (cols > width - 1)
    return np.where(is_off, np.nan, rows), np.where(is_off, np.nan, cols)


def match_reach_cells(terrain: Terrain) -> float:
    """Reach between an end and its stream in cells."""
    return max(MATCH_REACH_M / terrain.cell_m, float(REACH_CELLS))


def nearest_each(wanting: NDArray, places: NDArray, reach: float) -> Indexes:
    """Let points, one after another, take the nearest place that is still free.

    Parameters
    ----------
    wanting : ndarray, shape (m, 2)
        Points, the one that chooses first first.
    places : ndarray, shape (n, 2)
        Places, NaN where unknown.
    reach : float
        Farthest at which a place is taken, in the points' unit.

    Returns
    -------
    taken : ndarray of int, shape (n,)
        The point that took each place, -1 none.

    Examples
    --------
    >>> nearest_each(np.array([[0, 0], [0, 2]]), np.array([[0, 1], [0, 9]]), 5.0)
    array([ 0, -1])
    """
    taken = np.full(len(places), NOBODY, np.int64)
    known = np.flatnonzero(~np.isnan(places).any(axis=1))
    if not known.size or not len(wanting):
        return taken
    near = cKDTree(places[known]).query_ball_point(wanting, reach)
    for point, found in enumerate(near):
        free = known[[k for k in found if taken[known[k]] == NOBODY]]
        if free.size:
            away = np.hypot(*(places[free] - wanting[point]).T)
            taken[free[away.argmin()]] = point
    return taken


def _share(taken: Indexes, places: NDArray, reach: float) -> None:
    has = np.flatnonzero(taken >= 0)
    lacks = np.flatnonzero((taken < 0) & ~np.isnan(places).any(axis=1))
    if not has.size or not lacks.size:
        return
    found = cKDTree(places[has]).query(places[lacks])
    away, which = np.asarray(found[0]), np.asarray(found[1])
    near = away <= reach
    taken[lacks[near]] = taken[has[which[near]]]


def _put_right(
    taken: Indexes,
    crossings: GeoDataFrame,
    terrain: Terrain,
    roads: GeoDataFrame,
    entry: NDArray,
) -> Indexes:
    which, lines = misplaced(crossings, roads)
    is_open = taken[which] == NOBODY
    which = which[is_open]
    lines = [line for line, is_left in zip(lines, is_open, strict=True) if is_left]
    free = np.setdiff1d(np.arange(entry.shape[1]), taken)
    streams = shapely.get_coordinates(cell_points(terrain, *entry[:, free]))
    places = np.column_stack([crossings.geometry.x, crossings.geometry.y])[which]
    found = streams_on_road(places, lines, streams, max(OFF_ROAD_M, terrain.cell_m))
    moved = which[found >= 0]
    taken[moved] = free[found[found >= 0]]
    return moved


def _own_inlet(
    flow: FlowField,
    terrain: Terrain,
    places: tuple[NDArray, NDArray],
    is_across: NDArray[np.bool_],
) -> tuple[Indexes, Indexes]:
    reach = max(round(INLET_REACH_M / terrain.cell_m), 1)
    count = flow.cell_count
    ditch = np.where(count < STREAM_M2 / flow.cell_m**2, count, 0)
    row, col = largest_near(ditch, *places, reach)
    any_row, any_col = largest_near(count, *places, reach)
    is_any = ~is_across | (row < 0)
    return np.where(is_any, any_row, row), np.where(is_any, any_col, col)


def largest_near(
    cell_count: NDArray[np.uint32],
    rows: NDArray[np.float64],
    cols: NDArray[np.float64],
    reach: int,
) -> tuple[Indexes, Indexes]:
    """Cell with the largest catchment in a square round each place, -1 if unknown."""
    found = np.full((len(rows), 2), NOBODY, np.int64)
    for i in np.flatnonzero(~np.isnan(rows + cols)):
        row, col = round(rows[i]), round(cols[i])
        top, left = max(row - reach, 0), max(col - reach, 0)
        near = cell_count[top : row + reach + 1, left : col + reach + 1]
        if near.any():
            best = int(near.argmax())
            found[i] = top + best // near.shape[1], left + best % near.shape[1]
    return found[:, 0], found[:, 1]


def _say_whose(
    note: NDArray[np.object_],
    crossings: GeoDataFrame,
    places: NDArray,
    streams: tuple[NDArray, Indexes, float],
) -> None:
    entry, first, reach = streams
    owner = np.full(entry.shape[1], NOBODY, np.int64)
    owner[first[first >= 0]] = np.flatnonzero(first >= 0)
    with_owner = np.flatnonzero(owner >= 0)
    alone = np.flatnonzero(note == NO_STREAM)
    if not with_owner.size or not alone.size:
        return
    found = cKDTree(entry[:, with_owner].T).query(places[alone])
    away, which = np.asarray(found[0]), np.asarray(found[1])
    for i, owned in zip(alone[away <= reach], which[away <= reach], strict=True):
        name = crossings.index[owner[with_owner[owned]]]
        note[i] = f"the stream near is that of {name}: a relief pipe or a wrong place"
