"""Why a pond is not known, or where it goes, in words."""

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import COARSE_STEP_M, Terrain
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.road_over_bed import inlet_bed
from culvertrisk.stages.road_profile import (
    LARGEST_CELL_M,
    NOT_ON_ROADS,
    RoadProfile,
    shows_ponds,
)
from culvertrisk.terrain.ponding import Ponds
from culvertrisk.terrain.rising import AT_EDGE, SPILLS, TOO_LARGE, UNKNOWN
from culvertrisk.units import quantity


def spill_doubts(
    crossings: gpd.GeoDataFrame, ponds: Ponds
) -> dict[str, NDArray[np.bool_]]:
    """Why a pond that spills elsewhere is not known, where it is not.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table; the columns of site are used if there.
    ponds : Ponds
        Of the same rows, as the DEM has them.

    Returns
    -------
    doubts : dict of str to ndarray of bool, shape (n,)
        Reason, and where it holds.

    Notes
    -----
    What holds water less deep than the barrel is high, a ditch's block or a bank, the
    DEM does not show for sure. A spill below the bed never reaches the pipe.
    """
    rise_m = crossings["rise_m"].fillna(flood_defaults()["unknown_rise"])
    depth_m = ponds.stage_m[:, -1] - ponds.stage_m[:, 0]
    spills, told = ponds.end == SPILLS, "in the elevation raster "
    return {
        told + "water runs on past the inlet before it stands as high as the pipe": (
            spills & (depth_m < rise_m.to_numpy(float))
        ),
        told + "the pond spills below the bed of the pipe": (
            spills & (ponds.level_m < inlet_bed(crossings))
        ),
    }


def pond_notes(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain | None,
    doubts: dict[str, NDArray[np.bool_]],
    profile: RoadProfile,
    ponds: Ponds,
) -> NDArray[np.object_]:
    """Why each pond is not known, or that it spills.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM.
    doubts : dict of str to ndarray of bool, shape (n,)
        Reasons why a pond's beginning is not known, and where they hold.
    profile : RoadProfile
        The road along each crossing.
    ponds : Ponds
        As the DEM has them.

    Returns
    -------
    notes : ndarray of str, shape (n,)
        Blank where the pond rises to the road.
    """
    off_road = crossings["crossing_kind"].isin(NOT_ON_ROADS).to_numpy(bool)
    depth_m = ponds.stage_m[:, -1] - ponds.stage_m[:, 0]
    reasons = {
        "no elevation raster": terrain is None,
        f"elevation raster too coarse, above {quantity(int(LARGEST_CELL_M), 'm')} "
        f"cells or {quantity(COARSE_STEP_M, 'm', 1)} steps": not shows_ponds(terrain),
        "driveway, bridge or ford": off_road,
        "no road near": profile.line < 0,
        "road outside the elevation raster": profile.sag < 0,
        **doubts,
        "road not above the inlet in the elevation raster": ponds.end == UNKNOWN,
        "water reaches the edge of the elevation raster": ponds.end == AT_EDGE,
        f"water spreads to {quantity(1, 'km')} from the inlet": ponds.end == TOO_LARGE,
        **spill_doubts(crossings, ponds),
    }
    holds = [np.broadcast_to(found, off_road.shape) for found in reasons.values()]
    unknown = [f"pond unknown: {reason}" for reason in reasons]
    at_m = "in the elevation raster the pond spills elsewhere, {} over the inlet"
    spills = [at_m.format(quantity(d, "m", 1)) for d in depth_m]
    known = np.where(ponds.end == SPILLS, np.array(spills, object), "")
    return np.select(holds, unknown, known).astype(object)
