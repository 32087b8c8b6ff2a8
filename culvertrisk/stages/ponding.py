"""The pond behind each road: how deep, how large, and whom it reaches."""

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.pond_marks import pond_marks, road_cells
from culvertrisk.stages.pond_notes import pond_notes, spill_doubts
from culvertrisk.stages.pond_starts import START_REACH_M, pond_starts, start_doubts
from culvertrisk.stages.road_profile import RoadProfile, crests_around
from culvertrisk.stages.site import SiteFlow
from culvertrisk.terrain.ponding import Ponds, fill_ponds, lowest_starts, pond_cells
from culvertrisk.terrain.rising import (
    AT_ROAD,
    SPILLS,
    UNKNOWN,
    PondMarks,
    PondStarts,
)

STAGE_COUNT = 8  # of the stage-area-volume table
_BLANK = {
    "end": UNKNOWN, "level_m": np.nan, "stage_m": np.nan, "area_m2": np.nan,
    "volume_m3": np.nan, "box": -1, "over": -1,
}  # fmt: skip
DWELLING = "dwelling"  # kind of place that is counted
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PondGround:
    """What the ponds of n crossings are flooded from; worked out once.

    ``starts`` and ``marks`` are their inlets, roads and neighbours; ``ponds`` the
    stage-area-volume tables; ``profile`` the road along each, its sag now where the
    pond goes over; ``notes``, shape (n,), why a pond is not known, or that it spills;
    blank where it rises to the road.
    """

    starts: PondStarts
    marks: PondMarks
    ponds: Ponds
    profile: RoadProfile
    notes: NDArray[np.object_]


def pond_ground(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    site: SiteFlow,
    profile: RoadProfile,
) -> PondGround:
    """Flood the ground behind each road up to where water goes over it.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM before any cut: roads stand as dams.
    site : SiteFlow
        Ends of the barrels and streams, as the site stage found them.
    profile : RoadProfile
        The road along each crossing.

    Returns
    -------
    ground : PondGround
        For :func:`add_ponding`, :func:`stage_storage` and :func:`pond_outlines`.

    Notes
    -----
    The crossed road holds water back at its own elevation all along its line, even
    between the cells of the DEM; water goes over where the pond first reaches it, which
    is its sag unless ground between keeps water from there. The pond begins in the bed
    of the stream above the road, else at the lowest ground that water runs to within
    30 m of the upstream end. Other pipes under the same road more than 30 m away take
    what reaches their inlets. Where it is not known which side the water comes from,
    where the place is wrong, or where the pond spills below the bed or before it is as
    deep as the barrel is high, so that the DEM does not show what holds it, the pond is
    not known.
    """
    ground_m, cell_m = np.full((1, 1), np.nan, np.float32), 1.0
    nowhere = np.full(len(crossings), -1, np.int64)
    road_m = profile.elevation_m[:, profile.elevation_m.shape[1] // 2]
    starts, has_bed = PondStarts(nowhere, nowhere, road_m), nowhere >= 0
    if terrain is not None:
        ground_m, cell_m = terrain.elevation_m, terrain.cell_m
        starts, has_bed = pond_starts(terrain, site, road_m)
    marks = pond_marks(crossings, terrain, starts, profile)
    row, col = lowest_starts(ground_m, starts, marks, START_REACH_M / cell_m)
    doubts = start_doubts(site)
    row = np.where(has_bed, starts.row, row)
    row[np.logical_or.reduce([*doubts.values()])] = -1
    starts = PondStarts(row, np.where(has_bed, starts.col, col), road_m)
    ponds = fill_ponds(ground_m, starts, marks, cell_m=cell_m, stage_count=STAGE_COUNT)
    notes = pond_notes(crossings, terrain, doubts, profile, ponds)
    unsure = np.logical_or.reduce([*spill_doubts(crossings, ponds).values()])
    ponds = _without(ponds, unsure)
    profile = _with_overflow(profile, terrain, ponds)
    return PondGround(starts, marks, ponds, profile, notes)


def _without(ponds: Ponds, is_unknown: NDArray[np.bool_]) -> Ponds:
    """The ponds, some of them not known."""
    blank = {name: getattr(ponds, name).copy() for name in _BLANK}
    for name, nothing in _BLANK.items():
        blank[name][is_unknown] = nothing
    return dataclasses.replace(ponds, **blank)


def add_ponding(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    ground: PondGround,
    places: gpd.GeoDataFrame | None = None,
) -> gpd.GeoDataFrame:
    """Add depth, area and volume of the full pond and the dwellings inside it.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM given to :func:`pond_ground`.
    ground : PondGround
        What :func:`pond_ground` gave for the same rows.
    places : GeoDataFrame or None
        Points or polygons in the work CRS; those whose ``kind`` is dwelling are
        counted, all where there is no such column.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``ponding``; same rows, same order.
    """
    ponds = ground.ponds
    is_known = np.isin(ponds.end, (AT_ROAD, SPILLS))
    does_spill = ponds.end == SPILLS
    return crossings.assign(
        pond_depth_m=ponds.stage_m[:, -1] - ponds.stage_m[:, 0],
        pond_area_m2=ponds.area_m2[:, -1],
        pond_volume_m3=ponds.volume_m3[:, -1],
        pond_spills_first=np.where(is_known, does_spill.astype(float), np.nan),
        pond_level_m=ponds.level_m,
        pond_dwelling_count=_dwellings(crossings, terrain, ground, places),
        pond_note=ground.notes,
    )


def stage_storage(ground: PondGround) -> tuple[Floats, Floats, Floats]:
    """Stage-area-volume table of each crossing's pond.

    Parameters
    ----------
    ground : PondGround
        What :func:`pond_ground` gave.

    Returns
    -------
    stage_m, area_m2, volume_m3 : ndarray, shape (n, 8)
        Eight even stages from the inlet's ground to the full pond, area and volume
        below each; NaN where the pond is not known [m, m2, m3].
    """
    ponds = ground.ponds
    return ponds.stage_m, ponds.area_m2, ponds.volume_m3


def pond_outlines(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain,
    ground: PondGround,
    culvert_ids: Iterable[str],
) -> gpd.GeoDataFrame:
    """Outlines of the full ponds of some crossings, along the cells.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table given to :func:`pond_ground`.
    terrain : Terrain
        The DEM.
    ground : PondGround
        What :func:`pond_ground` gave.
    culvert_ids : iterable of str
        Crossings wanted; those without a pond are left out.

    Returns
    -------
    outlines : GeoDataFrame, indexed by culvert_id
        Polygons in the work CRS, with the ``pond_level_m`` of each [m].
    """
    shapes, levels_m = {}, []
    for culvert_id in culvert_ids:
        which = crossings.index.get_loc(culvert_id)
        if ground.ponds.area_m2[which, -1] > 0:
            shapes[culvert_id] = _outline(terrain, ground, which)
            levels_m.append(ground.ponds.level_m[which])
    index = pd.Index([*shapes], name="culvert_id", dtype=object)
    return gpd.GeoDataFrame(
        {"pond_level_m": np.array(levels_m, float)},
        geometry=[*shapes.values()],
        index=index,
        crs=terrain.crs,
    )


def _outline(terrain: Terrain, ground: PondGround, which: int) -> shapely.Geometry:
    rows, cols = pond_cells(
        terrain.elevation_m, ground.starts, ground.marks, terrain.cell_m, which
    )
    order = np.lexsort((cols, rows))
    rows, cols = rows[order], cols[order]
    # Runs of cells along each row are boxes.
    is_first = np.r_[True, (np.diff(rows) != 0) | (np.diff(cols) != 1)]
    is_last = np.r_[is_first[1:], True]
    grid = terrain.transform
    west, east = grid.c + cols[is_first] * grid.a, grid.c + (cols[is_last] + 1) * grid.a
    north = grid.f + rows[is_first] * grid.e
    return shapely.union_all(shapely.box(west, north + grid.e, east, north))


def _with_overflow(
    profile: RoadProfile, terrain: Terrain | None, ponds: Ponds
) -> RoadProfile:
    """The profile with its sag moved to where each pond goes over, within crests."""
    if terrain is None:
        return profile
    rows, cols = road_cells(profile, terrain)
    middle = profile.elevation_m.shape[1] // 2
    is_over = (rows == ponds.over[:, :1]) & (cols == ponds.over[:, 1:])
    is_over &= (ponds.over[:, :1] >= 0) & (rows >= 0)
    lowest = np.argmin(np.where(is_over, profile.elevation_m, np.inf), axis=1)
    sag = np.where(ponds.end == AT_ROAD, middle, profile.sag)
    sag = np.where(is_over.any(axis=1), lowest, sag)
    moved = np.flatnonzero((sag != profile.sag) & (sag >= 0))
    crests = profile.crests.copy()
    crests[moved] = crests_around(profile.elevation_m[moved], sag[moved])
    return dataclasses.replace(profile, sag=sag, crests=crests)


def _dwellings(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    ground: PondGround,
    places: gpd.GeoDataFrame | None,
) -> Floats:
    count = np.full(len(crossings), np.nan)
    if places is None or terrain is None:
        return count
    if "kind" in places:
        places = places[places["kind"] == DWELLING]
    tree = shapely.STRtree(places.geometry.to_numpy())
    grid, box = terrain.transform, ground.ponds.box
    count[~np.isnan(ground.ponds.area_m2[:, -1])] = 0
    wet = np.flatnonzero(ground.ponds.area_m2[:, -1] > 0)
    edges = shapely.box(
        grid.c + box[wet, 2] * grid.a,
        grid.f + (box[wet, 1] + 1) * grid.e,
        grid.c + (box[wet, 3] + 1) * grid.a,
        grid.f + box[wet, 0] * grid.e,
    )
    for which in wet[np.unique(tree.query(edges, predicate="intersects")[0])]:
        outline = _outline(terrain, ground, which)
        count[which] = len(tree.query(outline, predicate="intersects"))
    return count
