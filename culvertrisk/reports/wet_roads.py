"""Roads that flood although the pipe is open: what to sign, and what no truck fords."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.plans.not_reached import other_owner
from culvertrisk.reports import amounts
from culvertrisk.reports.exports import outlet_ends
from culvertrisk.stages.closure_loss import OFF_ROAD_KIND
from culvertrisk.stages.flood_weather import flood_defaults

if TYPE_CHECKING:
    from culvertrisk.reports.map_data import MapContent

# m; a recorded point lies this far off the line driven; common practice, no source
ON_WAY_M = 15.0
_SIGN_OWNER = "Owner: {}. Call before you sign."


def floods_open(crossings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the crossings that today's water likely goes over with the pipe open.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table; none is told where ``flooded_open_chance`` is missing.

    Returns
    -------
    wet : GeoDataFrame
        Those with a chance of ``wet_road_chance`` or more, the greatest
        ``loss_person_h`` first; an unknown one is the last.
    """
    chance = _column(crossings, "flooded_open_chance")
    wet = crossings[chance >= flood_defaults()["wet_road_chance"]]
    loss = _column(wet, "loss_person_h").sort_values(ascending=False, kind="stable")
    return wet.loc[loss.index]


def sign_rows(content: MapContent) -> list[dict[str, Any]]:
    """Return what is to be signed because opening does not help, worst first.

    Parameters
    ----------
    content : MapContent
        Crossings of the morning.

    Returns
    -------
    rows : list of dict
        Keys ``id``, ``road``, ``where``, ``owner``, ``kind`` (a driveway or blank),
        ``from_hour``, ``deep`` and ``traffic``; the unknown is told as such, but
        ``deep`` is blank then.
    """
    wet = floods_open(content.crossings)
    rows = pd.DataFrame(wet.drop(columns=wet.geometry.name)).to_dict("records")
    return [
        {
            "id": str(culvert_id),
            "road": _road(row),
            "where": f"{end.y:.5f}, {end.x:.5f}",
            "owner": _SIGN_OWNER.format(told)
            if (told := other_owner(row.get("owner")))
            else "",
            "kind": OFF_ROAD_KIND if row.get("crossing_kind") == OFF_ROAD_KIND else "",
            "from_hour": _hour(row),
            "deep": _deep(row.get("over_road_depth_m", np.nan)),
            "traffic": _traffic(row.get("daily_traffic_count", np.nan)),
        }
        for culvert_id, end, row in zip(wet.index, outlet_ends(wet), rows, strict=True)
    ]


def wet_on_way(content: MapContent, stop: dict[Any, Any]) -> list[str]:
    """Say where water is likely over the road on the way to one stop of a truck.

    Parameters
    ----------
    content : MapContent
        Crossings and the lines driven to each stop.
    stop : dict
        A row of the plan's stops: ``crew``, ``stop_number``, ``culvert_id`` and
        ``arrive_s`` [s].

    Returns
    -------
    told : list of str
        One sentence a crossing within ``ON_WAY_M`` of the line whose water comes by
        the arrival, the earliest first. The hour of the pass itself is not known, so
        water that comes during the drive counts. Driveways lie beside the road.
    """
    routes, wet = content.routes, floods_open(content.crossings)
    if routes is None or wet.empty or "water_over_road_open_s" not in wet:
        return []
    is_leg = (routes["crew"] == stop["crew"]) & (
        routes["stop_number"] == stop["stop_number"]
    )
    way = routes.geometry[is_leg].union_all()
    is_road = _column(wet, "crossing_kind") != OFF_ROAD_KIND
    is_by_then = wet["water_over_road_open_s"] <= stop["arrive_s"]
    is_on_way = wet.geometry.distance(way) <= ON_WAY_M  # NaN without a line
    on_way = wet[is_road & is_by_then & is_on_way]
    on_way = on_way.sort_values("water_over_road_open_s", kind="stable")
    rows = pd.DataFrame(on_way.drop(columns=on_way.geometry.name)).to_dict("records")
    return [
        _wet_words(str(culvert_id), row, is_stop=culvert_id == stop["culvert_id"])
        for culvert_id, row in zip(on_way.index, rows, strict=True)
    ]


def _wet_words(culvert_id: str, row: dict[Any, Any], *, is_stop: bool) -> str:
    hour = amounts.time_of_day(row["water_over_road_open_s"])
    if is_stop:
        return (
            f"Water likely over the road at this stop from {hour}: halt short of it, "
            "do not drive in."
        )
    road = f" ({_road(row)})" if _road(row) else ""
    return (
        f"Water likely over the road on the way at {culvert_id}{road} from {hour}: do "
        "not drive through, go round."
    )


def _column(crossings: gpd.GeoDataFrame, name: str) -> pd.Series[Any]:
    return crossings.get(name, pd.Series(np.nan, index=crossings.index))


def _road(row: dict[Any, Any]) -> str:
    told = row.get("road_name")
    return told if isinstance(told, str) else ""


def _hour(row: dict[Any, Any]) -> str:
    """From when, pipe open; the earlier hour of a shut one, for whoever signs."""
    open_s = row.get("water_over_road_open_s", np.nan)
    shut_s = row.get("water_over_road_blocked_s", np.nan)
    told = "hour not known"
    if not pd.isna(open_s):
        told = f"from about {amounts.time_of_day(open_s)}"
    if pd.isna(shut_s) or shut_s >= open_s:
        return told
    return f"{told}, {amounts.time_of_day(shut_s)} if shut"


def _deep(depth_m: float) -> amounts.Amount:
    """Depth if nothing passes; an open pipe takes some of it, which is not counted."""
    if pd.isna(depth_m) or depth_m <= 0:
        return amounts.Amount("", "")
    return amounts.depth(depth_m)


def _traffic(vehicles: float) -> str:
    return "not known" if pd.isna(vehicles) else f"{vehicles:,.0f}"
