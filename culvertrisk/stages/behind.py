"""Dwellings and places behind a shut road, and the centre that help comes from."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import Transformer

from culvertrisk.network.detour import cut_off
from culvertrisk.network.graph import Floats, Indexes, RoadNetwork
from culvertrisk.network.placing import nearest_node
from culvertrisk.network.rescue import rescue_delay
from culvertrisk.settings import Settings

PLACE_REACH_M = 1000.0  # longest drive from house to road [m]; common practice
WAY_OUT = "way out"  # kind of a place where a road goes on beyond the road file
CENTRE_KINDS = ("ambulance", "garage", "fire")


@dataclass(frozen=True)
class Behind:
    """What lies behind each asked segment; unknown dwellings are NaN."""

    is_only_way: NDArray[np.bool_]
    dwelling_count: Floats
    people_count: Floats
    rescue_delay_s: Floats
    places: list[str]


def service_centre(
    crossings: gpd.GeoDataFrame, places: gpd.GeoDataFrame | None, settings: Settings
) -> Floats:
    """Find the place from which help comes.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table; its CRS is the work CRS.
    places : GeoDataFrame or None
        Table of ``read_places``.
    settings : Settings
        The town file.

    Returns
    -------
    xy : ndarray, shape (2,)
        The town file's centre; else the first ambulance, garage or fire
        station; else the first crew's yard; else the middle (median) of the
        crossings [m].
    """
    lat, lon = settings.town.centre_lat, settings.town.centre_lon
    if lat is not None and lon is not None:
        return _in_work_crs(lat, lon, crossings)
    if places is not None:
        for kind in CENTRE_KINDS:
            own = places[places["kind"].str.contains(kind, regex=False)]
            if not own.empty:
                return np.array([own.geometry.iloc[0].x, own.geometry.iloc[0].y])
    if settings.crews:
        crew = settings.crews[0]
        return _in_work_crs(crew.start_lat, crew.start_lon, crossings)
    points = crossings.geometry
    return np.array([points.x.median(), points.y.median()])


def behind_each(
    network: RoadNetwork,
    segment: Indexes,
    centre_xy: Floats,
    places: gpd.GeoDataFrame | None,
    people_per_dwelling: float,
) -> Behind:
    """Tell what is cut off from the centre behind each segment.

    Parameters
    ----------
    network : RoadNetwork
        The network.
    segment : ndarray of int, shape (k,)
        Segments, each shut alone.
    centre_xy : ndarray, shape (2,)
        Service centre [m].
    places : GeoDataFrame or None
        Table of ``read_places``.
    people_per_dwelling : float
        Taken where a dwelling's own number of people is unknown.

    Returns
    -------
    behind : Behind
        Per segment. Counts are NaN if no dwelling is known at all. ``places``
        names critical places, and dwellings with needs by number only.

    Notes
    -----
    A place of kind ``way out`` marks where a road goes on beyond the file; those
    places are joined with one another. A place farther than 1 km from every
    road is behind none. Dwellings are never named, since a name there is a
    person's.
    """
    centre = int(nearest_node(network, centre_xy)[0][0])
    tree = cut_off(network, centre, ways_out=_ways_out(network, places))
    first, past = tree.first[segment], tree.past[segment]
    is_only = past > first
    if places is None or places.empty:
        unknown = np.full(len(segment), np.nan)
        return Behind(is_only, unknown, unknown, unknown, [""] * len(segment))
    # either end of its segment will do for a place: only a crossing's own metre
    # of road is ever shut, and there the half on which the place lies decides
    xy = np.column_stack([places.geometry.x, places.geometry.y])
    node, away_m = nearest_node(network, xy)
    near = places.assign(node=node, position=tree.position[node])
    near = near[away_m <= PLACE_REACH_M].sort_values("position", kind="stable")
    low = np.searchsorted(near["position"], first)
    high = np.where(is_only, np.searchsorted(near["position"], past), low)
    told = _told_each(near, first, past)
    if not places["kind"].eq("dwelling").any():
        unknown = np.full(len(segment), np.nan)
        return Behind(is_only, unknown, unknown, unknown, told)
    is_home = near["kind"].eq("dwelling").to_numpy(np.float64)
    people = is_home * near["people_count"].fillna(people_per_dwelling).to_numpy()
    homes = np.bincount(near["node"], is_home, minlength=len(network.node_xy))
    _, late_s, _ = rescue_delay(network, centre, segment, homes)
    home_count, people_count = _sums(is_home, low, high), _sums(people, low, high)
    return Behind(is_only, home_count, people_count, late_s, told)


def _sums(values: Floats, low: Indexes, high: Indexes) -> Floats:
    """Sum of the values from each low up to its high."""
    running = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(running[high] - running[low])


def _in_work_crs(lat: float, lon: float, crossings: gpd.GeoDataFrame) -> Floats:
    to_work = Transformer.from_crs("EPSG:4326", crossings.crs, always_xy=True)
    return np.array(to_work.transform(lon, lat))


def _ways_out(network: RoadNetwork, places: gpd.GeoDataFrame | None) -> Indexes:
    if places is None:
        return np.empty(0, np.int64)
    points = places.geometry[places["kind"] == WAY_OUT]
    return nearest_node(network, np.column_stack([points.x, points.y]))[0]


def _told_each(near: pd.DataFrame, first: Indexes, past: Indexes) -> list[str]:
    told = near[near["kind"].ne("dwelling") | near["needs"].ne("")]
    told = told[told["kind"].ne(WAY_OUT)]
    low = np.searchsorted(told["position"], first)
    high = np.searchsorted(told["position"], past)
    return [
        _told(told.iloc[a:b]) if a < b else "" for a, b in zip(low, high, strict=True)
    ]


def _told(rows: pd.DataFrame) -> str:
    is_home = rows["kind"] == "dwelling"
    others, homes = rows[~is_home], rows[is_home]
    # a name is told only where it cannot be that of who lives there
    has_name = others["name"].ne("") & ~others["kind"].str.contains("dwelling")
    unnamed = others.loc[~has_name, "kind"].value_counts().sort_index()
    needs = homes["needs"].value_counts().sort_index()
    words = sorted(others.loc[has_name, "name"])
    words += [kind if n == 1 else f"{n} {kind}s" for kind, n in unnamed.items()]
    words += [f"{n} dwelling{'s' * (n > 1)}: {need}" for need, n in needs.items()]
    return "; ".join(words)
