"""Notes on what was refused, assumed or read in another way, gathered row by row."""

from collections.abc import Iterable
from typing import Literal

import pandas as pd

Kind = Literal["refused", "assumed", "changed"]
Note = dict[str, object]
WHOLE_FILE = 0


def note(row: object, column: str, found: object, understood: str, kind: Kind) -> Note:
    """Return one note; ``row`` 0 speaks of the whole file."""
    return {
        "row": row,
        "column": column,
        "found": found,
        "understood": understood,
        "kind": kind,
    }


def notes_where(
    mask: pd.Series, column: str, found: pd.Series, understood: str, kind: Kind
) -> list[Note]:
    """Return one note for each row where the mask holds; the index is the row."""
    chosen = found[mask.to_numpy()]
    return [
        note(row, column, value, understood, kind)
        for row, value in zip(chosen.index, chosen, strict=True)
    ]


def note_whole(column: str, found: object, understood: str, kind: Kind) -> Note:
    """Return a note on the whole file."""
    return note(WHOLE_FILE, column, found, understood, kind)


def finish_notes(
    notes: Iterable[Note], file: str, ids: pd.Series
) -> list[dict[str, object]]:
    """Add file and culvert to each note, in the order of the rows."""
    named = ids.to_dict()
    listed = [
        {"file": file, "culvert_id": named.get(item["row"], ""), **item}
        for item in notes
    ]
    return sorted(listed, key=lambda item: int(str(item["row"])))
