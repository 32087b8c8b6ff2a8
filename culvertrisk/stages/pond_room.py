"""Room for water behind each road: the pond of the elevation raster or a wedge."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.runoff import pond_storage
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.ponding import PondGround, stage_storage

Floats = NDArray[np.float64]


def pond_room(
    crossings: GeoDataFrame, headwater_limit_m: Floats
) -> tuple[Floats, NDArray[np.object_]]:
    """Water that a blocked crossing holds back before it goes over the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site; those of ponding are used if there.
    headwater_limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].

    Returns
    -------
    pond_m3 : ndarray, shape (n,)
        Room below the road; NaN where nothing is known [m3].
    source : ndarray of str, shape (n,)
        ``dem`` for the pond flooded on the elevation raster, ``assumed`` for a wedge
        over the slope of the flow path, ``unknown``.

    Notes
    -----
    A pond shallower than the barrel is high says that the raster does not show the
    fill over it: the wedge stands. Water that spills elsewhere first has left the pond
    but not yet gone over this road: the larger of both counts.
    """
    defaults = flood_defaults()
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    valley = np.fmax(slope, defaults["least_valley_slope"])
    wedge_m3 = pond_storage(headwater_limit_m, defaults["pond_width"], valley)
    found_m3 = known_column(crossings, "pond_volume_m3")
    rise_m = crossings["rise_m"].fillna(defaults["unknown_rise"]).to_numpy(float)
    is_spilling = known_column(crossings, "pond_spills_first") == 1
    is_deep = known_column(crossings, "pond_depth_m") >= rise_m
    is_larger = is_spilling & (found_m3 > wedge_m3)
    is_found = ~np.isnan(found_m3) & ((is_deep & ~is_spilling) | is_larger)
    pond_m3 = np.where(is_found, found_m3, wedge_m3)
    words = np.where(np.isnan(pond_m3), "unknown", "assumed")
    return pond_m3, np.where(is_found, "dem", words).astype(object)


def storage_at(
    crossings: GeoDataFrame, level_m: Floats, pond: PondGround | None
) -> tuple[Floats, NDArray[np.bool_]]:
    """Water in each pond up to some levels.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood.
    level_m : ndarray, shape (n, m)
        Levels over the inlet bed, 0 or more and at most the headwater limit [m].
    pond : PondGround or None
        Of the same rows.

    Returns
    -------
    storage_m3 : ndarray, shape (n, m)
        0 at 0; NaN where the room is unknown [m3].
    is_dem : ndarray of bool, shape (n,)
        True where it follows the stages of the elevation raster; the others follow
        the wedge, the square of the level, up to the room.

    Notes
    -----
    The stages are hung from the road, where pond and barrel share one elevation;
    those of a pond that spills elsewhere stand on the bed, and above the spill
    nothing more is stored. Water below the inlet's bed is there already.
    """
    limit_m = crossings["headwater_limit_m"].to_numpy(float)[:, None]
    room_m3 = crossings["pond_room_m3"].to_numpy(float)[:, None]
    wedge_m3 = room_m3 * np.square(level_m / limit_m)
    is_dem = (crossings["pond_source"] == "dem").to_numpy(bool)
    if pond is None:
        return wedge_m3, np.zeros(len(crossings), dtype=bool)
    stage_m, _, volume_m3 = stage_storage(pond)
    depth_m = stage_m[:, -1:] - stage_m[:, :1]
    is_spilling = (known_column(crossings, "pond_spills_first") == 1)[:, None]
    lift_m = np.where(is_spilling, 0, depth_m - limit_m)
    stored_m3 = _between_stages(level_m + lift_m, depth_m, volume_m3)
    dead_m3 = _between_stages(lift_m, depth_m, volume_m3)
    return np.where(is_dem[:, None], stored_m3 - dead_m3, wedge_m3), is_dem


def _between_stages(height_m: Floats, depth_m: Floats, volume_m3: Floats) -> Floats:
    """Volume at heights over the lowest stage, straight between even stages."""
    last = volume_m3.shape[1] - 1
    place = np.clip(height_m / np.where(depth_m > 0, depth_m, np.nan), 0, 1) * last
    known = np.nan_to_num(place)
    below = np.minimum(known.astype(int), last - 1)
    low_m3 = np.take_along_axis(volume_m3, below, axis=1)
    high_m3 = np.take_along_axis(volume_m3, below + 1, axis=1)
    return low_m3 + (place - below) * (high_m3 - low_m3)
