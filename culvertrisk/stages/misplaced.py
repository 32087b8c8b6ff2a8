"""Crossings mapped off the road they name, and the streams that may be theirs."""

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.road_names import road_key

OFF_ROAD_M = 25.0  # a place farther from the road it names is wrong; our choice
MISPLACED_REACH_M = 150.0  # as far as a wrong place is put right; our choice
FAR_M = 1e9  # stands for: not on the road named


def misplaced(
    crossings: GeoDataFrame, roads: GeoDataFrame
) -> tuple[NDArray[np.int64], list[shapely.Geometry]]:
    """Crossings mapped more than 25 m from the road they name, and that road.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table; driveways are left out.
    roads : GeoDataFrame
        Road lines in its CRS, with ``road_name``.

    Returns
    -------
    which : ndarray of int, shape (k,)
        Their places in the table.
    lines : list of k geometries
        All lines of the road each names.
    """
    which: list[int] = []
    lines: list[shapely.Geometry] = []
    if "road_name" not in roads:
        return np.array(which, np.int64), lines
    keys = roads["road_name"].map(road_key)
    named = {
        key: shapely.union_all(part.to_numpy())
        for key, part in roads.geometry.groupby(keys)
        if key
    }
    kinds = crossings["crossing_kind"].to_numpy()
    points = crossings.geometry.to_numpy()
    for i, name in enumerate(crossings["road_name"].map(road_key)):
        line = named.get(name)
        if line is not None and kinds[i] != "driveway":
            away_m = shapely.distance(points[i], line)
            if OFF_ROAD_M < away_m <= MISPLACED_REACH_M:
                which.append(i)
                lines.append(line)
    return np.array(which, np.int64), lines


def streams_on_road(
    places: NDArray, lines: list[shapely.Geometry], streams: NDArray, reach_m: float
) -> NDArray[np.int64]:
    """Let misplaced crossings take the nearest free stream that meets their road.

    Parameters
    ----------
    places : ndarray, shape (k, 2)
        Eastings and northings of the crossings as mapped [m].
    lines : list of k geometries
        The road of each.
    streams : ndarray, shape (m, 2)
        Where free streams meet roads [m].
    reach_m : float
        Farthest from its road at which a stream still meets it [m].

    Returns
    -------
    taken : ndarray of int, shape (k,)
        The stream of each, -1 none within 150 m.
    """
    taken = np.full(len(places), -1, np.int64)
    if not len(places) or not len(streams):
        return taken
    away_m = np.hypot(*(places[:, None] - streams[None]).transpose(2, 0, 1))
    points = shapely.points(streams)
    for i, line in enumerate(lines):
        away_m[i, shapely.distance(points, line) > reach_m] = FAR_M
    away_m[away_m > MISPLACED_REACH_M] = FAR_M
    while away_m.min() < FAR_M:
        i, k = np.unravel_index(away_m.argmin(), away_m.shape)
        taken[i] = k
        away_m[i], away_m[:, k] = FAR_M, FAR_M
    return taken
