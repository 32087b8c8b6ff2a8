"""What is drawn of the ground behind the worst crossings: catchments, ponds, curves."""

from typing import TypedDict

import geopandas as gpd
import pandas as pd

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.catchments import catchment_outlines
from culvertrisk.stages.ground import Ground
from culvertrisk.stages.ponding import pond_outlines
from culvertrisk.stages.rating import rating_for_pages

SHOWN = 200  # worst first: more outlines would only hide the map
CURVES = 2_000  # worst first: more would make the page heavy


class Shapes(TypedDict):
    """Parts of ``MapContent``; None without a DEM."""

    catchments: gpd.GeoDataFrame | None
    ponds: gpd.GeoDataFrame | None
    ratings: pd.DataFrame


def map_shapes(
    crossings: gpd.GeoDataFrame, terrain: Terrain | None, ground: Ground
) -> Shapes:
    """Return outlines and rating curves of the worst crossings.

    Parameters
    ----------
    crossings : GeoDataFrame
        Scored, with ``priority_rank`` and the columns of flood.
    terrain : Terrain or None
        The DEM.
    ground : Ground
        Flow and ponds of the same rows.

    Returns
    -------
    shapes : Shapes
        Outlines in the work CRS, indexed by ``culvert_id``.
    """
    ranked = crossings.sort_values("priority_rank").index
    curves = rating_for_pages(crossings, ranked[:CURVES], ground.pond.profile)
    if terrain is None:
        return {"catchments": None, "ponds": None, "ratings": curves}
    shown = ranked[:SHOWN]
    return {
        "catchments": catchment_outlines(crossings, terrain, ground.site, shown),
        "ponds": pond_outlines(crossings, terrain, ground.pond, shown),
        "ratings": curves,
    }
