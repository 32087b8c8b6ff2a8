"""Small catchments of a very large DEM, worked out again on its own fine cells."""

from collections.abc import Callable, Iterator

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Bounds, Terrain
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.tables import columns

BLOCK_M = 4_000.0  # side of a block of crossings; bounds a window's memory
BLOCK_MARGIN_M = 1_500.0  # catchments of up to some 4 km2 fit; our choice
OF_CATCHMENT = (
    "catchment_m2", "flow_path_m", "flow_path_slope_m_per_m",
    "catchment_slope_m_per_m", "fill_depth_m", "filled_area_fraction",
    "snap_distance_m", "is_catchment_cut", "stream_note",
)  # fmt: skip


def refine_by_window(
    crossings: GeoDataFrame,
    roads: GeoDataFrame | None,
    read_window: Callable[[Bounds], Terrain],
    *,
    block_m: float = BLOCK_M,
    margin_m: float = BLOCK_MARGIN_M,
) -> GeoDataFrame:
    """Replace what an averaged DEM told by what its fine cells tell, window by window.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns that the site stage made on the averaged DEM.
    roads : GeoDataFrame or None
        Road lines in its CRS.
    read_window : callable
        Gives the ground within bounds (west, south, east, north [m]) on fine cells.
    block_m, margin_m : float
        Side of a block of crossings, and how far round it is read [m].

    Returns
    -------
    crossings : GeoDataFrame
        Same rows, same order, same columns. What belongs to the catchment is replaced
        where the catchment lies whole inside the window, else the averaged DEM's
        stays; all else is replaced.

    Notes
    -----
    Memory holds one window at a time. A catchment inside a window is that of the whole
    fine DEM, but for hollows that spill outside the window.
    """
    made = columns().query("made_by == 'site'").index
    refined = crossings.copy()
    inventory = crossings.drop(columns=[*made])
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    x_m = np.where(crossings["dem_elevation_m"].isna(), np.nan, x_m)  # off the DEM
    for bounds, is_core in _blocks(x_m, y_m, block_m):
        west, south, east, north = bounds
        wide = west - margin_m, south - margin_m, east + margin_m, north + margin_m
        is_in = (x_m >= wide[0]) & (x_m < wide[2]) & (y_m >= wide[1]) & (y_m < wide[3])
        found = _on_window(inventory[is_in], roads, read_window(wide), wide)
        found = found[is_core[is_in]]
        is_whole = (found["is_catchment_cut"] == 0).to_numpy()
        rows = np.flatnonzero(is_core)
        for name in made:
            kept = is_whole if name in OF_CATCHMENT else np.ones(len(rows), np.bool_)
            place = refined.columns.get_loc(name)
            refined.iloc[rows[kept], place] = found[name].to_numpy()[kept]
    return refined


def _blocks(
    x_m: NDArray[np.float64], y_m: NDArray[np.float64], block_m: float
) -> Iterator[tuple[Bounds, NDArray[np.bool_]]]:
    """Bounds of the squares that hold crossings, and which crossings they hold."""
    square = np.floor(np.column_stack([x_m, y_m]) / block_m)
    for corner in np.unique(square[~np.isnan(square).any(axis=1)], axis=0):
        west, south = corner * block_m
        bounds = (
            float(west),
            float(south),
            float(west + block_m),
            float(south + block_m),
        )
        yield bounds, np.asarray((square == corner).all(axis=1))


def _on_window(
    crossings: GeoDataFrame,
    roads: GeoDataFrame | None,
    terrain: Terrain,
    bounds: Bounds,
) -> GeoDataFrame:
    if roads is not None:
        roads = roads.iloc[np.sort(roads.sindex.intersection(bounds))]
    return add_site(crossings, terrain, site_flow(crossings, terrain, roads))
