"""Driving between the places of a morning: times for the plan, lines for the map."""

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import Transformer

from culvertrisk.network.graph import RoadNetwork
from culvertrisk.network.placing import CROSSING_REACH_M
from culvertrisk.network.travel import paths, travel_times
from culvertrisk.plans.travel import CREW, FILL, Travel
from culvertrisk.settings import Settings

MOST_PLACES = 250  # crossings that the driving table is made for, worst first

Floats = NDArray[np.float64]


def places_of(crossings: gpd.GeoDataFrame, settings: Settings) -> dict[str, Floats]:
    """Return where the morning may stop, in the work CRS.

    Parameters
    ----------
    crossings : GeoDataFrame
        With ``loss_avoided_person_h`` and ``road_distance_m``.
    settings : Settings
        Yards of the crews and fill points.

    Returns
    -------
    places : dict of str to ndarray, shape (2,)
        By place id, as in ``Travel``: crews, fill points, then the crossings that lie
        on a road and have a loss to avoid, the largest first [m].
    """
    to_work = Transformer.from_crs("EPSG:4326", crossings.crs, always_xy=True)
    yards = {CREW + c.name: (c.start_lon, c.start_lat) for c in settings.crews}
    fills = {FILL + f.name: (f.lon, f.lat) for f in settings.fill_points}
    fixed = {
        name: np.array(to_work.transform(*lon_lat))
        for name, lon_lat in (yards | fills).items()
    }
    worth = crossings[
        (crossings["loss_avoided_person_h"] > 0)
        & (crossings["road_distance_m"] <= CROSSING_REACH_M)
    ].sort_values("loss_avoided_person_h", ascending=False, kind="stable")
    stops = {
        str(culvert_id): np.array([point.x, point.y])
        for culvert_id, point in worth.geometry.head(MOST_PLACES).items()
    }
    return fixed | stops


def travel_of(network: RoadNetwork, places: Mapping[str, Floats]) -> Travel:
    """Return the driving times and lengths between all places.

    Parameters
    ----------
    network : RoadNetwork
        The town's roads.
    places : mapping of str to ndarray, shape (2,)
        Place ids and where they lie [m].

    Returns
    -------
    travel : Travel
        At the winter speed of each road; infinite where there is no way.
    """
    seconds, metres = travel_times(network, np.array([*places.values()]))
    return Travel(tuple(places), seconds, metres)


def route_lines(
    network: RoadNetwork, places: Mapping[str, Floats], stops: pd.DataFrame, crs: str
) -> gpd.GeoDataFrame:
    """Return the way driven to each stop as a line.

    Parameters
    ----------
    network : RoadNetwork
        The town's roads.
    places : mapping of str to ndarray, shape (2,)
        Where the places lie [m].
    stops : DataFrame
        The plan's stops, in order for each crew.
    crs : str
        The work CRS.

    Returns
    -------
    routes : GeoDataFrame
        Columns ``crew``, ``stop_number`` (the stop driven to) and the line; legs
        without driving are left out.
    """
    before = stops.groupby("crew", sort=False)["place_id"].shift()
    legs = stops.assign(from_id=before).dropna(subset="from_id")
    lines = paths(
        network,
        [
            (places[str(row.from_id)], places[str(row.place_id)])
            for row in legs.itertuples()
        ],
    )
    routes = gpd.GeoDataFrame(
        legs[["crew", "stop_number"]].reset_index(drop=True), geometry=lines, crs=crs
    )
    return routes[~routes.is_empty].reset_index(drop=True)
