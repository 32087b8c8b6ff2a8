"""The morning's complaints and reports: a table of words, read as it stands."""

import re
from pathlib import Path

import pandas as pd

from culvertrisk import settings as town
from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.culvert_notes import Note, note
from culvertrisk.inputs.layers import Layer, open_layer
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.units import HOUR_S, seconds_of_day

COLUMNS = ("call_s", "caller", "road_name", "place", "seen")
_ALIASES = {
    "call_s": ("time", "call_s", "clock", "at"),
    "caller": ("caller", "kind", "caller_kind", "who"),
    "road_name": ("road", "road_name", "street"),
    "place": ("place", "where", "location"),
    "seen": ("seen", "what", "report", "text", "complaint"),
}
_CLOCK = re.compile(
    r"^(?:\d{4}-\d{2}-\d{2}[ T])?(\d{1,2}):(\d{2})(?::\d{2})?\s*(?:([ap])\.?\s?m\.?)?$",
    re.IGNORECASE,
)
_FOUR_DIGITS = re.compile(r"^(\d{2})(\d{2})$")
_NOON_S = 12 * HOUR_S


def read_calls(path: Path, reading: town.Reading) -> Reading:
    """Read complaints and reports.

    Parameters
    ----------
    path : Path
        CSV or XLSX with a time (HH:MM), a road or a place, and what is seen.
    reading : settings.Reading
        Which column of the file means what, where the names do not say.

    Returns
    -------
    calls : Reading
        Columns ``call_s`` (seconds after midnight, NaN unknown), ``caller``,
        ``road_name``, ``place`` and ``seen`` (text, blank unknown).

    Raises
    ------
    InputError
        If the file is missing, is no table, or names neither road nor place. A header
        without a row is a morning without calls.
    """
    aliases = [name for names in _ALIASES.values() for name in names]
    known = [*aliases, *reading.columns.values()]
    layer = open_layer(path, known, may_be_empty=True)
    named = {str(name).strip().lower(): str(name) for name in layer.cells.columns}
    found = {
        ours: next(
            (
                named[a]
                for a in (reading.columns.get(ours, "").lower(), *names)
                if a in named
            ),
            "",
        )
        for ours, names in _ALIASES.items()
    }
    if not (found["road_name"] or found["place"]):
        shown = f"columns {', '.join(map(str, layer.cells.columns))}"
        remedy = "Rename the column or set calls.columns.road_name."
        rule = "have a column 'road' or 'place'"
        raise InputError([file_problem(path.name, rule, shown, remedy)])
    return _with_times(path.name, layer, found)


def _with_times(file: str, layer: Layer, found: dict[str, str]) -> Reading:
    cells = layer.cells
    table = pd.DataFrame(
        {ours: cells[name] if name else "" for ours, name in found.items()},
        index=cells.index,
        columns=[*COLUMNS],
    )
    notes: list[Note] = [*layer.notes]
    says = (table[["road_name", "place", "seen"]] != "").any(axis=1)
    for row, said in cells[~says].iterrows():
        # the names of the cells, not their words: callers are nobody's business
        written = "only " + ", ".join(said.index[said != ""].map(str))
        nothing = "left out: no road, place or words"
        notes.append(note(row, "", written, nothing, "refused"))
    table = table[says].copy()
    times_s = {}
    for row, clock in table["call_s"].items():
        times_s[row] = _clock_s(str(clock))
        if clock and times_s[row] != times_s[row]:
            notes.append(note(row, "call_s", clock, "time unknown", "refused"))
    table["call_s"] = pd.Series(times_s, index=table.index, dtype=float)
    listed = note_table([{"file": file, **item} for item in notes])
    return Reading(table.reset_index(drop=True), listed)


def _clock_s(text: str) -> float:
    """Return seconds after midnight of 07:25, 0725 or 7:25 pm; NaN if it is none.

    Examples
    --------
    >>> _clock_s("2024-02-25 07:25:00"), _clock_s("7:25 pm"), _clock_s("late")
    (26700.0, 69900.0, nan)
    """
    plain = _FOUR_DIGITS.sub(r"\1:\2", text.strip())
    parts = _CLOCK.match(plain)
    if not parts:
        return float("nan")
    try:
        clock_s = seconds_of_day(f"{parts[1]}:{parts[2]}")
    except ValueError:
        return float("nan")
    if not parts[3]:
        return clock_s
    is_after_noon = parts[3].lower() == "p"
    return clock_s % _NOON_S + (_NOON_S if is_after_noon else 0)
