"""Raster files opened for reading: one file, or a folder of tiles as one."""

from contextlib import ExitStack
from math import isclose
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import rasterio
from affine import Affine
from rasterio.errors import RasterioError
from rasterio.io import DatasetReader, MemoryFile

from culvertrisk.checks import file_problem

RASTER_SUFFIXES = (".tif", ".tiff", ".img", ".asc", ".vrt", ".dem", ".bil", ".flt")
NOTHING = -2147483648  # no data of a folder of tiles: no ground lies so deep
CELL_TOLERANCE = 1e-6  # cells whose sides differ by less are the same


def open_raster(
    path: Path, stack: ExitStack, problems: list[str]
) -> DatasetReader | None:
    """Open a raster, or all rasters of a folder as one.

    Parameters
    ----------
    path : Path
        A raster file of any kind, a virtual one (VRT) included, or a folder of tiles
        with one CRS and one size of cell.
    stack : ExitStack
        Closes what was opened.
    problems : list of str
        Gets a message for each thing that is wrong.

    Returns
    -------
    source : DatasetReader or None
        Nothing is read yet; None if something is wrong.
    """
    if path.is_dir():
        return _open_tiles(path, stack, problems)
    return _open_file(path, path.name, stack, problems)


def _open_file(
    path: Path, name: str, stack: ExitStack, problems: list[str]
) -> DatasetReader | None:
    if not path.is_file():
        problems.append(
            file_problem(name, "exist", "no such file", "Correct its path.")
        )
        return None
    try:
        source = stack.enter_context(rasterio.open(path))
    except RasterioError:
        remedy = "Export it again, for instance as GeoTIFF."
        problems.append(file_problem(name, "be a raster", "another kind", remedy))
        return None
    if source.crs is None:
        remedy = "Export it with its CRS, or assign the CRS in a GIS."
        problems.append(file_problem(name, "declare its CRS", "none", remedy))
        return None
    return source


def _open_tiles(
    folder: Path, stack: ExitStack, problems: list[str]
) -> DatasetReader | None:
    paths = sorted(
        path for path in folder.iterdir() if path.suffix.lower() in RASTER_SUFFIXES
    )
    if not paths:
        remedy = "Put the tiles into it, or name one file."
        problems.append(file_problem(folder.name, "hold rasters", "none", remedy))
        return None
    opened = [
        _open_file(path, f"{folder.name}/{path.name}", stack, problems)
        for path in paths
    ]
    tiles = [tile for tile in opened if tile is not None]
    if len(tiles) < len(opened):
        return None
    odd = [tile for tile in tiles if not _fit(tile, tiles[0])]
    if odd:
        problems.append(_unlike(folder, odd, tiles))
        return None
    memory = stack.enter_context(MemoryFile(_virtual(tiles).encode(), ext=".vrt"))
    return stack.enter_context(memory.open())


def _fit(tile: DatasetReader, first: DatasetReader) -> bool:
    grid, other = tile.transform, first.transform
    sides = ((grid.a, other.a), (grid.e, other.e))
    is_same = all(isclose(*pair, rel_tol=CELL_TOLERANCE) for pair in sides)
    is_straight = grid.b == grid.d == 0 and grid.a > 0 and grid.e < 0
    return bool(is_same and is_straight and tile.crs == first.crs)


def _unlike(folder: Path, odd: list[DatasetReader], tiles: list[DatasetReader]) -> str:
    names = ", ".join(Path(tile.name).name for tile in odd[:5])
    return file_problem(
        folder.name,
        "hold tiles of one CRS and one size of cell, north up",
        f"{len(odd)} of {len(tiles)} unlike {Path(tiles[0].name).name}: {names}",
        "Reproject them alike, or merge them into one file.",
    )


def _virtual(tiles: list[DatasetReader]) -> str:
    """A virtual raster (VRT, XML) that holds all tiles; where two overlap, the last."""
    grid = tiles[0].transform
    west = min(tile.bounds.left for tile in tiles)
    north = max(tile.bounds.top for tile in tiles)
    east = max(tile.bounds.right for tile in tiles)
    south = min(tile.bounds.bottom for tile in tiles)
    cols, rows = round((east - west) / grid.a), round((south - north) / grid.e)
    whole = Affine(grid.a, 0, west, 0, grid.e, north)
    is_whole = all(
        np.issubdtype(np.dtype(tile.dtypes[0]), np.integer) for tile in tiles
    )
    return (
        f'<VRTDataset rasterXSize="{cols}" rasterYSize="{rows}">'
        f"<SRS>{escape(tiles[0].crs.to_wkt())}</SRS>"
        f"<GeoTransform>{','.join(map(repr, map(float, whole.to_gdal())))}"
        "</GeoTransform>"
        f'<VRTRasterBand dataType="{"Int32" if is_whole else "Float32"}" band="1">'
        f"<NoDataValue>{NOTHING}</NoDataValue>"
        + "".join(_source(tile, whole) for tile in tiles)
        + "</VRTRasterBand></VRTDataset>"
    )


def _source(tile: DatasetReader, whole: Affine) -> str:
    left = (tile.bounds.left - whole.c) / whole.a
    top = (tile.bounds.top - whole.f) / whole.e
    size = f'xSize="{tile.width}" ySize="{tile.height}"'
    unknown = "" if tile.nodata is None else f"<NODATA>{tile.nodata!r}</NODATA>"
    name = escape(str(Path(tile.name).resolve()))
    return (
        f'<ComplexSource><SourceFilename relativeToVRT="0">{name}</SourceFilename>'
        f'<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" {size}/>'
        f'<DstRect xOff="{round(left)}" yOff="{round(top)}" {size}/>{unknown}'
        "</ComplexSource>"
    )
