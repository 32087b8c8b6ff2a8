"""What holds a pond back, its road, and where it may leave, that road's other pipes."""

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.road_profile import PROFILE_REACH_M, RoadProfile
from culvertrisk.terrain.rising import EXIT, WALL, PondMarks, PondStarts

TWIN_REACH_M = 30.0  # pipes nearer than this share one inlet; common practice


def pond_marks(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    starts: PondStarts,
    profile: RoadProfile,
) -> PondMarks:
    """Mark the cells of each pond's own road and the inlets of that road's other pipes.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM; without it there are no marks.
    starts : PondStarts
        The inlets.
    profile : RoadProfile
        The road along each crossing.

    Returns
    -------
    marks : PondMarks
        The lowest place of the road in each of its cells; other pipes from 30 m to
        400 m away along the road, driveways left out.
    """
    walls, road_m = _walls(terrain, starts, profile)
    exits = _exits(crossings, starts, profile)
    owner, row, col = np.concatenate([walls, exits], axis=1)
    kind = np.repeat(np.array([WALL, EXIT], np.uint8), [len(road_m), len(exits[0])])
    road_m = np.concatenate([road_m, np.full(len(exits[0]), np.nan, np.float32)])
    order = np.argsort(owner, kind="stable")
    first = np.searchsorted(owner[order], np.arange(len(crossings) + 1))
    return PondMarks(first, row[order], col[order], kind[order], road_m[order])


def _walls(
    terrain: Terrain | None, starts: PondStarts, profile: RoadProfile
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Owner, row and column of road cells, and the road's lowest elevation there."""
    if terrain is None:
        return np.zeros((3, 0), np.int64), np.zeros(0, np.float32)
    road_m = profile.elevation_m
    rows, cols = road_cells(profile, terrain)
    is_wall = (rows >= 0) & (starts.row >= 0)[:, None]
    # Where the line steps over a corner, the cell beside it closes the gap.
    is_step = is_wall[:, 1:] & is_wall[:, :-1]
    is_step &= (np.diff(rows, axis=1) != 0) & (np.diff(cols, axis=1) != 0)
    own, place = np.nonzero(is_wall)
    own_2, place_2 = np.nonzero(is_step)
    corner_m = np.maximum(road_m[own_2, place_2], road_m[own_2, place_2 + 1])
    elevation_m = np.concatenate([corner_m, road_m[own, place]]).astype(np.float32)
    owner = np.concatenate([own_2, own])
    row = np.concatenate([rows[own_2, place_2 + 1], rows[own, place]])
    col = np.concatenate([cols[own_2, place_2], cols[own, place]])
    is_start = (row == starts.row[owner]) & (col == starts.col[owner])
    # Highest first: the last mark of a cell is the one that stays.
    order = np.argsort(-elevation_m, kind="stable")
    order = order[~is_start[order]]
    return np.stack([owner, row, col])[:, order], elevation_m[order]


def road_cells(
    profile: RoadProfile, terrain: Terrain
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells in which the places of each profile lie.

    Parameters
    ----------
    profile : RoadProfile
        The road along n crossings.
    terrain : Terrain
        The DEM.

    Returns
    -------
    rows, cols : ndarray, shape (n, m)
        -1 where the road is not known.
    """
    rows, cols = cells(terrain, profile.x_m, profile.y_m)
    is_known = ~np.isnan(profile.elevation_m)
    rows = np.where(is_known, np.rint(rows), -1)
    cols = np.where(is_known, np.rint(cols), -1)
    return rows.astype(np.int64), cols.astype(np.int64)


def _exits(
    crossings: gpd.GeoDataFrame, starts: PondStarts, profile: RoadProfile
) -> NDArray[np.int64]:
    is_beside = crossings["crossing_kind"].to_numpy() == "driveway"
    able = np.flatnonzero((profile.line >= 0) & (starts.row >= 0) & ~is_beside)
    able = able[np.lexsort((profile.along_m[able], profile.line[able]))]
    found = [np.zeros((3, 0), np.int64)]
    groups = np.flatnonzero(np.diff(profile.line[able])) + 1
    for same in np.split(able, groups):
        apart_m = np.abs(profile.along_m[same][:, None] - profile.along_m[same])
        is_exit = (apart_m > TWIN_REACH_M) & (apart_m <= PROFILE_REACH_M)
        own, other = np.nonzero(is_exit)
        other = same[other]
        found.append(np.stack([same[own], starts.row[other], starts.col[other]]))
    return np.concatenate(found, axis=1)
