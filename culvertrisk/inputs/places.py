"""Dwellings and critical places as points, from any vector file or a table."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.coordinates import (
    SOUTHERNMOST_ROAD_LAT,
    coordinate_problems,
    coordinates,
    unread_coordinates,
)
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
    rows = _open(path, reading, work_crs, notes)
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
    ordered = sorted(notes, key=lambda item: int(str(item["row"])))
    notes = [{"file": path.name, **note} for note in ordered]
    return Reading(table, note_table(notes))


def _open(
    path: Path, reading: settings.Reading, work_crs: str, notes: Notes
) -> gpd.GeoDataFrame:
    if path.suffix.lower() not in (*TEXT_ENDINGS, *SHEET_ENDINGS):
        return read_vector(path, "places", reading, work_crs)
    known = {**ALIASES, **POSITION}
    listed = [*known, *(name for names in known.values() for name in names)]
    layer = open_layer(path, [*listed, *reading.columns.values()])
    rows = layer.cells
    notes += layer.notes
    texts = _positions(rows, path.name, reading)
    notes += unread_coordinates(texts)
    points = pd.DataFrame({key: coordinates(text) for key, text in texts.items()})
    crs = reading.crs or "EPSG:4326"
    if crs == "EPSG:4326":
        points = _on_earth(points, notes)
    shape = shapely.points(points["lon"].to_numpy(float), points["lat"].to_numpy(float))
    table = gpd.GeoDataFrame(rows, geometry=shape)
    stated = reading.model_copy(update={"crs": crs})
    return in_work_crs(table, path.name, "places", stated, work_crs)


def _positions(
    rows: pd.DataFrame, file: str, reading: settings.Reading
) -> dict[str, pd.Series]:
    """Return the two columns of coordinates as they stand in the file."""
    chosen = {k: v for k, v in reading.columns.items() if k in POSITION}
    own = reading.model_copy(update={"columns": chosen})
    found = find_columns(rows, POSITION, file, "places", own)
    if len(found) < len(POSITION):
        problem = value_problem(
            file,
            "header",
            "have the columns 'lat' and 'lon'",
            ", ".join(rows.columns),
            "Rename them, or set places.columns.lat and places.columns.lon.",
        )
        raise InputError([problem])
    return {key: rows[found[key]] for key in POSITION}


def _on_earth(points: pd.DataFrame, notes: Notes) -> pd.DataFrame:
    """Keep degrees that can be a place with a road."""
    lat, lon = points["lat"], points["lon"]
    is_outside = (lat.abs() > LARGEST_LAT) | (lon.abs() > LARGEST_LON)
    is_polar = (lat < SOUTHERNMOST_ROAD_LAT) & ~is_outside
    is_zero = (lat == 0) & (lon == 0)
    for is_wrong, told in (
        (is_outside, "left out: no degrees"),
        (is_polar, "left out: south of every road; perhaps swapped with lon"),
        (is_zero, "left out: 0,0 is no place"),
    ):
        for row in points.index[is_wrong]:
            found = f"{lat[row]:.10g}, {lon[row]:.10g}"
            notes.append(note_of(row, "lat", found, told))
    return points.where(~(is_outside | is_polar | is_zero))


def _points(rows: gpd.GeoDataFrame, file: str, notes: Notes) -> gpd.GeoDataFrame:
    shape = rows.geometry.to_numpy()
    known = np.isfinite(shapely.bounds(shape)).all(axis=1)
    told = {item["row"] for item in notes if item["kind"] == "refused"}
    for row in rows.index[~known]:
        if row not in told:
            notes.append(note_of(row, "geometry", "no place on the map", "left out"))
    if not known.any():
        reasons = dict.fromkeys(str(n["understood"]) for n in notes if n["row"] in told)
        why = "; ".join(reason.removeprefix("left out: ") for reason in reasons)
        found = f"{len(rows)} rows, none with a place" + (f" ({why})" if why else "")
        remedy = "Fill lat and lon in degrees, or tell places.crs in the town file."
        none = file_problem(file, "hold places", found, remedy)
        raise InputError([*coordinate_problems(notes, len(rows), file), none])
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
