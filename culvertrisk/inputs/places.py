"""Dwellings and critical places as points, from any vector file or a table."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.layers import SHEET_ENDINGS, TEXT_ENDINGS, open_layer
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.vectors import (
    find_columns,
    in_work_crs,
    note_of,
    read_vector,
    words,
)

LARGEST_LAT, LARGEST_LON = 90.0, 180.0  # [deg]
ALIASES = {
    "name": ("place", "place_name", "label", "facility"),
    "kind": ("type", "place_type", "category", "use", "class"),
    "people_count": ("people", "persons", "occupants", "residents"),
    "needs": ("need", "special_needs", "medical_need"),
}
POSITION = {"lat": ("latitude", "y"), "lon": ("longitude", "long", "lng", "x")}
DWELLING_WORDS = (
    *("dwellings", "house", "home", "homes", "residence", "residential"),
    *("farmhouse", "cottage", "cabin", "apartment", "apartments", "mobile home"),
)
WAY_OUT_WORDS = ("road out", "exit", "town line", "ways out")

Notes = list[dict[str, object]]


def read_places(path: Path, reading: settings.Reading, work_crs: str) -> Reading:
    """Read dwellings and critical places.

    Parameters
    ----------
    path : Path
        A CSV or XLSX with ``lat`` and ``lon``, or any vector format.
    reading : settings.Reading
        CRS and columns of the file where its names do not say.
    work_crs : str
        CRS in metres in which the work is done.

    Returns
    -------
    places : Reading
        Table of points with ``name``, ``kind`` (lower-case words; ``dwelling``
        for every home; ``way out`` where a road goes on beyond the road file),
        ``people_count`` (NaN unknown) and ``needs`` (such as
        ``oxygen``; blank none).

    Raises
    ------
    InputError
        If the file cannot be used; a row without a place is refused in the notes.
    """
    notes: Notes = []
    rows = _open(path, reading, work_crs)
    known_columns = {k: v for k, v in reading.columns.items() if k not in POSITION}
    own = reading.model_copy(update={"columns": known_columns})
    found = find_columns(rows, ALIASES, path.name, "places", own)
    rows = _points(rows, path.name, notes)
    table = gpd.GeoDataFrame(
        {
            "name": words(rows, found.get("name")),
            "kind": _kind(rows, found.get("kind"), notes),
            "people_count": _people(rows, found.get("people_count"), notes),
            "needs": words(rows, found.get("needs")).str.lower(),
        },
        geometry=rows.geometry.to_numpy(),
        crs=work_crs,
    ).reset_index(drop=True)
    notes = [{"file": path.name, **note} for note in notes]
    return Reading(table, note_table(notes))


def _open(path: Path, reading: settings.Reading, work_crs: str) -> gpd.GeoDataFrame:
    if path.suffix.lower() not in (*TEXT_ENDINGS, *SHEET_ENDINGS):
        return read_vector(path, "places", reading, work_crs)
    known = {**ALIASES, **POSITION}
    listed = [*known, *(name for names in known.values() for name in names)]
    rows = open_layer(path, [*listed, *reading.columns.values()]).cells
    chosen = {k: v for k, v in reading.columns.items() if k in POSITION}
    own = reading.model_copy(update={"columns": chosen})
    found = find_columns(rows, POSITION, path.name, "places", own)
    if len(found) < len(POSITION):
        problem = value_problem(
            path.name,
            "header",
            "have the columns 'lat' and 'lon'",
            ", ".join(rows.columns),
            "Rename them, or set places.columns.lat and places.columns.lon.",
        )
        raise InputError([problem])
    lat, lon = (pd.to_numeric(rows[found[key]], errors="coerce") for key in POSITION)
    crs = reading.crs or "EPSG:4326"
    if crs == "EPSG:4326":
        good = (lat.abs() <= LARGEST_LAT) & (lon.abs() <= LARGEST_LON)
        good &= (lat != 0) | (lon != 0)
        lat, lon = lat.where(good), lon.where(good)
    shape = shapely.points(lon.to_numpy(float), lat.to_numpy(float))
    table = gpd.GeoDataFrame(rows, geometry=shape)
    stated = reading.model_copy(update={"crs": crs})
    return in_work_crs(table, path.name, "places", stated, work_crs)


def _points(rows: gpd.GeoDataFrame, file: str, notes: Notes) -> gpd.GeoDataFrame:
    shape = rows.geometry.to_numpy()
    known = np.isfinite(shapely.bounds(shape)).all(axis=1)
    for row in rows.index[~known]:
        notes.append(note_of(row, "geometry", "no place on the map", "left out"))
    if not known.any():
        found, remedy = f"{len(rows)} rows, none with a place", "Fill lat and lon."
        raise InputError([file_problem(file, "hold places", found, remedy)])
    middle = shapely.point_on_surface(shape[known])
    return rows[known].set_geometry(middle, crs=rows.crs)


def _kind(rows: pd.DataFrame, column: str | None, notes: Notes) -> pd.Series:
    kind = words(rows, column).str.lower().str.split().str.join(" ")
    if column is None:
        found, understood = "no column for the kind", "every place is a dwelling"
        notes.append(note_of(0, "kind", found, understood, "assumed"))
    else:
        for row in kind.index[kind == ""]:
            notes.append(note_of(row, "kind", "", "dwelling", "assumed"))
    kind = kind.where(~kind.isin(WAY_OUT_WORDS), "way out")
    return kind.where(~kind.isin(["", *DWELLING_WORDS]), "dwelling")


def _people(rows: pd.DataFrame, column: str | None, notes: Notes) -> pd.Series:
    text = words(rows, column)
    count = pd.to_numeric(text, errors="coerce").astype(float)
    good = count >= 0
    for row, found in text[~good & (text != "")].items():
        notes.append(note_of(row, "people_count", found, "unknown"))
    return count.where(good)
