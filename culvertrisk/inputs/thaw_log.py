"""The crews' log of thaws, from any spreadsheet of it to one checked table."""

import re
from pathlib import Path

import pandas as pd

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.culvert_notes import Note, note, note_whole
from culvertrisk.inputs.days import parse_days
from culvertrisk.inputs.layers import open_layer
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.thaw_words import (
    RESULTS,
    headers_found,
    known_headers,
    origin_of,
    result_of,
)
from culvertrisk.units import registry

COLUMNS = (
    "day",
    "culvert_id",
    "place",
    "crew",
    "method",
    "work_s",
    "water_m3",
    "result",
    "note",
    "origin",
    "winter",
    "source_row",
)
_TEXTS = ("culvert_id", "place", "crew", "method", "note")
_TARGETS = {"work_s": "s", "water_m3": "m**3"}
_FIRST_WINTER_MONTH = 7  # a row from July on belongs to the winter that then begins
_AMOUNT = re.compile(r"^([\d.]+)\s*([a-z]*)\.?$")
_HOURS_MINUTES = re.compile(r"^(\d{1,2}):(\d{2})(?::\d{2})?$")
_UNIT_WORDS = {
    "h": "hour",
    "hr": "hour",
    "hrs": "hour",
    "hours": "hour",
    "min": "minute",
    "mins": "minute",
    "minutes": "minute",
    "m": "minute",
    "gal": "gallon",
    "gals": "gallon",
    "gallons": "gallon",
    "l": "liter",
    "litres": "liter",
    "liters": "liter",
}


def read_thaw_log(path: Path, reading: settings.Reading) -> Reading:
    """Read the log of thaws; a bad row is noted and left out, never a stop.

    Parameters
    ----------
    path : Path
        CSV or XLSX with a date and a culvert or a place; other columns may be absent.
    reading : settings.Reading
        ``columns`` (our name = the file's) and ``units`` (``work_s`` and
        ``water_m3``) where the file's names do not say.

    Returns
    -------
    thaw_log : Reading
        In the order of the file, columns ``COLUMNS``: ``day`` datetime64, ``winter``
        the year in which it begins, ``source_row`` the row of the file, the first
        below the headers 1, ``work_s`` and ``water_m3`` float (NaN unknown),
        ``result`` one of ``RESULTS``, ``origin`` "called", "own round" or "" by a
        column of its own or the remark, the rest text ("" unknown).

    Raises
    ------
    InputError
        If the file is missing, is no table, names no date or neither culvert nor
        place, a told column is absent, or no row has a readable date.
    """
    layer = open_layer(path, [*known_headers(), *reading.columns.values()])
    cells = layer.cells
    found = headers_found([str(name) for name in cells.columns], reading)
    _refuse_headers(path.name, cells, {k: v[0] for k, v in found.items()}, reading)
    notes: list[Note] = [*layer.notes]
    table = pd.DataFrame({"day": _days(cells[found["day"][0]], notes)})
    for name in _TEXTS:
        table[name] = cells[found[name][0]].astype(str) if name in found else ""
    for name in _TARGETS:
        column, unit = found.get(name, ("", ""))
        unit = reading.units.get(name, unit)
        text = cells[column] if column else pd.Series("", index=cells.index)
        table[name] = _amounts(text, name, unit, path.name, notes)
    table["origin"] = _origins(cells, found.get("origin", ("", ""))[0], table["note"])
    table["result"] = _results(cells, found.get("result", ("", ""))[0], notes)
    table = table[table["day"].notna()]
    if table.empty:
        rule, remedy = "have a row with a readable date", "Write dates as 2024-02-25."
        nothing = file_problem(path.name, rule, f"none in {len(cells)} rows", remedy)
        raise InputError([nothing])
    begins = table["day"].dt.year - (table["day"].dt.month < _FIRST_WINTER_MONTH)
    table = table.assign(winter=begins.astype(int), source_row=table.index)
    table = table[[*COLUMNS]]
    ids = table["culvert_id"].to_dict()
    listed = [
        {**n, "file": path.name, "culvert_id": ids.get(n["row"], "")} for n in notes
    ]
    return Reading(table.reset_index(drop=True), note_table(listed))


def _refuse_headers(
    file: str, cells: pd.DataFrame, found: dict[str, str], reading: settings.Reading
) -> None:
    shown = ", ".join(map(str, cells.columns))
    problems = [
        value_problem(
            file,
            f"thaw_log.columns.{ours}",
            f"be a column of the file ({shown})",
            theirs,
            "Correct the spelling in the town file.",
        )
        for ours, theirs in reading.columns.items()
        if theirs not in cells.columns
    ]
    if not problems and ("day" not in found or not {"culvert_id", "place"} & {*found}):
        remedy = (
            "Rename the columns (date, culvert, place, minutes, result, ...) or name "
            "them under [thaw_log.columns] in the town file."
        )
        rule = "have a column for the date and one for the culvert or the place"
        problems.append(file_problem(file, rule, f"columns {shown}", remedy))
    if problems:
        raise InputError(problems)


def _days(text: pd.Series, notes: list[Note]) -> pd.Series:
    days = parse_days(text)
    if days.is_order_assumed:
        found = "dates such as " + next(iter(text[days.day.notna()]), "")
        notes.append(note_whole("day", found, f"{days.order} assumed", "assumed"))
    for row, written in text[days.day.isna()].items():
        notes.append(note(row, "day", written, "row not used: no date", "refused"))
    return days.day


def _amounts(
    text: pd.Series, name: str, unit: str, file: str, notes: list[Note]
) -> pd.Series:
    """Read numbers in the unit of the header, or each in its own where written."""
    factors = {
        word: _factor(word, name, file) for word in {unit, *_UNIT_WORDS.values()}
    }
    values: dict[object, float] = {}
    is_unit_missing = False
    for row, written in text.items():
        number, word = _amount(str(written).lower())
        factor = factors.get(word or unit, float("nan"))
        values[row] = number * factor if number >= 0 else float("nan")
        if written != "" and not number >= 0:
            notes.append(note(row, name, written, "unknown: no amount", "refused"))
        is_unit_missing |= number >= 0 and factor != factor
    if is_unit_missing:
        understood = f"unknown: set thaw_log.units.{name}"
        notes.append(note_whole(name, "numbers without a unit", understood, "refused"))
    return pd.Series(values, index=text.index, dtype=float)


def _amount(written: str) -> tuple[float, str]:
    """Split '1.5 h' into number and unit; '1:10' is hours and minutes."""
    hours = _HOURS_MINUTES.match(written)
    if hours:
        return int(hours[1]) * 60.0 + int(hours[2]), "minute"
    parts = _AMOUNT.match(written)
    if not parts or parts[1].count(".") > 1 or parts[1] == ".":
        return float("nan"), ""
    if parts[2] and parts[2] not in _UNIT_WORDS:
        return float("nan"), ""
    return float(parts[1]), _UNIT_WORDS.get(parts[2], "")


def _factor(unit: str, name: str, file: str) -> float:
    """Return what turns the unit into ours; NaN if none is told or of another kind."""
    if unit == "":
        return float("nan")
    try:
        return float(registry().Quantity(1.0, unit).to(_TARGETS[name]).magnitude)
    except Exception as error:  # pint raises many kinds; all mean the same here
        if unit in _UNIT_WORDS.values():
            return float("nan")
        rule = f"be a unit that turns into {_TARGETS[name]}"
        key, remedy = f"thaw_log.units.{name}", "Correct the spelling."
        raise InputError([value_problem(file, key, rule, unit, remedy)]) from error


def _origins(cells: pd.DataFrame, column: str, remarks: pd.Series) -> list[str]:
    told = cells[column] if column else pd.Series("", index=cells.index)
    return [*map(origin_of, told, remarks)]


def _results(cells: pd.DataFrame, column: str, notes: list[Note]) -> pd.Series:
    if not column:
        understood = f"every row taken as '{RESULTS[0]}'"
        notes.append(note_whole("result", "no such column", understood, "assumed"))
        return pd.Series(RESULTS[0], index=cells.index, dtype=object)
    results = cells[column].map(result_of)
    for row, written in cells[column][results == ""].items():
        notes.append(note(row, "result", written, "other", "assumed"))
    return results.replace("", "other").astype(object)
