"""Flood stage: rain and melt to flow, pipe to capacity, both to a chance of flood."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.concentration import concentration_kirpich
from culvertrisk.formulas.frequency import exceedance_chance
from culvertrisk.formulas.runoff import (
    burst_intensity,
    flow_rational,
    melt_intensity,
)
from culvertrisk.settings import Settings
from culvertrisk.stages.flood_capacity import (
    NOT_PIPES,
    headwater_limit,
    iced_capacity,
    open_capacity,
    openings,
)
from culvertrisk.stages.flood_weather import DayWater, day_water, flood_defaults
from culvertrisk.stages.pond_room import pond_room
from culvertrisk.units import HOUR_S, to_unit

Floats = NDArray[np.float64]

_HECTARE_M2 = to_unit("1 ha", "m**2")


@dataclass(frozen=True)
class Runoff:
    """Flow that n catchments send to their inlets, shape (n,)."""

    concentration_s: Floats
    today_flow_m3s: Floats
    today_runoff_m3: Floats


def add_flood(
    crossings: GeoDataFrame, weather: pd.DataFrame, settings: Settings, on: date
) -> GeoDataFrame:
    """Add flows, capacities and the chance that water goes over the road today.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site, freeze and history.
    weather : DataFrame
        The table of ``read_weather``; the forecast row of the day is used.
    settings : Settings
        Runoff shares, and numbers typed for the day.
    on : date
        The day asked.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``flood``. What is not known is NaN; bridges and
        fords have flows, but neither capacity nor chance.

    Notes
    -----
    A blocked pipe passes nothing: the day's runoff then fills the pond below the
    road, see :func:`~culvertrisk.stages.pond_room.pond_room`. An open one, with its
    silt, is set against the day's peak. Flow and volume are lognormal about their
    estimate with ``forecast.spread_fraction``.
    """
    water = day_water(weather, settings, on)
    flows = _runoff(crossings, water, settings)
    limit_m, assumed = headwater_limit(crossings)
    pond_m3, source = pond_room(crossings, limit_m)
    spread = settings.forecast.spread_fraction
    chances = _chances(crossings, flows, limit_m, pond_m3, spread)
    is_pipe = ~crossings["crossing_kind"].isin(NOT_PIPES).to_numpy(bool)
    pipe_only = {"headwater_limit_m": limit_m, "pond_room_m3": pond_m3, **chances}
    index = 100 * chances["flooded_chance"]  # a share as a score
    return crossings.assign(
        concentration_s=flows.concentration_s,
        today_flow_m3s=flows.today_flow_m3s,
        **{name: np.where(is_pipe, value, np.nan) for name, value in pipe_only.items()},
        pond_source=np.where(is_pipe, source, ""),
        flood_index=np.where(is_pipe, index, np.nan),
        flood_class=_classes(np.where(is_pipe, index, np.nan)),
        today_runoff_m3=flows.today_runoff_m3,
        flow_note=_notes(crossings, flows, np.where(is_pipe, assumed, ""), water.note),
    )


def _runoff(crossings: GeoDataFrame, water: DayWater, settings: Settings) -> Runoff:
    defaults = flood_defaults()
    storm = settings.storm
    catchment_m2 = crossings["catchment_m2"].to_numpy(float)
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    slope = np.maximum(slope, defaults["least_path_slope"])
    path_m = crossings["flow_path_m"].to_numpy(float)
    time_s = concentration_kirpich(path_m, slope)
    time_s = np.maximum(time_s, defaults["least_concentration_minutes"])
    share = storm.frozen_runoff_fraction if water.is_frozen else storm.runoff_fraction
    intensity_m_s = burst_intensity(water.rain_m, water.rain_s, time_s)
    intensity_m_s = intensity_m_s + melt_intensity(water.melt_m, water.melt_s, time_s)
    return Runoff(
        concentration_s=time_s,
        today_flow_m3s=flow_rational(catchment_m2, intensity_m_s, share),
        today_runoff_m3=share * (water.rain_m + water.melt_m) * catchment_m2,
    )


def _chances(
    crossings: GeoDataFrame,
    flows: Runoff,
    limit_m: Floats,
    pond_m3: Floats,
    spread_fraction: float,
) -> dict[str, Floats]:
    """Capacities, and chances of water over the road: open, blocked and in all."""
    found = openings(crossings)
    open_m3s = open_capacity(found, limit_m)
    closed = crossings["blocked_fraction"].to_numpy(float)
    iced_m3s = iced_capacity(found, limit_m, closed)
    when_open = exceedance_chance(flows.today_flow_m3s, open_m3s, spread_fraction)
    when_blocked = exceedance_chance(flows.today_runoff_m3, pond_m3, spread_fraction)
    blocked = crossings["blocked_chance"].to_numpy(float)
    return {
        "open_capacity_m3s": open_m3s,
        "iced_capacity_m3s": iced_m3s,
        "flooded_open_chance": when_open,
        "flooded_blocked_chance": when_blocked,
        "flooded_chance": blocked * when_blocked + (1 - blocked) * when_open,
    }


def _classes(index: Floats) -> NDArray[np.object_]:
    defaults = flood_defaults()
    steps = [index >= defaults[f"{word}_index"] for word in ("severe", "high", "some")]
    return np.select(
        [np.isnan(index), *steps], ["", "severe", "high", "some"], "low"
    ).astype(object)


def _notes(
    crossings: GeoDataFrame, flows: Runoff, assumed: NDArray[np.object_], missing: str
) -> NDArray[np.object_]:
    """What limits each crossing's flow, in sentences joined by semicolons."""
    defaults = flood_defaults()
    most_ha = defaults["rational_limit"] / _HECTARE_M2
    sizes = crossings["catchment_m2"].to_numpy(float)
    cut = crossings["is_catchment_cut"].to_numpy(float)
    fills = crossings["fill_depth_m"].to_numpy(float)
    notes = []
    for size, time_s, is_cut, fill_m, other in zip(
        sizes, flows.concentration_s, cut, fills, assumed, strict=True
    ):
        lines = {
            "catchment unknown: no flow": np.isnan(size),
            f"catchment {size / _HECTARE_M2:.0f} ha is above the {most_ha:.0f} ha "
            "limit of the rational method": size > defaults["rational_limit"],
            "catchment reaches the edge of the elevation raster: flow is a lower "
            "bound": is_cut == 1,
            f"elevation raster filled {fill_m:.1f} m deep at the inlet: catchment "
            "doubtful": fill_m > defaults["doubtful_fill"],
            f"time of concentration {time_s / HOUR_S:.1f} h is above the 2 h of the "
            "rule for rain durations": time_s > defaults["duration_limit_minutes"],
            other: bool(other),
            missing: bool(missing),
        }
        notes.append("; ".join(line for line, holds in lines.items() if holds))
    return np.array(notes, dtype=object)
