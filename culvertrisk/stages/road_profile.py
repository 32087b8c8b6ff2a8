"""The road along each crossing: where water first goes over it, and its crests."""

from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import COARSE_STEP_M, Terrain, cells
from culvertrisk.network.placing import CROSSING_REACH_M, SAME_PLACE_M
from culvertrisk.terrain.sag import road_sags
from culvertrisk.terrain.sampling import sample

PROFILE_REACH_M = 400.0  # road looked along, each way, for its sag and crests
CREST_FALL_M = 0.3  # a lesser rise of the road is the DEM's noise; our choice
LARGEST_CELL_M = 10.5  # cells of 10 m stay a little off it where reprojected
LEAST_STEP_M = 1.0  # between places looked at along a road
NOT_ON_ROADS = ("driveway", "bridge", "ford")  # the road's height says nothing there
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RoadProfile:
    """The road's elevation along n crossings, NaN where not known.

    ``line`` is the number of the road line, joined up to the next junction, -1 where
    no road is near; ``along_m`` the crossing's place along it; ``x_m``, ``y_m`` and
    ``elevation_m``, shape (n, m), places along the road at steps of ``step_m`` and the
    ground there, the crossing in the middle; ``sag`` the step where water first goes
    over, ``crests``, shape (n, 2), those of the crests before and behind; -1 unknown.
    """

    line: NDArray[np.int64]
    along_m: Floats
    step_m: float
    x_m: Floats
    y_m: Floats
    elevation_m: Floats
    sag: NDArray[np.int64]
    crests: NDArray[np.int64]


def shows_ponds(terrain: Terrain | None) -> bool:
    """Whether a DEM is fine enough for roads and the ponds behind them.

    Parameters
    ----------
    terrain : Terrain or None
        The DEM.

    Returns
    -------
    shows_ponds : bool
        Cells of 10 m or less, and elevations in steps below half a metre.
    """
    if terrain is None or terrain.cell_m > LARGEST_CELL_M:
        return False
    return terrain.vertical_step_m < COARSE_STEP_M


def road_profile(
    crossings: GeoDataFrame, terrain: Terrain | None, roads: GeoDataFrame | None
) -> RoadProfile:
    """Look along the road of each crossing for its sag and the crests either side.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM before any cut.
    roads : GeoDataFrame or None
        Road lines in the work CRS.

    Returns
    -------
    profile : RoadProfile
        Up to 400 m each way, or to the road's end or next junction. Unknown at
        driveways, bridges and fords, off the roads, and on a DEM too coarse.

    Notes
    -----
    Where the road still falls at the end of its profile, the last place counts as its
    sag: water goes over no higher than there.
    """
    is_road = ~crossings["crossing_kind"].isin(NOT_ON_ROADS).to_numpy(bool)
    points = crossings.geometry.to_numpy()
    lines = _joined(roads)
    line = np.full(len(points), -1, np.int64)
    if len(lines):
        which, hit = shapely.STRtree(lines).query_nearest(
            points, max_distance=CROSSING_REACH_M, all_matches=False
        )
        line[which] = hit
    along_m = np.full(len(points), np.nan)
    on = line >= 0
    along_m[on] = shapely.line_locate_point(lines[line[on]], points[on])
    if terrain is None or not shows_ponds(terrain):
        unknown = np.full((len(points), 1), np.nan)
        nowhere = np.full(len(points), -1, np.int64)
        none = np.full((len(points), 2), -1, np.int64)
        return RoadProfile(line, along_m, 1, unknown, unknown, unknown, nowhere, none)
    step_m = max(terrain.cell_m / 2, LEAST_STEP_M)
    x_m, y_m = _places(lines, np.where(is_road, line, -1), along_m, step_m)
    rows, cols = cells(terrain, x_m.ravel(), y_m.ravel())
    elevation_m = sample(terrain.elevation_m, rows, cols).reshape(x_m.shape)
    sag, crests = road_sags(elevation_m, CREST_FALL_M)
    return RoadProfile(line, along_m, step_m, x_m, y_m, elevation_m, sag, crests)


def add_road_profile(crossings: GeoDataFrame, profile: RoadProfile) -> GeoDataFrame:
    """Add the elevation at which water first goes over the road, where, and how low.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    profile : RoadProfile
        What :func:`road_profile` gave for the same rows.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``road_profile``; same rows, same order.
    """
    middle = profile.elevation_m.shape[1] // 2
    distance_m = np.abs(profile.sag - middle) * profile.step_m
    overflow_m = _at(profile.elevation_m, profile.sag)
    # The DEM tells no finer than half a cell where on the road the crossing lies.
    here_m = np.fmin.reduce(
        profile.elevation_m[:, max(middle - 1, 0) : middle + 2], axis=1
    )
    return crossings.assign(
        overflow_m=overflow_m,
        overflow_drop_m=np.maximum(here_m - overflow_m, 0),
        overflow_x_m=_at(profile.x_m, profile.sag),
        overflow_y_m=_at(profile.y_m, profile.sag),
        overflow_distance_m=np.where(profile.sag >= 0, distance_m, np.nan),
    )


def crests_around(elevation_m: Floats, sag: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the crests either side of other places than the crossings.

    Parameters
    ----------
    elevation_m : ndarray, shape (n, m)
        Of ``RoadProfile`` [m].
    sag : ndarray, shape (n,)
        Step of each place.

    Returns
    -------
    crests : ndarray, shape (n, 2)
        As in ``RoadProfile``.
    """
    count, steps = elevation_m.shape
    middle = steps // 2
    place = np.arange(steps) + (sag - middle)[:, None]
    is_seen = (place >= 0) & (place < steps)
    rows = np.arange(count)[:, None]
    seen_m = elevation_m[rows, np.clip(place, 0, steps - 1)]
    _, crests = road_sags(np.where(is_seen, seen_m, np.nan), CREST_FALL_M)
    return np.where(crests >= 0, crests + (sag - middle)[:, None], -1)


def _at(values: Floats, step: NDArray[np.int64]) -> Floats:
    found = values[np.arange(len(step)), step]
    return np.where(step >= 0, found, np.nan)


def _joined(roads: GeoDataFrame | None) -> NDArray[np.object_]:
    """Road lines run on through places where only two of them meet."""
    if roads is None or roads.empty:
        return np.empty(0, object)
    parts = shapely.get_parts(roads.geometry.to_numpy())
    return np.asarray(
        shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts))), object
    )


def _places(
    lines: NDArray, line: NDArray[np.int64], along_m: Floats, step_m: float
) -> tuple[Floats, Floats]:
    count = int(PROFILE_REACH_M // step_m)
    steps_m = np.arange(-count, count + 1) * step_m
    x_m, y_m = np.full((2, len(line), len(steps_m)), np.nan)
    order = np.argsort(line, kind="stable")
    last, at_m, xy = -1, np.empty(0), np.empty((0, 2))
    for i in order[line[order] >= 0]:
        if line[i] != last:
            last, xy = line[i], shapely.get_coordinates(lines[line[i]])
            at_m = np.r_[0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]
        here_m = along_m[i] + steps_m
        is_on = (here_m >= 0) & (here_m <= at_m[-1] + SAME_PLACE_M)
        x_m[i, is_on] = np.interp(here_m[is_on], at_m, xy[:, 0])
        y_m[i, is_on] = np.interp(here_m[is_on], at_m, xy[:, 1])
    return x_m, y_m
