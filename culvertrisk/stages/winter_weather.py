"""A winter's weather, complete: gaps bridged, forecast in, a usual winter for it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.checks import InputError
from culvertrisk.formulas.cold import clear_sun_fraction
from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.settings import Forecast
from culvertrisk.stages.ground_frost import frost_by_day
from culvertrisk.stages.snow_by_elevation import (
    OFFSETS_M,
    bank_melt,
    snow_depth,
    thaw_of_snow,
)
from culvertrisk.stages.weather_gaps import AIR, can_bridge, gap_problem, no_air

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class WinterDays:
    """Complete weather of the days of a winter, shape (days,).

    The snow on level ground, its resistance ``snow_m2k_w`` and, as depths of water,
    ``bank_melt_m`` and ``thaw_water_m`` (with rain) are by elevation over the
    weather's own, ``offset_m`` of shape (b,), and of shape (days, b);
    ``frost_depth_unit`` and ``road_surface_c`` are those of ``frost_by_day``.
    """

    air_mean_c: Floats
    half_range_c: Floats
    clear_sun_fraction: Floats
    snow_depth_m: Floats
    snow_m2k_w: Floats
    sun_day: NDArray[np.intp]
    offset_m: Floats
    bank_melt_m: Floats
    thaw_water_m: Floats
    frost_depth_unit: Floats
    road_surface_c: Floats


def with_forecast(weather: pd.DataFrame, on: date, forecast: Forecast) -> pd.DataFrame:
    """Put the numbers typed for the day asked in place of that day's row.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    on : date
        The day asked.
    forecast : Forecast
        What holds for that day; what is not typed leaves the row as it is.

    Returns
    -------
    weather : DataFrame
        A copy, in the order of days, with one row for ``on``.
    """
    day = pd.Timestamp(on)
    table = weather if day in weather.index else weather.reindex([*weather.index, day])
    table = table.sort_index().copy()
    table.index.name = "day"
    for column in ("air_min_c", "air_max_c", "rain_m", "wind_m_s"):
        value = getattr(forecast, column)
        if value is not None:
            table.loc[day, column] = value
            table.loc[day, "is_forecast"] = 1.0
    return table


def mean_air_of(weather: pd.DataFrame, on: date) -> float:
    """Mean of a day's low and high; NaN if unknown [°C]."""
    day = weather.reindex([pd.Timestamp(on)])
    return float(day[["air_min_c", "air_max_c"]].to_numpy(float).mean())


def sun_day_of(days: pd.DatetimeIndex) -> NDArray[np.intp]:
    """Return the place of each day in the sun's 243 days; summer takes the nearest."""
    is_leap_day = (days.month == 2) & (days.day == 29)
    plain = days - pd.to_timedelta(is_leap_day.astype(int), unit="D")
    first = pd.to_datetime(
        {"year": plain.year - (plain.month < 7), "month": 10, "day": 1}
    )
    since = (plain - pd.DatetimeIndex(first)).days.to_numpy()
    # count as in a common year: one day less after 29 February of a leap year
    after = plain.is_leap_year & (plain.month >= 3) & (plain.month < 7)
    return np.clip(since - after, 0, SEASON_DAYS - 1).astype(np.intp)


def winter_weather(
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> pd.DataFrame:
    """Return the days of a winter with small gaps in the temperature bridged.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    first_day, last_day : date
        First and last day wanted, both included.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    days : DataFrame
        One row a day; ``air_min_c`` and ``air_max_c`` without NaN.

    Raises
    ------
    InputError
        If a gap is longer than ``weather_gap_days``.
    """
    days = weather.reindex(pd.date_range(first_day, last_day, name="day"))
    missing = no_air(days)
    if not can_bridge(missing, coefficients):
        raise InputError([gap_problem(days, coefficients)])
    air = days[AIR].where(~missing)
    return days.assign(**air.interpolate(limit_direction="both"))


def has_weather(
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> bool:
    """Tell whether ``winter_weather`` would accept these days."""
    days = weather.reindex(pd.date_range(first_day, last_day))
    return can_bridge(no_air(days), coefficients)


def climatology(weather: pd.DataFrame, first_day: date, last_day: date) -> pd.DataFrame:
    """Return a usual winter on the dates of this one: mean of the earlier winters.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    first_day, last_day : date
        The winter to imitate; only days before ``first_day`` are averaged.

    Returns
    -------
    usual : DataFrame
        Same columns, one row a day of the winter; the winter's own days where
        there is none earlier.

    Notes
    -----
    Lows and highs are averaged apart, so days still cross 0 °C; spells are
    smoothed away.
    """
    index = pd.date_range(first_day, last_day, name="day")
    own = weather.reindex(index)
    past = weather[weather.index < index[0]]
    dates = pd.DatetimeIndex(past.index)
    by_day = past.groupby([dates.month, dates.day]).mean()
    keys = pd.MultiIndex.from_arrays([index.month, index.day])
    usual = by_day.reindex(keys).set_axis(index)
    return usual.fillna(own).assign(is_forecast=0.0)[[*weather.columns]]


def winter_days(
    days: pd.DataFrame, coefficients: Mapping[str, Floats], mean_annual_c: float
) -> WinterDays:
    """Turn complete weather into what the daily run needs.

    Parameters
    ----------
    days : DataFrame
        Of ``winter_weather``.
    coefficients : mapping
        By name, as ``freeze_coefficients``.
    mean_annual_c : float
        Of ``mean_annual_air`` [°C].

    Returns
    -------
    days : WinterDays
        Snow is as recorded, on days without a reading near from snowfall by
        degree-days, else as assumed, each as ``snow_depth`` has it for higher and
        lower ground; a thaw's water is that snow's melt and the rain, less what the
        pack holds.
    """
    c = coefficients
    low, high = days["air_min_c"].to_numpy(float), days["air_max_c"].to_numpy(float)
    half_range_c = np.maximum(high - low, 0) / 2
    mean_c = (low + high) / 2
    depth_m = snow_depth(days, mean_c, c)
    thaw_water_m = thaw_of_snow(days, mean_c, depth_m, c)
    unit_depth, surface_c = frost_by_day(mean_c, mean_annual_c, c)
    return WinterDays(
        air_mean_c=mean_c,
        half_range_c=half_range_c,
        clear_sun_fraction=_clear_sun(days, half_range_c, c),
        snow_depth_m=depth_m,
        snow_m2k_w=c["snow_share_fraction"] / c["snow_conductivity_w_mk"] * depth_m,
        sun_day=sun_day_of(pd.DatetimeIndex(days.index)),
        offset_m=OFFSETS_M,
        bank_melt_m=bank_melt(mean_c, half_range_c, depth_m, c),
        thaw_water_m=thaw_water_m,
        frost_depth_unit=unit_depth,
        road_surface_c=surface_c,
    )


def _clear_sun(
    days: pd.DataFrame, half_range_c: Floats, c: Mapping[str, Floats]
) -> Floats:
    """Share of the clear-sky sun: by recorded sunshine, else by the daily range."""
    by_range = clear_sun_fraction(
        half_range_c,
        range_coefficient=c["range_coefficient"],
        clear_sky_fraction=c["clear_sky_fraction"],
    )
    if "clear_sun_fraction" not in days:
        return by_range
    told = days["clear_sun_fraction"].to_numpy(float)
    return np.where(np.isnan(told), by_range, told)
