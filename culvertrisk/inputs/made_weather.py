"""A smooth made-up winter of a stated freezing index, where no weather is given."""

from datetime import date

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from culvertrisk.inputs.reading import Reading, note_table

COLUMNS = (
    "air_min_c",
    "air_max_c",
    "rain_m",
    "snowfall_water_m",
    "snow_depth_m",
    "wind_m_s",
)
_YEAR_DAYS = 365.25
_COLDEST_DAY_OF_YEAR = 20  # mid to late January inland; common practice, no source
_HALF_SWING_C = 16.0  # of the daily mean over the year, inland; no source
_HALF_DAY_C = 5.0  # from the mean to the day's extremes; no source


def made_weather(freezing_index_cday: float, last_day: date, years: int = 1) -> Reading:
    """Return daily weather of a cosine year with a given freezing index.

    Parameters
    ----------
    freezing_index_cday : float
        Sum of the daily means below 0 °C over one winter, above 0 [°C·day].
    last_day : date
        Last day of the series.
    years : int
        Length of the series, 1 or more.

    Returns
    -------
    weather : Reading
        The table of ``read_weather``; rain, snow and wind are unknown. One note
        says that the winter is assumed.
    """
    index = pd.date_range(end=last_day, periods=round(years * _YEAR_DAYS), name="day")
    mean_c = _yearly_mean_c(freezing_index_cday)
    daily_c = mean_c + _swing_c(index.day_of_year.to_numpy(float))
    table = pd.DataFrame(np.nan, index=index, columns=[*COLUMNS])
    table = table.assign(
        air_min_c=daily_c - _HALF_DAY_C,
        air_max_c=daily_c + _HALF_DAY_C,
        is_forecast=0.0,
    )
    note = {
        "file": "town.toml",
        "row": 0,
        "column": "town.freezing_index_cday",
        "found": "no weather file",
        "understood": f"a smooth winter of {freezing_index_cday:.0f} °C·days, its rain "
        "and snow unknown",
        "kind": "assumed",
    }
    return Reading(table, note_table([note]))


def _swing_c(day_of_year: np.ndarray) -> np.ndarray:
    phase = 2 * np.pi * (day_of_year - _COLDEST_DAY_OF_YEAR) / _YEAR_DAYS
    return -_HALF_SWING_C * np.cos(phase)


def _yearly_mean_c(freezing_index_cday: float) -> float:
    swing_c = _swing_c(np.arange(1.0, 366.0))

    def excess(mean_c: float) -> float:
        return float(np.maximum(0.0, -(mean_c + swing_c)).sum()) - freezing_index_cday

    warmest_c = _HALF_SWING_C - 1e-6
    coldest_c = -freezing_index_cday / _YEAR_DAYS - _HALF_SWING_C
    return float(brentq(excess, coldest_c, warmest_c))
