"""What every reader returns: a checked table and what was understood, row by row."""

from dataclasses import dataclass, field

import pandas as pd

NOTE_COLUMNS = ("file", "row", "culvert_id", "column", "found", "understood", "kind")


@dataclass(frozen=True)
class Reading:
    """A table made from a file, with one note for each thing that was not plain.

    ``notes`` has the columns of ``NOTE_COLUMNS``; ``kind`` is ``refused`` (the
    value or the row is not used), ``assumed`` (a default or a guess stands in)
    or ``changed`` (read in another way than written, such as a unit).
    ``row`` counts data rows from 1; 0 speaks of the whole file.
    """

    table: pd.DataFrame
    notes: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=[*NOTE_COLUMNS])
    )


def note_table(notes: list[dict[str, object]]) -> pd.DataFrame:
    """Turn a list of notes into the notes table; absent keys stay blank."""
    table = pd.DataFrame(notes, columns=[*NOTE_COLUMNS], dtype=object)
    return table.where(table.notna(), "")
