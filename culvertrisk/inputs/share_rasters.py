"""Rasters of shares, such as canopy cover, on the grid of the terrain."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rasterio.warp import Resampling

from culvertrisk.checks import InputError, value_problem
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.inputs.warped import warped

PERCENT = 100.0


def read_share(path: Path, terrain: Terrain) -> NDArray[np.float32]:
    """Read a raster of shares onto the terrain's grid.

    Parameters
    ----------
    path : Path
        A raster of shares from 0 to 1, or of percent where a value is above 1; any
        CRS and grid.
    terrain : Terrain
        The grid wanted.

    Returns
    -------
    share : ndarray, same shape as the elevation
        From 0 to 1; NaN where the raster tells nothing.

    Raises
    ------
    InputError
        If the file is missing, is no raster, or holds other numbers.
    """
    share = warped(path, terrain, np.float32(np.nan), Resampling.bilinear)
    known = share[np.isfinite(share)]
    most = float(known.max()) if known.size else 0.0
    if known.size and (known.min() < 0 or most > PERCENT):
        rule = "lie from 0 to 1, or from 0 to 100 percent"
        found = [float(known.min()), most]
        remedy = "Export the share as a fraction; set nodata where it is unknown."
        raise InputError([value_problem(path.name, "values", rule, found, remedy)])
    return share / np.float32(PERCENT) if most > 1 else share
