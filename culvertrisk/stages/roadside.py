"""The road at a crossing: its bearing, its width and its height there."""

from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.network.placing import CROSSING_REACH_M
from culvertrisk.terrain.sampling import sample

HALF_WIDTH_M = 6.0  # centre line to the toe of a rural road; common practice, no source
_SIGHT_M = 10.0  # road each way that gives the bearing, so that kinks do not


@dataclass(frozen=True)
class Roadside:
    """The nearest road of each crossing, NaN where none lies within 60 m.

    All of shape (n,): ``bearing_rad`` of the road in the grid, clockwise from up;
    ``half_width_m`` from centre to edge; ``elevation_m`` of the road at the crossing,
    its lowest within half a cell, since the DEM tells no finer where the pipe lies; NaN
    outside the DEM. ``foot_x_m`` and ``foot_y_m`` are the place on the road nearest to
    the crossing.
    """

    bearing_rad: NDArray[np.float64]
    half_width_m: NDArray[np.float64]
    elevation_m: NDArray[np.float64]
    foot_x_m: NDArray[np.float64]
    foot_y_m: NDArray[np.float64]


def roadside(
    crossings: GeoDataFrame, terrain: Terrain | None, roads: GeoDataFrame | None
) -> Roadside:
    """Look along the nearest road of each crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM before any cut.
    roads : GeoDataFrame or None
        Road lines in the work CRS; a column ``width_m`` is used where it is known.

    Returns
    -------
    road : Roadside
        Without a road, and at driveways, the ground at the crossing stands for the
        road's height.
    """
    points = crossings.geometry.to_numpy()
    lines, is_near, width_m = _nearest_lines(points, roads)
    along_m = np.where(is_near, shapely.line_locate_point(lines, points), np.nan)
    before = shapely.line_interpolate_point(lines, np.maximum(along_m - _SIGHT_M, 0))
    behind = shapely.line_interpolate_point(lines, along_m + _SIGHT_M)
    east_m = shapely.get_x(behind) - shapely.get_x(before)
    north_m = shapely.get_y(behind) - shapely.get_y(before)
    # A driveway's pipe lies beside the road: water goes over the driveway.
    is_beside = crossings["crossing_kind"].to_numpy() == "driveway"
    on_line_m = np.where(is_beside, np.nan, along_m)
    half_m = np.where(np.isnan(width_m), HALF_WIDTH_M, width_m / 2)
    foot = shapely.line_interpolate_point(lines, along_m)
    return Roadside(
        bearing_rad=np.arctan2(east_m, north_m),
        half_width_m=half_m,
        elevation_m=_road_elevation(points, lines, on_line_m, terrain),
        foot_x_m=shapely.get_x(foot),
        foot_y_m=shapely.get_y(foot),
    )


def _nearest_lines(
    points: NDArray, roads: GeoDataFrame | None
) -> tuple[NDArray, NDArray[np.bool_], NDArray[np.float64]]:
    lines = np.full(len(points), None, object)
    width_m = np.full(len(points), np.nan)
    if roads is None or roads.empty:
        return lines, np.zeros(len(points), np.bool_), width_m
    parts = roads.explode(ignore_index=True)
    tree = shapely.STRtree(parts.geometry.to_numpy())
    (which, hit) = tree.query_nearest(
        points, max_distance=CROSSING_REACH_M, all_matches=False
    )
    lines[which] = parts.geometry.to_numpy()[hit]
    if "width_m" in parts:
        width_m[which] = parts["width_m"].to_numpy(np.float64)[hit]
    return lines, np.asarray(~shapely.is_missing(lines)), width_m


def _road_elevation(
    points: NDArray, lines: NDArray, along_m: NDArray, terrain: Terrain | None
) -> NDArray[np.float64]:
    if terrain is None:
        return np.full(len(points), np.nan)
    steps_m = np.array([-1, 0, 1]) * terrain.cell_m / 2
    places_m = np.maximum(along_m[:, None] + steps_m, 0)
    on_road = shapely.line_interpolate_point(lines[:, None], places_m)
    on_road = np.where(shapely.is_missing(on_road), points[:, None], on_road)
    rows, cols = cells(
        terrain, shapely.get_x(on_road).ravel(), shapely.get_y(on_road).ravel()
    )
    elevation_m = sample(terrain.elevation_m, rows, cols).reshape(on_road.shape)
    return np.asarray(np.fmin.reduce(elevation_m, axis=1), np.float64)
