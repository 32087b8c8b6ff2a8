"""Consequence of water: how deep, how long and with what danger it goes over a road."""

from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.road_flow import Road, balanced_headwater
from culvertrisk.settings import Settings
from culvertrisk.stages.closure_loss import closure_loss
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.pond_room import spill_notes
from culvertrisk.stages.rating import (
    open_headwater,
    profile_of,
    road_lengths,
    under_water_length,
    weir_curves,
)
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.stages.today_hours import day_clock, day_flow, row_slices
from culvertrisk.stages.washout import known_paved, washout_classes
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, HOUR_S, to_unit

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]


class Night(NamedTuple):
    """Whether the night after the day asked freezes, and what was assumed for it."""

    is_frost: bool
    note: str = ""


class _OverRoad(NamedTuple):
    """Greatest flow over the road if nothing passes, and when its water ends.

    ``ends_s`` is in seconds of the day asked, past ``DAY_S`` on the day after; all of
    shape (n,).
    """

    flow_m3s: Floats
    ends_s: Floats


def coming_night(weather: pd.DataFrame, on: date) -> Night:
    """Tell whether the night after the day asked freezes.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    on : date
        The day asked.

    Returns
    -------
    night : Night
        By the low of the day after; where it is unknown by that of the day itself,
        and frost where neither is known, which the note says.
    """
    days = pd.DatetimeIndex([on + timedelta(days=1), on])
    lows_c = weather["air_min_c"].reindex(days)
    known_c = lows_c.dropna()
    if known_c.empty:
        return Night(True, "closure: low of the coming night unknown, frost assumed")
    is_frost = bool(known_c.iloc[0] < 0)
    if known_c.index[0] == lows_c.index[0]:
        return Night(is_frost)
    note = "closure: low of the coming night unknown, that of the day taken"
    return Night(is_frost, note)


def add_consequence(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    night: Night,
    *,
    profile: RoadProfile | None = None,
) -> GeoDataFrame:
    """Add depth and length of water over the road, closure, loss and washout danger.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, access, flood and today_hours.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Runoff shares, hours of the rain, people in a vehicle.
    night : Night
        Where it freezes, water on the road turns to ice.
    profile : RoadProfile, optional
        The road along the same rows; without it the road rises at an assumed grade.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``consequence`` but for the design storm's; 0 where
        today's water does not fill the pond or leaves it over lower ground first, NaN
        or blank where not known and at bridges and fords.

    Notes
    -----
    Nothing passes the pipe: from the hour the pond is full all of the flow goes over
    the sag, as over a broad-crested weir of gravel. The road is shut from then until
    the flow has fallen to ``least_flow_fraction`` of its peak, past midnight too but
    not past the day after, then for inspection, and where the night freezes for
    treating the ice. Left out: when a crew opens the pipe, which no one knows yet; the
    water above the road on the pond, which draws the end out; repair of a washout.

    ``flooded_closure_s`` is the closure if water does go over the road today: by the
    middle of the cases in which it does, which begin at ``half_flooded_s``. By it
    ``flooded_loss_person_h`` is reckoned; by the town's closure where it is unknown.
    """
    over = _over_road(crossings, water, settings)
    is_pipe = pipes_of(crossings)
    flow_m3s = np.where(is_pipe, over.flow_m3s, np.nan)
    limit_m = crossings["headwater_limit_m"].to_numpy(float)
    road = road_lengths(limit_m, profile)
    depth_m = _depth(flow_m3s, limit_m, road)
    closure_s = _closure(crossings, "water_over_road_blocked_s", over, night)
    closure_s = np.where(flow_m3s > 0, closure_s, 0)
    flooded_s = _closure(crossings, "half_flooded_s", over, night)
    flooded_s = np.where(is_pipe, flooded_s, np.nan)
    return crossings.assign(
        over_road_depth_m=depth_m,
        over_road_length_m=under_water_length(depth_m, road),
        closure_s=np.where(np.isnan(depth_m), np.nan, closure_s),
        flooded_closure_s=flooded_s,
        flooded_loss_person_h=_flooded_loss(crossings, flooded_s, settings),
        **_danger(crossings, depth_m, settings, night),
    )


def add_design_depth(
    crossings: GeoDataFrame, profile: RoadProfile | None = None
) -> GeoDataFrame:
    """Add the depth of water over the road in the design storm, the pipe open.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood and design flow.
    profile : RoadProfile, optional
        The road along the same rows; without it the road rises at an assumed grade.

    Returns
    -------
    crossings : GeoDataFrame
        With ``design_over_road_depth_m``: barrel and road carry the flow together; 0
        where the pipe passes it all, NaN where not known and at bridges and fords.

    Notes
    -----
    The pond's room is left out, and so is water backed up by the next crossing.
    """
    flow_m3s = crossings["design_flow_m3s"].to_numpy(float)
    capacity_m3s = crossings["open_capacity_m3s"].to_numpy(float)
    depth_m = np.where(np.isnan(flow_m3s + capacity_m3s), np.nan, 0.0)
    wet = np.flatnonzero(flow_m3s > capacity_m3s)
    if len(wet):
        part = crossings.iloc[wet]
        shown = None if profile is None else profile_of(profile, wet)
        level_m = open_headwater(part, flow_m3s[wet], shown)
        over_m = level_m - part["headwater_limit_m"].to_numpy(float)
        depth_m[wet] = np.maximum(over_m, 0)
    return crossings.assign(design_over_road_depth_m=depth_m)


@cache
def consequence_defaults() -> dict[str, float]:
    """Return the numbers assumed for closures, by name; times in seconds."""
    rows = table("consequence_defaults")
    found = zip(rows["name"], rows["value"].astype(float), rows["unit"], strict=True)
    return {
        str(name): to_unit(f"{value} h", "s") if unit == "h" else value
        for name, value, unit in found
    }


def _over_road(
    crossings: GeoDataFrame, water: DayWater, settings: Settings
) -> _OverRoad:
    clock_s, begins_s = day_clock(), crossings["water_over_road_blocked_s"]
    peaks, ends = np.empty(len(crossings)), np.empty(len(crossings))
    for rows in row_slices(len(crossings)):
        part = crossings.iloc[rows]
        flow_m3s = day_flow(part, water, settings, clock_s)
        least_m3s = consequence_defaults()["least_flow_fraction"] * flow_m3s.max(axis=1)
        end_s = _last_above(flow_m3s, clock_s, least_m3s)
        late = np.flatnonzero(end_s == clock_s[-1])
        if len(late):
            after_s = clock_s + DAY_S
            after_m3s = day_flow(part.iloc[late], water, settings, after_s)
            end_s[late] = _last_above(after_m3s, after_s, least_m3s[late])
        from_s = begins_s.iloc[rows].to_numpy(float)[:, None]
        peaks[rows] = np.where(clock_s >= from_s, flow_m3s, 0).max(axis=1)
        ends[rows] = end_s
    unknown = crossings[["today_flow_m3s", "pond_room_m3"]].isna().any(axis=1)
    return _OverRoad(np.where(unknown, np.nan, peaks), ends)


def _last_above(flow_m3s: Floats, clock_s: Floats, least_m3s: Floats) -> Floats:
    """Last clock time at which the flow is above the least, else the first [s]."""
    return np.where(flow_m3s > least_m3s[:, None], clock_s, clock_s[0]).max(axis=1)


def _closure(
    crossings: GeoDataFrame, begins: str, over: _OverRoad, night: Night
) -> Floats:
    """Time from the hour of a column until the road is open again [s]."""
    added_s = consequence_defaults()["inspection_time"]
    added_s += night.is_frost * consequence_defaults()["ice_treatment_time"]
    runs_s = over.ends_s - crossings[begins].to_numpy(float)
    return np.maximum(runs_s, 0) + added_s


def _flooded_loss(
    crossings: GeoDataFrame, flooded_s: Floats, settings: Settings
) -> Floats:
    known_s = np.where(np.isnan(flooded_s), settings.prices.closure_s, flooded_s)
    return closure_loss(crossings, known_s, settings)


def _depth(flow_m3s: Floats, limit_m: Floats, road: Road) -> Floats:
    depth_m = np.where(np.isnan(flow_m3s + limit_m), np.nan, 0.0)
    wet = np.flatnonzero((flow_m3s > 0) & ~np.isnan(limit_m))
    if not len(wet):
        return depth_m
    part = road._replace(
        crest_m=np.asarray(road.crest_m)[wet], length_m=np.asarray(road.length_m)[wet]
    )
    level_m, _ = balanced_headwater(
        flow_m3s[wet], lambda flow, _: np.full(flow.shape, np.inf), part, weir_curves()
    )
    depth_m[wet] = level_m - limit_m[wet]
    return depth_m


def _danger(
    crossings: GeoDataFrame, depth_m: Floats, settings: Settings, night: Night
) -> dict[str, Texts]:
    """Word for the danger of a washout, and what to know of it."""
    fill_m = crossings["cover_m"].to_numpy(float) + crossings["rise_m"].to_numpy(float)
    is_paved, has_surface = known_paved(crossings)
    notes = _notes(depth_m, fill_m, has_surface, night)
    both = zip(spill_notes(crossings, depth_m, settings), notes, strict=True)
    return {
        "washout_class": washout_classes(depth_m, fill_m, is_paved),
        "washout_note": np.array(["; ".join(filter(None, b)) for b in both], object),
    }


def _notes(
    depth_m: Floats, fill_m: Floats, has_surface: NDArray[np.bool_], night: Night
) -> Texts:
    defaults = consequence_defaults()
    closure = f"closure: {defaults['inspection_time'] / HOUR_S:g} h of inspection"
    if night.is_frost:
        ice_h = defaults["ice_treatment_time"] / HOUR_S
        closure += f" and {ice_h:g} h for the ice of a frost night"
    said = ["washout danger is an assumption", f"{closure} assumed", night.note]
    always = "; ".join(words for words in said if words)
    notes = np.full(len(depth_m), always, dtype=object)
    notes[~has_surface] += "; road surface unknown: taken as gravel"
    notes[np.isnan(fill_m)] += "; height of fill unknown: taken as high"
    return np.where(depth_m > 0, notes, "").astype(object)
