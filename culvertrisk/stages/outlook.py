"""When the ice of a crossing's leading mechanism closes it, and when sun opens it."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.ice import icing_length
from culvertrisk.stages.causes import Causes
from culvertrisk.stages.freeze_inputs import Spread, daily_inputs
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS, middle_ice
from culvertrisk.stages.winter import (
    FreezeInputs,
    WinterIce,
    days_of_winter,
    opened_on,
    winter_by_day,
)
from culvertrisk.stages.winter_weather import climatology, has_weather
from culvertrisk.units import DAY_S

Floats = NDArray[np.float64]

SEASON_END = (5, 31)  # the sun's season ends


def outlook_weather(
    weather: pd.DataFrame,
    first_day: date,
    on: date,
    coefficients: Mapping[str, Floats],
) -> tuple[pd.DataFrame, date]:
    """Put a usual spring behind the winter so far and its forecast.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``; of days after ``on`` only forecasts are used.
    first_day, on : date
        The winter's first day and the day asked.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    weather, last_day : DataFrame, date
        To 31 May by the mean of the earlier winters; without any, to the last day
        known.
    """
    last_day = date(first_day.year + 1, *SEASON_END)
    is_past = weather.index <= pd.Timestamp(on)
    known = weather[is_past | (weather["is_forecast"] == 1).to_numpy()]
    usual = climatology(known, first_day, last_day)
    whole = known.combine_first(usual)[[*weather.columns]]
    if on < last_day and has_weather(whole, first_day, last_day, coefficients):
        return whole, last_day
    return known, on


def outlook(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    days: tuple[date, date],
    causes: Causes,
    coefficients: Mapping[str, Floats],
) -> dict[str, NDArray]:
    """Say on which day the leading ice closes and opens the usual case.

    Parameters
    ----------
    inputs : FreezeInputs
        n crossings; what is unknown takes the middle of its points, as dates cannot
        be averaged.
    weather : DataFrame
        The table of ``read_weather``, the forecast in it.
    days : tuple of date
        The winter's first day and the day asked.
    causes : Causes
        Of ``leading_causes``.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    columns : dict
        ``closing_day``, ``self_opening_day`` (ISO text, blank if not this season),
        ``seep_ice_length_m`` (the mean over the trickles that are equally likely, NaN
        where no seep is recorded) and, by mechanism, ``<name>_closing_day``: blank also
        where its chance to block is below the least of a cause.

    Notes
    -----
    Air and sun only: running water opens a barrel sooner. A closing day after the day
    asked, and every opening day, hold for a usual spring. No day contradicts the
    class: a crossing below class some has none, one of class high or severe none in
    the future for its closing (by its chance it is shut now), and none opens that has
    not closed by the day asked.
    """
    first_day, on = days
    whole, last_day = outlook_weather(weather, first_day, on, coefficients)
    usual = middle_case(inputs)
    calendar = pd.date_range(first_day, last_day)
    year_c = mean_annual_air(weather, coefficients)
    ahead = days_of_winter(whole, first_day, last_day, coefficients, year_c)
    run = winter_by_day(usual, ahead, coefficients)
    limit = coefficients["silt_limit_fraction"]
    clear_m = usual.rise_m * (1 - np.minimum(usual.silt_fraction, limit))
    asked = (on - first_day).days
    closes, opens, length_m = _followed(
        run, usual, causes.icing, (clear_m, asked), coefficients
    )
    closed = {
        name: _agreed(day, asked, causes, coefficients) for name, day in closes.items()
    }
    leads = _leading(closed, causes.icing, np.nan)
    return {
        "closing_day": _iso(calendar, leads),
        **_closing_days(calendar, closed, causes, coefficients),
        "self_opening_day": _iso(calendar, np.where(leads <= asked, opens, np.nan)),
        "seep_ice_length_m": length_m,
    }


def _agreed(
    day: Floats, asked: int, causes: Causes, coefficients: Mapping[str, Floats]
) -> Floats:
    """Keep the closing days that agree with the class of the crossing."""
    is_some = causes.blocked_chance >= coefficients["class_some_chance"]
    is_shut = causes.blocked_chance >= coefficients["class_high_chance"]
    return np.where(is_some & ~(is_shut & (day > asked)), day, np.nan)


def _followed(
    run: Iterator[WinterIce],
    usual: FreezeInputs,
    icing: NDArray[np.object_],
    clear_and_asked: tuple[Floats, int],
    coefficients: Mapping[str, Floats],
) -> tuple[dict[str, Floats], Floats, Floats]:
    """Follow the days: first closed by each, first open again, the seep's length."""
    c, (clear_m, asked) = coefficients, clear_and_asked
    opens = np.full(len(clear_m), np.nan)
    closes = {name: opens.copy() for name in MECHANISMS}
    full_m = c["closing_median_ratio"] * clear_m
    trickle_m3 = c["trickle_points_m3s"][:, None] * DAY_S
    supply_m3, length_m = np.zeros((2, len(trickle_m3), len(clear_m)))
    shut_today, seep_m = np.zeros(len(clear_m), bool), np.zeros(len(clear_m))
    for day, ice in enumerate(run):
        opened, left = opened_on(usual, day)
        supply_m3 = np.where(opened, left * supply_m3, supply_m3)
        ice_m = {name: middle_ice(depth_m) for name, depth_m in ice.ice_m.items()}
        is_shut = _leading(ice_m, icing, 0.0) >= c["opening_ratio"] * clear_m
        for name, first in closes.items():
            first[opened] = np.nan  # it closes again, or has not yet
            first[np.isnan(first) & (ice_m[name] >= full_m)] = day
        if day <= asked:
            grew = ice.ice_m["seep"] > seep_m
            supply_m3 = supply_m3 + np.where(grew, trickle_m3, 0)
            seep_m, shut_today = ice.ice_m["seep"], is_shut
            length_m = icing_length(supply_m3, seep_m, usual.rise_m, usual.length_m)
        else:
            opens[np.isnan(opens) & shut_today & ~is_shut] = day
    return closes, opens, _seeped(length_m.mean(axis=0), usual)


def _seeped(length_m: Floats, usual: FreezeInputs) -> Floats:
    """Length that seeps of any trickle freeze on average; NaN where none seeps."""
    return np.where(usual.seep_chance > 0, length_m, np.nan)


def _leading(
    values: Mapping[str, Floats], icing: NDArray[np.object_], without: float
) -> Floats:
    """Take for each crossing the value of its leading mechanism."""
    leading = np.full(len(icing), without)
    for name in MECHANISMS:
        leading = np.where(icing == name, values[name], leading)
    return leading


def _closing_days(
    calendar: pd.DatetimeIndex,
    closes: Mapping[str, Floats],
    causes: Causes,
    coefficients: Mapping[str, Floats],
) -> dict[str, NDArray[np.object_]]:
    least = coefficients["cause_chance_least"]
    return {
        f"{name}_closing_day": _iso(
            calendar, np.where(causes.believed[name] >= least, day, np.nan)
        )
        for name, day in closes.items()
    }


def middle_case(inputs: FreezeInputs) -> FreezeInputs:
    """Put the middle of its points in for all that is unknown of each crossing."""
    middle = {
        name: values[:, values.shape[1] // 2] for name, values in inputs.points.items()
    }
    count = len(inputs.rise_m)
    sun_known = np.isfinite(inputs.sun_j_m2).all(axis=1)
    fraction = np.where(sun_known, 1.0, middle.pop("sun_fraction"))
    filled: dict[str, Any] = {
        name: np.where(np.isnan(getattr(inputs, name)), value, getattr(inputs, name))
        for name, value in middle.items()
    }
    values = {"sun_fraction": fraction, **filled}
    alike = Spread(np.arange(count), np.ones(count), values)
    return daily_inputs(replace(inputs, **filled), alike)


def _iso(calendar: pd.DatetimeIndex, day: Floats) -> NDArray[np.object_]:
    known = ~np.isnan(day)
    words = np.full(len(day), "", dtype=object)
    words[known] = calendar.strftime("%Y-%m-%d").to_numpy(object)[
        day[known].astype(int)
    ]
    return words
