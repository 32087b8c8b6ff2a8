"""Elevation and canopy rasters, read onto one grid in the work CRS."""

from contextlib import ExitStack
from dataclasses import dataclass
from math import ceil, floor, isclose
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from rasterio.crs import CRS
from rasterio.enums import Resampling
from rasterio.transform import array_bounds
from rasterio.warp import reproject, transform_bounds
from rasterio.warp import transform as transform_places
from rasterio.windows import Window

from culvertrisk.checks import InputError, file_problem
from culvertrisk.inputs.raster_files import open_raster

MARGIN_M = 8_000.0  # read round the crossings: as far as horizons are followed
TOUCH_M = 1.0  # gives a single crossing a size
MAX_CELLS = 100_000_000  # a larger window is averaged: about 3 GB while flooding
HIGHEST_M, LOWEST_M = 9_000.0, -500.0  # beyond them no ground lies: no data
TALLEST_M = 120.0  # no tree is taller: no data
COARSE_STEP_M = 0.5  # coarser steps hide a culvert's fall
STEP_SAMPLE = 10_000  # elevations looked at for their vertical step
SQUARE_TOLERANCE = 1e-6  # cells whose sides differ by less are square
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class Terrain:
    """Ground and trees on one north-up grid of square cells in the work CRS.

    ``elevation_m`` has the shape (rows, columns), NaN where unknown;
    ``canopy_height_m`` has the same shape or is None; ``transform`` takes columns and
    rows to eastings and northings; ``vertical_step_m`` is the step in which the file
    stores elevations where that is half a metre or more, else 0; ``averaged_times``
    is the number of cells of the file, each way, that one cell is the mean of.
    """

    elevation_m: NDArray[np.float32]
    transform: Affine
    crs: str
    cell_m: float
    canopy_height_m: NDArray[np.float32] | None = None
    vertical_step_m: float = 0.0
    averaged_times: int = 1


def read_terrain(
    dem: Path,
    canopy: Path | None,
    work_crs: str,
    bounds: Bounds | None,
    *,
    max_cells: int = MAX_CELLS,
    margin_m: float = MARGIN_M,
) -> Terrain:
    """Read a DEM, and the trees on it, round the crossings.

    Parameters
    ----------
    dem : Path
        Elevation raster in metres, any CRS, any number type; or a folder of tiles.
    canopy : Path or None
        Height of the trees above the ground in metres, any CRS and grid.
    work_crs : str
        Projected CRS in metres.
    bounds : tuple of four floats or None
        West, south, east and north of the crossings [m]. None reads all.
    max_cells : int
        A larger DEM is averaged to no more cells.
    margin_m : float
        How far round the bounds is read [m]; as far as horizons are followed.

    Returns
    -------
    terrain : Terrain
        As stored if the DEM lies in the work CRS on square cells, else reprojected
        (bilinear), averaged where larger than asked.

    Raises
    ------
    InputError
        If a file is missing, is no raster, has no CRS, or covers no crossing.

    Notes
    -----
    Only the window asked is read, once. Catchments that begin outside it are cut, and
    marked so by the site stage.
    """
    problems: list[str] = []
    with ExitStack() as stack:
        ground = open_raster(dem, stack, problems)
        trees = open_raster(canopy, stack, problems) if canopy else None
        if not ground or problems:
            raise InputError(problems)
        window = _window_round(ground, work_crs, bounds, margin_m)
        if window is None:
            raise InputError([_apart(dem.name)])
        times = ceil((window.width * window.height / max_cells) ** (1 / 2))
        stored_m, stored = _read(ground, window, (LOWEST_M, HIGHEST_M), times)
        if np.isnan(stored_m).all():
            raise InputError([_apart(dem.name)])
        elevation_m, transform = _on_work_grid(stored_m, stored, ground.crs, work_crs)
        onto = elevation_m.shape, transform, work_crs
        canopy_m = _canopy(trees, *onto) if trees else None
        is_whole = np.issubdtype(np.dtype(ground.dtypes[0]), np.integer)
    step_m = 1.0 if is_whole else _vertical_step(stored_m)
    grid = transform, work_crs, transform.a
    return Terrain(elevation_m, *grid, canopy_m, step_m, times)


def cells(
    terrain: Terrain, x_m: ArrayLike, y_m: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rows and columns of places, whole numbers at cell centres.

    Parameters
    ----------
    terrain : Terrain
        The grid.
    x_m, y_m : array_like, shape (n,)
        Eastings and northings in the work CRS [m].

    Returns
    -------
    rows, cols : ndarray, shape (n,)
        May lie outside the grid; NaN where a place is.

    Examples
    --------
    >>> grid = Affine(10, 0, 500, 0, -10, 900)
    >>> cells(Terrain(np.zeros((2, 2), np.float32), grid, "EPSG:32633", 10), 505, 885)
    (array(1.), array(0.))
    """
    grid = terrain.transform
    cols = (np.asarray(x_m, np.float64) - grid.c) / grid.a - 1 / 2
    rows = (np.asarray(y_m, np.float64) - grid.f) / grid.e - 1 / 2
    return np.asarray(rows), np.asarray(cols)


def _apart(name: str) -> str:
    return file_problem(
        name,
        "cover the culverts",
        "none of them inside it",
        "Check the CRS of both files, or give the DEM of this place.",
    )


def _window_round(
    source: rasterio.DatasetReader,
    work_crs: str,
    bounds: Bounds | None,
    margin_m: float,
) -> Window | None:
    """Window to read; None if the bounds themselves lie outside the raster."""
    here = _around(source, work_crs, bounds, TOUCH_M)
    if _window(source, work_crs, here) is None:
        return None
    return _window(source, work_crs, _around(source, work_crs, bounds, margin_m))


def _around(
    source: rasterio.DatasetReader,
    work_crs: str,
    bounds: Bounds | None,
    margin_m: float,
) -> Bounds:
    if bounds is None:
        return _reproject_bounds(source.crs, work_crs, source.bounds)
    west, south, east, north = bounds
    return (west - margin_m, south - margin_m, east + margin_m, north + margin_m)


def _reproject_bounds(crs: object, to_crs: object, bounds: Bounds) -> Bounds:
    west, south, east, north = transform_bounds(crs, to_crs, *bounds)
    return west, south, east, north


def _window(
    source: rasterio.DatasetReader, work_crs: str, around: Bounds
) -> Window | None:
    grid = source.transform
    if not _is_straight(grid):
        return Window(0, 0, source.width, source.height)
    west, south, east, north = _reproject_bounds(work_crs, source.crs, around)
    left = max(floor((west - grid.c) / grid.a), 0)
    right = min(ceil((east - grid.c) / grid.a), source.width)
    top = max(floor((north - grid.f) / grid.e), 0)
    bottom = min(ceil((south - grid.f) / grid.e), source.height)
    if right <= left or bottom <= top:
        return None
    return Window(left, top, right - left, bottom - top)


def _is_straight(grid: Affine) -> bool:
    return bool(grid.b == 0 and grid.d == 0 and grid.a > 0 and grid.e < 0)


def _read(
    source: rasterio.DatasetReader,
    window: Window,
    limits: tuple[float, float],
    times: int,
) -> tuple[NDArray[np.float32], Affine]:
    shape = (-(-window.height // times), -(-window.width // times))
    resampling = Resampling.nearest if times == 1 else Resampling.average
    found = source.read(
        1, window=window, out_shape=shape, masked=True, resampling=resampling
    )
    values = np.ma.filled(found.astype(np.float32), np.nan)
    values[~((values > limits[0]) & (values < limits[1]))] = np.nan
    grid, left, top = source.transform, window.col_off, window.row_off
    west = grid.a * left + grid.b * top + grid.c
    north = grid.d * left + grid.e * top + grid.f
    wide, high = window.width / shape[1], window.height / shape[0]
    grid = Affine(
        grid.a * wide, grid.b * high, west, grid.d * wide, grid.e * high, north
    )
    return values, grid


def _on_work_grid(
    values: NDArray[np.float32], transform: Affine, crs: CRS, work_crs: str
) -> tuple[NDArray[np.float32], Affine]:
    is_square = isclose(transform.a, -transform.e, rel_tol=SQUARE_TOLERANCE)
    if _is_straight(transform) and is_square and crs == CRS.from_user_input(work_crs):
        return values, transform
    rows, cols = values.shape
    cell_m = _cell_in(work_crs, crs, transform, (rows / 2, cols / 2))
    west, south, east, north = _reproject_bounds(
        crs, work_crs, array_bounds(rows, cols, transform)
    )
    shape = (ceil((north - south) / cell_m), ceil((east - west) / cell_m))
    grid = Affine(cell_m, 0, west, 0, -cell_m, north)
    return _reprojected(values, transform, crs, shape, grid, work_crs), grid


def _cell_in(
    work_crs: str, crs: CRS, grid: Affine, middle: tuple[float, float]
) -> float:
    rows = np.array([0, 0, 1]) + middle[0]
    cols = np.array([0, 1, 0]) + middle[1]
    x, y = transform_places(
        crs,
        work_crs,
        (grid.a * cols + grid.b * rows + grid.c).tolist(),
        (grid.d * cols + grid.e * rows + grid.f).tolist(),
    )[:2]
    right, down = (x[1] - x[0], y[1] - y[0]), (x[2] - x[0], y[2] - y[0])
    return float(abs(right[0] * down[1] - right[1] * down[0]) ** (1 / 2))


def _reprojected(
    values: NDArray[np.float32],
    transform: Affine,
    crs: CRS,
    shape: tuple[int, int],
    grid: Affine,
    work_crs: str,
) -> NDArray[np.float32]:
    onto = np.full(shape, np.nan, np.float32)
    reproject(
        values, onto, src_transform=transform, src_crs=crs, src_nodata=np.nan,
        dst_transform=grid, dst_crs=work_crs, dst_nodata=np.nan,
        resampling=Resampling.bilinear,
    )  # fmt: skip
    return onto


def _canopy(
    trees: rasterio.DatasetReader,
    shape: tuple[int, ...],
    grid: Affine,
    work_crs: str,
) -> NDArray[np.float32]:
    rows, cols = shape
    window = _window(trees, work_crs, array_bounds(rows, cols, grid))
    if window is None:
        return np.zeros((rows, cols), np.float32)
    times = ceil((window.width * window.height / MAX_CELLS) ** (1 / 2))
    height_m, transform = _read(trees, window, (0, TALLEST_M), times)
    onto = _reprojected(height_m, transform, trees.crs, (rows, cols), grid, work_crs)
    return np.nan_to_num(onto)


def _vertical_step(stored_m: NDArray[np.float32]) -> float:
    known_m = stored_m[np.isfinite(stored_m)]
    sample_m = known_m[:: max(known_m.size // STEP_SAMPLE, 1)]
    steps_m = np.diff(np.unique(sample_m))
    step_m = float(steps_m.min()) if steps_m.size else 0.0
    return step_m if step_m >= COARSE_STEP_M else 0.0
