"""The inventory of culverts, however it is kept, as one checked crossings table."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS, Geod

from culvertrisk import settings, tables
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.columns import Found, find_columns
from culvertrisk.inputs.coordinates import coordinate_problems, told_once
from culvertrisk.inputs.culvert_notes import Note, finish_notes, note_whole
from culvertrisk.inputs.culvert_numbers import add_numbers, bounded
from culvertrisk.inputs.culvert_places import LONLAT, map_rows, told_crs, transformed
from culvertrisk.inputs.culvert_repeats import repeated_rows, unique_ids, written_ids
from culvertrisk.inputs.culvert_sizes import add_sizes
from culvertrisk.inputs.culvert_words import (
    YES_NO_COLUMNS,
    add_words,
    install_year,
    silt_fraction,
    yes_no,
)
from culvertrisk.inputs.geometry import Places, Points
from culvertrisk.inputs.laid_years import with_remarked_years
from culvertrisk.inputs.layers import open_layer
from culvertrisk.inputs.place_faults import repair_places
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.sizes import short_unit

TEXT_COLUMNS = ("road_name", "road_class", "owner", "condition_text", "note")
_END_COLUMNS = ("inlet_x_m", "inlet_y_m", "outlet_x_m", "outlet_y_m")
_ZONE_MARGIN_DEG = 3.0  # half a UTM zone; farther off, lengths are badly wrong
_NO_PIPES = ("bridge", "ford")


@dataclass(frozen=True)
class _Work:
    """An inventory on its way: ``written`` has the ids of the refused rows too."""

    cells: pd.DataFrame
    written: pd.Series
    found: dict[str, list[Found]]
    places: Places
    units: dict[str, str]
    notes: list[Note]


def read_culverts(path: Path, reading: settings.Reading, work_crs: str = "") -> Reading:
    """Read an inventory of culverts.

    Parameters
    ----------
    path : Path
        CSV, XLSX, GeoJSON, GeoPackage, shapefile (also zipped), FlatGeobuf or KML;
        points, lines from end to end, or polygons.
    reading : settings.Reading
        CRS, columns and units that the user tells; they win over every guess.
    work_crs : str
        CRS of the table, projected and in metres; "" is the UTM zone (WGS 84) of
        the inventory's median place.

    Returns
    -------
    culverts : Reading
        ``table`` is a GeoDataFrame indexed by ``culvert_id`` with a point and every
        column that the columns dictionary says ``culverts`` makes, in its order and
        units. Unknown numbers are NaN, kinds of a word list ``unknown``, free text "".
        Rows without a usable place and second surveys of a culvert are left out.
        ``notes`` has one line for each refusal and assumption.

    Raises
    ------
    InputError
        If the file is missing, is of another kind, tells no CRS, has no coordinates,
        or no usable row.

    Notes
    -----
    Bridges and fords stay in the table with their ``crossing_kind``; they are no
    pipes. Zero in length and cover means not measured (common practice, no source).
    """
    return _read(path, reading, work_crs)[0]


def understand_culverts(path: Path) -> settings.Reading:
    """Return which columns and units an inventory is read with, for the town file.

    Raises
    ------
    InputError
        As :func:`read_culverts`.
    """
    _, work = _read(path, settings.Reading(), "")
    single = {
        ours: columns[0].column
        for ours, columns in work.found.items()
        if ours not in ("type_text", "culvert_id") or len(columns) == 1
    }
    units = {ours: short_unit(unit) for ours, unit in work.units.items()}
    return settings.Reading(columns=single, units=units)


def _read(
    path: Path, reading: settings.Reading, work_crs: str
) -> tuple[Reading, _Work]:
    work = _opened(path, reading)
    table, units, notes = _columns(work)
    target = _work_crs(work, work_crs, path.name)
    place_m = _in_work_crs(work, target)
    table, swapped = _with_ends(table, work, target)
    written = work.written[work.cells.index]
    is_repeat, repeats = repeated_rows(place_m, table, written)
    kept = table[~is_repeat]
    ids, made = unique_ids(written[~is_repeat])
    named = work.written.copy()
    named[ids.index] = ids
    listed = finish_notes(
        [*work.notes, *notes, *swapped, *repeats, *made, *_kinds(kept)],
        path.name,
        named,
    )
    points = gpd.points_from_xy(*place_m[~is_repeat].T, crs=target)
    frame = gpd.GeoDataFrame(kept[_ours()], geometry=points, crs=target)
    frame.index = pd.Index(ids, name="culvert_id", dtype=object)
    done = _Work(**{**work.__dict__, "units": units})
    return Reading(frame, note_table(listed)), done


def _ours() -> list[str]:
    names = tables.columns()
    return [*names.index[names["made_by"] == "culverts"]]


def _opened(path: Path, reading: settings.Reading) -> _Work:
    """Open the file, find its columns and keep the rows that lie somewhere."""
    layer = open_layer(path, [*reading.columns.values()])
    found = find_columns([*layer.cells.columns], reading, path.name)
    mapped = map_rows(layer, found, reading, path.name)
    repaired = repair_places(mapped.places, mapped.crs, layer.cells.index)
    keep = ~repaired.is_refused
    if not keep.any():
        raise InputError(_no_row(path.name, mapped.notes, len(keep)))
    lonlat = repaired.lonlat
    places = Places(
        lonlat.point[keep],
        lonlat.inlet[keep],
        lonlat.outlet[keep],
        lonlat.are_ends_named,
    )
    places_told = told_once([*mapped.notes, *repaired.notes], layer.cells.index[~keep])
    notes = [*layer.notes, *places_told]
    written = written_ids(layer.cells, found.get("culvert_id", []))
    return _Work(layer.cells[keep], written, found, places, {}, notes)


def _no_row(file: str, notes: Sequence[Note], total: int) -> list[str]:
    remedy = "See that the coordinates are filled; " + (
        'or tell their CRS: culverts.crs = "EPSG:...".'
    )
    none = file_problem(file, "hold a usable row", f"none in {total} rows", remedy)
    return [*coordinate_problems(notes, total, file), none]


def _work_crs(work: _Work, told: str, file: str) -> CRS:
    crs = told_crs(told, "town.crs")
    if crs is None:
        return _utm_crs(np.median(work.places.point, axis=0), file)
    if not crs.is_projected or crs.axis_info[0].unit_conversion_factor != 1:
        rule = "be a projected CRS in metres"
        remedy = "Take the UTM zone, or leave it blank."
        raise InputError([value_problem("town file", "town.crs", rule, told, remedy)])
    return crs


def _in_work_crs(work: _Work, crs: CRS) -> Points:
    """Return the places in the work CRS, if it is made for where they lie [m]."""
    place_m = transformed(work.places.point, LONLAT, crs)
    is_off = bool(np.isnan(place_m).any())
    area = crs.area_of_use
    if area is not None and area.west < area.east:  # not across the date line
        middle = np.median(work.places.point, axis=0)
        low = np.array([area.west, area.south]) - _ZONE_MARGIN_DEG
        high = np.array([area.east, area.north]) + _ZONE_MARGIN_DEG
        is_off |= not ((low <= middle) & (middle <= high)).all()
    if is_off:
        rule, remedy = "reach every culvert", "Take the UTM zone, or leave it blank."
        name = crs.to_string()
        raise InputError([value_problem("town file", "town.crs", rule, name, remedy)])
    return place_m


def _utm_crs(lonlat: Points, file: str) -> CRS:
    """Return the UTM zone (WGS 84) of a place."""
    place = gpd.GeoSeries(gpd.points_from_xy(*lonlat[:, None]), crs=LONLAT)
    try:
        return CRS(place.estimate_utm_crs())
    except RuntimeError as error:
        rule = "lie where UTM reaches, from 80 S to 84 N"
        shown = f"a middle of {lonlat[1]:.2f} N, {lonlat[0]:.2f} E"
        remedy = "See which column is which; or tell town.crs."
        raise InputError([file_problem(file, rule, shown, remedy)]) from error


def _columns(work: _Work) -> tuple[pd.DataFrame, dict[str, str], list[Note]]:
    """Read every column but the places."""
    cells, found = work.cells, work.found
    words, notes = add_words(cells, found)
    sizes, units, size_notes = add_sizes(cells, found, words)
    size_unit = next(iter(units.values()), "")
    numbers, more, number_notes = add_numbers(cells, found, size_unit, _mapped_m(work))
    others, other_notes = _other_columns(work)
    notes += size_notes + number_notes + other_notes
    table = pd.concat([words, sizes, numbers, others], axis=1)
    table["source_row"] = table.index.astype(float)
    values = [name for name in _ours() if name in table and name not in words]
    checked = table[values].select_dtypes("number")
    table[checked.columns] = bounded(checked, notes)
    return table, units | more, notes


def _mapped_m(work: _Work) -> pd.Series:
    """Return the distance between the mapped ends [m]."""
    ends = np.hstack([work.places.inlet, work.places.outlet])
    distance_m = Geod(ellps="WGS84").inv(*ends.T)[2]
    return pd.Series(distance_m, index=work.cells.index)


def _other_columns(work: _Work) -> tuple[pd.DataFrame, list[Note]]:
    cells, found = work.cells, work.found
    blank = pd.Series("", index=cells.index, dtype=object)
    text = {
        ours: cells[columns[0].column] for ours, columns in found.items() if columns
    }
    table = {ours: text.get(ours, blank) for ours in TEXT_COLUMNS}
    notes: list[Note] = []
    for ours in YES_NO_COLUMNS:
        table[ours], unread = yes_no(text.get(ours, blank), ours)
        notes += unread
    unit = found["silt_fraction"][0].unit if "silt_fraction" in found else ""
    table["silt_fraction"], silt = silt_fraction(text.get("silt_fraction", blank), unit)
    laid, years = install_year(text.get("install_year", blank))
    table["install_year"], remarked = with_remarked_years(laid, table["note"])
    return pd.DataFrame(table, index=cells.index), notes + silt + years + remarked


def _with_ends(
    table: pd.DataFrame, work: _Work, crs: CRS
) -> tuple[pd.DataFrame, list[Note]]:
    """Add the two ends in the work CRS; the higher recorded end is the inlet."""
    ends = [
        transformed(points, LONLAT, crs)
        for points in (work.places.inlet, work.places.outlet)
    ]
    table = table.assign(**dict(zip(_END_COLUMNS, np.hstack(ends).T, strict=True)))
    has_ends = table["inlet_x_m"].notna()
    if work.places.are_ends_named or not has_ends.any():
        return table, []
    said = f"{int(has_ends.sum())} rows with two ends"
    told = "first vertex taken as inlet until terrain or inverts tell"
    notes = [note_whole("inlet_x_m", said, told, "assumed")]
    is_turned = (table["inlet_invert_m"] < table["outlet_invert_m"]).to_numpy()
    if is_turned.any():
        told = "ends swapped: the higher invert is the inlet"
        said = f"{int(is_turned.sum())} rows"
        notes.append(note_whole("inlet_x_m", said, told, "changed"))
        for a, b in (("x_m", "x_m"), ("y_m", "y_m"), ("invert_m", "invert_m")):
            pair = table[[f"inlet_{a}", f"outlet_{b}"]].to_numpy()
            pair[is_turned] = pair[is_turned][:, ::-1]
            table[[f"inlet_{a}", f"outlet_{b}"]] = pair
    return table, notes


def _kinds(table: pd.DataFrame) -> list[Note]:
    notes = []
    for kind in _NO_PIPES:
        count = int((table["crossing_kind"] == kind).sum())
        if count:
            told = "kept in the table, no pipe to score"
            said = f"{count} rows of kind {kind}"
            notes.append(note_whole("crossing_kind", said, told, "assumed"))
    return notes
