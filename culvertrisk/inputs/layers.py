"""Any vector or tabular file as cells of text and, where it has them, geometries."""

import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS

from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.columns import plain_name, recognised
from culvertrisk.inputs.culvert_notes import Note
from culvertrisk.inputs.sheets import (
    AGAIN,
    RULE,
    cell_text,
    filled_count,
    other_notes,
    sheet_rows,
    unreadable,
)
from culvertrisk.inputs.text_faults import refuse_faults, repeat_notes, row_notes
from culvertrisk.inputs.text_tables import TextTable, decoded, text_table

VECTOR_ENDINGS = (
    *(".shp", ".geojson", ".json", ".gpkg", ".fgb", ".kml", ".kmz", ".zip", ".gpx"),
)
TEXT_ENDINGS = (".csv", ".txt", ".tsv")
SHEET_ENDINGS = (".xlsx", ".xlsm")
_HEADER_SEARCH_ROWS = 60


@dataclass(frozen=True)
class Layer:
    """What a file holds: text cells (index = row, from 1) and maybe geometries.

    ``notes`` say what of a table of text was not plain.
    """

    cells: pd.DataFrame
    geometries: NDArray[Any] | None
    crs: CRS | None
    notes: tuple[Note, ...] = ()


def open_layer(
    path: Path, known: Sequence[str] = (), *, may_be_empty: bool = False
) -> Layer:
    """Read a file of points, lines, polygons or a table.

    Parameters
    ----------
    path : Path
        CSV (any delimiter; UTF-8 or Windows-1252), XLSX (first sheet with data),
        GeoJSON, GeoPackage, shapefile (also zipped), FlatGeobuf, KML or GPX.
    known : sequence of str
        Column names that may stand there; they help to find the header row.
    may_be_empty : bool
        Whether a table with a header and no row is one.

    Returns
    -------
    layer : Layer
        Cells as stripped text, "" where blank. Rows keep their count even
        where blank rows lie between; blank rows are left out.

    Raises
    ------
    InputError
        If the file is missing, of another kind, or cannot be read.
    """
    ending = path.suffix.lower()
    refuse_missing(path)
    if ending in TEXT_ENDINGS:
        return _text_layer(path, known, may_be_empty)
    if ending in SHEET_ENDINGS:
        return _sheet_layer(path, known, may_be_empty)
    if ending in VECTOR_ENDINGS:
        return _vector(path)
    raise unreadable(path, f"the ending {ending!r}")


def text_rows(path: Path, known: Sequence[str] = ()) -> TextTable:
    """Return the rows of a text file, its delimiter and encoding found."""
    return text_table(decoded(path, RULE, AGAIN), partial(_is_name, _plain(known)))


def _text_layer(path: Path, known: Sequence[str], may_be_empty: bool) -> Layer:
    table = text_rows(path, known)
    rows = [row.cells for row in table.rows]
    header = _header_row(rows, known) if rows else 0
    refuse_faults(table, header, path.name)
    cells = _table(rows, header, path.name, may_be_empty)
    return Layer(cells, None, None, tuple(row_notes(table, header) if rows else ()))


def _sheet_layer(path: Path, known: Sequence[str], may_be_empty: bool) -> Layer:
    rows, notes = sheet_rows(path)
    header = _header_row(rows, known) if rows else 0
    cells = _table(rows, header, path.name, may_be_empty)
    repeats = repeat_notes(rows[header]) if rows else []
    return Layer(cells, None, None, (*notes, *repeats))


def numbers_of(text: pd.Series) -> pd.Series:
    """Return the finite numbers of a column of cells, NaN for all else."""
    values = pd.to_numeric(text, errors="coerce").astype(float)
    return values.where(np.isfinite(values))


def _filled_width(row: Sequence[str]) -> int:
    """Return how many cells a row has without the blank ones at its end."""
    return max((place for place, cell in enumerate(row, start=1) if cell), default=0)


def _plain(names: Sequence[str]) -> frozenset[str]:
    return frozenset(plain_name(name) for name in names)


def _is_name(known: frozenset[str], cell: str) -> bool:
    return plain_name(cell) in known or recognised(cell) != ""


def _header_row(rows: Sequence[Sequence[str]], known: Sequence[str]) -> int:
    """Return the row with most known names; titles and merged rows lie above it."""
    shown = rows[:_HEADER_SEARCH_ROWS]
    told = _plain(known)
    named = [sum(_is_name(told, cell) for cell in row if cell) for row in shown]
    if max(named, default=0) > 1:
        return int(np.argmax(named))
    counts = [filled_count(row) for row in shown]
    return counts.index(max(counts))


def _table(
    rows: list[list[str]], header: int, file: str, may_be_empty: bool
) -> pd.DataFrame:
    filled = sum(filled_count(row) > 0 for row in rows)
    if filled < (1 if may_be_empty else 2):
        found = "no row under the header" if filled else "an empty file"
        remedy = "Export it with its header and rows, or take it out of the town file."
        raise InputError([file_problem(file, "hold a header and rows", found, remedy)])
    width = max(len(rows[header]), *(_filled_width(row) for row in rows[header:]))
    names = unique_names([*rows[header], *[""] * width][:width])
    body = [[*row, *[""] * width][:width] for row in rows[header + 1 :]]
    cells = pd.DataFrame(body, columns=names, dtype=object)
    cells.index = pd.RangeIndex(1, len(cells) + 1)
    return cells[(cells != "").any(axis=1)]


def unique_names(names: Sequence[str]) -> list[str]:
    """Return column names, blanks and repeats told apart by a number.

    Examples
    --------
    >>> unique_names(["a", "", "a"])
    ['a', 'column 2', 'a (3)']
    """
    listed: list[str] = []
    for place, name in enumerate(names, start=1):
        plain = name or f"column {place}"
        listed.append(f"{plain} ({place})" if plain in listed else plain)
    return listed


def _vector(path: Path) -> Layer:
    frame = open_vector(path)
    cells = pd.DataFrame(
        {
            str(name): [cell_text(value) for value in frame[name].astype(object)]
            for name in frame.columns
            if name != frame.geometry.name
        },
        index=frame.index,
        dtype=object,
    )
    notes = other_notes("layer", _layer_names(_source(path)))
    return Layer(cells, frame.geometry.to_numpy(), frame.crs, tuple(notes))


def open_vector(path: Path) -> gpd.GeoDataFrame:
    """Return the first layer with geometries, rows numbered from 1.

    Raises
    ------
    InputError
        If the file is missing, cannot be read or has no geometries.
    """
    refuse_missing(path)
    source = _source(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd rings, wide fields, several layers
            name = _layer_names(source)[0]
            frame = gpd.read_file(source, layer=name, engine="pyogrio")
    except Exception as error:  # drivers raise many kinds; all mean the same here
        found = str(error).split(".;", maxsplit=1)[0]
        raise _no_vector(path, f"one that cannot be read ({found})") from error
    if "geometry" not in frame or not isinstance(frame, gpd.GeoDataFrame):
        raise _no_vector(path, "a layer without geometries")
    return frame.set_axis(pd.RangeIndex(1, len(frame) + 1))


def _no_vector(path: Path, found: str) -> InputError:
    rule = "be a vector file such as GeoPackage, GeoJSON or shapefile"
    return InputError([file_problem(path.name, rule, found, "Export it again.")])


def refuse_missing(path: Path) -> None:
    """Refuse a file that is not there."""
    if not path.exists():
        remedy = "Correct the path; it starts from the town file's folder."
        raise InputError([file_problem(path.name, "exist", "no such file", remedy)])


def _source(path: Path) -> str:
    return _inside_zip(path) if path.suffix.lower() == ".zip" else str(path)


def _layer_names(source: str) -> list[str]:
    """Return the layers that have geometries."""
    names = [
        str(name) for name, kind in pyogrio.list_layers(source) if kind is not None
    ]
    if not names:
        raise ValueError("no layer has geometries")
    return names


def _inside_zip(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            inner = [
                name
                for name in archive.namelist()
                if name.lower().endswith((".shp", ".geojson", ".gpkg", ".kml", ".fgb"))
                and not name.startswith("__MACOSX")
            ]
    except (zipfile.BadZipFile, OSError) as error:
        raise unreadable(path, "a damaged zip file") from error
    if not inner:
        raise unreadable(path, "a zip file without a shapefile")
    return f"/vsizip/{path.as_posix()}/{sorted(inner)[0]}"
