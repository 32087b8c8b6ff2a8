"""What the ground gives every crossing: site, road profile, pond, fit of the DEM."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain, read_terrain
from culvertrisk.inputs.share_rasters import read_share
from culvertrisk.inputs.town import TownData
from culvertrisk.stages.dem_fit import dem_fit
from culvertrisk.stages.given_area import add_given_area
from culvertrisk.stages.land_cover import add_land_cover, land_of
from culvertrisk.stages.ponding import PondGround, add_ponding, pond_ground
from culvertrisk.stages.road_profile import add_road_profile, road_profile
from culvertrisk.stages.site import SiteFlow, add_site, site_flow
from culvertrisk.stages.sky import Trees
from culvertrisk.stages.windows import refine_by_window


@dataclass(frozen=True)
class Ground:
    """Flow, and ponds with their road profiles; several steps ask for them."""

    site: SiteFlow
    pond: PondGround


def on_the_ground(
    crossings: gpd.GeoDataFrame, data: TownData
) -> tuple[gpd.GeoDataFrame, Ground, list[str]]:
    """Add the columns of site, given area, land cover, road profile and ponding.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    data : TownData
        Terrain, roads and places, where the town has them.

    Returns
    -------
    crossings : GeoDataFrame
        Same rows, same order.
    ground : Ground
        For chains, catchments and what the map shows.
    misfits : list of str
        What is odd between the DEM and the inventory.

    Raises
    ------
    InputError
        If the DEM certainly does not fit the inventory, or the land cover raster
        cannot be used.
    """
    terrain, roads = data.terrain, data.roads
    site = site_flow(crossings, terrain, roads)
    crossings = add_site(crossings, terrain, site)
    if terrain is not None and terrain.averaged_times > 1:
        fine = _window_reader(crossings, data)
        crossings = refine_by_window(crossings, terrain, roads, fine)
    crossings = add_given_area(crossings, data.settings.design.catchment_m2)
    land = land_of(terrain, data.settings)
    crossings = add_land_cover(crossings, site, land, data.settings)
    name = Path(data.settings.files.dem or "elevation raster").name
    misfits = dem_fit(crossings, terrain, roads, name=name)
    profile = road_profile(crossings, terrain, roads)
    pond = pond_ground(crossings, terrain, site, profile)
    # the pond knows where it meets the road: not always at the road's lowest point
    crossings = add_road_profile(crossings, pond.profile)
    crossings = add_ponding(crossings, terrain, pond, data.places)
    return crossings, Ground(site, pond), misfits


def _window_reader(
    crossings: gpd.GeoDataFrame, data: TownData
) -> Callable[[tuple[float, float, float, float]], Terrain]:
    """Read a window of the DEM at its full resolution, without trees."""
    dem, crs = data.settings.path("dem"), str(crossings.crs)
    if dem is None:
        raise ValueError("terrain without a DEM")
    return lambda bounds: read_terrain(dem, None, crs, bounds, margin_m=0.0)


def trees_of(data: TownData) -> Trees:
    """Return what the town tells of its trees: numbers, and rasters where given.

    Raises
    ------
    InputError
        If a raster cannot be used.
    """
    told, terrain = data.settings.trees, data.terrain
    shares: dict[str, NDArray[np.float32]] = {}
    for key in ("canopy_cover", "deciduous"):
        path = data.settings.path(key)
        if path is not None and terrain is not None:
            shares[key] = read_share(path, terrain)
    return Trees(
        told.leaf_extinction_per_m,
        told.leaf_off_factor,
        shares.get("deciduous", told.deciduous_fraction),
        shares.get("canopy_cover", 1.0),
        told.crown_width_m,
    )
