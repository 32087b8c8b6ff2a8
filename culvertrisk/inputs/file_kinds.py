"""What a data file holds, told by its content: culverts, roads, elevation, weather."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.windows import Window

from culvertrisk import tables
from culvertrisk.checks import InputError, refuse
from culvertrisk.inputs.columns import plain_name, recognised, unit_in_name
from culvertrisk.inputs.land_cover import legend_of
from culvertrisk.inputs.layers import (
    SHEET_ENDINGS,
    TEXT_ENDINGS,
    VECTOR_ENDINGS,
    Layer,
    open_layer,
    text_rows,
)
from culvertrisk.inputs.rainfall_layouts import read_layout

RASTER_ENDINGS = (".tif", ".tiff", ".asc", ".img", ".vrt", ".dem", ".flt")
UNKNOWN = "unknown"
_CULVERT_COLUMNS = {
    *("diameter_m", "rise_m", "span_m", "barrel_count", "material", "shape"),
    *("length_m", "recorded_cover_m", "inlet_invert_m", "outlet_invert_m"),
    *("recorded_slope_m_per_m", "silt_fraction", "entrance", "outlet_drop_m"),
}
_SIZES = {"diameter_m", "rise_m", "span_m"}
_COORDINATES = {"lat", "lon", "easting", "northing", "x", "y", "inlet_lat", "wkt"}
_LINES = (1, 5)  # shapely's ids of line and multi-line
_WEATHER_HITS = 2
_PREAMBLE_ROWS = 20
_SAMPLE_CELLS = 512
_TALLEST_TREE_M = 100.0
_ROUGH_RATIO = 0.1  # canopy jumps from cell to cell, ground does not
_COVER_CLASSES = 3  # fewer codes may be whole metres by chance
_ELEVATIONS_M = (-500.0, 9000.0)


def guess_kind(path: Path) -> str:
    """Guess what a data file holds.

    Parameters
    ----------
    path : Path
        A raster, vector or tabular file.

    Returns
    -------
    kind : str
        One of ``culverts``, ``roads``, ``dem``, ``canopy``, ``land_cover``,
        ``weather``, ``rainfall``, ``thaw_log``, ``places``, ``calls`` and ``unknown``.

    Notes
    -----
    By content, not by name; the name only settles what the content leaves open.

    - Raster of one band of whole numbers that are all codes of one land cover legend:
      ``land_cover``.
    - Raster of one band within the range of elevations: ``canopy`` if all values
      lie from 0 to 100 and jump from cell to cell, else ``dem``. Pictures and
      classes of land cover are ``unknown``.
    - Lines: ``culverts`` with a column of sizes; ``roads`` with columns such as
      surface, class, lanes or street name. Railways and streams are ``unknown``.
    - Points, polygons, and tables with coordinates: ``culverts`` with columns of
      size, material or shape; ``places`` with dwellings, people or kinds.
    - Tables without: ``weather`` with two columns of temperature, rain or snow;
      ``thaw_log`` with crew, method, minutes or result; ``calls`` with a caller or
      what is seen; ``rainfall`` with rain by duration and return period.

    A file that cannot be opened is ``unknown``.
    """
    ending = path.suffix.lower()
    if ending in RASTER_ENDINGS:
        return _raster_kind(path)
    if ending not in (*VECTOR_ENDINGS, *TEXT_ENDINGS, *SHEET_ENDINGS):
        return UNKNOWN
    try:
        layer = open_layer(path)
    except InputError:
        return UNKNOWN
    names = [str(name) for name in layer.cells.columns]
    if layer.geometries is not None:
        return _vector_kind(layer, names, path)
    return _table_kind(layer, names, path)


@cache
def _aliases() -> dict[str, set[str]]:
    rows = tables.table("file_kinds")
    known: dict[str, set[str]] = {}
    for kind, alias in zip(rows["kind"], rows["alias"], strict=True):
        known.setdefault(str(kind), set()).add(str(alias).replace("_", ""))
    return known


def _hits(names: Sequence[str], kind: str) -> int:
    """Count the columns that speak for a kind."""
    known = _aliases()[kind]
    return sum(any(form in known for form in _forms(name)) for name in names)


def _forms(name: str) -> set[str]:
    """Return a column's name as it is, without its unit, without its last word."""
    plain = plain_name(name)
    forms = {plain, unit_in_name(name)[0], plain.rpartition("_")[0]}
    return {form.replace("_", "") for form in forms}


def _culvert_hits(names: Sequence[str]) -> set[str]:
    return {recognised(name) for name in names} & _CULVERT_COLUMNS


def _says(path: Path, *words: str) -> bool:
    return any(word in path.stem.lower() for word in words)


def _vector_kind(layer: Layer, names: Sequence[str], path: Path) -> str:
    kinds = shapely.get_type_id(layer.geometries)
    is_lines = bool(np.mean(np.isin(kinds, _LINES)) > 1 / 2)
    culvert = _culvert_hits(names)
    roads = _hits(names, "roads")
    if _hits(names, "rail") > roads or _hits(names, "water") >= max(roads, 1):
        is_other = not culvert & _SIZES - {"span_m"}
    else:
        is_other = False
    if is_other or _says(path, "rail"):
        return UNKNOWN
    if culvert & {"diameter_m"} or _says(path, "culvert"):
        return "culverts"
    if is_lines:
        return "roads" if roads or _says(path, "road", "street") else UNKNOWN
    if len(culvert - {"length_m"}) > 1:
        return "culverts"
    is_places = _hits(names, "places") or _says(path, "place", "house", "dwelling")
    return "places" if is_places else UNKNOWN


def _table_kind(layer: Layer, names: Sequence[str], path: Path) -> str:
    ours = {recognised(name) for name in names}
    culvert = _culvert_hits(names)
    counts = {kind: _hits(names, kind) for kind in ("weather", "thaw_log", "calls")}
    if culvert & _SIZES and (ours & _COORDINATES or len(culvert) > 1):
        return "culverts"
    if counts["weather"] >= _WEATHER_HITS or _is_station_file(path):
        return "weather"
    if ours & _COORDINATES:
        return "places" if _hits(names, "places") else UNKNOWN
    if _says(path, "thaw", "steam") or counts["thaw_log"] > max(counts["calls"], 1):
        return "thaw_log"
    if counts["calls"] > 1 or _says(path, "call"):
        return "calls"
    return "rainfall" if _is_rainfall(path) else UNKNOWN


def _is_rainfall(path: Path) -> bool:
    """Tell whether a text holds rain by duration and return period."""
    if path.suffix.lower() not in TEXT_ENDINGS:
        return False
    return bool(len(read_layout([row.cells for row in text_rows(path).rows], {}).cells))


def _is_station_file(path: Path) -> bool:
    """Tell whether a header of weather stands further down, under a preamble."""
    if path.suffix.lower() not in TEXT_ENDINGS:
        return False
    rows = text_rows(path).rows[:_PREAMBLE_ROWS]
    return any(_hits(row.cells, "weather") >= _WEATHER_HITS for row in rows)


def _raster_kind(path: Path) -> str:
    try:
        with rasterio.open(path) as raster:
            if raster.count != 1:
                return UNKNOWN
            values, kind = _sample(raster), raster.dtypes[0]
    except rasterio.errors.RasterioError:
        return UNKNOWN
    known = values[np.isfinite(values)]
    if _is_land_cover(path, known, kind):
        return "land_cover"
    if (
        not known.size
        or known.min() < _ELEVATIONS_M[0]
        or known.max() > _ELEVATIONS_M[1]
    ):
        return UNKNOWN
    if known.min() < 0 or known.max() > _TALLEST_TREE_M:
        return "dem"
    steps = np.abs(np.diff(values, axis=1))
    is_rough = np.nanmean(steps) > _ROUGH_RATIO * max(known.std(), np.finfo(float).eps)
    is_rough = bool(is_rough) or _says(path, "canopy", "veg", "chm")
    return "canopy" if is_rough and not _says(path, "dem") else "dem"


def _is_land_cover(path: Path, values: NDArray[np.float64], kind: str) -> bool:
    """Tell whether a raster holds codes of a land cover legend, and not just a few."""
    if not kind.startswith(("uint", "int")) or not legend_of(values):
        return False
    is_named = _says(path, "cover", "nlcd", "class")
    return len(np.unique(values)) >= _COVER_CLASSES or is_named


def _sample(raster: rasterio.DatasetReader) -> NDArray[np.float64]:
    """Return cells of the middle of a raster, NaN where it has no data."""
    width, height = (min(n, _SAMPLE_CELLS) for n in (raster.width, raster.height))
    corner = (raster.width - width) // 2, (raster.height - height) // 2
    cells = raster.read(1, window=Window(*corner, width, height), masked=True)
    return np.ma.filled(cells.astype(float), np.nan)


def find_files(paths: Sequence[Path]) -> tuple[dict[str, Path], pd.DataFrame]:
    """Sort data files into the kinds of the town file.

    Parameters
    ----------
    paths : sequence of Path
        Files, and folders whose files are looked at (one level).

    Returns
    -------
    files : dict of str to Path
        The file of each kind; of several the first.
    others : DataFrame
        Columns ``file``, ``kind``, ``why`` of the files that are not used.

    Raises
    ------
    InputError
        If no inventory was found and a table is broken, so that it may be the one.
    """
    listed = [
        file
        for path in paths
        for file in (sorted(path.iterdir()) if path.is_dir() else [path])
        if file.is_file() or not path.is_dir()
    ]
    used: dict[str, Path] = {}
    others: list[tuple[str, str, str]] = []
    broken: list[str] = []
    for file in listed:
        if is_side_file(file):
            continue
        kind = guess_kind(file)
        if kind == UNKNOWN:
            faults = _table_faults(file)
            broken += faults
            why = " ".join(faults) or "content not recognised"
            others.append((file.name, kind, why))
        elif kind in used:
            others.append((file.name, kind, f"{used[kind].name} is used"))
        else:
            used[kind] = file
    if "culverts" not in used:
        refuse(broken)
    return used, pd.DataFrame(others, columns=["file", "kind", "why"])


def _table_faults(path: Path) -> tuple[str, ...]:
    """Return why a table cannot be read; nothing if it can, or is no table."""
    if path.suffix.lower() not in (".csv", ".tsv", *SHEET_ENDINGS):
        return ()
    try:
        open_layer(path)
    except InputError as error:
        return error.problems
    return ()


def is_side_file(path: Path) -> bool:
    """Tell whether a file only belongs to another, as .dbf does to .shp."""
    side = (".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".xml", ".md")
    return path.suffix.lower() in (*side, ".toml", ".qmd", ".tfw")
