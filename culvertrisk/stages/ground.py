"""What the ground gives every crossing: site, road profile, pond, fit of the DEM."""

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd

from culvertrisk.inputs.town import TownData
from culvertrisk.stages.dem_fit import dem_fit
from culvertrisk.stages.ponding import PondGround, add_ponding, pond_ground
from culvertrisk.stages.road_profile import (
    RoadProfile,
    add_road_profile,
    road_profile,
)
from culvertrisk.stages.site import SiteFlow, add_site, site_flow


@dataclass(frozen=True)
class Ground:
    """Flow, road profiles and ponds, worked out once and asked by several steps."""

    site: SiteFlow
    profile: RoadProfile
    pond: PondGround


def on_the_ground(
    crossings: gpd.GeoDataFrame, data: TownData
) -> tuple[gpd.GeoDataFrame, Ground, list[str]]:
    """Add the columns of site, road profile and ponding.

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
        If the DEM certainly does not fit the inventory.
    """
    terrain, roads = data.terrain, data.roads
    site = site_flow(crossings, terrain, roads)
    crossings = add_site(crossings, terrain, site)
    name = Path(data.settings.files.dem or "elevation raster").name
    misfits = dem_fit(crossings, terrain, roads, name=name)
    profile = road_profile(crossings, terrain, roads)
    crossings = add_road_profile(crossings, profile)
    pond = pond_ground(crossings, terrain, site.ends, profile)
    crossings = add_ponding(crossings, terrain, pond, data.places)
    return crossings, Ground(site, profile, pond), misfits
