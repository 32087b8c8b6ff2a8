"""Who must go round, who is cut off, and what a shut road costs in person-hours."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from culvertrisk.inputs.road_names import road_key
from culvertrisk.network.detour import way_round
from culvertrisk.network.graph import Floats, Indexes, RoadNetwork, build_network
from culvertrisk.network.placing import (
    CROSSING_REACH_M,
    named_segment,
    place_along,
    split_at,
)
from culvertrisk.settings import Settings
from culvertrisk.stages.behind import behind_each, service_centre
from culvertrisk.stages.closure_loss import closure_loss, is_driveway

Columns = dict[str, NDArray[Any]]

NEAR_M = 300.0  # dwellings that see water on the road and call; common practice


@dataclass(frozen=True)
class OnRoads:
    """The road network with every crossing on its own segment; n crossings."""

    network: RoadNetwork
    segment: Indexes  # own segment; -1 off the road
    road: Indexes  # row of the roads table; -1 out of reach
    distance_m: Floats


def add_access(
    crossings: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None,
    places: gpd.GeoDataFrame | None,
    settings: Settings,
    *,
    on_roads: OnRoads | None = None,
) -> gpd.GeoDataFrame:
    """Add the road, its traffic, the way round and who is cut off.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    roads : GeoDataFrame or None
        Table of ``read_roads``; None if the town has no road file.
    places : GeoDataFrame or None
        Table of ``read_places``; None if the town has no such file.
    settings : Settings
        The town file: road classes, service centre, closure time.
    on_roads : OnRoads, optional
        What :func:`put_on_roads` gave for the same rows; worked out here without it.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``access``; same rows, same order.

    Notes
    -----
    Each crossing is shut alone. It lies on the road of its ``road_name`` where one
    is within 60 m, else on the nearest. A crossing farther than 60 m from every road
    is on none: its columns stay unknown. ``detour_s`` is the way from one side
    of the crossing to the other, the most that any trip over it loses, and so
    ``consequence_person_h`` is an upper estimate:

    - traffic goes round, or waits half the closure where that is less (see
      ``formulas/delay``);
    - where no way round is known, the traffic of the dwellings behind waits (10
      vehicles a day each, at most all; 200 vehicles where no dwelling is known).
      The rest must leave the road file somewhere, such as at the town line, and
      is taken to lose the town's median way round;
    - people in dwellings behind an only way are isolated for the closure.

    Without dwellings in the places file the last part is left out and
    ``cut_off_dwelling_count`` is unknown. A driveway pipe shuts one dwelling
    (assumed) and no road. "Only way" ignores one-way signs, as rescue may; the
    detour obeys them. A road that the file ends at the town line counts as a
    dead end, unless the places file marks two or more such ends as ``way out``:
    these are taken to be joined outside, by a way of unknown length.
    """
    columns = _unknown(crossings)
    columns["near_dwelling_count"] = _near_dwellings(crossings, places)
    at = on_roads or put_on_roads(roads, crossings, settings)
    if at is not None and roads is not None:
        columns |= _road_columns(at, crossings, roads, settings)
        on = np.flatnonzero(at.segment >= 0)
        _add_ways_round(columns, at, on)
        centre_xy = service_centre(crossings, places, settings)
        each = settings.prices.people_per_dwelling
        behind = behind_each(at.network, at.segment[on], centre_xy, places, each)
        columns["is_only_way"][on] = behind.is_only_way
        columns["cut_off_dwelling_count"][on] = behind.dwelling_count
        columns["cut_off_places"][on] = behind.places
        columns["rescue_delay_s"][on] = behind.rescue_delay_s
        columns["cut_off_people_count"][on] = behind.people_count
    driveway = is_driveway(crossings)
    columns["is_only_way"][driveway] = 1.0
    columns["cut_off_dwelling_count"][driveway] = 1.0
    columns["cut_off_people_count"][driveway] = settings.prices.people_per_dwelling
    found = crossings.assign(**columns)
    hours = closure_loss(found, settings.prices.closure_s, settings)
    return found.assign(consequence_person_h=hours)


def _near_dwellings(
    crossings: gpd.GeoDataFrame, places: gpd.GeoDataFrame | None
) -> Floats:
    """Dwellings within 300 m; unknown where none is on file or the place is not."""
    at = np.column_stack([crossings.geometry.x, crossings.geometry.y])
    counts = np.full(len(crossings), np.nan)
    homes = None if places is None else places[places["kind"] == "dwelling"]
    if homes is None or homes.empty:
        return counts
    tree = cKDTree(np.column_stack([homes.geometry.x, homes.geometry.y]))
    known = np.isfinite(at).all(axis=1)
    counts[known] = tree.query_ball_point(at[known], NEAR_M, return_length=True)
    return counts


def _add_ways_round(columns: Columns, at: OnRoads, on: Indexes) -> None:
    seconds, metres = way_round(at.network, at.segment[on])
    columns["segment_index"][on] = at.segment[on]
    columns["detour_s"][on] = np.maximum(seconds, 0.0)
    columns["detour_m"][on] = np.maximum(metres, 0.0)


def put_on_roads(
    roads: gpd.GeoDataFrame | None, crossings: gpd.GeoDataFrame, settings: Settings
) -> OnRoads | None:
    """Build the town's road network with every crossing on its own segment.

    Parameters
    ----------
    roads : GeoDataFrame
        Table of ``read_roads``.
    crossings : GeoDataFrame
        The crossings table.
    settings : Settings
        The town file: winter speed by road class.

    Returns
    -------
    on_roads : OnRoads or None
        The segments of its network are those of ``segment_index``; None without roads
        or crossings.

    Notes
    -----
    The speed is the winter speed of the road's class, or the posted speed
    where that is lower. Roads of a class that the town file does not have
    take their posted speed, and the default class's where none is known.
    """
    if roads is None or roads.empty or crossings.empty:
        return None
    whole = build_network(roads, _speeds(roads, settings))
    xy = np.column_stack([crossings.geometry.x, crossings.geometry.y])
    names = _name_numbers(crossings, roads)
    near = named_segment(whole, xy, *names, reach_m=CROSSING_REACH_M)
    _, distance_m = place_along(whole, xy, near)
    road = np.where(distance_m <= CROSSING_REACH_M, whole.road_index[near], -1)
    on_road_xy = np.where(is_driveway(crossings)[:, None], np.nan, xy)
    network, segment, _ = split_at(whole, on_road_xy, segment=near)
    return OnRoads(network, segment, road, distance_m)


def _name_numbers(
    crossings: gpd.GeoDataFrame, roads: gpd.GeoDataFrame
) -> tuple[Indexes, Indexes]:
    # near a junction the nearest road may be the other one; the name tells
    names = pd.concat([crossings["road_name"], roads["road_name"]], ignore_index=True)
    plain = names.map(road_key)
    numbers = pd.factorize(plain.where(plain != ""))[0].astype(np.int64)
    return numbers[: len(crossings)], numbers[len(crossings) :]


def _speeds(roads: gpd.GeoDataFrame, settings: Settings) -> Floats:
    classes = roads["road_class"]
    winter_m_s = np.array([settings.road_class(name).speed_m_s for name in classes])
    posted_m_s = roads["speed_m_s"].to_numpy(np.float64)
    is_known = classes.isin([*settings.road_classes]).to_numpy()
    stated_m_s = np.where(np.isnan(posted_m_s), winter_m_s, posted_m_s)
    return np.where(is_known, np.fmin(winter_m_s, posted_m_s), stated_m_s)


def _road_columns(
    at: OnRoads,
    crossings: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame,
    settings: Settings,
) -> Columns:
    near = at.road >= 0
    names, surfaces = (
        np.where(near, roads[name].to_numpy(object)[at.road], "")
        for name in ("road_name", "surface")
    )
    of_road = np.where(near, roads["road_class"].to_numpy(object)[at.road], "")
    pairs = zip(crossings["road_class"], of_road, strict=True)
    chosen = [_class(own, other, settings) for own, other in pairs]
    usual = np.array([settings.road_class(name).daily_traffic_count for name in chosen])
    counted = roads["daily_traffic_count"].to_numpy(np.float64)[at.road]
    traffic = np.where(np.isnan(counted), usual, counted)
    return {
        "road_distance_m": at.distance_m,
        "daily_traffic_count": np.where(at.segment >= 0, traffic, np.nan),
        "network_class": np.where(near, np.array(chosen, object), ""),
        "network_road": names,
        "network_surface": surfaces,
    }


def _class(own: Any, of_road: Any, settings: Settings) -> str:
    # a word that the town file knows goes before one that it does not
    names = [str(name) for name in (own, of_road) if not pd.isna(name) and name != ""]
    known = [name for name in names if name in settings.road_classes]
    return next(iter(known + names), "")


def _unknown(crossings: gpd.GeoDataFrame) -> Columns:
    names = ["segment_index", "road_distance_m", "daily_traffic_count", "detour_m"]
    names += ["detour_s", "is_only_way", "rescue_delay_s"]
    names += ["cut_off_dwelling_count", "cut_off_people_count"]
    texts = ("cut_off_places", "network_class", "network_road", "network_surface")
    count = len(crossings)
    unknown: Columns = {name: np.full(count, np.nan) for name in names}
    return unknown | {name: np.full(count, "", object) for name in texts}
