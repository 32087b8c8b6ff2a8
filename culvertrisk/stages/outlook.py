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
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.winter import (
    FreezeInputs,
    WinterIce,
    days_of_winter,
    winter_by_day,
)
from culvertrisk.stages.winter_weather import climatology, has_weather
from culvertrisk.units import DAY_S

Floats = NDArray[np.float64]

SEASON_END = (5, 31)  # the sun's season ends
_WAIT = "wait for the sun if no water threatens road or house"


def outlook_weather(
    weather: pd.DataFrame, first_day: date, on: date
) -> tuple[pd.DataFrame, date]:
    """Put a usual spring behind the winter so far and its forecast.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``; of days after ``on`` only forecasts are used.
    first_day, on : date
        The winter's first day and the day asked.

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
    if on < last_day and has_weather(whole, first_day, last_day):
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
        ``freeze_advice``, ``seep_ice_length_m`` and, by mechanism,
        ``<name>_closing_day``: blank also where its chance to block is below the
        least of a cause.

    Notes
    -----
    Air and sun only: running water opens a barrel sooner. A closing day after the day
    asked, and every opening day, hold for a usual spring.
    """
    first_day, on = days
    whole, last_day = outlook_weather(weather, first_day, on)
    usual = middle_case(inputs)
    calendar = pd.date_range(first_day, last_day)
    year_c = mean_annual_air(weather, coefficients)
    ahead = days_of_winter(whole, first_day, last_day, coefficients, year_c)
    run = winter_by_day(usual, ahead, coefficients)
    clear_m = usual.rise_m * (1 - usual.silt_fraction)
    clear_m = np.maximum(
        clear_m, (1 - coefficients["silt_limit_fraction"]) * usual.rise_m
    )
    asked = (on - first_day).days
    closes, opens, length_m = _followed(
        run, usual, causes.icing, (clear_m, asked), coefficients
    )
    return {
        "closing_day": _iso(calendar, _leading(closes, causes.icing, np.nan)),
        **_closing_days(calendar, closes, causes, coefficients),
        "self_opening_day": _iso(calendar, opens),
        "freeze_advice": _advice(calendar, opens, asked, coefficients),
        "seep_ice_length_m": length_m,
    }


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
    supply_m3, length_m = np.zeros(len(clear_m)), np.zeros(len(clear_m))
    shut_today, seep_m = np.zeros(len(clear_m), bool), np.zeros(len(clear_m))
    for day, ice in enumerate(run):
        is_shut = _leading(ice.ice_m, icing, 0.0) >= c["opening_ratio"] * clear_m
        for name, first in closes.items():
            first[np.isnan(first) & (ice.ice_m[name] >= full_m)] = day
        if day <= asked:
            grew = ice.ice_m["seep"] > seep_m
            supply_m3 = supply_m3 + np.where(grew, c["trickle_m3s"] * DAY_S, 0)
            seep_m, shut_today = ice.ice_m["seep"], is_shut
            length_m = icing_length(supply_m3, seep_m, usual.rise_m, usual.length_m)
        else:
            opens[np.isnan(opens) & shut_today & ~is_shut] = day
    return closes, opens, length_m


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
            calendar, np.where(causes.chance[name] >= least, day, np.nan)
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


def _advice(
    calendar: pd.DatetimeIndex,
    opens: Floats,
    asked: int,
    coefficients: Mapping[str, Floats],
) -> NDArray[np.object_]:
    soon = opens - asked <= coefficients["wait_days"]
    day = _iso(calendar, np.where(soon, opens, np.nan))
    said = [f"{_WAIT}: opens by itself about {when}" for when in day]
    return np.where(soon, np.array(said, dtype=object), "").astype(object)
