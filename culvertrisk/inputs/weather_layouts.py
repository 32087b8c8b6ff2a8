"""The layouts in which weather services and spreadsheets hand over daily weather."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from culvertrisk import settings
from culvertrisk.checks import (
    InputError,
    file_problem,
    refuse,
    value_problem,
    word_problem,
)
from culvertrisk.inputs.columns import plain_name
from culvertrisk.inputs.culvert_notes import Note
from culvertrisk.inputs.text_faults import refuse_faults, row_notes
from culvertrisk.inputs.text_tables import TextTable, decoded, text_table
from culvertrisk.tables import table

# Daily elements of the GHCN-Daily archive (its readme.txt), our names and units.
ELEMENTS = {
    "TMIN": ("air_min_c", "decidegC"),
    "TMAX": ("air_max_c", "decidegC"),
    "TAVG": ("air_mean_c", "decidegC"),
    "PRCP": ("precipitation_m", "0.1 mm"),
    "SNOW": ("fresh_snow_m", "mm"),
    "SNWD": ("snow_depth_m", "mm"),
    "AWND": ("wind_m_s", "0.1 m/s"),
}
UNIT_ENDINGS = {
    "c": "degC",
    "degc": "degC",
    "deg_c": "degC",
    "f": "degF",
    "degf": "degF",
    "deg_f": "degF",
    "mm_w_e": "mm",
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "inch",
    "inches": "inch",
    "km_h": "km/h",
    "kmh": "km/h",
    "kph": "km/h",
    "mph": "mph",
    "m_s": "m/s",
    "knots": "knot",
}
_DLY_ROW = re.compile(r"^[A-Z]{2}[A-Z0-9_-]{9}\d{6}[A-Z]{4}[ 0-9-]{5}")
_DLY_MISSING = -9999
_DLY_FIRST, _DLY_WIDTH, _DLY_DAYS = 21, 8, 31  # columns of the readme's table
_STATION = re.compile(r"^[A-Z]{2}[A-Z0-9_-]{9}$")
_HEADER_SEARCH_ROWS = 60


@dataclass(frozen=True)
class RawWeather:
    """Weather as it stands in a file: text by our names, with the file's units.

    ``cells`` has a text column ``day`` and is indexed by the data row, from 1;
    ``units`` is "" where neither the file nor the layout tells.
    ``refused`` are (row, column, text) that the service itself marks as failed;
    ``notes`` say which rows are short and which lines are no row.
    """

    cells: pd.DataFrame
    units: dict[str, str]
    refused: tuple[tuple[int, str, str], ...] = ()
    notes: tuple[Note, ...] = ()


def read_layout(path: Path, reading: settings.Reading) -> RawWeather:
    """Read a weather file of any of the layouts.

    Parameters
    ----------
    path : Path
        GHCN-Daily fixed width (``.dly``), GHCN-Daily rows of station, date,
        element, value and flags with or without a header, or any delimited text
        with one row a day and named columns, titles above them allowed.
    reading : settings.Reading
        ``columns`` and ``units`` where the names do not say.

    Returns
    -------
    raw : RawWeather
        Text cells by our names.

    Raises
    ------
    InputError
        If the file is missing, is no text, or has no date and temperature.
    """
    text = _text(path)
    lines = [line for line in text.splitlines() if line.strip()]
    if lines and all(_DLY_ROW.match(line) for line in lines[:3]):
        return _fixed_width(lines)
    table = text_table(text, _is_name).filled()
    rows = [row.cells for row in table.rows]
    if rows and len(rows[0]) > 3 and _STATION.match(rows[0][0]):
        refuse_faults(table, len(rows), path.name)
        return _by_element(rows, (0, 1, 2, 3, 5))
    places = _element_places(rows[0]) if rows else None
    if places is not None:
        refuse_faults(table, 0, path.name)
        return _by_element(rows[1:], places)
    return _by_day(path.name, table, reading)


def _text(path: Path) -> str:
    remedy = "Correct files.weather in the town file, or save the table as CSV."
    if not path.is_file():
        problem = file_problem(path.name, "exist", "no such file", remedy)
        raise InputError([problem])
    return decoded(path, "be text (CSV or fixed width)", remedy)


def _fixed_width(lines: Sequence[str]) -> RawWeather:
    """GHCN-Daily: station, year and month, element, then 31 values with 3 flags."""
    rows = []
    for line in lines:
        if not _DLY_ROW.match(line):
            continue
        month, element = f"{line[11:15]}-{line[15:17]}", line[17:21]
        for day in range(_DLY_DAYS):
            start = _DLY_FIRST + _DLY_WIDTH * day
            value, flag = line[start : start + 5].strip(), line[start + 6 : start + 7]
            if value and int(value) != _DLY_MISSING:
                rows.append([line[:11], f"{month}-{day + 1:02d}", element, value, flag])
    return _by_element(rows, (0, 1, 2, 3, 4))


def _element_places(header: Sequence[str]) -> tuple[int, ...] | None:
    names = [plain_name(cell) for cell in header]
    wanted = [("station", "id"), ("date",), ("element", "datatype"), ("value",)]
    flags = ("qflag", "q_flag", "quality_flag", "flags", "flag", "attributes")
    found = [next((names.index(n) for n in w if n in names), -1) for w in wanted]
    if min(found[1:]) < 0:
        return None
    quality = next((names.index(name) for name in flags if name in names), len(names))
    return (max(found[0], 0), *found[1:], quality)


def _by_element(rows: Sequence[Sequence[str]], places: tuple[int, ...]) -> RawWeather:
    """Rows of one element each; of several stations the fullest one is taken."""
    cells = pd.DataFrame(
        [[row[p] if p < len(row) else "" for p in places] for row in rows],
        columns=["station", "day", "element", "value", "flag"],
    )
    cells = cells[cells["element"].isin(ELEMENTS)]
    if len(cells):
        cells = cells[cells["station"] == cells["station"].mode()[0]]
    cells = cells.drop_duplicates(["day", "element"], keep="last")
    # a flag cell may hold measurement, quality and source flags between commas
    quality = cells["flag"].str.split(",").map(lambda f: f[1] if len(f) > 1 else f[0])
    failed = quality.str.strip() != ""
    wide = cells.assign(value=cells["value"].where(~failed, ""))
    wide = wide.pivot(index="day", columns="element", values="value").fillna("")
    rows_of_day = {day: row for row, day in enumerate(wide.index, start=1)}
    refused = tuple(
        (rows_of_day[day], ELEMENTS[str(element)][0], str(value))
        for day, element, value in cells.loc[
            failed, ["day", "element", "value"]
        ].itertuples(index=False)
    )
    units = dict(ELEMENTS[str(name)] for name in wide.columns)
    wide = wide.rename(columns={name: ours for name, (ours, _) in ELEMENTS.items()})
    wide = wide.reset_index().rename_axis(columns=None)
    wide.index = pd.RangeIndex(1, len(wide) + 1)
    return RawWeather(wide, units, refused)


def _is_name(cell: str) -> bool:
    return known_column(cell) is not None


@cache
def _aliases() -> dict[str, tuple[str, str]]:
    rows = table("weather_aliases").fillna("")
    return {str(r.alias): (str(r.column), str(r.unit)) for r in rows.itertuples()}


def known_column(name: str) -> tuple[str, str] | None:
    """Return our name and the unit of a weather column, or None if unknown.

    Examples
    --------
    >>> known_column("Max Temp (°C)"), known_column("snowfall_mm_w_e")
    (('air_max_c', 'degC'), ('snowfall_water_m', 'mm'))
    >>> known_column("Snow on Grnd (cm)"), known_column("TMIN_ATTRIBUTES")
    (('snow_depth_m', 'cm'), None)
    """
    plain = plain_name(name.replace("°", " "))
    for ending in sorted(UNIT_ENDINGS, key=len, reverse=True):
        base = plain.removesuffix(f"_{ending}")
        if base != plain and base in _aliases():
            return _aliases()[base][0], UNIT_ENDINGS[ending]
    return _aliases().get(plain)


def _by_day(file: str, table: TextTable, reading: settings.Reading) -> RawWeather:
    told = {theirs: ours for ours, theirs in reading.columns.items()}
    rows = [row.cells for row in table.rows]
    for place, row in enumerate(rows[:_HEADER_SEARCH_ROWS]):
        found = {
            cell: (told[cell], "") if cell in told else known_column(cell)
            for cell in row
        }
        named = {hit[0] for hit in found.values() if hit}
        if "day" in named and named & {"air_min_c", "air_max_c", "air_mean_c"}:
            refuse(_told_problems(file, row, reading))
            refuse_faults(table, place, file)
            raw = _named(row, rows[place + 1 :], found, reading)
            return replace(raw, notes=tuple(row_notes(table, place)))
    refuse_faults(table, len(rows), file)
    shown = ", ".join(repr(cell) for cell in rows[0] if cell) if rows else "no row"
    rule = "have a header with a date and a lowest, highest or mean temperature"
    remedy = (
        "Rename the columns (date, tmin_c, tmax_c, rain_mm, ...) or name them under "
        "[weather.columns] in the town file."
    )
    raise InputError([file_problem(file, rule, shown, remedy)])


def _told_problems(
    file: str, header: list[str], reading: settings.Reading
) -> list[str]:
    ours = sorted({column for column, _ in _aliases().values()})
    remedy = "Correct the spelling in the town file."
    unknown = [
        word_problem(file, f"weather.{part}", ours, key, remedy)
        for part, keys in (("columns", reading.columns), ("units", reading.units))
        for key in keys
        if key not in ours
    ]
    rule = f"be a column of the file ({', '.join(filter(None, header))})"
    absent = [
        value_problem(file, f"weather.columns.{key}", rule, theirs, remedy)
        for key, theirs in reading.columns.items()
        if theirs not in header
    ]
    return [*unknown, *absent]


def _named(
    header: list[str],
    rows: list[list[str]],
    found: dict[str, tuple[str, str] | None],
    reading: settings.Reading,
) -> RawWeather:
    body = np.array(
        [[*row, *[""] * len(header)][: len(header)] for row in rows], dtype=object
    ).reshape(-1, len(header))
    has_flags = any(cell.upper().endswith("_ATTRIBUTES") for cell in header)
    told = set(reading.columns.values())
    cells: dict[str, object] = {}
    units: dict[str, str] = {}
    # what the user told comes before what the names say
    for place in sorted(range(len(header)), key=lambda p: header[p] not in told):
        cell = header[place]
        hit = found[cell]
        if hit is None or hit[0] in cells:
            continue
        cells[hit[0]] = body[:, place]
        # with flag columns beside them the archive's own tenths are kept
        tenths = ELEMENTS.get(cell.upper()) if has_flags else None
        units[hit[0]] = tenths[1] if tenths else hit[1]
    units.update({k: v for k, v in reading.units.items() if k in cells})
    frame = pd.DataFrame(cells, index=pd.RangeIndex(1, len(body) + 1), dtype=object)
    return RawWeather(frame, {k: v for k, v in units.items() if k != "day"})
