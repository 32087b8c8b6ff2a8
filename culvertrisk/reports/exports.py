"""Crossings, route and what was assumed as files for spreadsheets, GIS and phones."""

from __future__ import annotations

import os
import re
import tempfile
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from culvertrisk.inputs.reading import NOTE_COLUMNS
from culvertrisk.plans.travel import FILL
from culvertrisk.reports.sentence_units import in_units
from culvertrisk.settings import FillPoint
from culvertrisk.tables import columns
from culvertrisk.units import clock

if TYPE_CHECKING:
    from culvertrisk.reports.map_data import MapContent

_DEGREES = "EPSG:4326"
_DECIMALS = 6  # of a degree: about 0.1 m
_FORMULA_START = ("=", "+", "-", "@", "\t", "\r")
_GPX = "http://www.topografix.com/GPX/1/1"
# Characters that XML 1.0 cannot hold (section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_exports(folder: Path, content: MapContent) -> list[Path]:
    """Write the tables of a morning for other programs.

    Parameters
    ----------
    folder : Path
        Where the files go; made if it is not there. Older ones are replaced.
    content : MapContent
        Crossings, plan and notes.

    Returns
    -------
    paths : list of Path
        ``crossings.csv``, ``crossings.geojson`` (degrees), ``crossings.gpkg`` (work
        CRS), ``assumptions.csv``, ``unlisted_crossings.csv`` where a stream meets a
        road and no culvert is listed, ``rating_curves.csv`` where curves are given
        and, with a plan, ``route.gpx``.

    Notes
    -----
    The same content gives the same bytes. The GeoPackage is stamped with the day
    of the plan, not with the time of writing.
    """
    folder.mkdir(parents=True, exist_ok=True)
    table = whole_table(content.crossings)
    files: dict[str, Callable[[Path], object]] = {
        "crossings.csv": lambda new: _write_csv(new, _with_degrees(table)),
        "crossings.geojson": lambda new: new.write_bytes(_geojson(table).encode()),
        "crossings.gpkg": lambda new: _write_geopackage(new, table, content),
        "assumptions.csv": lambda new: write_notes(new, content.notes),
    }
    if content.unmapped is not None and len(content.unmapped):
        places = _with_degrees(content.unmapped)
        files["unlisted_crossings.csv"] = lambda new: _write_csv(new, places)
    if content.ratings is not None and len(content.ratings):
        curves = content.ratings.dropna(subset="headwater_open_m")
        files["rating_curves.csv"] = lambda new: _write_csv(new, curves)
    plan = content.plan
    if plan is not None:
        files["route.gpx"] = lambda new: new.write_bytes(_gpx(content, plan.stops))
    for name, fill in files.items():
        replace_file(folder / name, fill)
    return [folder / name for name in files]


def write_notes(path: Path, notes: pd.DataFrame) -> Path:
    """Write what was refused, assumed or changed, row by row; replaced whole."""
    listed = notes.reindex(columns=[*NOTE_COLUMNS])
    replace_file(path, lambda new: _write_csv(new, listed))
    return path


def replace_file(path: Path, fill: Callable[[Path], object]) -> None:
    """Write a file beside its place and move it there when it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".new-") as folder:
        new = Path(folder) / path.name
        fill(new)
        os.replace(new, path)


def whole_table(crossings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return crossings with every column of the dictionary, in its order.

    A column that no stage has made is blank, so that the header never changes.
    """
    names = columns().index
    is_text = columns()["unit"] == "text"
    made: dict[str, Any] = {
        name: crossings[name]
        if name in crossings
        else ("" if is_text[name] else np.nan)
        for name in names
    }
    flat = pd.DataFrame(made, index=crossings.index.rename("culvert_id"))
    for name in flat.columns[is_text[flat.columns]]:
        flat[name] = [in_units(t, "metric") for t in flat[name].fillna("").astype(str)]
    return gpd.GeoDataFrame(
        flat,
        geometry=crossings.geometry.to_numpy(),
        crs=crossings.crs,
    )


def guarded(text: object) -> object:
    """Return a text that a spreadsheet does not take for a formula, in metric units.

    Examples
    --------
    >>> guarded("=1+1"), guarded("Mill Road"), guarded(-3.0)
    ("'=1+1", 'Mill Road', -3.0)
    """
    if not isinstance(text, str):
        return text
    told = in_units(text, "metric")
    return f"'{told}" if told.startswith(_FORMULA_START) else told


def _degrees(table: gpd.GeoDataFrame) -> gpd.GeoSeries:
    return table.geometry.to_crs(_DEGREES).transform(lambda c: np.round(c, _DECIMALS))


def _with_degrees(table: gpd.GeoDataFrame) -> pd.DataFrame:
    points = _degrees(table)
    flat = pd.DataFrame(table.drop(columns="geometry")).reset_index()
    flat.insert(1, "lat", points.y.to_numpy())
    flat.insert(2, "lon", points.x.to_numpy())
    return flat


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    safe = table.apply(lambda column: column.map(guarded))
    # The byte order mark tells spreadsheets that the text is UTF-8.
    safe.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


def _geojson(table: gpd.GeoDataFrame) -> str:
    placed = table.set_geometry(_degrees(table)).reset_index()
    return str(placed.to_json(drop_id=True, to_wgs84=True)) + "\n"


def _write_geopackage(path: Path, table: gpd.GeoDataFrame, content: MapContent) -> None:
    stamp = {"OGR_CURRENT_DATE": f"{content.on.isoformat()}T00:00:00.000Z"}
    before = {key: pyogrio.get_gdal_config_option(key) for key in stamp}
    pyogrio.set_gdal_config_options(stamp)
    try:
        pyogrio.write_dataframe(
            table.reset_index(), path, layer="crossings", driver="GPKG"
        )
    finally:
        pyogrio.set_gdal_config_options(before)


def _gpx(content: MapContent, stops: pd.DataFrame) -> bytes:
    root = ElementTree.Element(
        "gpx", {"version": "1.1", "creator": "culvertrisk", "xmlns": _GPX}
    )
    about = ElementTree.SubElement(root, "metadata")
    _line(about, "name", f"{content.title}, {content.on.isoformat()}")
    points = _placed(stops, content)
    for stop in points:
        _waypoint(root, "wpt", stop)
    for crew in dict.fromkeys(stop["crew"] for stop in points):
        route = ElementTree.SubElement(root, "rte")
        _line(route, "name", crew)
        for stop in points:
            if stop["crew"] == crew:
                _waypoint(route, "rtept", stop)
    ElementTree.indent(root)
    text = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return bytes(text) + b"\n"


def _line(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, name).text = _NOT_XML.sub("", text)


def _waypoint(parent: ElementTree.Element, tag: str, stop: dict[str, Any]) -> None:
    at = {"lat": f"{stop['lat']:.6f}", "lon": f"{stop['lon']:.6f}"}
    point = ElementTree.SubElement(parent, tag, at)
    _line(point, "name", stop["name"])
    _line(point, "desc", stop["words"])


def _placed(stops: pd.DataFrame, content: MapContent) -> list[dict[str, Any]]:
    """Thaws and fill points in the order of the plan, where their place is known."""
    ends = outlet_ends(content.crossings)
    at = {str(key): (end.y, end.x) for key, end in ends.items()}
    at |= {FILL + fill.name: (fill.lat, fill.lon) for fill in fill_points(content)}
    return [
        {
            "crew": str(stop["crew"]),
            "name": f"{stop['crew']} {stop['stop_number']}: {_gpx_name(stop)}",
            "words": f"start {clock(stop['start_s'])}, done {clock(stop['end_s'])}",
            "lat": at[stop["place_id"]][0],
            "lon": at[stop["place_id"]][1],
        }
        for stop in stops[stops["kind"].isin(("thaw", "fill"))].to_dict("records")
        if stop["place_id"] in at
    ]


def _gpx_name(stop: dict[Any, Any]) -> str:
    if stop["kind"] == "thaw":
        return str(stop["culvert_id"])
    return f"water, {str(stop['place_id']).removeprefix(FILL)}"


def fill_points(content: MapContent) -> tuple[FillPoint, ...]:
    """Return the fill points of the town file; none where it is not at hand."""
    return content.settings.fill_points if content.settings else ()


def outlet_ends(crossings: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """Return outlet ends in degrees; the crossing where the outlet is unknown."""
    x, y = crossings.geometry.x, crossings.geometry.y
    if "outlet_x_m" in crossings and "outlet_y_m" in crossings:
        x, y = crossings["outlet_x_m"].fillna(x), crossings["outlet_y_m"].fillna(y)
    points = gpd.GeoSeries(shapely.points(x, y), crossings.index, crs=crossings.crs)
    return points.to_crs(_DEGREES)
