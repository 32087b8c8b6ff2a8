"""Consequence of water: how deep, how long and with what danger it goes over a road."""

from functools import cache

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.road_flow import Road, balanced_headwater
from culvertrisk.settings import Settings
from culvertrisk.stages.flood_capacity import NOT_PIPES
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.rating import road_lengths, weir_curves
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.stages.today_hours import day_clock, day_flow, row_slices
from culvertrisk.tables import table
from culvertrisk.units import to_unit

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]


def add_consequence(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    *,
    is_frost_night: bool,
    profile: RoadProfile | None = None,
) -> GeoDataFrame:
    """Add depth and length of water over the road, its closure and washout danger.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, flood and today_hours.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Runoff shares and hours of the rain.
    is_frost_night : bool
        The night freezes: water on the road turns to ice.
    profile : RoadProfile, optional
        The road along the same rows; without it the road rises at an assumed grade.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``consequence``; 0 where today's water does not fill
        the pond, NaN or blank where not known and at bridges and fords.

    Notes
    -----
    Nothing passes the pipe: from the hour the pond is full all of the flow goes over
    the sag, as over a broad-crested weir of gravel. The road is shut from then until
    the flow has fallen to ``least_flow_fraction`` of its peak, at the latest to
    midnight, then for inspection, and where the night freezes for treating the ice.
    """
    flow_m3s, over_s = _over_road(crossings, water, settings)
    is_pipe = ~crossings["crossing_kind"].isin(NOT_PIPES).to_numpy(bool)
    flow_m3s = np.where(is_pipe, flow_m3s, np.nan)
    limit_m = crossings["headwater_limit_m"].to_numpy(float)
    road = road_lengths(limit_m, profile)
    depth_m = _depth(flow_m3s, limit_m, road)
    added_s = _defaults()["inspection_time"]
    added_s += is_frost_night * _defaults()["ice_treatment_time"]
    closure_s = np.where(flow_m3s > 0, over_s + added_s, 0)
    fill_m = crossings["cover_m"].to_numpy(float) + crossings["rise_m"].to_numpy(float)
    return crossings.assign(
        over_road_depth_m=depth_m,
        over_road_length_m=_length(depth_m, limit_m, road),
        closure_s=np.where(np.isnan(depth_m), np.nan, closure_s),
        washout_class=washout_classes(depth_m, fill_m),
        washout_note=_notes(depth_m, fill_m),
    )


def washout_classes(depth_m: Floats, fill_m: Floats) -> Texts:
    """Word for the danger that water over a gravel road washes it out.

    Parameters
    ----------
    depth_m : ndarray, shape (n,)
        Depth of water over the road's low point [m].
    fill_m : ndarray, shape (n,)
        Height of the road over the pipe's bed; NaN counts as a high fill [m].

    Returns
    -------
    washout_class : ndarray of str, shape (n,)
        Of the table ``washout_classes``, ``none`` where the road stays dry, blank
        where the depth is unknown. Never milder for more depth or fill.
    """
    words = np.where(np.isnan(depth_m), "", "none").astype(object)
    fill_m = np.where(np.isnan(fill_m), np.inf, fill_m)
    for row in table("washout_classes").sort_values("rank").itertuples():
        least_depth_m = to_unit(f"{row.least_depth} {row.depth_unit}", "m")
        least_fill_m = to_unit(f"{row.least_fill} {row.fill_unit}", "m")
        is_met = (depth_m > 0) & (depth_m >= least_depth_m) & (fill_m >= least_fill_m)
        words[is_met] = row.washout_class
    return words


@cache
def _defaults() -> dict[str, float]:
    rows = table("consequence_defaults")
    found = zip(rows["name"], rows["value"].astype(float), rows["unit"], strict=True)
    return {
        str(name): to_unit(f"{value} h", "s") if unit == "h" else value
        for name, value, unit in found
    }


def _over_road(
    crossings: GeoDataFrame, water: DayWater, settings: Settings
) -> tuple[Floats, Floats]:
    """Greatest flow over the road if nothing passes [m3/s], and for how long [s]."""
    clock_s, begins_s = day_clock(), crossings["water_over_road_blocked_s"]
    peaks, lasts = np.empty(len(crossings)), np.empty(len(crossings))
    for rows in row_slices(len(crossings)):
        flow_m3s = day_flow(crossings.iloc[rows], water, settings, clock_s)
        from_s = begins_s.iloc[rows].to_numpy(float)[:, None]
        over_m3s = np.where(clock_s >= from_s, flow_m3s, 0)
        least_m3s = _defaults()["least_flow_fraction"] * flow_m3s.max(axis=1)
        runs = over_m3s > least_m3s[:, None]
        until_s = np.where(runs, clock_s, 0).max(axis=1)
        peaks[rows] = over_m3s.max(axis=1)
        lasts[rows] = np.maximum(until_s - from_s[:, 0], 0)
    unknown = crossings[["today_flow_m3s", "pond_room_m3"]].isna().any(axis=1)
    return np.where(unknown, np.nan, peaks), lasts


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


def _length(depth_m: Floats, limit_m: Floats, road: Road) -> Floats:
    """Level lengths of the road that lie under water."""
    is_wet = np.asarray(road.crest_m) < (limit_m + depth_m)[:, None]
    length_m = np.where(is_wet, road.length_m, 0).sum(axis=1)
    return np.where(np.isnan(depth_m), np.nan, length_m)


def _notes(depth_m: Floats, fill_m: Floats) -> Texts:
    said = "washout danger is an assumption: road taken as gravel"
    unknown = "; height of fill unknown: taken as high"
    notes = np.where(np.isnan(fill_m), said + unknown, said)
    return np.where(depth_m > 0, notes, "").astype(object)
