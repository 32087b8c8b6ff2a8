"""Small catchments of a very large DEM, worked out again on its own fine cells."""

from collections.abc import Callable, Iterator

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Bounds, Terrain
from culvertrisk.stages.site import FINE_CELL_M, add_site, site_flow
from culvertrisk.tables import columns

WINDOW_CELLS = 36_000_000  # of one window: 1 GB while flooding, beside the whole DEM
MARGIN_M = 500.0  # read beyond what the averaged DEM tells of a catchment; our choice
# Averaged 2 to 5 times, 97 to 99 % of catchments above 50,000 fine cells stayed
# within a tenth of their area, on made ground; in averaged cells that is at most:
ENOUGH_CELLS = 12_500
WORTH_FRACTION = 0.9  # two windows that read less than this of one are two; our choice
OF_CATCHMENT = (
    "catchment_m2", "flow_path_m", "flow_path_slope_m_per_m",
    "catchment_slope_m_per_m", "fill_depth_m", "filled_area_fraction",
    "snap_distance_m", "is_catchment_cut", "stream_note",
)  # fmt: skip
Boxes = NDArray[np.float64]  # west, south, east, north of each, shape (n, 4) [m]
Indexes = NDArray[np.int64]


def refine_by_window(
    crossings: GeoDataFrame,
    terrain: Terrain,
    roads: GeoDataFrame | None,
    read_window: Callable[[Bounds], Terrain],
    *,
    window_cells: float = WINDOW_CELLS,
    margin_m: float = MARGIN_M,
) -> GeoDataFrame:
    """Replace what an averaged DEM told by what its fine cells tell, window by window.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns that the site stage made on the averaged DEM.
    terrain : Terrain
        The averaged DEM.
    roads : GeoDataFrame or None
        Road lines in its CRS.
    read_window : callable
        Gives the ground within bounds (west, south, east, north [m]) on fine cells.
    window_cells : float
        Largest window in fine cells; bounds memory.
    margin_m : float
        How far beyond a catchment is read [m].

    Returns
    -------
    crossings : GeoDataFrame
        Same rows, same order, same columns. What belongs to the catchment is replaced
        where the catchment lies whole inside the window, else the averaged DEM's
        stays; all else is replaced. Crossings whose catchment is large in averaged
        cells are left as they are, unless averaged cells are too wide to show a road.

    Notes
    -----
    Round each crossing, ground is wanted as far as the longest flow path on the
    averaged DEM, and a margin farther: no part of a catchment lies beyond. Windows
    hold the ground wanted by many crossings, as large as memory allows, and are
    divided where that saves reading. So the cells read are at most those of the
    rectangle round all ground wanted and, for each line along which it had to be
    divided for memory, a strip as long as the line and as wide as the ground wanted
    by one crossing. Memory holds one window at a time. A catchment inside a window is
    that of the whole fine DEM, but for hollows that spill outside the window.
    """
    made = columns().query("made_by == 'site'").index
    refined = crossings.copy()
    inventory = crossings.drop(columns=[*made])
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    largest_m2 = window_cells * (terrain.cell_m / terrain.averaged_times) ** 2
    wanted = _ground_wanted(crossings, terrain, margin_m)
    fits = np.flatnonzero((wanted[:, 2] - wanted[:, 0]) ** 2 <= largest_m2)
    for rows in _windows(wanted, fits, largest_m2):
        bounds = _round(wanted[rows])
        west, south, east, north = bounds
        is_in = (x_m >= west) & (x_m < east) & (y_m >= south) & (y_m < north)
        found = _on_window(inventory[is_in], roads, read_window(bounds), bounds)
        found = found.iloc[np.searchsorted(np.flatnonzero(is_in), rows)]
        is_whole = (found["is_catchment_cut"] == 0).to_numpy()
        for name in made:
            kept = is_whole if name in OF_CATCHMENT else np.ones(len(rows), np.bool_)
            place = refined.columns.get_loc(name)
            refined.iloc[rows[kept], place] = found[name].to_numpy()[kept]
    return refined


def _ground_wanted(crossings: GeoDataFrame, terrain: Terrain, margin_m: float) -> Boxes:
    """Ground wanted on fine cells round each crossing, NaN where none is."""
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    cell_count = crossings["catchment_m2"].to_numpy(np.float64) / terrain.cell_m**2
    is_small = ~(cell_count >= ENOUGH_CELLS)
    path_m = crossings["flow_path_m"].fillna(0).to_numpy(np.float64)
    # Of a large catchment only what lies at the road is asked again.
    reach_m = margin_m + np.where(is_small, path_m, 0)
    is_wanted = is_small | (terrain.cell_m > FINE_CELL_M)
    is_off = crossings["dem_elevation_m"].isna().to_numpy()
    reach_m[~is_wanted | is_off] = np.nan
    return np.column_stack([x_m - reach_m, y_m - reach_m, x_m + reach_m, y_m + reach_m])


def _windows(wanted: Boxes, rows: Indexes, largest_m2: float) -> Iterator[Indexes]:
    """Crossings that share a window, in their order, window after window."""
    if not rows.size:
        return
    whole_m2 = _area_m2(_round(wanted[rows]))
    parts_m2, parts = _thriftiest(wanted, rows)
    if parts_m2 > WORTH_FRACTION * whole_m2:
        if whole_m2 <= largest_m2:
            yield np.sort(rows)
            return
        parts = _halves(wanted, rows)
    for part in parts:
        yield from _windows(wanted, part, largest_m2)


def _thriftiest(wanted: Boxes, rows: Indexes) -> tuple[float, list[Indexes]]:
    """Area of the two windows, side by side, that read the least, and their rows."""
    least_m2, parts = np.inf, [rows]
    for axis in (0, 1):
        order = rows[np.argsort(_middle_m(wanted[rows])[:, axis], kind="stable")]
        first = _growing(wanted[order])
        second = _growing(wanted[order[::-1]])[::-1]
        both_m2 = _areas_m2(first[:-1]) + _areas_m2(second[1:])
        if both_m2.size and both_m2.min() < least_m2:
            cut = int(both_m2.argmin()) + 1
            least_m2, parts = float(both_m2.min()), [order[:cut], order[cut:]]
    return least_m2, parts


def _halves(wanted: Boxes, rows: Indexes) -> list[Indexes]:
    """Crossings on either side of a line across their longer extent."""
    middle_m = _middle_m(wanted[rows])
    low_m, high_m = middle_m.min(axis=0), middle_m.max(axis=0)
    axis = int((high_m - low_m).argmax())
    is_first = middle_m[:, axis] < (low_m[axis] + high_m[axis]) / 2
    return [rows[is_first], rows[~is_first]]


def _middle_m(boxes: Boxes) -> NDArray[np.float64]:
    return np.asarray((boxes[:, :2] + boxes[:, 2:]) / 2)


def _growing(boxes: Boxes) -> Boxes:
    """Rectangle round the first one, the first two, and so on."""
    low = np.minimum.accumulate(boxes[:, :2])
    return np.hstack([low, np.maximum.accumulate(boxes[:, 2:])])


def _areas_m2(boxes: Boxes) -> NDArray[np.float64]:
    sides_m = boxes[:, 2:] - boxes[:, :2]
    return np.asarray(sides_m[:, 0] * sides_m[:, 1])


def _round(boxes: Boxes) -> Bounds:
    west, south = boxes[:, :2].min(axis=0).tolist()
    east, north = boxes[:, 2:].max(axis=0).tolist()
    return west, south, east, north


def _area_m2(bounds: Bounds) -> float:
    west, south, east, north = bounds
    return (east - west) * (north - south)


def _on_window(
    crossings: GeoDataFrame,
    roads: GeoDataFrame | None,
    terrain: Terrain,
    bounds: Bounds,
) -> GeoDataFrame:
    if roads is not None:
        roads = roads.iloc[np.sort(roads.sindex.intersection(bounds))]
    return add_site(crossings, terrain, site_flow(crossings, terrain, roads))
