"""Where each pond begins: in the stream's bed, or the low place beside the inlet."""

import numpy as np
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.ends import Ends
from culvertrisk.stages.site import SiteFlow
from culvertrisk.stages.streams import MISPLACED
from culvertrisk.terrain.inflow import lowest_inflow
from culvertrisk.terrain.rising import PondStarts

START_REACH_M = 30.0  # a mapped inlet is off by less; common practice, no source
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def pond_starts(
    terrain: Terrain, site: SiteFlow, road_m: Floats
) -> tuple[PondStarts, Bools]:
    """Cells in which the ponds of all crossings begin.

    Parameters
    ----------
    terrain : Terrain
        The DEM before any cut.
    site : SiteFlow
        What the site stage found.
    road_m : ndarray, shape (n,)
        The road at each crossing [m].

    Returns
    -------
    starts : PondStarts
        In a stream's bed where one is met, else the lowest ground beyond the upstream
        end; row -1 where none was found, or where the road is not above it.
    has_bed : ndarray of bool, shape (n,)
        Where it is a stream's bed.

    Notes
    -----
    The bed is the lowest ground along the stream on the upstream side of the road,
    within 30 m of where they meet. Right before the road the DEM often shows the
    toe of the bank, above the bed; beside it another hollow or the next ditch.
    """
    ends, row, col = site.ends, site.ends.upstream_row, site.ends.upstream_col
    has_bed = np.zeros(len(row), np.bool_)
    if site.flow is not None:
        entry = np.column_stack([site.catchment_row, site.catchment_col])
        entry[~site.has_stream] = -1
        bed = lowest_inflow(
            (site.flow.direction, site.flow.cell_count),
            terrain.elevation_m,
            entry,
            _sides(terrain, ends),
            START_REACH_M / terrain.cell_m,
        )
        has_bed = np.asarray((bed[:, 0] >= 0) & (row >= 0))
        row = np.where(has_bed, bed[:, 0], row)
        col = np.where(has_bed, bed[:, 1], col)
    is_dam = road_m > terrain.elevation_m[row, col]
    found = np.where((row >= 0) & is_dam, row, -1)
    return PondStarts(found, col, road_m), has_bed


def _sides(terrain: Terrain, ends: Ends) -> Floats:
    """Row and column of the middle of each barrel, and the way upstream [cells]."""
    up = np.column_stack(cells(terrain, ends.upstream_x_m, ends.upstream_y_m))
    down = np.column_stack(cells(terrain, ends.downstream_x_m, ends.downstream_y_m))
    return np.column_stack([(up + down) / 2, up - down])


def start_doubts(site: SiteFlow) -> dict[str, Bools]:
    """Why a pond's beginning is not known, where it is not.

    Parameters
    ----------
    site : SiteFlow
        What the site stage found.

    Returns
    -------
    doubts : dict of str to ndarray of bool, shape (n,)
        Reason, and where it holds.
    """
    return {
        "ground at the inlet not found": np.asarray(site.ends.upstream_row < 0),
        "mapped off its road": np.asarray(site.stream_note == MISPLACED),
        "the elevation raster does not tell which side the water comes from": (
            ~site.ends.is_told
        ),
    }
