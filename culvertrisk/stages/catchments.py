"""Outlines of catchments for the map."""

from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely.geometry
from affine import Affine
from numpy.typing import NDArray
from rasterio import features

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.site import SiteFlow
from culvertrisk.terrain.downstream import upstream_mask


def catchment_outlines(
    crossings: gpd.GeoDataFrame,
    terrain: Terrain,
    site: SiteFlow,
    culvert_ids: Iterable[str],
) -> gpd.GeoDataFrame:
    """Outlines of the catchments of some crossings, simplified to a cell.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table given to :func:`~culvertrisk.stages.site.site_flow`.
    terrain : Terrain
        The DEM.
    site : SiteFlow
        What :func:`~culvertrisk.stages.site.site_flow` gave.
    culvert_ids : iterable of str
        Crossings wanted; those without a catchment are left out.

    Returns
    -------
    outlines : GeoDataFrame, indexed by culvert_id
        Polygons in the work CRS.
    """
    shapes = {}
    for culvert_id in culvert_ids:
        place = crossings.index.get_loc(culvert_id)
        row, col = site.catchment_row[place], site.catchment_col[place]
        if site.flow is None or row < 0:
            continue
        mask, top, left = upstream_mask(site.flow.direction, row, col)
        grid = terrain.transform @ Affine.translation(left, top)
        shapes[culvert_id] = shapely.simplify(_outline(mask, grid), terrain.cell_m)
    index = pd.Index([*shapes], name="culvert_id", dtype=object)
    return gpd.GeoDataFrame(geometry=[*shapes.values()], index=index, crs=terrain.crs)


def _outline(mask: NDArray[np.bool_], grid: Affine) -> shapely.Geometry:
    parts = features.shapes(mask.astype(np.uint8), mask=mask, transform=grid)
    # Parts of it touch at corners only, so they are one whole as they are.
    shapes = np.array([shapely.geometry.shape(part) for part, _ in parts], object)
    whole: shapely.Geometry = shapely.multipolygons(shapes)  # type: ignore[assignment]
    return whole
