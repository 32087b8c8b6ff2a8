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
    its pond; one with its ice, and a blocked one, first fill the pond. Water that a
    cold pack takes up is spread over the day,
    not taken from its first hours: the times are rather early than late. Travel of
    water through the snow is left out.
    """
    parts = [
        _hours(crossings.iloc[rows], water, settings)
        for rows in row_slices(len(crossings))
    ]
    names = parts[0]
    return crossings.assign(
        **{name: np.concatenate([part[name] for part in parts]) for name in names}
    )


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
    The volume is lognormal about its estimate with ``forecast.spread_fraction``.
    """
    clock_s = np.asarray(clock_s, float)
    pond_m3 = crossings["pond_room_m3"].to_numpy(float)[:, None]
    steps_s = day_clock()
    spread = settings.forecast.spread_fraction
    chances = np.full((len(crossings), len(clock_s)), np.nan)
    for rows in row_slices(len(crossings)):
        flow_m3s = day_flow(crossings.iloc[rows], water, settings, steps_s)
        volume_m3 = _volume(flow_m3s, steps_s)
        by_then_m3 = interp1d(steps_s, volume_m3)(np.clip(clock_s, 0, DAY_S))
        chances[rows] = exceedance_chance(by_then_m3, pond_m3[rows], spread)
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
    open_m3s = crossings["today_capacity_m3s"].to_numpy(float)
    iced_m3s = crossings["iced_capacity_m3s"].to_numpy(float)
    end_m3 = _volume(flow_m3s, clock_s)[:, -1]
    half_m3 = _half_chance_volume(end_m3, pond_m3, settings.forecast.spread_fraction)
    blocked_m3s = np.where(np.isnan(open_m3s), np.nan, 0)
    return {
        "today_peak_s": np.where(has_water, clock_s[highest], np.nan),
        "water_over_road_open_s": fill_time(
            flow_m3s, clock_s, open_m3s, np.zeros(len(crossings))
        ),
        "water_over_road_iced_s": fill_time(flow_m3s, clock_s, iced_m3s, pond_m3),
        "water_over_road_blocked_s": fill_time(flow_m3s, clock_s, blocked_m3s, pond_m3),
        "half_flooded_s": fill_time(flow_m3s, clock_s, blocked_m3s, half_m3),
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
