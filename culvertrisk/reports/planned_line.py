"""The day and the weather that scores and plan stand on, in one line everywhere."""

from __future__ import annotations

import math
from collections.abc import Mapping

from culvertrisk.forecast_model import Forecast
from culvertrisk.reports.words import day_words
from culvertrisk.stages.day_asked import UNKNOWN, DayAsked
from culvertrisk.units import clock, quantity

_M_MM = 1_000.0


def planned_line(asked: DayAsked | None, *, is_planned: bool) -> str:
    """Say for which day and weather the morning is planned, or only scored.

    Parameters
    ----------
    asked : DayAsked or None
        The day and its weather; None tells nothing.
    is_planned : bool
        Whether there is a plan for trucks.

    Returns
    -------
    line : str
        Quantities as ``units.quantity`` writes them, and where they are from.

    Examples
    --------
    >>> from datetime import date
    >>> from culvertrisk.reports.sentence_units import in_units
    >>> source = dict.fromkeys(("low", "high", "rain"), "weather file, forecast")
    >>> asked = DayAsked(date(2026, 3, 12), -4.0, 6.0, 0.005, Forecast(), source)
    >>> in_units(planned_line(asked, is_planned=True), "metric")  # doctest: +ELLIPSIS
    'Planned for: Thursday 12 March 2026, low -4 °C, high 6 °C, rain 5 mm (...)'
    >>> in_units(planned_line(asked, is_planned=False), "us")  # doctest: +ELLIPSIS
    'Scored for: Thursday 12 March 2026, low 25 °F, high 43 °F, rain 0.2 in (...)'
    """
    if asked is None:
        return ""
    parts = [
        day_words(asked.on),
        f"low {_air(asked.low_c)}",
        f"high {_air(asked.high_c)}",
        f"rain {_depth(asked.rain_m)}{_hours(asked.forecast)}",
    ]
    if asked.forecast.snow_water_m is not None:
        parts.append(f"water in the snow {_depth(asked.forecast.snow_water_m)}")
    label = "Planned for" if is_planned else "Scored for"
    return f"{label}: {', '.join(parts)} ({_from(asked.sources)})"


def _air(air_c: float) -> str:
    if math.isnan(air_c):
        return "unknown"
    return quantity(round(air_c, 1) + 0.0, "°C", None)  # no minus before a zero


def _depth(depth_m: float) -> str:
    if math.isnan(depth_m):
        return "unknown"
    return quantity(round(depth_m * _M_MM, 1), "mm", None)


def _hours(forecast: Forecast) -> str:
    if forecast.rain_start is None or forecast.rain_end is None:
        return ""
    return f" from {clock(forecast.rain_start)} to {clock(forecast.rain_end)}"


def _from(sources: Mapping[str, str]) -> str:
    """Where the known numbers are from; said once where that is one place."""
    names: dict[str, list[str]] = {}
    for name, source in sources.items():
        if source != UNKNOWN:
            names.setdefault(source, []).append(name)
    if len(names) < 2:
        return next(iter(names), UNKNOWN)
    return "; ".join(f"{', '.join(own)}: {source}" for source, own in names.items())
