"""A pale hillshade of the terrain, in Web Mercator, to lie under the map."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from rasterio.enums import Resampling
from rasterio.io import MemoryFile
from rasterio.warp import reproject, transform, transform_bounds

from culvertrisk.reports.offline import Picture

if TYPE_CHECKING:
    from culvertrisk.inputs.rasters import Terrain

_MERCATOR = "EPSG:3857"
_DEGREES = "EPSG:4326"
_SIDE_PIXELS = 1_600
_LIGHT_BEARING_DEG = 315.0  # common practice in cartography, no source
_LIGHT_HEIGHT_DEG = 45.0
_HEIGHT_FACTOR = 2.0  # for show only: low hills would not be seen
# Darkest and lightest grey: paler than symbols and text need for contrast.
_DARK_GREY, _WHITE = 200.0, 255.0
_SHOWN_PERCENTILES = (2.0, 98.0)
_LEAST_SPREAD = 0.1  # of the light: flat ground stays plain instead of showing noise
_QUALITY = 70


def light(
    elevation_m: ArrayLike, cell_m: float, height_factor: float = 1.0
) -> NDArray[np.float64]:
    """Return how much of a low north-west light each cell gets.

    Parameters
    ----------
    elevation_m : array_like, shape (rows, columns)
        Elevation, rows from north to south; NaN is unknown [m].
    cell_m : float
        Width of a cell on the ground [m].
    height_factor : float
        What heights are multiplied by, for show.

    Returns
    -------
    light : ndarray, shape (rows, columns)
        Cosine between the slope's normal and the light, 0 or more; NaN where
        unknown.

    Examples
    --------
    >>> light(np.zeros((2, 2)), 10.0).round(3)
    array([[0.707, 0.707],
           [0.707, 0.707]])
    """
    heights_m = np.asarray(elevation_m, dtype=float) * height_factor
    south, east = np.gradient(heights_m, cell_m)
    bearing, height = np.radians([_LIGHT_BEARING_DEG, _LIGHT_HEIGHT_DEG])
    toward_east = np.cos(height) * np.sin(bearing)
    toward_north = np.cos(height) * np.cos(bearing)
    lit = np.sin(height) - east * toward_east + south * toward_north
    return np.maximum(lit / np.sqrt(1 + east**2 + south**2), 0.0)


def hillshade(terrain: Terrain) -> Picture:
    """Return the terrain as a pale picture whose rows fit a Web Mercator map."""
    heights_m, grid, cell_m = _on_map_grid(terrain)
    grey = _pale(light(heights_m, cell_m, _HEIGHT_FACTOR))
    west, south, east, north = _corners(grid, heights_m.shape)
    lons, lats = transform(_MERCATOR, _DEGREES, [west, east], [south, north])
    return Picture(
        image=_jpeg(grey, grid),
        kind="jpeg",
        south_west=(lats[0], lons[0]),
        north_east=(lats[1], lons[1]),
    )


def _pale(lit: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Greys between the darkest allowed and white; unknown ground is white."""
    if np.isnan(lit).all():
        return np.full(lit.shape, _WHITE, dtype=np.uint8)
    low, high = np.nanpercentile(lit, _SHOWN_PERCENTILES)
    spread = max(high - low, _LEAST_SPREAD)
    part = (lit - (low + high) / 2) / spread + 1 / 2
    grey = _DARK_GREY + (_WHITE - _DARK_GREY) * part.clip(0, 1)
    return np.where(np.isnan(lit), _WHITE, grey).astype(np.uint8)


def _on_map_grid(terrain: Terrain) -> tuple[NDArray[np.float64], Affine, float]:
    corners = _corners(terrain.transform, terrain.elevation_m.shape)
    west, south, east, north = transform_bounds(terrain.crs, _MERCATOR, *corners)
    _, lats = transform(_MERCATOR, _DEGREES, [west], [(south + north) / 2])
    squeeze = float(np.cos(np.radians(lats[0])))  # ground metres in a map metre
    longest = max(east - west, north - south)
    cell = max(terrain.cell_m / squeeze, longest / _SIDE_PIXELS)
    grid = Affine(cell, 0.0, west, 0.0, -cell, north)
    shape = int(np.ceil((north - south) / cell)), int(np.ceil((east - west) / cell))
    heights_m = np.full(shape, np.nan)
    reproject(
        np.asarray(terrain.elevation_m, dtype=float),
        heights_m,
        src_transform=terrain.transform,
        src_crs=terrain.crs,
        src_nodata=np.nan,
        dst_transform=grid,
        dst_crs=_MERCATOR,
        dst_nodata=np.nan,
        resampling=Resampling.average
        if cell * squeeze > terrain.cell_m
        else Resampling.bilinear,
    )
    return heights_m, grid, cell * squeeze


def _corners(grid: Affine, shape: tuple[int, ...]) -> tuple[float, float, float, float]:
    """West, south, east and north of a grid whose rows run north to south."""
    east, south = grid.c + grid.a * shape[1], grid.f + grid.e * shape[0]
    return grid.c, south, east, grid.f


def _jpeg(grey: NDArray[np.uint8], grid: Affine) -> bytes:
    rows, columns = grey.shape
    with MemoryFile() as memory:
        with memory.open(
            driver="JPEG",
            width=columns,
            height=rows,
            count=1,
            dtype="uint8",
            transform=grid,
            QUALITY=_QUALITY,
        ) as picture:
            picture.write(grey, 1)
        return bytes(memory.read())
