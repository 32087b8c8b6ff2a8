"""The clock of today's water: its peak at each crossing and when it tops the road."""

from functools import cache

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import interp1d
from scipy.special import ndtri

from culvertrisk.formulas.frequency import exceedance_chance
from culvertrisk.formulas.hydrograph import (
    fill_time,
    melt_released_fraction,
    rain_fallen_fraction,
)
from culvertrisk.formulas.runoff import flow_rational
from culvertrisk.settings import Settings
from culvertrisk.stages.flood_weather import DayWater, runoff_share
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.pond_room import known_spill
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, to_unit

Floats = NDArray[np.float64]

_ROWS_AT_ONCE = 20_000  # holds the day of that many crossings in memory, not of all


@cache
def _clock_defaults() -> dict[str, float]:
    rows = table("storm_defaults").query("unit in ('h', 'min')")
    values = zip(rows["name"], rows["value"], rows["unit"], strict=True)
    return {str(name): to_unit(f"{value} {unit}", "s") for name, value, unit in values}


def add_today_hours(
    crossings: GeoDataFrame, water: DayWater, settings: Settings
) -> GeoDataFrame:
    """Add the clock times of today's peak and of water over the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site and flood; ``pond_room_m3`` is what a blocked
        crossing holds back.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Runoff shares; hours of the rain and spread of today's peak in ``forecast``.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``today_hours``, all seconds of the day asked; NaN
        is not today, or not known.

    Notes
    -----
    The flow at a crossing is the mean of rain and melt over the last time of
    concentration, so its peak lags theirs by half of it. An open pipe is set
    against that flow alone, as in ``add_flood``, until ``add_chain_water`` takes in
    its pond; one with its ice, and a blocked one, first fill the pond. A blocked pipe
    passes nothing whatever its size. The hours are put in order, see
    ``hours_in_order``; there is none where the pond leaves over lower ground first, see
    ``known_spill``. Water that a
    cold pack takes up is spread over the day,
    not taken from its first hours: the times are rather early than late. Travel of
    water through the snow is left out.
    """
    parts = [
        _hours(crossings.iloc[rows], water, settings)
        for rows in row_slices(len(crossings))
    ]
    names = parts[0]
    return hours_in_order(
        crossings.assign(
            **{name: np.concatenate([part[name] for part in parts]) for name in names}
        )
    )


def hours_in_order(crossings: GeoDataFrame) -> GeoDataFrame:
    """Put the hours of water over the road in order: the less passes, the sooner.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the hours of ``today_hours``, from whatever method.

    Returns
    -------
    crossings : GeoDataFrame
        No hour of an open pipe before that of a blocked one, which holds back all
        of the flow; that of a pipe with its ice between the two, and never blank where
        that of an open one is known.

    Notes
    -----
    An open pipe without its pond, or backed up as at the peak all day, may by itself
    seem to flood too soon; an open pipe is never likelier to flood than a blocked one.
    Where the blocked pipe's hour is blank, so are the others.
    """
    names = [f"water_over_road_{state}_s" for state in ("open", "iced", "blocked")]
    open_s, iced_s, blocked_s = (crossings[name].to_numpy(float) for name in names)
    open_s = np.maximum(open_s, blocked_s)
    iced_s = np.maximum(np.fmin(iced_s, open_s), blocked_s)
    return crossings.assign(**dict(zip(names[:2], (open_s, iced_s), strict=True)))


def flooded_by_chance(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    clock_s: ArrayLike,
) -> Floats:
    """Chance that water is over the road by a clock time if nothing passes.

    Parameters
    ----------
    crossings, water, settings
        As for ``add_today_hours``.
    clock_s : array_like, shape (k,)
        Clock times [s of the day].

    Returns
    -------
    flooded_by_chance : ndarray, shape (n, k)
        Grows with the hour. Opening at a time still avoids the loss that comes
        after it: one less this chance over that of the day's end.

    Notes
    -----
    Volume and flow are lognormal about their estimates with
    ``forecast.spread_fraction``; the pond must be full, and more must have come at once
    than leaves over lower ground.
    """
    clock_s = np.asarray(clock_s, float)
    pond_m3 = crossings["pond_room_m3"].to_numpy(float)[:, None]
    spill_m3s = known_spill(crossings, settings)[:, None]
    steps_s = day_clock()
    spread = settings.forecast.spread_fraction
    chances = np.full((len(crossings), len(clock_s)), np.nan)
    for rows in row_slices(len(crossings)):
        flow_m3s = day_flow(crossings.iloc[rows], water, settings, steps_s)
        volume_m3 = _volume(flow_m3s, steps_s)
        highest_m3s = np.maximum.accumulate(flow_m3s, axis=1)
        asked_s = np.clip(clock_s, 0, DAY_S)
        by_then_m3 = interp1d(steps_s, volume_m3)(asked_s)
        at_most_m3s = interp1d(steps_s, highest_m3s)(asked_s)
        chances[rows] = np.minimum(
            exceedance_chance(by_then_m3, pond_m3[rows], spread),
            exceedance_chance(at_most_m3s, spill_m3s[rows], spread),
        )
    return chances


def row_slices(count: int) -> list[slice]:
    """Return slices of rows whose whole day fits in memory at once."""
    starts = range(0, max(count, 1), _ROWS_AT_ONCE)
    return [slice(start, start + _ROWS_AT_ONCE) for start in starts]


def day_clock() -> Floats:
    """Return the clock times of a day at even steps, 0 first [s]."""
    step_s = _clock_defaults()["clock_step"]
    return np.arange(0, DAY_S + step_s, step_s)


def _hours(
    crossings: GeoDataFrame, water: DayWater, settings: Settings
) -> dict[str, Floats]:
    clock_s, pond_m3 = day_clock(), crossings["pond_room_m3"].to_numpy(float)
    flow_m3s = day_flow(crossings, water, settings, clock_s)
    has_water = flow_m3s.max(axis=1) > 0  # False where unknown
    highest = np.nan_to_num(flow_m3s).argmax(axis=1)
    is_pipe = pipes_of(crossings)
    blocked_m3s = np.where(is_pipe, 0, np.nan)  # whatever the size of the pipe
    open_m3s = crossings["today_capacity_m3s"].to_numpy(float)
    iced_m3s = crossings["iced_capacity_m3s"].to_numpy(float)
    end_m3 = _volume(flow_m3s, clock_s)[:, -1]
    half_m3 = _half_chance_volume(end_m3, pond_m3, settings.forecast.spread_fraction)
    is_dry = known_spill(crossings, settings) > 0

    def over_road(passed_m3s: Floats, room_m3: ArrayLike) -> Floats:
        full_s = fill_time(flow_m3s, clock_s, passed_m3s, room_m3)
        return np.where(is_dry, np.nan, full_s)

    return {
        "today_peak_s": np.where(has_water, clock_s[highest], np.nan),
        "water_over_road_open_s": over_road(open_m3s, 0),
        "water_over_road_iced_s": over_road(iced_m3s, pond_m3),
        "water_over_road_blocked_s": over_road(blocked_m3s, pond_m3),
        "half_flooded_s": over_road(blocked_m3s, half_m3),
    }


def day_flow(
    crossings: GeoDataFrame, water: DayWater, settings: Settings, clock_s: Floats
) -> Floats:
    """Flow that the day's water sends to each inlet.

    Parameters
    ----------
    crossings, water, settings
        As for ``add_today_hours``.
    clock_s : ndarray, shape (k,)
        Clock times [s of the day].

    Returns
    -------
    flow_m3s : ndarray, shape (n, k)
        Mean over the last time of concentration; NaN where unknown [m3/s].
    """
    forecast, defaults = settings.forecast, _clock_defaults()
    share = runoff_share(crossings, settings, water)[:, None]
    begins_s = forecast.rain_start
    rain_from_s = defaults["rain_start"] if begins_s is None else begins_s
    window_s = crossings["concentration_s"].to_numpy(float)[:, None]

    def freed(time_s: Floats) -> Floats:
        rain = rain_fallen_fraction(time_s - rain_from_s, water.rain_s)
        melt = melt_released_fraction(time_s - defaults["melt_start"], water.melt_s)
        return water.rain_m * rain + water.melt_m * melt

    intensity_m_s = (freed(clock_s) - freed(clock_s - window_s)) / window_s
    area_m2 = crossings["catchment_m2"].to_numpy(float)[:, None]
    return flow_rational(area_m2, np.maximum(intensity_m_s, 0), share)


def _volume(flow_m3s: Floats, clock_s: Floats) -> Floats:
    """Water that has come by each clock time, shape (n, k)."""
    steps = (flow_m3s[:, 1:] + flow_m3s[:, :-1]) / 2 * np.diff(clock_s)
    return np.hstack([np.zeros((len(flow_m3s), 1)), np.cumsum(steps, axis=1)])


def _half_chance_volume(end_m3: Floats, pond_m3: Floats, spread: float) -> Floats:
    """Volume at which half of the day's chance of a full pond has come."""
    chance = exceedance_chance(end_m3, pond_m3, spread)
    return np.where(chance > 0, pond_m3 * np.exp(spread * ndtri(chance / 2)), np.nan)
