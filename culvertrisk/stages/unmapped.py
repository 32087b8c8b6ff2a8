"""Places where a stream meets a road and the inventory knows no crossing."""

from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import minimum_filter
from scipy.spatial import cKDTree

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.site import SiteFlow
from culvertrisk.stages.streams import (
    STREAM_M2,
    cell_points,
    end_cells,
    match_reach_cells,
    nearest_each,
    road_mask,
)
from culvertrisk.terrain.downstream import road_entries, ways_over_road
from culvertrisk.terrain.flow import FlowField, flow_field
from culvertrisk.units import quantity

LARGE_STREAM_M2 = 5 * STREAM_M2  # hard to overlook in the field; our choice
CORRIDOR_M = 21.0  # window of the lowest ground round a road; 7 cells of 3 m
STRAIGHT_TIMES = 2.0  # a way over the road longer than so many widths runs along it
SAME_KNOWN_M = 25.0  # arms of one stream this near a crossing are its own; our choice
NEAR_KNOWN_M = 100.0  # a known crossing so near may be the same; our choice
CLEAR, LIKELY, DOUBTFUL = "clear", "likely", "doubtful"
COLUMNS = ("catchment_m2", "road_name", "confidence", "note")


def unmapped_crossings(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    roads: gpd.GeoDataFrame | None,
    site: SiteFlow,
) -> gpd.GeoDataFrame:
    """List where streams meet roads and no crossing of the inventory is near.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM.
    roads : GeoDataFrame or None
        Road lines in its CRS; ``road_name`` and ``width_m`` are used where known.
    site : SiteFlow
        What :func:`~culvertrisk.stages.site.site_flow` gave for the same rows.

    Returns
    -------
    places : GeoDataFrame
        Points where a stream of 2 ha or more runs onto a road, largest catchment
        first: ``catchment_m2`` [m2], ``road_name``, ``confidence`` (clear, likely or
        doubtful) and ``note``, its reason. Empty without a DEM or roads.

    Notes
    -----
    The roads are lowered to the lowest ground beside them, so that flow crosses them
    where it would without the bank; catchments are therefore less exact than those of
    known crossings. Each crossing of the inventory answers for one stream within 50 m
    of its own stream or its upstream end, and for every arm within 25 m. These are
    places to look at, not culverts.
    """
    carved_m = site.ends.carved_m
    if terrain is None or roads is None or roads.empty or carved_m is None:
        return _table([], [], [], [], crossings.crs)
    is_road = road_mask(terrain, roads)
    flow = flow_field(_lowered(carved_m, is_road, terrain.cell_m), terrain.cell_m)
    least = STREAM_M2 / flow.cell_m**2
    row, col = road_entries(flow.direction, flow.cell_count, is_road, least)
    exit_cell, away_cells = ways_over_road(flow.direction, is_road, row, col)
    # Arms that leave the road together cross it together; the largest stands for all.
    _, first = np.unique(exit_cell, axis=0, return_index=True)
    kept = np.sort(first)
    entries = np.column_stack([row, col])[kept]
    is_known, known_m = _known(crossings, terrain, site, entries)
    kept, known_m = kept[~is_known], known_m[~is_known]
    row, col, away_m = row[kept], col[kept], away_cells[kept] * terrain.cell_m
    points = cell_points(terrain, row, col)
    name, width_m = _roads_at(points, roads, terrain.cell_m)
    words = _words(flow, (row, col), away_m / width_m, known_m)
    area_m2 = flow.cell_count[row, col] * flow.cell_m**2
    return _table(area_m2, name, words, points, crossings.crs)


def _lowered(
    carved_m: NDArray[np.float32], is_road: NDArray[np.bool_], cell_m: float
) -> NDArray[np.float32]:
    # Odd, so that the window looks as far to either side.
    size = 2 * max(round(CORRIDOR_M / cell_m / 2), 1) + 1
    known_m = np.where(np.isnan(carved_m), np.inf, carved_m).astype(np.float32)
    lowest_m = minimum_filter(known_m, size=size, mode="nearest")
    return np.where(is_road & ~np.isnan(carved_m), lowest_m, carved_m)


def _known(
    crossings: gpd.GeoDataFrame, terrain: Terrain, site: SiteFlow, entries: NDArray
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Whether the inventory knows each place; the distance to its nearest row."""
    rows, cols = end_cells(crossings, terrain, site.ends)
    rows = np.where(site.has_stream, site.catchment_row, rows)
    cols = np.where(site.has_stream, site.catchment_col, cols)
    is_across = crossings["crossing_kind"].to_numpy() != "driveway"
    places = np.column_stack([rows, cols])
    places[~is_across] = np.nan
    taken = nearest_each(entries, places, match_reach_cells(terrain))
    is_known = np.zeros(len(entries), np.bool_)
    is_known[taken[taken >= 0]] = True
    places = places[~np.isnan(places).any(axis=1)]
    away_m = np.full(len(entries), np.inf)
    if len(places) and len(entries):
        away_m = np.asarray(cKDTree(places).query(entries)[0]) * terrain.cell_m
    return is_known | (away_m <= SAME_KNOWN_M), away_m


def _roads_at(
    points: NDArray, roads: gpd.GeoDataFrame, cell_m: float
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Name of the nearest road, and how wide its footprint is on the grid."""
    nearest = roads.sindex.nearest(points, return_all=False)[1]
    lines = roads.iloc[nearest]
    name = np.full(len(points), "", object)
    if "road_name" in lines:
        name = lines["road_name"].fillna("").to_numpy(object)
    away_m = shapely.distance(points, lines.geometry.to_numpy())
    return name, 2 * away_m + cell_m


def _words(
    flow: FlowField,
    where: tuple[NDArray, NDArray],
    widths: NDArray[np.float64],
    known_m: NDArray[np.float64],
) -> list[tuple[str, str]]:
    area_m2 = flow.cell_count[where] * flow.cell_m**2
    deep = flow.deep_fraction[where]
    least_deep = 1 / 2
    words = []
    for i in range(len(area_m2)):
        if widths[i] > STRAIGHT_TIMES:
            words.append((DOUBTFUL, "the flow runs along the road before it leaves it"))
        elif deep[i] > least_deep:
            words.append((DOUBTFUL, "most of its catchment lies in filled ground"))
        elif known_m[i] <= NEAR_KNOWN_M:
            away = quantity(known_m[i], "m")
            near = f"a known crossing lies {away} away: it may be the same"
            words.append((LIKELY if area_m2[i] >= LARGE_STREAM_M2 else DOUBTFUL, near))
        elif area_m2[i] >= LARGE_STREAM_M2:
            words.append((CLEAR, "a large stream meets the road, no crossing is near"))
        else:
            words.append((LIKELY, "a small stream meets the road, no crossing is near"))
    return words


def _table(
    area_m2: ArrayLike, name: ArrayLike, words: list, points: Iterable, crs: object
) -> gpd.GeoDataFrame:
    columns = pd.DataFrame(words, columns=["confidence", "note"], dtype=object)
    columns["catchment_m2"] = np.asarray(area_m2, np.float64)
    columns["road_name"] = np.asarray(name, object)
    return gpd.GeoDataFrame(columns[[*COLUMNS]], geometry=[*points], crs=crs)
