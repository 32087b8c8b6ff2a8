"""Road lines of any vector file to the checked roads table."""

import re
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.vectors import find_columns, note_of, read_vector, words
from culvertrisk.network.snapping import snap_ends
from culvertrisk.units import to_unit

SNAP_M = 5.0  # farthest a loose end is moved [m]; common practice, no source
SHORTEST_M = 0.001  # a line below this has no length [m]
SLOWEST_M_S = 1.0  # a posted speed below this is a code for unknown [m/s]
FASTEST_M_S = 42.0  # a posted speed above this is a code for unknown [m/s]

ALIASES = {
    "road_name": (
        *("name", "st_name", "street_name", "street", "full_name", "road", "rd_name"),
        *("descrip", "route", "ref"),
    ),
    "road_class": (
        *("class", "road_type", "func_class", "f_f_class", "functional_class"),
        *("category", "fclass", "highway", "hyw_type", "class_code"),
    ),
    "surface": ("surface_type", "surface_tp", "surf_type", "pavement"),
    "oneway": ("one_way", "dir_travel"),
    "level": ("layer", "z_level", "zlevel", "grade_level"),
    "daily_traffic_count": ("aadt", "adt", "daily_traffic", "traffic"),
    "speed_m_s": (
        *("speed_mph", "speed_kmh", "speed_kph", "posted_mph", "posted_kmh"),
        *("maxspeed", "speed_limit", "speed_lim", "posted_speed", "speed"),
    ),
}
ONEWAY_WORDS = {
    **dict.fromkeys(
        ["", "0", "no", "n", "false", "b", "both", "two-way", "two way"], 0
    ),
    **dict.fromkeys(["1", "yes", "y", "true", "ft", "forward", "with"], 1),
    **dict.fromkeys(["-1", "reverse", "tf", "against"], -1),
}
SPEED_UNITS = {"mph": "mph", "kmh": "km/h", "kph": "km/h", "maxspeed": "km/h"}

Notes = list[dict[str, object]]


def read_roads(
    path: Path, reading: settings.Reading, work_crs: str, *, snap_m: float = SNAP_M
) -> Reading:
    """Read road lines.

    Parameters
    ----------
    path : Path
        Any vector format.
    reading : settings.Reading
        CRS, columns and units of the file where its names do not say.
    work_crs : str
        CRS in metres in which the work is done.
    snap_m : float, optional
        Farthest that a loose end is moved to meet another road [m].

    Returns
    -------
    roads : Reading
        Table of single lines, indexed by ``road_index``, with ``road_name``,
        ``road_class`` and ``surface`` as in the file, ``oneway`` (1 along the
        line, -1 against it, 0 both ways), ``level`` (0 on the ground),
        ``daily_traffic_count`` and ``speed_m_s`` (posted); unknown is NaN.

    Raises
    ------
    InputError
        If the file cannot be used; a line that cannot is refused in the notes.

    Notes
    -----
    A count of 0 vehicles is taken as not counted, and a speed outside
    1 to 42 m/s as a code for unknown. A speed without a known unit is not used.
    """
    rows = read_vector(path, "roads", reading, work_crs)
    found = find_columns(rows, ALIASES, path.name, "roads", reading)
    notes: Notes = []
    rows = _lines(rows, path.name, notes)
    table = gpd.GeoDataFrame(
        {name: words(rows, found.get(name)) for name in ("road_name", "road_class")}
        | {"surface": words(rows, found.get("surface"))}
        | {"oneway": _oneway(rows, found.get("oneway"), notes)}
        | {"level": _level(rows, found.get("level"), notes)}
        | {"daily_traffic_count": _traffic(rows, found, notes)}
        | {
            "speed_m_s": _speed(rows, found.get("speed_m_s"), reading, path.name, notes)
        },
        geometry=rows.geometry.to_numpy(),
        crs=work_crs,
    )
    table.index = pd.RangeIndex(len(table), name="road_index")
    table = _snapped(table, rows.index, snap_m, notes)
    notes = [{"file": path.name, **note} for note in notes]
    return Reading(table, note_table(notes))


def _lines(rows: gpd.GeoDataFrame, file: str, notes: Notes) -> gpd.GeoDataFrame:
    lost = rows.index[rows.geometry.isna()]
    notes += [note_of(row, "geometry", "no shape", "left out") for row in lost]
    rows = rows.explode(index_parts=False)
    geometry = rows.geometry.to_numpy()
    is_line = shapely.get_type_id(geometry) == 1
    extent = shapely.bounds(geometry)
    long_enough = shapely.length(geometry) > SHORTEST_M
    known = np.isfinite(extent).all(axis=1)
    again = rows.geometry.normalize().duplicated().to_numpy() & is_line
    faults = (
        (~is_line, "not a line"),
        (is_line & ~known, "a line outside the work CRS"),
        (is_line & known & ~long_enough, "a line without length"),
        (is_line & known & long_enough & again, "the same line twice"),
    )
    for fault, what in faults:
        notes += [
            note_of(row, "geometry", what, "left out") for row in rows.index[fault]
        ]
    kept = rows[is_line & known & long_enough & ~again]
    if kept.empty:
        found = f"{len(rows)} rows, none of them a line"
        remedy = "Give the layer of road centre lines."
        raise InputError([file_problem(file, "hold road lines", found, remedy)])
    return kept


def _oneway(rows: pd.DataFrame, column: str | None, notes: Notes) -> pd.Series:
    text = words(rows, column).str.lower()
    way = text.map(ONEWAY_WORDS)
    for row, found in text[way.isna()].items():
        notes.append(note_of(row, "oneway", found, "both ways", "assumed"))
    return way.fillna(0).astype(np.int64)


def _level(rows: pd.DataFrame, column: str | None, notes: Notes) -> pd.Series:
    text = words(rows, column)
    level = pd.to_numeric(text, errors="coerce")
    for row, found in text[level.isna() & (text != "")].items():
        notes.append(note_of(row, "level", found, "0, on the ground", "assumed"))
    return level.fillna(0).round().astype(np.int64)


def _traffic(rows: pd.DataFrame, found: dict[str, str], notes: Notes) -> pd.Series:
    text = words(rows, found.get("daily_traffic_count"))
    count = pd.to_numeric(text.str.replace(",", ""), errors="coerce").astype(float)
    return _known(text, count, count > 0, "daily_traffic_count", notes)


def _speed(
    rows: pd.DataFrame,
    column: str | None,
    reading: settings.Reading,
    file: str,
    notes: Notes,
) -> pd.Series:
    text = words(rows, column)
    unit = reading.units.get("speed_m_s", "m/s" if column == "speed_m_s" else "")
    plain = re.sub(r"[^a-z]", "", str(column).lower())
    unit = unit or next((u for word, u in SPEED_UNITS.items() if word in plain), "")
    parts = text.str.extract(r"^([0-9.]+)\s*([a-zA-Z/]*)$")
    number = pd.to_numeric(parts[0], errors="coerce").astype(float)
    units = parts[1].fillna("").str.lower().replace("", unit)
    factors = {name: _factor(name, file) for name in units.unique() if name}
    speed = number * units.map(factors).astype(float)
    if not unit and (number.notna() & (units == "")).any():
        understood = 'unknown; set roads.units.speed_m_s, such as "mph"'
        notes.append(note_of(0, "speed_m_s", f"{column} without a unit", understood))
        text = text.where(units != "", "")
    good = speed.between(SLOWEST_M_S, FASTEST_M_S)
    return _known(text, speed, good, "speed_m_s", notes)


def _factor(unit: str, file: str) -> float:
    try:
        return to_unit(f"1 {unit}", "m/s")
    except ValueError as error:
        problem = value_problem(
            file, "roads.units.speed_m_s", "be a unit of speed", unit, 'Write "mph".'
        )
        raise InputError([problem]) from error


def _known(
    text: pd.Series, value: pd.Series, good: pd.Series, column: str, notes: Notes
) -> pd.Series:
    # codes for unknown come by the hundred; one note for each code is enough
    bad = text[~good & (text != "")]
    for found, count in bad.value_counts(sort=False).items():
        notes.append(
            note_of(0, column, f"{found} ({count} of {len(text)} rows)", "unknown")
        )
    return value.where(good)


def _snapped(
    table: gpd.GeoDataFrame, row: pd.Index, snap_m: float, notes: Notes
) -> gpd.GeoDataFrame:
    lines, is_moved = snap_ends(
        table.geometry.to_numpy().astype(object),
        table["level"].to_numpy(),
        reach_m=snap_m,
    )
    count = int(is_moved.sum())
    if count:
        found = f"{count} loose ends within {snap_m:g} m of another road"
        moved = np.flatnonzero(is_moved.any(axis=1))
        rows = ", ".join(str(r) for r in row[moved].unique())
        understood = f"joined to it, rows {rows}"
        notes.append(note_of(0, "geometry", found, understood, "changed"))
    return table.set_geometry(lines, crs=table.crs)
