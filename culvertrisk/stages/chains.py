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
    inlet or barrel. A crossing without a stream that meets none so drains along its
    ditch: to the nearest crossing of the same road, at most 300 m away, whose ground
    is at least 0.3 m lower. That distance is straight.
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
    level_m = crossings["dem_elevation_m"].to_numpy(np.float64)
    places = np.column_stack([crossings.geometry.x, crossings.geometry.y])
    is_across = crossings["crossing_kind"].to_numpy() != "driveway"
    known = np.flatnonzero(~np.isnan(level_m) & is_across)
    if not known.size:
        return
    tree = cKDTree(places[known])
    for i in known[(after[known] == NOBODY) & ~site.has_stream[known]]:
        near = known[tree.query_ball_point(places[i], DITCH_REACH_M)]
        lower = level_m[near] <= level_m[i] - DITCH_FALL_M
        near = near[lower & (road[near] == road[i]) & (road[i] != "")]
        if near.size:
            gap_m = np.hypot(*(places[near] - places[i]).T)
            after[i], away_m[i] = near[gap_m.argmin()], gap_m.min()


def _without_loops(after: NDArray[np.int64]) -> None:
    for start in range(len(after)):
        here, seen = after[start], 0
        while here not in (NOBODY, start) and seen <= len(after):
            here, seen = after[here], seen + 1
        if here == start:
            after[start] = NOBODY
