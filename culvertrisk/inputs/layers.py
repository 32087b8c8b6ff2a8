"""Any vector or tabular file as cells of text and, where it has them, geometries."""

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyproj import CRS

from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.columns import recognised

VECTOR_ENDINGS = (
    *(".shp", ".geojson", ".json", ".gpkg", ".fgb", ".kml", ".kmz", ".zip", ".gpx"),
)
TEXT_ENDINGS = (".csv", ".txt", ".tsv")
SHEET_ENDINGS = (".xlsx", ".xlsm")
_HEADER_SEARCH_ROWS = 20
_DELIMITERS = ",;\t|"
_THOUSANDS = re.compile(r"^-?\d{1,3}(,\d{3})+(\.\d+)?$")
_DECIMAL_COMMA = re.compile(r"^-?\d+,\d+$")


@dataclass(frozen=True)
class Layer:
    """What a file holds: text cells (index = row, from 1) and maybe geometries."""

    cells: pd.DataFrame
    geometries: NDArray[Any] | None
    crs: CRS | None


def open_layer(path: Path, known: Sequence[str] = ()) -> Layer:
    """Read a file of points, lines, polygons or a table.

    Parameters
    ----------
    path : Path
        CSV (any delimiter; UTF-8 or Windows-1252), XLSX (first sheet with data),
        GeoJSON, GeoPackage, shapefile (also zipped), FlatGeobuf, KML or GPX.
    known : sequence of str
        Column names that the user told of; they help to find the header row.

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
        return Layer(_table(text_rows(path), known, path.name), None, None)
    if ending in SHEET_ENDINGS:
        return Layer(_table(_sheet_rows(path), known, path.name), None, None)
    if ending in VECTOR_ENDINGS:
        return _vector(path)
    raise _unreadable(path, f"the ending {ending!r}")


def _unreadable(path: Path, found: str) -> InputError:
    rule = "be a CSV, XLSX, GeoJSON, GeoPackage, shapefile, FlatGeobuf or KML file"
    return InputError([file_problem(path.name, rule, found, "Export it again as one.")])


def text_rows(path: Path) -> list[list[str]]:
    """Return the cells of a text file, its delimiter and encoding found."""
    data = path.read_bytes()
    if b"\x00" in data[:1000] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable(path, "bytes that are no text")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    delimiter = _delimiter(text)
    rows = [*csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)]
    return [[_number_text(cell, delimiter) for cell in row] for row in rows]


def _delimiter(text: str) -> str:
    """Return the delimiter that splits most of the first lines into most parts."""
    lines = [line for line in text.splitlines()[:_HEADER_SEARCH_ROWS] if line.strip()]
    counts = {mark: np.median([line.count(mark) for line in lines] or [0])
              for mark in _DELIMITERS}  # fmt: skip
    return max(_DELIMITERS, key=lambda mark: counts[mark])


def _number_text(cell: str, delimiter: str) -> str:
    text = cell.strip()
    if delimiter != "," and _DECIMAL_COMMA.match(text):
        return text.replace(",", ".")
    return text.replace(",", "") if _THOUSANDS.match(text) else text


def _sheet_rows(path: Path) -> list[list[str]]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl tells of styles it drops
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
            sheets = [
                [[cell_text(value) for value in row] for row in sheet.values]
                for sheet in book.worksheets
            ]
            book.close()
    except (zipfile.BadZipFile, KeyError, OSError, ValueError) as error:
        raise _unreadable(path, f"a damaged workbook ({error})") from error
    filled = [s for s in sheets if sum(_count(row) > 1 for row in s) > 1]
    return filled[0] if filled else []


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
        if np.isnan(value):
            return ""
        return f"{value:.0f}" if value == round(value) else repr(float(value))
    return str(value).strip()


def numbers_of(text: pd.Series) -> pd.Series:
    """Return the finite numbers of a column of cells, NaN for all else."""
    values = pd.to_numeric(text, errors="coerce").astype(float)
    return values.where(np.isfinite(values))


def _count(row: Sequence[str]) -> int:
    return sum(cell != "" for cell in row)


def _header_row(rows: Sequence[Sequence[str]], known: Sequence[str]) -> int:
    """Return the row with most known names; titles and merged rows lie above it."""
    shown = rows[:_HEADER_SEARCH_ROWS]
    named = [sum(c in known or recognised(c) != "" for c in row if c) for row in shown]
    if max(named, default=0) > 1:
        return int(np.argmax(named))
    counts = [_count(row) for row in shown]
    return counts.index(max(counts))


def _table(rows: list[list[str]], known: Sequence[str], file: str) -> pd.DataFrame:
    if sum(_count(row) > 0 for row in rows) < 2:
        found = "no row under the header" if rows else "an empty file"
        remedy = "Export the inventory with its header and rows."
        raise InputError([file_problem(file, "hold a header and rows", found, remedy)])
    header = _header_row(rows, known)
    width = max(len(row) for row in rows[header:])
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
    return Layer(cells, frame.geometry.to_numpy(), frame.crs)


def open_vector(path: Path) -> gpd.GeoDataFrame:
    """Return the first layer with geometries, rows numbered from 1.

    Raises
    ------
    InputError
        If the file is missing, cannot be read or has no geometries.
    """
    refuse_missing(path)
    source = _inside_zip(path) if path.suffix.lower() == ".zip" else str(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd rings, wide fields, several layers
            name = _layer_name(source)
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


def _layer_name(source: str) -> str:
    """Return the first layer that has geometries."""
    for name, kind in pyogrio.list_layers(source):
        if kind is not None:
            return str(name)
    raise ValueError("no layer has geometries")


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
        raise _unreadable(path, "a damaged zip file") from error
    if not inner:
        raise _unreadable(path, "a zip file without a shapefile")
    return f"/vsizip/{path.as_posix()}/{sorted(inner)[0]}"
