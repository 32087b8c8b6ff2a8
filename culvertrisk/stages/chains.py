"""Which crossing drains into which: along the flow, and along ditches."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.site import SiteFlow
from culvertrisk.terrain.downstream import first_met

CHAIN_REACH_M = 500.0  # farther down, a blocked pipe holds back no water; our choice
DITCH_REACH_M = 300.0  # pipes of one ditch lie so near; common practice, no source
DITCH_FALL_M = 0.3  # a ditch falls at least so much between two; our choice
LEAST_OUT_M = 1.0  # a place nearer its road's line tells no side; our choice
PIPE_REACH_M = 10.0  # flow that passes so near an inlet goes into it; our choice
NOBODY = -1


def add_chains(
    crossings: GeoDataFrame, terrain: Terrain | None, site: SiteFlow
) -> GeoDataFrame:
    """Add the next crossing that the water of each crossing meets.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table with the columns of the site stage; ``network_road`` is
        used, else ``road_name``.
    terrain : Terrain or None
        The DEM given to :func:`~culvertrisk.stages.site.site_flow`.
    site : SiteFlow
        What it gave for the same rows.

    Returns
    -------
    crossings : GeoDataFrame
        With ``downstream_id``, "" where none is known, and ``downstream_distance_m``,
        NaN there; same rows, same order. No crossing comes twice in a chain.

    Notes
    -----
    The water of each crossing is followed along the flow over the DEM with every
    culvert cut, up to 500 m, to the first cell within 10 m of another crossing's
    inlet or barrel. A crossing without a stream that meets none so drains along a
    ditch: to the nearest crossing of the same road, at most 300 m away, whose ground
    is at least 0.3 m lower. That distance is straight. Under the road water changes
    sides: it comes out into the ditch beyond, and what the pipe does not take stays
    in the ditch before it, so the next pipe on either side has it. A pipe under a
    driveway lies in one ditch and gives only to pipes whose inlet lies on its own
    side; it drains along that ditch wherever that is the shorter way. Without a road
    line no side is known, and a driveway has no ditch.
    """
    after = np.full(len(crossings), NOBODY, np.int64)
    away_m = np.full(len(crossings), np.nan)
    if terrain is not None and site.flow is not None:
        after, away_m = _along_flow(crossings, terrain, site)
        _along_ditch(crossings, site, after, away_m)
        _without_loops(after)
    names = np.append(crossings.index.to_numpy(object), "")
    away_m = np.where(after == NOBODY, np.nan, away_m)
    return crossings.assign(downstream_id=names[after], downstream_distance_m=away_m)


def _along_flow(
    crossings: GeoDataFrame, terrain: Terrain, site: SiteFlow
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    flow = site.flow
    if flow is None:
        raise AssertionError("a chain needs flow")
    starts = np.column_stack([site.catchment_row, site.catchment_col])
    owner = _owners(crossings, terrain, site)
    reach = CHAIN_REACH_M / terrain.cell_m
    after, away_cells = first_met(flow.direction, owner, starts, reach)
    return after, away_cells * terrain.cell_m


def _owners(
    crossings: GeoDataFrame, terrain: Terrain, site: SiteFlow
) -> NDArray[np.int32]:
    """Number of the crossing into which flow through a cell goes, -1 none."""
    owner = np.full(terrain.elevation_m.shape, NOBODY, np.int32)
    is_across = crossings["crossing_kind"].to_numpy() != "driveway"
    area_m2 = crossings["catchment_m2"].to_numpy(np.float64)
    known = np.flatnonzero((site.catchment_row >= 0) & is_across)
    ends = site.ends
    reach = max(round(PIPE_REACH_M / terrain.cell_m), 1)
    # Where two reach the same cell the larger stream's comes last and stays.
    for i in known[np.argsort(area_m2[known], kind="stable")]:
        places = [(site.catchment_row[i], site.catchment_col[i])]
        if ends.is_carved[i]:
            places.append((ends.upstream_row[i], ends.upstream_col[i]))
        for row, col in places:
            top, left = max(row - reach, 0), max(col - reach, 0)
            owner[top : row + reach + 1, left : col + reach + 1] = i
    return owner


def _along_ditch(
    crossings: GeoDataFrame,
    site: SiteFlow,
    after: NDArray[np.int64],
    away_m: NDArray[np.float64],
) -> None:
    column = "network_road" if "network_road" in crossings else "road_name"
    road = crossings[column].to_numpy(object)
    # At the crossing's own point the ground may be the road's bank, not the ditch.
    level_m = crossings["dem_elevation_m"].to_numpy(np.float64)
    ditch_m = site.ends.upstream_ground_m
    level_m = np.where(np.isnan(ditch_m), level_m, ditch_m)
    places = np.column_stack([crossings.geometry.x, crossings.geometry.y])
    is_beside = crossings["crossing_kind"].to_numpy() == "driveway"
    along, out_m = _road_sides(places, is_beside, site)
    is_sided = ~(is_beside & np.isnan(out_m))
    known = np.flatnonzero(~np.isnan(level_m) & is_sided & (road != ""))
    if not known.size:
        return
    tree = cKDTree(places[known])
    is_asked = (after == NOBODY) & ~site.has_stream | is_beside
    for i in known[is_asked[known]]:
        near = known[tree.query_ball_point(places[i], DITCH_REACH_M)]
        lower = level_m[near] <= level_m[i] - DITCH_FALL_M
        near = near[lower & (road[near] == road[i])]
        if is_beside[i]:
            near = near[_is_same_side(i, near, places, along, out_m)]
        gap_m = np.hypot(*(places[near] - places[i]).T)
        flow_m = np.inf if after[i] == NOBODY else away_m[i]
        if near.size and gap_m.min() < flow_m:
            after[i], away_m[i] = near[gap_m.argmin()], gap_m.min()


def _road_sides(
    places: NDArray, is_beside: NDArray[np.bool_], site: SiteFlow
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Way along each road, shape (n, 2), and how far right of it the inlet lies [m]."""
    road, ends = site.road, site.ends
    along = np.column_stack([np.sin(road.bearing_rad), np.cos(road.bearing_rad)])
    # The point of a crossing may lie off the road: its pipe tells the side, but the
    # pipe of a driveway runs along the road, and there the point does.
    east_m = np.where(
        is_beside, places[:, 0] - road.foot_x_m, ends.upstream_x_m - ends.downstream_x_m
    )
    north_m = np.where(
        is_beside, places[:, 1] - road.foot_y_m, ends.upstream_y_m - ends.downstream_y_m
    )
    out_m = along[:, 1] * east_m - along[:, 0] * north_m
    return along, np.where(np.abs(out_m) < LEAST_OUT_M, np.nan, out_m)


def _is_same_side(
    i: int, near: NDArray, places: NDArray, along: NDArray, out_m: NDArray
) -> NDArray[np.bool_]:
    # Lines of one road may be drawn either way: both are seen on the way from i.
    way = places[near] - places[i]
    mine = np.sign(way @ along[i]) * np.sign(out_m[i])
    theirs = np.sign((way * along[near]).sum(axis=1)) * np.sign(out_m[near])
    return np.asarray(mine == theirs)


def _without_loops(after: NDArray[np.int64]) -> None:
    for start in range(len(after)):
        here, seen = after[start], 0
        while here not in (NOBODY, start) and seen <= len(after):
            here, seen = after[here], seen + 1
        if here == start:
            after[start] = NOBODY
