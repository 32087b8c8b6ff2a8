"""Room for water behind each road, and where it leaves over lower ground first."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.frequency import lognormal_quantile
from culvertrisk.formulas.road_flow import roadway_overtopping_flow
from culvertrisk.formulas.runoff import pond_storage
from culvertrisk.settings import Settings
from culvertrisk.stages.design_storm import storm_defaults
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.ponding import PondGround, stage_storage
from culvertrisk.stages.rating import weir_curves
from culvertrisk.stages.road_over_bed import inlet_bed
from culvertrisk.units import quantity

Floats = NDArray[np.float64]


def pond_room(
    crossings: GeoDataFrame, headwater_limit_m: Floats, pond: PondGround | None = None
) -> tuple[Floats, NDArray[np.object_]]:
    """Water that a blocked crossing holds back before it goes over the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site; those of ponding are used if there.
    headwater_limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].
    pond : PondGround, optional
        Of the same rows; without it a pond of the columns counts whole.

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

    Of a pond on the raster only what lies above the water that stands there already
    counts: above the inlet's bed, and above the silt in the barrel. Water that the
    next crossing backs up is not taken off: it stands there at the hour of the peak,
    and comes through the barrel, which a block shuts.
    """
    defaults = flood_defaults()
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    valley = np.fmax(slope, defaults["least_valley_slope"])
    wedge_m3 = pond_storage(headwater_limit_m, defaults["pond_width"], valley)
    found_m3 = known_column(crossings, "pond_volume_m3")
    rise_m = _usual_rise(crossings)
    is_spilling = known_column(crossings, "pond_spills_first") == 1
    is_deep = known_column(crossings, "pond_depth_m") >= rise_m
    is_larger = is_spilling & (found_m3 > wedge_m3)
    is_found = ~np.isnan(found_m3) & ((is_deep & ~is_spilling) | is_larger)
    if pond is not None:
        found_m3 = np.fmin(found_m3, _left(crossings, headwater_limit_m, pond))
    pond_m3 = np.where(is_found, found_m3, wedge_m3)
    words = np.where(np.isnan(pond_m3), "unknown", "assumed")
    return pond_m3, np.where(is_found, "dem", words).astype(object)


def spill_capacity(crossings: GeoDataFrame, headwater_limit_m: Floats) -> Floats:
    """Flow that leaves each pond over lower ground before it reaches the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site; those of ponding and the road profile are used if
        there.
    headwater_limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].

    Returns
    -------
    spill_capacity_m3s : ndarray, shape (n,)
        0 where the pond goes over the road first; NaN where the elevation raster does
        not show for sure that it leaves elsewhere [m3/s].

    Notes
    -----
    For sure: the raster shows a pond at least as high as the barrel, its ground is not
    ``spill_margin`` below the inlet's bed, and it leaves more than that margin below
    the road, both the raster's and the headwater limit over the bed. Else the raster
    does not show the fill, or it and the record contradict each other. A low place
    ``spill_width`` wide carries the water off as a broad crest, up to the margin below
    the road: engineering assumptions.
    """
    defaults = flood_defaults()
    margin_m, level_m = (
        defaults["spill_margin"],
        known_column(crossings, "pond_level_m"),
    )
    depth_m = known_column(crossings, "pond_depth_m")
    bed_m, over_m = inlet_bed(crossings), known_column(crossings, "overflow_m")
    head_m = np.minimum(over_m, bed_m + headwater_limit_m) - level_m - margin_m
    spills = known_column(crossings, "pond_spills_first")
    is_shown = depth_m >= _usual_rise(crossings)
    is_sure = (spills == 1) & is_shown & (head_m > 0)
    is_sure &= level_m - depth_m >= bed_m - margin_m
    least_weir = weir_curves().low[1].min()
    passed_m3s = roadway_overtopping_flow(head_m, defaults["spill_width"], least_weir)
    return np.select([spills == 0, is_sure], [0, passed_m3s], np.nan)


def known_spill(crossings: GeoDataFrame, settings: Settings) -> Floats:
    """Flow over lower ground that keeps today's water off the road for sure.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood; without ``spill_capacity_m3s`` nothing leaves.
    settings : Settings
        Spread of today's peak in ``forecast``.

    Returns
    -------
    known_spill_m3s : ndarray, shape (n,)
        ``spill_capacity_m3s`` where it carries today's flow even at the high end of
        its band, else 0: part of the flow may be too much for the low place [m3/s].
    """
    spill_m3s = np.nan_to_num(known_column(crossings, "spill_capacity_m3s"))
    high_m3s = lognormal_quantile(
        known_column(crossings, "today_flow_m3s"),
        1 - storm_defaults()["flow_band_tail"],
        settings.forecast.spread_fraction,
    )
    return np.where(spill_m3s >= high_m3s, spill_m3s, 0)


def spill_notes(
    crossings: GeoDataFrame, depth_m: Floats, settings: Settings
) -> NDArray[np.object_]:
    """Say where the water of a pond goes that spills before it reaches the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of ponding, the road profile and flood, or without.
    settings : Settings
        Spread of today's peak in ``forecast``.
    depth_m : ndarray, shape (n,)
        Water over the road's low point today if nothing passes [m].

    Returns
    -------
    notes : ndarray of str, shape (n,)
        Blank where the pond does not spill first, and where the depth is not known.
    """
    fall_m = known_column(crossings, "overflow_m")
    fall_m = fall_m - known_column(crossings, "pond_level_m")
    spills = known_column(crossings, "pond_spills_first") == 1
    is_sure = known_spill(crossings, settings) > 0
    below = np.array([quantity(m, "m", 1) for m in fall_m], object)
    sure = "a full pond spills over lower ground, " + below + " below the road"
    unsure = "the pond may spill over lower ground first: too unsure to count on"
    said = np.where(spills & (depth_m > 0), unsure, "").astype(object)
    return np.where(is_sure, sure + ": look where that water goes", said)


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
    stored_m3 = _stored(crossings, limit_m, level_m, pond)
    return np.where(is_dem[:, None], stored_m3, wedge_m3), is_dem


def _usual_rise(crossings: GeoDataFrame) -> Floats:
    unknown_m = flood_defaults()["unknown_rise"]
    return crossings["rise_m"].fillna(unknown_m).to_numpy(float)


def _left(crossings: GeoDataFrame, limit_m: Floats, pond: PondGround) -> Floats:
    """Room of each pond of the raster above what stands there already."""
    silt = crossings["silt_fraction"].fillna(flood_defaults()["unknown_silt"])
    silt_m = silt.to_numpy(float) * _usual_rise(crossings)
    levels_m = np.column_stack([np.minimum(silt_m, limit_m), limit_m])
    stored_m3 = _stored(crossings, limit_m[:, None], levels_m, pond)
    return stored_m3[:, 1] - stored_m3[:, 0]


def _stored(
    crossings: GeoDataFrame, limit_m: Floats, level_m: Floats, pond: PondGround
) -> Floats:
    """Water of each pond of the raster from the inlet's bed up to some levels."""
    stage_m, _, volume_m3 = stage_storage(pond)
    depth_m = stage_m[:, -1:] - stage_m[:, :1]
    is_spilling = (known_column(crossings, "pond_spills_first") == 1)[:, None]
    lift_m = np.where(is_spilling, 0, depth_m - limit_m)
    stored_m3 = _between_stages(level_m + lift_m, depth_m, volume_m3)
    dead_m3 = _between_stages(lift_m, depth_m, volume_m3)
    return stored_m3 - dead_m3


def _between_stages(height_m: Floats, depth_m: Floats, volume_m3: Floats) -> Floats:
    """Volume at heights over the lowest stage, straight between even stages."""
    last = volume_m3.shape[1] - 1
    place = np.clip(height_m / np.where(depth_m > 0, depth_m, np.nan), 0, 1) * last
    known = np.nan_to_num(place)
    below = np.minimum(known.astype(int), last - 1)
    low_m3 = np.take_along_axis(volume_m3, below, axis=1)
    high_m3 = np.take_along_axis(volume_m3, below + 1, axis=1)
    return low_m3 + (place - below) * (high_m3 - low_m3)
