"""What the weather leaves out: what is bridged, what is assumed, what is refused."""

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.checks import file_problem
from culvertrisk.units import quantity

Floats = NDArray[np.float64]
Said = dict[str, object]  # column, found and understood of a note

AIR = ["air_min_c", "air_max_c"]
_SHOWN_GAPS = 5


def no_air(days: pd.DataFrame) -> pd.Series:
    """Tell the days without a lowest or highest temperature."""
    return days[AIR].isna().any(axis=1)


def bridged(readings: pd.Series, most_days: float) -> pd.Series:
    """Fill gaps of up to so many days by a straight line, at either end as beside it.

    Examples
    --------
    >>> bridged(pd.Series([1.0, np.nan, 3.0, np.nan, np.nan, 6.0]), 1).tolist()
    [1.0, 2.0, 3.0, nan, nan, 6.0]
    """
    lasting = _gap_days(readings.isna())
    filled = readings.interpolate(limit_direction="both")
    return filled.where(lasting <= most_days)


def can_bridge(missing: pd.Series, coefficients: Mapping[str, Floats]) -> bool:
    """Tell whether no gap is longer than ``weather_gap_days``."""
    longest = _gap_days(missing).max()
    most = coefficients["weather_gap_days"].item()
    return bool(longest <= most and not missing.all())


def fallen_water(
    days: pd.DataFrame, air_mean_c: Floats, coefficients: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Snow and rain of each day, shape (days,), ``assumed_precipitation_m`` if unknown.

    Unknown rain is rain only on a day whose mean is above ``snow_air_c``, unknown
    snowfall snow only on the others; no snowfall is assumed where none is ever told,
    since then a depth of snow is.
    """
    c = coefficients
    wet_m, is_warm = c["assumed_precipitation_m"].item(), air_mean_c > c["snow_air_c"]
    snow_m, rain_m = (days[name] for name in ("snowfall_water_m", "rain_m"))
    more_snow_m = wet_m if snow_m.notna().any() else 0.0
    return (
        np.where(snow_m.isna(), more_snow_m * ~is_warm, snow_m),
        np.where(rain_m.isna(), wet_m * is_warm, rain_m),
    )


def gap_problem(days: pd.DataFrame, coefficients: Mapping[str, Floats]) -> str:
    """Say which gaps in the temperatures are too long."""
    missing, most = no_air(days), coefficients["weather_gap_days"].item()
    first, last = days.index[0], days.index[-1]
    return file_problem(
        "weather",
        f"give a lowest and highest temperature for the days from {first:%Y-%m-%d} to "
        f"{last:%Y-%m-%d} with no gap above {most:g} days",
        f"none on {int(missing.sum())} of {len(days)} days: "
        f"{_spans(missing & (_gap_days(missing) > most))}",
        "Add the missing days from a station nearby, or the forecast rows.",
    )


def weather_notes(
    days: pd.DataFrame, coefficients: Mapping[str, Floats]
) -> Iterator[Said]:
    """Say what stands in for what the days of a winter do not tell.

    Parameters
    ----------
    days : DataFrame
        Rows of ``read_weather``, one a day of the winter.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Yields
    ------
    said : dict
        ``column``, ``found`` and ``understood``; nothing where all is known.
    """
    c, missing = coefficients, no_air(days)
    yield from _said("air_min_c", missing, "a straight line between the days beside")
    readings, falls = days["snow_depth_m"], days["snowfall_water_m"]
    known = bridged(readings, c["snow_gap_days"].item()).notna()
    line = "a straight line between the readings beside"
    yield from _said("snow_depth_m", readings.isna() & known, line)
    assumed = quantity(c["assumed_snow_depth_m"].item(), "m", None) + " assumed"
    other = "snowfall less melt" if falls.notna().any() else assumed
    yield from _said("snow_depth_m", ~known, other)
    wet = quantity(1000 * c["assumed_precipitation_m"].item(), "mm", None)
    split = quantity(c["snow_air_c"].item(), "°C", None)
    rain = f"{wet} of rain assumed where the day's mean is above {split}, else none"
    yield from _said("rain_m", days["rain_m"].isna(), rain)
    if falls.notna().any():
        snow = f"{wet} of water assumed where the day's mean is {split} or less"
        yield from _said("snowfall_water_m", falls.isna(), f"{snow}, else none")


def _said(column: str, missing: pd.Series, understood: str) -> Iterator[Said]:
    if missing.any():
        found = f"unknown on {int(missing.sum())} of {len(missing)} days of this winter"
        found += f": {_spans(missing)}"
        yield {"column": column, "found": found, "understood": understood}


def _gap_days(missing: pd.Series) -> pd.Series:
    """Length of the gap that each day lies in, 0 on days that are known."""
    lengths = missing.groupby((~missing).cumsum()).transform("sum")
    return lengths.where(missing, 0)


def _spans(chosen: pd.Series) -> str:
    """Write days as spans, at most five."""
    run = (chosen != chosen.shift()).cumsum()[chosen]
    spans = [(part.index[0], part.index[-1]) for _, part in run.groupby(run)]
    shown = [
        f"{a:%Y-%m-%d}" + (f" to {b:%Y-%m-%d}" if b > a else "")
        for a, b in spans[:_SHOWN_GAPS]
    ]
    return ", ".join([*shown, *["..."] * (len(spans) > _SHOWN_GAPS)])
