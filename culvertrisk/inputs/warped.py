"""Any raster brought onto the grid of the terrain."""

from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.warp import Resampling, reproject

from culvertrisk.checks import InputError
from culvertrisk.inputs.raster_files import open_raster
from culvertrisk.inputs.rasters import Terrain

Number = TypeVar("Number", np.float32, np.int32)


def warped(
    path: Path, terrain: Terrain, unknown: Number, resampling: Resampling
) -> NDArray[Number]:
    """Read a raster onto the terrain's grid; only its window is read.

    Parameters
    ----------
    path : Path
        A raster in any CRS and grid, or a folder of tiles.
    terrain : Terrain
        The grid wanted.
    unknown : float32 or int32
        Value where the raster tells nothing; its kind is that of the result.
    resampling : Resampling
        How the cells of the raster become those of the grid.

    Returns
    -------
    values : ndarray, same shape as the elevation
        Of the first band.

    Raises
    ------
    InputError
        If the file is missing or is no raster.
    """
    problems: list[str] = []
    values = np.full(terrain.elevation_m.shape, unknown)
    with ExitStack() as stack:
        source = open_raster(path, stack, problems)
        if source is None or problems:
            raise InputError(problems)
        reproject(
            rasterio.band(source, 1), values, src_nodata=source.nodata,
            dst_transform=terrain.transform, dst_crs=terrain.crs,
            dst_nodata=unknown, init_dest_nodata=True, resampling=resampling,
        )  # fmt: skip
    return values
