"""Workbooks as rows of cells, and what is read of a file that holds several tables."""

import warnings
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.culvert_notes import Note, note_whole

RULE = "be a CSV, XLSX, GeoJSON, GeoPackage, shapefile, FlatGeobuf or KML file"
AGAIN = "Export it again as one."


def unreadable(path: Path, found: str) -> InputError:
    """Return the refusal of a file that is no table and no layer."""
    return InputError([file_problem(path.name, RULE, found, AGAIN)])


def sheet_rows(path: Path) -> tuple[list[list[str]], list[Note]]:
    """Return the first sheet with rows; a note names the others that have some."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl tells of styles it drops
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
            sheets = {
                sheet.title: [
                    [cell_text(value) for value in row] for row in sheet.values
                ]
                for sheet in book.worksheets
            }
            book.close()
    except Exception as error:  # zip, XML and cells raise many kinds; all mean this
        raise unreadable(path, f"a damaged workbook ({error})") from error
    titles = [title for title, rows in sheets.items() if any(map(filled_count, rows))]
    tables = [t for t in titles if sum(filled_count(row) > 1 for row in sheets[t]) > 1]
    filled = tables or titles
    return sheets[filled[0]] if filled else [], other_notes("sheet", filled)


def other_notes(thing: str, names: Sequence[str]) -> list[Note]:
    """Return a note if only the first of several sheets or layers is read."""
    if len(names) < 2:
        return []
    said = f"{thing}s {', '.join(names)}"
    told = f"only the {thing} {names[0]!r} is read; give the others as own files"
    return [note_whole("", said, told, "assumed")]


def cell_text(value: object) -> str:
    """Return a cell as text: "" where missing, dates as ISO, 12.0 as 12.

    Examples
    --------
    >>> cell_text(12.0), cell_text(None), cell_text(float("nan")), cell_text(" a ")
    ('12', '', '', 'a')
    """
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, float | np.floating):
        if not np.isfinite(value):
            return ""
        return f"{value:.0f}" if value == round(value) else repr(float(value))
    return str(value).strip()


def filled_count(row: Sequence[str]) -> int:
    """Return how many cells of a row are not blank."""
    return sum(cell != "" for cell in row)
