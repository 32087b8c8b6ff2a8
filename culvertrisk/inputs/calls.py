"""The morning's complaints and reports: a CSV of words, read as it stands."""

from pathlib import Path

import pandas as pd

from culvertrisk import settings as town
from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.units import seconds_of_day

COLUMNS = ("call_s", "caller", "road_name", "place", "seen")
_ALIASES = {
    "call_s": ("time", "call_s", "clock", "at"),
    "caller": ("caller", "kind", "caller_kind", "who"),
    "road_name": ("road", "road_name", "street"),
    "place": ("place", "where", "location"),
    "seen": ("seen", "what", "report", "text", "complaint"),
}


def read_calls(path: Path, reading: town.Reading) -> Reading:
    """Read complaints and reports.

    Parameters
    ----------
    path : Path
        CSV with a time (HH:MM), a road or a place, and what is seen.
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
        If the file is missing, is no table, or names neither road nor place.
    """
    rows = _rows(path)
    named = {c.strip().lower(): c for c in rows.columns}
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
        raise InputError(
            [
                file_problem(
                    path.name,
                    "have a column 'road' or 'place'",
                    f"columns {', '.join(map(str, rows.columns))}",
                    "Rename the column or set calls.columns.road_name.",
                )
            ]
        )
    table = pd.DataFrame(
        {ours: rows[name] if name else "" for ours, name in found.items()},
        columns=[*COLUMNS],
    )
    return _with_times(path, table)


def _rows(path: Path) -> pd.DataFrame:
    try:
        return pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        found = "no such file" if not path.exists() else type(error).__name__
        remedy = "Correct files.calls in the town file, or save the sheet as CSV."
        raise InputError(
            [file_problem(path.name, "be a readable CSV table", found, remedy)]
        ) from error


def _with_times(path: Path, table: pd.DataFrame) -> Reading:
    notes: list[dict[str, object]] = []
    times: list[float] = []
    for row, text in enumerate(table["call_s"], start=1):
        try:
            times.append(seconds_of_day(text))
        except ValueError:
            times.append(float("nan"))
            if text:
                notes.append(
                    {
                        "file": path.name,
                        "row": row,
                        "column": "call_s",
                        "found": text,
                        "understood": "time unknown",
                        "kind": "refused",
                    }
                )
    return Reading(table.assign(call_s=times), note_table(notes))
