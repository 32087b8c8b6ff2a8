"""What the ground tells of each crossing: catchment, road height, cover and slope."""

from dataclasses import dataclass

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import COARSE_STEP_M, Terrain, cells
from culvertrisk.stages.ends import Ends, keeps_names, place_ends
from culvertrisk.stages.flow_side import turn_by_flow
from culvertrisk.stages.north import grid_north
from culvertrisk.stages.roadside import Roadside, roadside
from culvertrisk.stages.streams import match_streams
from culvertrisk.terrain.downstream import path_heads
from culvertrisk.terrain.flow import FlowField, flow_field
from culvertrisk.terrain.sampling import sample

FINE_CELL_M = 5.0  # larger cells do not show a road of 9 m; common practice, no source
COVER_RANGE_M = (0.0, 40.0)  # as in columns.csv
SLOPE_RANGE = (-0.3, 0.5)  # as in columns.csv
Floats = NDArray[np.float64]
_OF_CATCHMENT = (
    "dem_elevation_m", "catchment_m2", "flow_path_m", "flow_path_slope_m_per_m",
    "catchment_slope_m_per_m", "fill_depth_m", "filled_area_fraction", "is_carved",
    "snap_distance_m", "is_catchment_cut",
)  # fmt: skip


@dataclass(frozen=True)
class SiteFlow:
    """What the ground round all crossings gives, worked out once.

    ``ends`` and ``road`` hold one entry a crossing; ``flow`` is the flow over the DEM
    with every culvert cut, None without a DEM; ``catchment_row`` and
    ``catchment_col`` are the cell whose catchment is the crossing's, -1 where
    unknown; ``has_stream`` whether it is where a stream meets the road, and
    ``stream_note`` what is odd about that, "" if nothing.
    """

    ends: Ends
    road: Roadside
    flow: FlowField | None
    catchment_row: NDArray[np.int64]
    catchment_col: NDArray[np.int64]
    has_stream: NDArray[np.bool_]
    stream_note: NDArray[np.object_]


def site_flow(
    crossings: GeoDataFrame, terrain: Terrain | None, roads: GeoDataFrame | None
) -> SiteFlow:
    """Cut all culverts through the DEM and let water run over it.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table, in the CRS of the terrain.
    terrain : Terrain or None
        The DEM, if there is one.
    roads : GeoDataFrame or None
        Road lines in the same CRS; ``width_m`` is used if there.

    Returns
    -------
    site : SiteFlow
        For :func:`add_site` and
        :func:`~culvertrisk.stages.catchments.catchment_outlines`.
    """
    road = roadside(crossings, terrain, roads)
    ends = place_ends(crossings, terrain, road)
    if terrain is None or ends.carved_m is None:
        nowhere = np.full(len(crossings), -1, np.int64)
        note = np.full(len(crossings), "", object)
        return SiteFlow(ends, road, None, nowhere, nowhere, nowhere >= 0, note)
    flow = flow_field(ends.carved_m, terrain.cell_m)
    ends = turn_by_flow(ends, flow, keeps_names(crossings))
    met = match_streams(crossings, terrain, ends, flow, roads)
    return SiteFlow(ends, road, flow, met.row, met.col, met.is_met, met.note)


def add_site(
    crossings: GeoDataFrame, terrain: Terrain | None, site: SiteFlow
) -> GeoDataFrame:
    """Add catchment, ends, road height, cover and barrel slope.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM given to :func:`site_flow`.
    site : SiteFlow
        What :func:`site_flow` gave for the same rows.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``site``; same rows, same order. What lies outside
        the DEM is unknown.

    Notes
    -----
    The catchment is that of :func:`~culvertrisk.stages.streams.match_streams`. Cover
    and slope are read off the DEM only where its cells are 5 m or less and its heights
    finer than half a metre: on the demo town's 10 m cells, covers were off by a metre
    and slopes by three times.
    """
    cover_m, cover_source = _cover(crossings, terrain, site)
    slope, slope_source = _barrel_slope(crossings, terrain, site.ends)
    return crossings.assign(
        **_catchments(crossings, terrain, site),
        stream_note=site.stream_note,
        road_elevation_m=site.road.elevation_m,
        upstream_invert_m=_upstream_invert(crossings, site.ends),
        cover_m=cover_m,
        cover_source=cover_source,
        barrel_slope_m_per_m=slope,
        barrel_slope_source=slope_source,
        barrel_bearing_deg=_bearing(crossings, site.ends),
        upstream_x_m=site.ends.upstream_x_m,
        upstream_y_m=site.ends.upstream_y_m,
        downstream_x_m=site.ends.downstream_x_m,
        downstream_y_m=site.ends.downstream_y_m,
    )


def _catchments(
    crossings: GeoDataFrame, terrain: Terrain | None, site: SiteFlow
) -> dict[str, Floats]:
    flow, ends = site.flow, site.ends
    if terrain is None or flow is None or ends.carved_m is None:
        return dict.fromkeys(_OF_CATCHMENT, np.full(len(crossings), np.nan))
    where = (site.catchment_row, site.catchment_col)
    is_known = where[0] >= 0
    path_m = np.where(is_known, flow.path_m[where], np.nan)
    path_m[path_m == 0] = np.nan  # a catchment of one cell has no path
    head = path_heads(flow.direction, flow.path_m, flow.cell_m, *where)
    drop_m = flow.filled_m[head] - flow.filled_m[where]
    rows, cols = cells(terrain, crossings.geometry.x, crossings.geometry.y)
    values = (
        sample(terrain.elevation_m, rows, cols),
        flow.cell_count[where] * flow.cell_m**2,
        path_m,
        drop_m / path_m,
        flow.mean_slope[where],
        flow.filled_m[where] - ends.carved_m[where],
        flow.deep_fraction[where],
        ends.is_carved.astype(np.float64),
        _snap_distance(crossings, terrain, site),
        flow.is_cut[where].astype(np.float64),
    )
    known = [np.where(is_known, value, np.nan) for value in values]
    return dict(zip(_OF_CATCHMENT, known, strict=True))


def _snap_distance(crossings: GeoDataFrame, terrain: Terrain, site: SiteFlow) -> Floats:
    ends = site.ends
    x_m = np.where(ends.is_mapped, ends.upstream_x_m, crossings.geometry.x)
    y_m = np.where(ends.is_mapped, ends.upstream_y_m, crossings.geometry.y)
    rows, cols = cells(terrain, x_m, y_m)
    away = np.hypot(rows - site.catchment_row, cols - site.catchment_col)
    return np.asarray(away * terrain.cell_m, np.float64)


def _is_fine(terrain: Terrain | None) -> bool:
    if terrain is None or terrain.cell_m > FINE_CELL_M:
        return False
    return terrain.vertical_step_m < COARSE_STEP_M


def _upstream_invert(crossings: GeoDataFrame, ends: Ends) -> Floats:
    inlet_m = crossings["inlet_invert_m"].to_numpy(np.float64)
    outlet_m = crossings["outlet_invert_m"].to_numpy(np.float64)
    is_named_other = ends.is_mapped & ends.is_turned
    return np.where(is_named_other, outlet_m, inlet_m)


def _upstream_bed(
    crossings: GeoDataFrame, terrain: Terrain | None, ends: Ends
) -> Floats:
    bed_m = _upstream_invert(crossings, ends)
    ground_m = ends.upstream_ground_m if _is_fine(terrain) else np.nan
    return np.where(np.isnan(bed_m), ground_m, bed_m)


def _cover(
    crossings: GeoDataFrame, terrain: Terrain | None, site: SiteFlow
) -> tuple[Floats, NDArray[np.object_]]:
    recorded_m = crossings["recorded_cover_m"].to_numpy(np.float64)
    found_m = np.full(len(crossings), np.nan)
    if _is_fine(terrain):
        rise_m = crossings["rise_m"].to_numpy(np.float64)
        bed_m = _upstream_bed(crossings, terrain, site.ends)
        found_m = site.road.elevation_m - bed_m - rise_m
    found_m = _within(found_m, COVER_RANGE_M)
    cover_m = np.where(np.isnan(recorded_m), found_m, recorded_m)
    words = np.where(np.isnan(found_m), "unknown", "dem").astype(object)
    return cover_m, np.where(np.isnan(recorded_m), words, "recorded").astype(object)


def _barrel_slope(
    crossings: GeoDataFrame, terrain: Terrain | None, ends: Ends
) -> tuple[Floats, NDArray[np.object_]]:
    mapped_m = np.hypot(
        ends.downstream_x_m - ends.upstream_x_m, ends.downstream_y_m - ends.upstream_y_m
    )
    mapped_m = np.where(ends.is_mapped, mapped_m, np.nan)
    length_m = crossings["length_m"].to_numpy(np.float64)
    length_m = np.where(np.isnan(length_m), mapped_m, length_m)
    beds_m = (crossings["inlet_invert_m"] - crossings["outlet_invert_m"]).to_numpy()
    beds_m = np.where(ends.is_mapped & ends.is_turned, -beds_m, beds_m)
    # Water does not run uphill: ground that seems to is level within its error.
    ground = np.maximum(ends.fall_m, 0) / ends.fall_length_m
    if not _is_fine(terrain):
        ground = np.full(len(crossings), np.nan)
    slope = np.full(len(crossings), np.nan)
    words = np.full(len(crossings), "unknown", object)
    for word, found in (
        ("dem", ground),
        ("inverts", beds_m / length_m),
        ("recorded", crossings["recorded_slope_m_per_m"].to_numpy(np.float64)),
    ):
        found = _within(np.asarray(found, np.float64), SLOPE_RANGE)
        is_known = ~np.isnan(found)
        slope[is_known], words[is_known] = found[is_known], word
    return slope, words


def _within(values: Floats, limits: tuple[float, float]) -> Floats:
    is_within = (values >= limits[0]) & (values <= limits[1])
    return np.where(is_within, values, np.nan)


def _bearing(crossings: GeoDataFrame, ends: Ends) -> Floats:
    north_rad = grid_north(str(crossings.crs), ends.upstream_x_m, ends.upstream_y_m)
    east_m = ends.downstream_x_m - ends.upstream_x_m
    north_m = ends.downstream_y_m - ends.upstream_y_m
    bearing_rad = np.arctan2(east_m, north_m) - north_rad
    return np.asarray(np.degrees(bearing_rad) % 360, np.float64)
