"""Flood stage: rain and melt to flow, pipe to capacity, both to a chance of flood."""

import dataclasses
from dataclasses import dataclass

import numpy as np
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
from culvertrisk.stages.concentrations import path_slope
from culvertrisk.stages.design_storm import storm_defaults
from culvertrisk.stages.flood_capacity import (
    Openings,
    iced_openings,
    open_capacity,
    openings,
)
from culvertrisk.stages.flood_weather import (
    DayWater,
    flood_defaults,
    runoff_share,
)
from culvertrisk.stages.flow_notes import flow_notes
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.pond_room import known_spill, pond_room, spill_capacity
from culvertrisk.stages.ponding import PondGround
from culvertrisk.stages.road_over_bed import headwater_limit
from culvertrisk.stages.tailwater import backed_up, capacity_under_tailwater

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Runoff:
    """Flow that n catchments send to their inlets, shape (n,)."""

    concentration_s: Floats
    today_flow_m3s: Floats
    today_runoff_m3: Floats


def add_flood(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    pond: PondGround | None = None,
) -> GeoDataFrame:
    """Add flows, capacities and the chance that water goes over the road today.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site, freeze and history.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Runoff shares; spread of today's peak in ``forecast``.
    pond : PondGround, optional
        The ponds of the elevation raster, of the same rows.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``flood``. What is not known is NaN; bridges and
        fords have flows, but neither capacity nor chance.

    Notes
    -----
    A blocked pipe passes nothing: the day's runoff then fills the pond below the
    road, see :func:`~culvertrisk.stages.pond_room.pond_room`; water that leaves over
    lower ground first, see ``spill_capacity``, does not come over it. An open one, with
    its silt, is set against the day's peak, with the water of the ditch, or of the next
    crossing, standing at its outlet. Ice in the section is an engineering assumption,
    not a standard: see ``iced_openings``. Flow and volume are lognormal about their
    estimate with ``forecast.spread_fraction``.
    """
    flows = _runoff(crossings, water, settings)
    limit_m, assumed = headwater_limit(crossings)
    pond_m3, source = pond_room(crossings, limit_m, pond)
    pipe_only = {
        "headwater_limit_m": limit_m,
        "pond_room_m3": pond_m3,
        "spill_capacity_m3s": spill_capacity(crossings, limit_m),
        **_capacities(crossings, flows.today_flow_m3s, limit_m),
    }
    is_pipe = pipes_of(crossings)
    flooded = crossings.assign(
        **dataclasses.asdict(flows),
        **{name: np.where(is_pipe, value, np.nan) for name, value in pipe_only.items()},
        pond_source=np.where(is_pipe, source, ""),
        flow_note=flow_notes(
            crossings,
            flows.concentration_s,
            np.where(is_pipe, assumed, ""),
            water.note,
        ),
    )
    when_open, when_blocked = _chances(flooded, settings)
    flooded = flooded.assign(flooded_blocked_chance=when_blocked)
    return with_open_chance(flooded, when_open)


def with_open_chance(
    crossings: GeoDataFrame, flooded_open_chance: Floats
) -> GeoDataFrame:
    """Put in the chance of a flood with the pipe open, and what follows from it.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of history and ``flooded_blocked_chance``.
    flooded_open_chance : ndarray, shape (n,)
        Chance that water goes over the road today with the pipe open.

    Returns
    -------
    crossings : GeoDataFrame
        With that chance, the chance in all, the score and its word.
    """
    blocked = crossings["blocked_chance"].to_numpy(float)
    when_blocked = crossings["flooded_blocked_chance"].to_numpy(float)
    chance = blocked * when_blocked + (1 - blocked) * flooded_open_chance
    index = 100 * chance  # a share as a score
    return crossings.assign(
        flooded_open_chance=flooded_open_chance,
        flooded_chance=chance,
        flood_index=index,
        flood_class=_classes(index),
    )


def _runoff(crossings: GeoDataFrame, water: DayWater, settings: Settings) -> Runoff:
    catchment_m2 = crossings["catchment_m2"].to_numpy(float)
    path_m = crossings["flow_path_m"].to_numpy(float)
    time_s = concentration_kirpich(path_m, path_slope(crossings))
    time_s = np.maximum(time_s, storm_defaults()["least_concentration"])
    share = runoff_share(crossings, settings, water)
    intensity_m_s = burst_intensity(water.rain_m, water.rain_s, time_s)
    intensity_m_s = intensity_m_s + melt_intensity(water.melt_m, water.melt_s, time_s)
    return Runoff(
        concentration_s=time_s,
        today_flow_m3s=flow_rational(catchment_m2, intensity_m_s, share),
        today_runoff_m3=share * (water.rain_m + water.melt_m) * catchment_m2,
    )


def _capacities(
    crossings: GeoDataFrame, flow_m3s: Floats, limit_m: Floats
) -> dict[str, Floats]:
    """Water below each road today, and what each pipe passes: open and with its ice."""
    found = openings(crossings)
    at_road = (crossings, found, limit_m)
    none_m, free_m3s = np.full(len(crossings), np.nan), open_capacity(found, limit_m)
    open_m3s, _ = capacity_under_tailwater(*at_road, none_m, free_m3s)
    backed_m = backed_up(*at_road, flow_m3s)
    today_m3s, tail_m = capacity_under_tailwater(*at_road, backed_m, open_m3s)
    iced_m3s = _iced_capacity(crossings, found, limit_m, backed_m)
    iced_m3s = np.where(
        crossings["blocked_fraction"] == 0, today_m3s, np.minimum(iced_m3s, today_m3s)
    )
    return {
        "tailwater_m": tail_m,
        "open_capacity_m3s": open_m3s,
        "today_capacity_m3s": today_m3s,
        "iced_capacity_m3s": iced_m3s,
    }


def _chances(crossings: GeoDataFrame, settings: Settings) -> tuple[Floats, Floats]:
    """Chances of water over the road today: open and blocked."""
    spread = settings.forecast.spread_fraction
    spill_m3s = known_spill(crossings, settings)
    flow_m3s, runoff_m3 = crossings["today_flow_m3s"], crossings["today_runoff_m3"]
    open_m3s = crossings["today_capacity_m3s"] + spill_m3s
    when_open = exceedance_chance(flow_m3s, open_m3s, spread)
    when_blocked = exceedance_chance(runoff_m3, crossings["pond_room_m3"], spread)
    is_more = exceedance_chance(flow_m3s, spill_m3s, spread)
    spilling = np.minimum(when_blocked, is_more)
    return when_open, np.where(spill_m3s > 0, spilling, when_blocked)


def _iced_capacity(
    crossings: GeoDataFrame, found: Openings, limit_m: Floats, backed_m: Floats
) -> Floats:
    closed = crossings["blocked_fraction"].to_numpy(float)
    iced = iced_openings(found, limit_m, closed)
    free_m3s = open_capacity(iced, limit_m)
    return capacity_under_tailwater(crossings, iced, limit_m, backed_m, free_m3s)[0]


def _classes(index: Floats) -> NDArray[np.object_]:
    defaults = flood_defaults()
    steps = [index >= defaults[f"{word}_index"] for word in ("severe", "high", "some")]
    return np.select(
        [np.isnan(index), *steps], ["", "severe", "high", "some"], "low"
    ).astype(object)
