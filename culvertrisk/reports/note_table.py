"""What was refused, assumed or changed, counted by file and column for the screen."""

import pandas as pd

_KEYS = ["file", "column", "kind"]
_MOST_LETTERS = 60


def note_rows(notes: pd.DataFrame) -> list[tuple[str, ...]]:
    """Return one row a file, column and kind, with how many and the first of them.

    Parameters
    ----------
    notes : DataFrame
        Columns of ``NOTE_COLUMNS``.

    Returns
    -------
    rows : list of tuple of str
        File, column, kind, number of notes, and the first as ``row: found -> read as``;
        row 0, which speaks of the whole file, goes without its number.
    """
    return [
        (str(file), str(column), str(kind), str(len(own)), _first(own.iloc[0]))
        for (file, column, kind), own in notes.groupby(_KEYS, sort=True)
    ]


def _first(note: "pd.Series[str]") -> str:
    row = int(note["row"] or 0)
    found = str(note["found"])
    if len(found) > _MOST_LETTERS:
        found = found[:_MOST_LETTERS] + "..."
    where = f"row {row}: " if row else ""
    said = f"{found!r}: " if row else f"{found}: " if found else ""
    return f"{where}{said}{note['understood']}"
