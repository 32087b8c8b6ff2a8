"""Where the two ends of each barrel lie, and which one the water comes from."""

from dataclasses import dataclass, replace

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.misplaced import OFF_ROAD_M
from culvertrisk.stages.roadside import Roadside
from culvertrisk.terrain.carve import Carved, carve
from culvertrisk.terrain.sampling import fall_bearing, sample

MAPPED_REACH_M = 10.0  # from a mapped end to ground off the embankment
POINT_REACH_M = 20.0  # the same where only a point is mapped, some 10 m off
AHEAD_M = 30.0  # ground ahead of a barrel that tells its upper side; our choice
AHEAD_CELLS = 3.0  # the same on coarse ground
LEAST_REACH_CELLS = 2.0  # one cell may still be the embankment's
CLEAR_FALL_M = 0.2  # ground that falls less does not outweigh the inventory's words
_AHEAD_COUNT = 4  # places looked at on each side
_SLOPE_REACH_CELLS = 3.0  # over which the fall of open ground is looked at
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ends:
    """The ends of each barrel and the cut between them; arrays of shape (n,).

    Places in the work CRS [m]. ``is_turned`` means that the mapped outlet is the end
    the water comes from, ``is_told`` that names, ground or flow tell which one it is;
    where not, the ground straight ahead has guessed. ``upstream_row`` and
    ``upstream_col`` are the cell of the lowest ground beyond the upstream end, -1 where
    not cut; ``upstream_ground_m`` its elevation, and so downstream; ``fall_m`` the fall
    of the ground between both such cells and ``fall_length_m`` their distance; NaN
    where not cut. ``carved_m`` is the cut DEM, shape (rows, columns), or None without a
    DEM.
    """

    upstream_x_m: Floats
    upstream_y_m: Floats
    downstream_x_m: Floats
    downstream_y_m: Floats
    is_mapped: NDArray[np.bool_]
    is_turned: NDArray[np.bool_]
    is_told: NDArray[np.bool_]
    is_carved: NDArray[np.bool_]
    upstream_row: NDArray[np.int64]
    upstream_col: NDArray[np.int64]
    upstream_ground_m: Floats
    downstream_row: NDArray[np.int64]
    downstream_col: NDArray[np.int64]
    downstream_ground_m: Floats
    fall_m: Floats
    fall_length_m: Floats
    carved_m: NDArray[np.float32] | None


def place_ends(
    crossings: GeoDataFrame, terrain: Terrain | None, road: Roadside
) -> Ends:
    """Find both ends of each barrel and cut it through the embankment.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    terrain : Terrain or None
        The DEM; without it nothing is cut, and mapped ends keep their names.
    road : Roadside
        The road at each crossing.

    Returns
    -------
    ends : Ends
        Mapped ends where both are known. Else half the barrel's length (or half the
        road's width) from the point, square to the road, at driveways along it; a
        point up to 25 m beside the road is first put on its middle. Without a road, up
        and down the fall of the ground, and nothing is cut.

    Notes
    -----
    Of a point, the upstream end is guessed to be the one with the higher ground
    straight ahead of it, 15 to 30 m from the road's middle: the lowest ground near an
    end may be a ditch that falls along the road. Water that runs through the cut tells
    better: :func:`~culvertrisk.stages.flow_side.turn_by_flow`. Mapped ends keep their
    names unless the lowest ground beyond them clearly falls the other way and the
    recorded beds, where known, fall that way too: a bed that rises to the outlet on
    ground that falls to it is a pipe laid with a back-fall, not a wrong name.
    """
    mapped = crossings[["inlet_x_m", "inlet_y_m", "outlet_x_m", "outlet_y_m"]]
    xy = mapped.to_numpy(np.float64)
    is_mapped = ~np.isnan(xy).any(axis=1) & (xy[:, :2] != xy[:, 2:]).any(axis=1)
    xy = np.where(is_mapped[:, None], xy, _ends_of_point(crossings, terrain, road))
    if terrain is None:
        return _without_ground(xy, is_mapped)
    is_cut = is_mapped | ~np.isnan(road.bearing_rad)
    return _with_ground(
        xy,
        is_mapped,
        _cut(xy, is_mapped, is_cut, terrain),
        terrain,
        keeps_names(crossings),
    )


def _with_ground(
    xy: Floats,
    is_mapped: NDArray[np.bool_],
    cut: Carved,
    terrain: Terrain,
    keeps_names: NDArray[np.bool_],
) -> Ends:
    named = _as_named(xy, is_mapped, cut, terrain)
    rise_m, ahead_m = -named.fall_m, _rise_ahead(xy, terrain)
    guess_m = np.where(is_mapped | np.isnan(ahead_m), rise_m, ahead_m)
    clear_m = np.where(is_mapped, CLEAR_FALL_M, 0)
    is_wrong = (guess_m > clear_m) & ~(is_mapped & keeps_names)
    # Lowest ground and ground ahead, both clear: together they tell.
    least_m = np.minimum(np.abs(rise_m), np.abs(ahead_m))
    agrees = (rise_m * ahead_m > 0) & (least_m > CLEAR_FALL_M)
    return turn_ends(named, is_wrong, is_mapped | agrees)


def _as_named(
    xy: Floats, is_mapped: NDArray[np.bool_], cut: Carved, terrain: Terrain
) -> Ends:
    first_m = _ground(terrain, cut.first_row, cut.first_col)
    second_m = _ground(terrain, cut.second_row, cut.second_col)
    away = np.hypot(cut.first_row - cut.second_row, cut.first_col - cut.second_col)
    return Ends(
        upstream_x_m=xy[:, 0],
        upstream_y_m=xy[:, 1],
        downstream_x_m=xy[:, 2],
        downstream_y_m=xy[:, 3],
        is_mapped=is_mapped,
        is_turned=np.zeros(len(xy), np.bool_),
        is_told=is_mapped,
        is_carved=cut.is_carved,
        upstream_row=cut.first_row,
        upstream_col=cut.first_col,
        upstream_ground_m=first_m,
        downstream_row=cut.second_row,
        downstream_col=cut.second_col,
        downstream_ground_m=second_m,
        fall_m=first_m - second_m,
        fall_length_m=np.where(cut.is_carved, away * terrain.cell_m, np.nan),
        carved_m=cut.elevation_m,
    )


def turn_ends(
    ends: Ends, is_wrong: NDArray[np.bool_], is_told: NDArray[np.bool_]
) -> Ends:
    """Let the water come from the other end where an end was wrong.

    Parameters
    ----------
    ends : Ends
        Of n barrels.
    is_wrong : ndarray of bool, shape (n,)
        Where both ends change places.
    is_told : ndarray of bool, shape (n,)
        Where it is known now which end the water comes from.

    Returns
    -------
    ends : Ends
        With the ground's fall from the new upstream end; NaN where only a point is
        mapped and the lowest ground rises: it tells no fall of that barrel.
    """
    changed = {
        f"{a}stream_{name}": np.where(
            is_wrong,
            getattr(ends, f"{b}stream_{name}"),
            getattr(ends, f"{a}stream_{name}"),
        )
        for name in ("x_m", "y_m", "row", "col", "ground_m")
        for a, b in (("up", "down"), ("down", "up"))
    }
    fall_m = changed["upstream_ground_m"] - changed["downstream_ground_m"]
    fall_m[~ends.is_mapped & (fall_m < 0)] = np.nan
    is_turned = ends.is_turned ^ is_wrong
    return replace(ends, is_turned=is_turned, is_told=is_told, fall_m=fall_m, **changed)


def _rise_ahead(xy: Floats, terrain: Terrain) -> Floats:
    """How much higher the ground lies ahead of the second end than of the first."""
    middle, way = (xy[:, :2] + xy[:, 2:]) / 2, xy[:, 2:] - xy[:, :2]
    way = way / np.maximum(np.hypot(*way.T), 1)[:, None]
    reach_m = max(AHEAD_M, AHEAD_CELLS * terrain.cell_m)
    steps_m = np.linspace(reach_m / 2, reach_m, _AHEAD_COUNT)
    sides_m = []
    for sign in (1, -1):
        places = middle[:, None] + sign * steps_m[:, None] * way[:, None]
        rows, cols = cells(terrain, places[..., 0].ravel(), places[..., 1].ravel())
        found_m = sample(terrain.elevation_m, rows, cols)
        sides_m.append(found_m.reshape(len(xy), _AHEAD_COUNT).mean(axis=1))
    return np.asarray(sides_m[0] - sides_m[1], np.float64)


def _ends_of_point(
    crossings: GeoDataFrame, terrain: Terrain | None, road: Roadside
) -> Floats:
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    is_along = crossings["crossing_kind"].to_numpy() == "driveway"
    # A point beside the road, such as at one end of the pipe, is not its middle.
    off_m = np.hypot(road.foot_x_m - x_m, road.foot_y_m - y_m)
    is_beside = ~is_along & (off_m > road.half_width_m) & (off_m <= OFF_ROAD_M)
    x_m = np.where(is_beside, road.foot_x_m, x_m)
    y_m = np.where(is_beside, road.foot_y_m, y_m)
    bearing_rad = road.bearing_rad + np.where(is_along, 0, np.pi / 2)
    if terrain is not None:
        rows, cols = cells(terrain, x_m, y_m)
        fall_rad = fall_bearing(terrain.elevation_m, rows, cols, _SLOPE_REACH_CELLS)
        bearing_rad = np.where(np.isnan(bearing_rad), fall_rad, bearing_rad)
    length_m = crossings["length_m"].to_numpy(np.float64)
    half_m = np.where(np.isnan(length_m), road.half_width_m, length_m / 2)
    east_m, north_m = half_m * np.sin(bearing_rad), half_m * np.cos(bearing_rad)
    return np.column_stack([x_m - east_m, y_m - north_m, x_m + east_m, y_m + north_m])


def keeps_names(crossings: GeoDataFrame) -> NDArray[np.bool_]:
    """Whether the recorded beds fall from the mapped inlet to the outlet."""
    inlet_m = crossings["inlet_invert_m"].to_numpy(np.float64)
    outlet_m = crossings["outlet_invert_m"].to_numpy(np.float64)
    return np.asarray(inlet_m >= outlet_m)


def _cut(
    xy: Floats,
    is_mapped: NDArray[np.bool_],
    is_cut: NDArray[np.bool_],
    terrain: Terrain,
) -> Carved:
    rows, cols = cells(terrain, xy[:, [0, 2]], xy[:, [1, 3]])
    ends = np.column_stack([rows[:, 0], cols[:, 0], rows[:, 1], cols[:, 1]])
    ends[~is_cut] = np.nan
    reach_m = np.where(is_mapped, MAPPED_REACH_M, POINT_REACH_M)
    reach_cells = np.maximum(reach_m / terrain.cell_m, LEAST_REACH_CELLS)
    return carve(terrain.elevation_m, ends, reach_cells)


def _ground(terrain: Terrain, rows: NDArray, cols: NDArray) -> Floats:
    ground_m = terrain.elevation_m[rows, cols].astype(np.float64)
    return np.where(rows < 0, np.nan, ground_m)


def _without_ground(xy: Floats, is_mapped: NDArray[np.bool_]) -> Ends:
    never = np.zeros(len(xy), np.bool_)
    unknown = np.full(len(xy), np.nan)
    nowhere = np.full(len(xy), -1, np.int64)
    # Which side of the road the water comes from is not known without ground.
    xy = np.where(is_mapped[:, None], xy, np.nan)
    return Ends(
        xy[:, 0], xy[:, 1], xy[:, 2], xy[:, 3], is_mapped, never, is_mapped, never,
        nowhere, nowhere, unknown, nowhere, nowhere, unknown, unknown, unknown, None,
    )  # fmt: skip
