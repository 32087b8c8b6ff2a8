"""Daily weather from any of its layouts to one checked table by day."""

from pathlib import Path

import numpy as np
import pandas as pd

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.culvert_notes import Note, note, note_whole
from culvertrisk.inputs.days import parse_days
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.weather_layouts import RawWeather, read_layout
from culvertrisk.units import registry

COLUMNS = (
    "air_min_c",
    "air_max_c",
    "rain_m",
    "snowfall_water_m",
    "snow_depth_m",
    "wind_m_s",
    "is_forecast",
)
OPTIONAL = ("wind_from_deg", "sunshine_h")  # columns only where the file has them
# lowest and highest value that can be true on land, wide; common practice, no source
_RANGES = {
    "air_min_c": (-70.0, 45.0),
    "air_max_c": (-65.0, 60.0),
    "air_mean_c": (-67.0, 50.0),
    "rain_m": (0.0, 1.0),
    "precipitation_m": (0.0, 1.0),
    "snowfall_water_m": (0.0, 0.5),
    "fresh_snow_m": (0.0, 3.0),
    "snow_depth_m": (0.0, 15.0),
    "wind_m_s": (0.0, 100.0),
    "wind_from_deg": (0.0, 360.0),
    "sunshine_h": (0.0, 24.0),
}
_TARGETS = dict.fromkeys(_RANGES, "m") | {
    "air_min_c": "degC",
    "air_max_c": "degC",
    "air_mean_c": "degC",
    "wind_m_s": "m/s",
    "wind_from_deg": "degree",
    "sunshine_h": "hour",
}
RAIN_ABOVE_C = 1.0  # rain and snow part near 1 °C: nws, snow model parameters
FRESH_SNOW_DENSITY = 0.1  # ten of snow to one of water; common practice, no source
_DEEPEST_METRES, _DEEPEST_CENTIMETRES = 4.0, 400.0  # a number above is a smaller unit
_TENTHS_ABOVE, _FAHRENHEIT_ABOVE = 140.0, 50.0  # no °F, no °C goes that high
# what archives write where nothing was measured; common practice, no source
_MISSING = (-999.0, -999.9, -9999.0, -9999.9, -99999.0, 999.9, 9999.0, 9999.9, 99999.0)
_FORECAST_WORDS = ("forecast", "f", "1", "1.0", "true", "yes", "y")


def read_weather(path: Path, reading: settings.Reading) -> Reading:
    """Read daily weather, forecast days included.

    Parameters
    ----------
    path : Path
        Any layout of ``read_layout``. Forecast days carry ``forecast`` in a column
        ``kind``, or 1 in ``is_forecast``; where a day is both observed and
        forecast, the observed row stands.
    reading : settings.Reading
        ``columns`` (our name = the file's) and ``units`` (our name = unit) where the
        file's names do not say.

    Returns
    -------
    weather : Reading
        Every day from the first to the last, indexed ``day``, columns ``COLUMNS`` (and
        ``OPTIONAL`` ones that the file has) as
        float64. NaN is unknown; days the file leaves out are rows of NaN. Total
        precipitation is rain above a mean of 1 °C and snow below.

    Raises
    ------
    InputError
        If the file is missing, is no weather table, a told unit is unknown, or no
        row has a date and a temperature.
    """
    raw = read_layout(path, reading)
    notes: list[Note] = [
        note(row, column, text, "marked as failed by the service", "refused")
        for row, column, text in raw.refused
    ]
    notes += raw.notes
    days = parse_days(raw.cells["day"])
    if days.is_order_assumed:
        notes.append(note_whole("day", days.order, "no date settles it", "assumed"))
    for row, text in raw.cells["day"][days.day.isna()].items():
        notes.append(note(row, "day", text, "row not used: no date", "refused"))
    table = _values(raw, path.name, reading, notes).assign(day=days.day)
    table = table[table["day"].notna()]
    complete = _complete(_in_range(table, notes), notes)
    if not complete[["air_min_c", "air_max_c"]].notna().all(axis=1).any():
        raise InputError([_nothing_usable(path.name, len(raw.cells))])
    daily = _daily(complete, notes)
    return Reading(daily, note_table([{**n, "file": path.name} for n in notes]))


def _values(
    raw: RawWeather, file: str, reading: settings.Reading, notes: list[Note]
) -> pd.DataFrame:
    numbers = {
        name: _numbers(raw.cells[name], name, notes)
        for name in raw.units
        if name != "is_forecast"
    }
    air = [v for name, v in numbers.items() if name.startswith("air_")]
    values = {}
    for name, number in numbers.items():
        unit = raw.units[name]
        if name not in reading.units:
            # all temperatures of a file are in one unit, so they are judged together
            judged = air if name.startswith("air_") else [number]
            unit = _guessed_unit(pd.concat(judged), name, unit, notes)
        values[name] = _in_our_unit(number, name, unit, file)
    if "is_forecast" in raw.units:
        words = raw.cells["is_forecast"].astype(str).str.lower()
        values["is_forecast"] = words.isin(_FORECAST_WORDS).astype(float)
    return pd.DataFrame(values, index=raw.cells.index)


def _nothing_usable(file: str, total: int) -> str:
    rule = "have at least one row with a date, a lowest and a highest temperature"
    return file_problem(
        file,
        rule,
        f"none in {total} rows",
        "Check the dates and the columns; name them under [weather.columns].",
    )


def _numbers(text: pd.Series, name: str, notes: list[Note]) -> pd.Series:
    plain = text.astype(str).str.strip()
    is_trace = plain.str.upper().isin(["T", "TRACE"])
    values = pd.to_numeric(plain.mask(is_trace, "0"), errors="coerce")
    blank = plain.str.lower().isin(["", "nan", "na", "n/a", "m", "-", "--", "null"])
    for row, found in plain[values.isna() & ~blank].items():
        notes.append(note(row, name, found, "unknown: no number", "refused"))
    is_missing = values.isin(_MISSING)  # before a unit is judged by size
    if is_missing.any():
        found = f"{int(is_missing.sum())} rows of {plain[is_missing].iloc[0]}"
        notes.append(note_whole(name, found, "unknown: a missing value", "refused"))
    return values.mask(is_missing).astype(float)


def _in_our_unit(values: pd.Series, name: str, unit: str, file: str) -> pd.Series:
    share, _, word = unit.rpartition(" ")
    try:
        scale = float(share) if share else 1.0
        if word.startswith("deci"):
            scale, word = 0.1, word.removeprefix("deci")
        quantity = registry().Quantity(values.to_numpy(float) * scale, word)
        ours = quantity.to(_TARGETS[name]).magnitude
    except Exception as error:  # pint raises many kinds; all mean the same here
        rule = f"be a unit that turns into {_TARGETS[name]}"
        key, remedy = f"weather.units.{name}", "Correct the spelling."
        raise InputError([value_problem(file, key, rule, unit, remedy)]) from error
    return pd.Series(np.asarray(ours, dtype=float), index=values.index)


def _guessed_unit(values: pd.Series, name: str, unit: str, notes: list[Note]) -> str:
    """Unit by size, where the file does not tell: depth, and tenths or °F for °C."""
    most = values.abs().max()
    guess = unit
    if name == "snow_depth_m" and unit == "":
        small = "m" if most <= _DEEPEST_METRES and (values % 1 > 0).any() else "cm"
        guess = small if not most > _DEEPEST_CENTIMETRES else "mm"
    elif name.startswith("air_") and unit == "degC" and most > _TENTHS_ABOVE:
        guess = "decidegC"
    elif name.startswith("air_") and unit == "degC":
        guess = "degF" if values.max() > _FAHRENHEIT_ABOVE else unit
    if guess != unit:
        found = f"{values.min():g} to {values.max():g}, unit {unit or 'not told'}"
        notes.append(note_whole(name, found, f"read as {guess}", "changed"))
    return guess


def _in_range(table: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    table = table.copy()
    for name, (low, high) in _RANGES.items():
        if name not in table:
            continue
        wrong = (table[name] < low) | (table[name] > high)
        for row, value in table.loc[wrong, name].items():
            understood = f"unknown: not from {low:g} to {high:g}"
            notes.append(note(row, name, f"{value:g}", understood, "refused"))
        table[name] = table[name].mask(wrong)
    if {"air_min_c", "air_max_c"} <= {*table.columns}:
        # gridded and merged series do this for days on end; the mean still holds
        wrong = table["air_min_c"] > table["air_max_c"]
        for row, value in table.loc[wrong, "air_min_c"].items():
            understood = "taken as the highest: it is above the highest given"
            notes.append(note(row, "air_min_c", f"{value:g}", understood, "changed"))
        pair = table.loc[wrong, ["air_min_c", "air_max_c"]].to_numpy()
        table.loc[wrong, ["air_min_c", "air_max_c"]] = pair[:, ::-1]
    return table


def _complete(table: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    """Add what can be had from other columns: extremes from means, phase from air."""
    for name in ("air_mean_c", "precipitation_m", "fresh_snow_m", *COLUMNS):
        if name not in table:
            table[name] = 0.0 if name == "is_forecast" else np.nan
    only_mean = table[["air_min_c", "air_max_c"]].isna().all(axis=1)
    only_mean &= table["air_mean_c"].notna()
    if only_mean.any():
        found = f"{int(only_mean.sum())} days with a mean only"
        understood = "lowest and highest taken as the mean"
        notes.append(note_whole("air_mean_c", found, understood, "assumed"))
        for name in ("air_min_c", "air_max_c"):
            table[name] = table[name].where(~only_mean, table["air_mean_c"])
    return _with_phase(table, notes)


def _with_phase(table: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    total_m, rain_m = table["precipitation_m"], table["rain_m"]
    by_rain_m = (total_m - rain_m).clip(lower=0)
    fresh_m = table["fresh_snow_m"] * FRESH_SNOW_DENSITY
    mean_c = (table["air_min_c"] + table["air_max_c"]) / 2
    is_split = total_m.notna() & rain_m.isna() & mean_c.notna()
    is_rain = mean_c > RAIN_ABOVE_C
    if (is_split & (total_m > 0)).any():
        understood = (
            f"rain where the day's mean is above {RAIN_ABOVE_C:g} °C, else snow"
        )
        found = f"{int((is_split & (total_m > 0)).sum())} days of total precipitation"
        notes.append(note_whole("precipitation_m", found, understood, "assumed"))
    snow_m = table["snowfall_water_m"].fillna(by_rain_m)
    if (snow_m.isna() & ~is_split & fresh_m.notna()).any():
        understood = f"water is {FRESH_SNOW_DENSITY:g} of the depth of fresh snow"
        notes.append(note_whole("fresh_snow_m", "depth only", understood, "assumed"))
    split_snow_m = total_m.where(~is_rain, 0.0).where(is_split)
    return table.assign(
        rain_m=rain_m.fillna(total_m.where(is_rain, 0.0).where(is_split)),
        snowfall_water_m=snow_m.fillna(split_snow_m).fillna(fresh_m),
    )


def _daily(table: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    # forecast first, so that of one day the last row is an observed one if any is
    ordered = table.sort_values("is_forecast", ascending=False, kind="stable")
    repeated = ordered.duplicated("day", keep="last")
    twice = repeated & (ordered["is_forecast"] == 0)
    for row, day in ordered.loc[twice, "day"].items():
        understood = "row not used: a later row has the same day"
        notes.append(note(row, "day", f"{day:%Y-%m-%d}", understood, "refused"))
    kept = [*COLUMNS, *(name for name in OPTIONAL if name in table)]
    single = ordered[~repeated].set_index("day").sort_index()[kept]
    index = pd.date_range(single.index[0], single.index[-1], name="day")
    if len(index) > len(single):
        found = f"{len(index) - len(single)} of {len(index)} days are not in the file"
        notes.append(note_whole("day", found, "unknown weather", "assumed"))
    daily = single.reindex(index)
    return daily.assign(is_forecast=daily["is_forecast"].fillna(0.0)).astype(float)
