"""Where culverts lie: coordinates of any file, their faults, the work CRS."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.columns import Found
from culvertrisk.inputs.coordinates import coordinates, unread_coordinates
from culvertrisk.inputs.culvert_notes import Note, note_whole
from culvertrisk.inputs.geometry import (
    Places,
    Points,
    empty_points,
    places_of_geometries,
)
from culvertrisk.inputs.layers import Layer, numbers_of

LONLAT = CRS.from_epsg(4326)
CRS_REMEDY = 'Tell it in the town file: culverts.crs = "EPSG:...".'
WORLD_DEG = (180.0, 90.0)  # degrees of longitude and latitude
_DEGREE_PAIR, _ZONED = ("lon", "lat"), ("easting", "northing")
_PAIRS = (_DEGREE_PAIR, _ZONED, ("x", "y"))
_UTM_NORTH, _UTM_SOUTH = 32600, 32700  # EPSG codes of WGS 84 / UTM zone 0
_MOST_ZONES = 60
_SOUTH_BANDS = "CDEFGHJKLM"  # latitude bands south of the equator


@dataclass(frozen=True)
class Mapped:
    """Places in the file's CRS, the CRS, and what had to be assumed."""

    places: Places
    crs: CRS
    notes: tuple[Note, ...] = ()


def map_rows(
    layer: Layer,
    found: Mapping[str, Sequence[Found]],
    reading: settings.Reading,
    file: str,
) -> Mapped:
    """Return where the rows of a file lie.

    Geometries come first, then a column of well-known text, then latitude and
    longitude, easting and northing with a UTM zone, x and y, and the two ends.

    Raises
    ------
    InputError
        If there are no coordinates, or nothing tells their CRS.
    """
    told = told_crs(reading.crs, "culverts.crs")
    if layer.geometries is not None:
        return _of_geometries(layer, told, file)
    cells = layer.cells
    shapes = _well_known(cells, found)
    if shapes is not None:
        return _of_geometries(Layer(cells, shapes, None), told, file)
    pair = next((pair for pair in _PAIRS if {*pair} <= found.keys()), None)
    if pair is None:
        return _of_ends(cells, found, told, file)
    if pair == _ZONED and "utm_zone" in found and told is None:
        mapped = _of_zones(cells, found)
    else:
        is_other = pair == _DEGREE_PAIR and told and not told.is_geographic
        point = _pair(cells, found, *pair)
        mapped = _of_points(point, None if is_other else told, file)
    unread = unread_coordinates(_texts(cells, found, *pair))
    mapped = replace(mapped, notes=(*mapped.notes, *unread))
    return _with_ends(mapped, cells, found, told, file)


def _well_known(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]]
) -> NDArray[Any] | None:
    """Return the geometries of a column of well-known text, None without one."""
    if "wkt" not in found:
        return None
    texts = cells[found["wkt"][0].column].to_numpy(dtype=object)
    with np.errstate(all="ignore"):  # a cell such as 1e400
        shapes = np.array(shapely.from_wkt(texts, on_invalid="ignore"), dtype=object)
    return None if shapely.is_missing(shapes).all() else shapes


def told_crs(text: str, key: str) -> CRS | None:
    """Return the CRS a user tells, None where he tells none."""
    if not text:
        return None
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        rule = "be a CRS such as EPSG:26916"
        problem = value_problem("town file", key, rule, text, "Correct it.")
        raise InputError([problem]) from error


def _of_geometries(layer: Layer, told: CRS | None, file: str) -> Mapped:
    shapes = np.array(layer.geometries, dtype=object)
    bounds = shapely.bounds(shapes)[:, :2] if len(shapes) else empty_points(0)
    crs, notes = _crs_of(bounds, layer.crs, told, file)
    return Mapped(places_of_geometries(shapes, crs.is_geographic), crs, notes)


def _crs_of(
    points: Points, declared: CRS | None, told: CRS | None, file: str
) -> tuple[CRS, tuple[Note, ...]]:
    """Return the CRS of coordinates: told by the user, declared, or degrees."""
    if told is not None:
        if declared is None or declared == told:
            return told, ()
        said = f"the file declares {declared.name}"
        return told, (note_whole("", said, f"{told.name}, as told", "changed"),)
    are_degrees = _are_degrees(points)
    if declared is not None and (are_degrees or not declared.is_geographic):
        return declared, ()
    if are_degrees:
        told_words = "degrees of longitude and latitude, WGS 84"
        return LONLAT, (note_whole("", "no CRS declared", told_words, "assumed"),)
    rule = "declare the CRS of its coordinates"
    middle = np.nanmedian(points, axis=0)
    shown = f"none that fits coordinates such as {middle[0]:.0f}, {middle[1]:.0f}"
    raise InputError([file_problem(file, rule, shown, CRS_REMEDY)])


def _are_degrees(points: Points) -> bool:
    """Tell whether most coordinates are degrees, also if the axes are swapped."""
    known = np.abs(points[~np.isnan(points).any(axis=1)])
    inside = (known.max(axis=1) <= WORLD_DEG[0]) & (known.min(axis=1) <= WORLD_DEG[1])
    return len(known) == 0 or bool(np.mean(inside) > 1 / 2)


def _pair(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]], x: str, y: str
) -> Points:
    points = np.column_stack(
        [coordinates(text) for text in _texts(cells, found, x, y).values()]
    )
    points[np.isnan(points).any(axis=1)] = np.nan
    return points


def _texts(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]], *names: str
) -> dict[str, pd.Series]:
    return {name: cells[found[name][0].column] for name in names}


def _of_points(points: Points, told: CRS | None, file: str) -> Mapped:
    crs, notes = _crs_of(points, None, told, file)
    blank = empty_points(len(points))
    return Mapped(Places(points, blank, blank.copy(), True), crs, notes)


def _of_zones(cells: pd.DataFrame, found: Mapping[str, Sequence[Found]]) -> Mapped:
    """Return longitude and latitude of eastings and northings with their zone."""
    points = _pair(cells, found, "easting", "northing")
    zones = cells[found["utm_zone"][0].column]
    parts = zones.str.upper().str.extract(r"(\d{1,2})\s*([A-Z]?)")
    number = numbers_of(parts[0]).to_numpy(dtype=float)
    is_south = parts[1].fillna("").isin([*_SOUTH_BANDS]).to_numpy()
    lonlat = empty_points(len(points))
    is_zone = (number >= 1) & (number <= _MOST_ZONES)
    for zone, south in {*zip(number[is_zone], is_south[is_zone], strict=True)}:
        chosen = (number == zone) & (is_south == south)
        crs = CRS.from_epsg(int(zone) + (_UTM_SOUTH if south else _UTM_NORTH))
        lonlat[chosen] = transformed(points[chosen], crs, LONLAT)
    blank = empty_points(len(points))
    told = "UTM zones on WGS 84; NAD83 and ETRS89 differ by 1 to 2 m"
    said = ", ".join(sorted(set(zones)))
    notes = (note_whole("utm_zone", said, told, "assumed"),)
    return Mapped(Places(lonlat, blank, blank.copy(), True), LONLAT, notes)


def transformed(points: Points, source: CRS, target: CRS) -> Points:
    """Return points in another CRS, x before y; NaN where it does not reach."""
    step = Transformer.from_crs(source, target, always_xy=True)
    x, y = step.transform(points[:, 0], points[:, 1])
    result = np.column_stack([x, y])
    result[~np.isfinite(result).all(axis=1)] = np.nan
    return result


def _ends(
    cells: pd.DataFrame,
    found: Mapping[str, Sequence[Found]],
    told: CRS | None,
    file: str,
) -> Mapped | None:
    """Return the two ends of a table, in degrees or in the told CRS."""
    for x, y, suffix in (("lon", "lat", ""), ("x", "y", "_m")):
        names = [f"{end}_{axis}{suffix}" for end in ("inlet", "outlet")
                 for axis in (x, y)]  # fmt: skip
        if not (set(names[:2]) <= found.keys() or set(names[2:]) <= found.keys()):
            continue
        both = [
            _pair(cells, found, *pair)
            if set(pair) <= found.keys()
            else empty_points(len(cells))
            for pair in (names[:2], names[2:])
        ]
        crs, notes = _crs_of(np.vstack(both), None, None if x == "lon" else told, file)
        for end in (names[:2], names[2:]):
            if {*end} <= found.keys():
                notes += (*unread_coordinates(_texts(cells, found, *end)),)
        middle = np.where(np.isnan(both[0]), both[1], both[0])
        has_both = ~np.isnan(both[0] + both[1])
        middle = np.where(has_both, (both[0] + both[1]) / 2, middle)
        return Mapped(Places(middle, both[0], both[1], True), crs, notes)
    return None


def _of_ends(
    cells: pd.DataFrame,
    found: Mapping[str, Sequence[Found]],
    told: CRS | None,
    file: str,
) -> Mapped:
    mapped = _ends(cells, found, told, file)
    if mapped is None:
        rule = "have coordinates: latitude and longitude, x and y, or the two ends"
        shown = "the columns " + ", ".join(map(str, cells.columns))
        remedy = 'Name them in the town file: culverts.columns.lat = "...".'
        raise InputError([file_problem(file, rule, shown, remedy)])
    return mapped


def _with_ends(
    mapped: Mapped,
    cells: pd.DataFrame,
    found: Mapping[str, Sequence[Found]],
    told: CRS | None,
    file: str,
) -> Mapped:
    """Add the two ends, and the place between them where the point is blank."""
    ends = _ends(cells, found, told, file)
    if ends is None:
        return mapped
    inlet, outlet, middle = (
        transformed(points, ends.crs, mapped.crs)
        for points in (ends.places.inlet, ends.places.outlet, ends.places.point)
    )
    point = np.where(np.isnan(mapped.places.point), middle, mapped.places.point)
    places = Places(point, inlet, outlet, True)
    new = [note for note in ends.notes if note not in mapped.notes]
    return replace(mapped, places=places, notes=(*mapped.notes, *new))
