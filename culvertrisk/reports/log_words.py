"""What the crews' own log says of a crossing, and which of its rows count for none."""

from __future__ import annotations

import re
from datetime import date

import pandas as pd

from culvertrisk.reports.words import day_words
from culvertrisk.stages.log_rows import FILE, PLACE

_NEXT = re.compile(r"; (?=\d{4}-\d\d-\d\d: )")
_DATED = re.compile(r"(\d{4}-\d\d-\d\d): (.+)", re.DOTALL)


def last_remark(log_note: object) -> str:
    """Return the newest remark of the log on a crossing with its day; blank if none.

    Parameters
    ----------
    log_note : str
        Of ``with_log_note``: the newest first.

    Examples
    --------
    >>> last_remark("2023-03-14: could not find end 20 min; 2022-02-01: slush")
    'The log says: could not find end 20 min (14 March 2023).'
    >>> last_remark("")
    ''
    """
    newest = _NEXT.split(log_note)[0] if isinstance(log_note, str) else ""
    told = _DATED.fullmatch(newest)
    if told is None:
        return ""
    _, _, day = day_words(date.fromisoformat(told[1])).partition(" ")
    return f"The log says: {told[2].strip()} ({day})."


def unplaced_words(notes: pd.DataFrame) -> str:
    """Say how many rows of the log name no crossing clearly; blank if none does.

    Parameters
    ----------
    notes : DataFrame
        Of the whole run, ``row_notes`` of the log among them.
    """
    count = int(((notes["file"] == FILE) & (notes["column"] == PLACE)).sum())
    if not count:
        return ""
    told = "row of the thaw log names" if count == 1 else "rows of the thaw log name"
    return (
        f"{count} {told} no crossing clearly. They count for nothing until somebody "
        "writes the culvert's number there: assumptions.csv lists each with the reason."
    )
