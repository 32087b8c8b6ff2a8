"""Outlines of catchments for the map."""

from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

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
        mask = upstream_mask(site.flow.direction, row, col)
        shapes[culvert_id] = _outline(mask, terrain)
    index = pd.Index([*shapes], name="culvert_id", dtype=object)
    return gpd.GeoDataFrame(geometry=[*shapes.values()], index=index, crs=terrain.crs)


def _outline(mask: NDArray[np.bool_], terrain: Terrain) -> shapely.Geometry:
    grid = terrain.transform
    padded = np.pad(mask, ((0, 0), (1, 1)))
    rows, turns = np.nonzero(np.diff(padded.astype(np.int8), axis=1))
    # Each row's runs of cells are boxes; starts and ends follow one another.
    rows, starts, ends = rows[::2], turns[::2], turns[1::2]
    west, east = grid.c + starts * grid.a, grid.c + ends * grid.a
    north, south = grid.f + rows * grid.e, grid.f + (rows + 1) * grid.e
    whole = shapely.union_all(shapely.box(west, south, east, north))
    return shapely.simplify(whole, terrain.cell_m)
