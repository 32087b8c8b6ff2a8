"""Water that rain and snowmelt bring to the ground of the town on one day."""

from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.cold import freezing_part, net_afdd
from culvertrisk.formulas.snowmelt import (
    melt_degree_day,
    melt_rain_forest,
    melt_rain_open,
    retained_water,
    snow_water,
)
from culvertrisk.settings import Forecast, Settings
from culvertrisk.stages.known_column import known_column
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, to_unit

# as printed in flood_defaults.csv -> as pint spells it, and the unit used inside
_UNITS = {
    "in/(°F·day)": ("inch/delta_degF/day", "m/delta_degC/day"),
    "in": ("inch", "m"),
    "min": ("minute", "s"),
    "h": ("hour", "s"),
    "ha": ("hectare", "m**2"),
}
_PURE_WATER_KG_M3 = 1000.0  # to state water in snow as depth; by convention


@dataclass(frozen=True)
class DayWater:
    """Water set free on one day; the same over the whole town.

    ``rain_m`` and ``melt_m`` are what leaves the snow or falls on bare ground, over
    ``rain_s`` and ``melt_s``; NaN if the weather does not tell. ``note`` says what
    is missing.
    """

    rain_m: float
    melt_m: float
    rain_s: float
    melt_s: float
    is_frozen: bool
    note: str = ""


@cache
def flood_defaults() -> dict[str, float]:
    """Return the flood stage's own defaults by name, in SI units."""
    rows = table("flood_defaults")
    values = zip(rows["name"], rows["value"].astype(float), rows["unit"], strict=True)
    return {
        str(name): to_unit(f"{value} {_UNITS[unit][0]}", _UNITS[unit][1])
        if unit in _UNITS
        else value
        for name, value, unit in values
    }


def runoff_share(
    crossings: GeoDataFrame, settings: Settings, water: DayWater
) -> NDArray[np.float64]:
    """Share of the day's water that runs off each catchment, shape (n,).

    Of the land cover stage, or the town's before it has run; on frozen ground at
    least the town's share of frozen ground.
    """
    of_town = settings.storm.runoff_fraction
    usual = known_column(crossings, "runoff_fraction", of_town)
    frozen = settings.storm.frozen_runoff_fraction
    return np.maximum(usual, frozen) if water.is_frozen else usual


def town_forest(crossings: GeoDataFrame) -> float:
    """Mean share of dense forest in the catchments, 0 where no raster tells."""
    known = crossings.get("forest_fraction", pd.Series(dtype=float)).dropna()
    return 0.0 if known.empty else float(known.mean())


def day_water(
    weather: pd.DataFrame, settings: Settings, on: date, forest_fraction: float = 0.0
) -> DayWater:
    """Work out the day's rain and melt, less what the snow holds back.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    settings : Settings
        Start of the winter; hours of the rain and water in the snow where they are
        typed in ``forecast``.
    on : date
        The day asked.
    forest_fraction : float
        Share of the ground under dense forest, of ``town_forest``; the rest counts
        as open to partly forested.

    Returns
    -------
    water : DayWater
        For one place: the town's weather is not moved up or down the hill.

    Notes
    -----
    Rain on snow by the equation of usace1998 where it rains and the day's mean is
    above 0 °C, by degree-days of the hours above 0 °C otherwise. Melt is at most the
    snow there is: typed in, else snowfall less degree-day melt since the start of
    the winter, on the last day with a snow depth at least that depth at a usual
    density, else the depth alone. Cold content and liquid holding of the pack, less
    the water of the last days, are taken off first.
    """
    first_day = settings.winter_of(on)
    days = weather.reindex(pd.date_range(first_day, on, name="day"))
    mean_c, thaw_c = _degrees(days)
    defaults = flood_defaults()
    melt_m = melt_degree_day(thaw_c, defaults["melt_factor"])
    snow_m = _snow_water(days, melt_m, settings.forecast)
    rain_m = _rain(days)
    possible_m = float(melt_m[-1])
    if rain_m > 0 and mean_c[-1] > 0:
        possible_m = _rain_melt(days, float(mean_c[-1]), rain_m, forest_fraction)
    melted_m = 0.0 if possible_m == 0 else float(np.minimum(possible_m, snow_m))
    kept_m = _retained(days, mean_c, melt_m, snow_m)
    input_m = rain_m + melted_m
    freed = np.clip(1 - kept_m / input_m, 0, 1) if input_m > 0 else 1.0
    afdd_cday = net_afdd(pd.Series(mean_c).ffill().fillna(0.0))[-1]
    return DayWater(
        rain_m=float(rain_m * freed),
        melt_m=float(melted_m * freed),
        rain_s=_rain_seconds(settings.forecast),
        melt_s=defaults["melt_hours"],
        is_frozen=bool(afdd_cday > 0 or snow_m > 0),
        note=_missing(rain_m, possible_m, snow_m),
    )


def _degrees(days: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    low_c, high_c = days["air_min_c"].to_numpy(float), days["air_max_c"].to_numpy(float)
    mean_c = (low_c + high_c) / 2
    return mean_c, mean_c + freezing_part(mean_c, np.maximum(high_c - low_c, 0) / 2)


def _rain(days: pd.DataFrame) -> float:
    """Rain of the last day; none in a day of frost, unknown if not told."""
    rain_m = float(days["rain_m"].iloc[-1])
    is_frost = days["air_max_c"].iloc[-1] <= 0
    return 0.0 if np.isnan(rain_m) and is_frost else rain_m


def _rain_melt(
    days: pd.DataFrame, mean_c: float, rain_m: float, forest_fraction: float
) -> float:
    """Melt of a rainy day, of open ground and of forest by their shares [m/day]."""
    wind_m_s = float(days["wind_m_s"].iloc[-1])
    defaults = flood_defaults()
    wind_m_s = defaults["unknown_wind"] if np.isnan(wind_m_s) else wind_m_s
    exposure = defaults["open_exposure"]
    open_m = melt_rain_open(mean_c, wind_m_s, rain_m, exposure)
    forest_m = melt_rain_forest(mean_c, rain_m)
    return float(open_m + forest_fraction * (forest_m - open_m))


def _snow_water(days: pd.DataFrame, melt_m: np.ndarray, forecast: Forecast) -> float:
    """Water in the pack as the day's melt begins; NaN if nothing tells."""
    if forecast.snow_water_m is not None:
        return forecast.snow_water_m
    fallen_m, depths_m = days["snowfall_water_m"], days["snow_depth_m"].to_numpy(float)
    read = np.flatnonzero(~np.isnan(depths_m))
    share = flood_defaults()["snow_density"] / _PURE_WATER_KG_M3
    if fallen_m.isna().all():
        return float(depths_m[read[-1]]) * share if read.size else np.nan
    melt_m = np.append(np.nan_to_num(melt_m[:-1]), 0.0)  # as the day's melt begins
    gained_m = fallen_m.fillna(0.0).to_numpy(float)
    if read.size:
        last = read[-1]
        summed_m = snow_water(gained_m[: last + 1], melt_m[: last + 1])[-1]
        gained_m, melt_m = gained_m[last:].copy(), melt_m[last:].copy()
        gained_m[0], melt_m[0] = max(summed_m, depths_m[last] * share), 0.0
    return float(snow_water(gained_m, melt_m)[-1])


def _retained(
    days: pd.DataFrame, mean_c: np.ndarray, melt_m: np.ndarray, snow_m: float
) -> float:
    """Water the pack still takes up; unknown snow holds none back."""
    if not snow_m > 0:
        return 0.0
    defaults = flood_defaults()
    cold = mean_c[-1 - int(defaults["snow_temperature_days"]) : -1]
    cold = np.minimum(cold[~np.isnan(cold)], 0)
    snow_c = defaults["snow_temperature_fraction"] * (cold.mean() if cold.size else 0.0)
    recent = slice(-1 - int(defaults["ripe_days"]), -1)
    recent_m = np.nansum(melt_m[recent]) + np.nansum(days["rain_m"].to_numpy()[recent])
    held = defaults["held_water_fraction"]
    return max(0.0, float(retained_water(snow_m, snow_c, held)) - float(recent_m))


def _rain_seconds(forecast: Forecast) -> float:
    if forecast.rain_start is None or forecast.rain_end is None:
        return flood_defaults()["rain_hours"]
    typed_s = (forecast.rain_end - forecast.rain_start) % DAY_S
    return typed_s or flood_defaults()["rain_hours"]


def _missing(rain_m: float, possible_m: float, snow_m: float) -> str:
    if np.isnan(rain_m):
        return "rain of the day unknown"
    if np.isnan(possible_m):
        return "air temperature of the day unknown"
    if possible_m > 0 and np.isnan(snow_m):
        return "water in the snow unknown: type forecast.snow_water_m"
    return ""
