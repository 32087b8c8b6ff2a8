"""The bed at each inlet, and the depth over it at which water goes over the road."""

from typing import NamedTuple

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.limits import Words
from culvertrisk.stages.road_profile import CREST_FALL_M
from culvertrisk.units import quantity

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


class _Depths(NamedTuple):
    """What inventory, survey and road tell of n crossings, from the bed up [m].

    ``recorded_m`` is rise and cover, ``surveyed_m`` from invert to road, ``is_fit``
    whether that leaves the crown below the road, ``here_m`` the lesser of what is told
    of the road at the crossing, ``low_m`` up to where the full pond goes over the road,
    infinite where it does not, ``drop_m`` how much lower the road is there.
    """

    rise_m: Floats
    cover_m: Floats
    has_rise: Bools
    has_cover: Bools
    recorded_m: Floats
    surveyed_m: Floats
    is_fit: Bools
    here_m: Floats
    low_m: Floats
    drop_m: Floats


def inlet_bed(crossings: GeoDataFrame) -> Floats:
    """Elevation of the bed at each inlet.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.

    Returns
    -------
    inlet_bed_m : ndarray, shape (n,)
        The surveyed invert where it leaves the crown below the road; else rise and
        cover, by default where unknown, below the road at the crossing; NaN where
        the road's elevation is unknown [m].
    """
    depths = _depths(crossings)
    road_m = known_column(crossings, "road_elevation_m")
    invert_m = known_column(crossings, "upstream_invert_m")
    return np.where(depths.is_fit, invert_m, road_m - depths.recorded_m)


def headwater_limit(crossings: GeoDataFrame) -> tuple[Floats, Words]:
    """Depth over the inlet bed at which water reaches the road, and what to know.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site; those of road profile and ponding are
        used if there.

    Returns
    -------
    headwater_limit_m : ndarray, shape (n,)
        Never NaN [m].
    notes : ndarray of str, shape (n,)
        What was assumed, what contradicts, where the road is lower; blank if nothing.

    Notes
    -----
    Where both survey and record tell the depth, the lesser counts. Where the full pond
    goes over the road at a lower place, that counts, but no lower than the crown: the
    elevation raster is not that sure. On a grade water runs down the ditch to the next
    pipe: where the pond spills elsewhere first, the lower place lies below the bed, or
    the pond is unknown, the road at the crossing counts.
    """
    depths = _depths(crossings)
    along_m = known_column(crossings, "overflow_distance_m")
    return _limit(depths), _notes(depths, along_m)


def _limit(depths: _Depths) -> Floats:
    low_m = np.where(depths.low_m > 0, depths.low_m, np.inf)
    return np.maximum(np.minimum(depths.here_m, low_m), depths.rise_m)


def _depths(crossings: GeoDataFrame) -> _Depths:
    defaults = flood_defaults()
    rise_m = crossings["rise_m"].to_numpy(float)
    cover_m = known_column(crossings, "cover_m")
    usual_m = np.where(
        crossings["material"] == "plastic",
        defaults["unknown_plastic_cover"],
        defaults["unknown_cover"],
    )
    has_rise, has_cover = ~np.isnan(rise_m), ~np.isnan(cover_m)
    rise_m = np.where(has_rise, rise_m, defaults["unknown_rise"])
    cover_m = np.where(has_cover, cover_m, usual_m)
    recorded_m, surveyed_m = rise_m + cover_m, _surveyed(crossings)
    is_fit = surveyed_m >= rise_m
    either_m = np.where(has_rise & has_cover, recorded_m, np.inf)
    here_m = np.where(is_fit, np.minimum(surveyed_m, either_m), recorded_m)
    reaches = known_column(crossings, "pond_spills_first") == 0
    drop_m = known_column(crossings, "overflow_drop_m")
    drop_m = np.where(reaches, np.nan_to_num(drop_m), 0)
    low_m = np.where(is_fit, surveyed_m, recorded_m) - drop_m
    return _Depths(
        rise_m, cover_m, has_rise, has_cover, recorded_m, surveyed_m, is_fit, here_m,
        np.where(reaches, low_m, np.inf), drop_m,
    )  # fmt: skip


def _surveyed(crossings: GeoDataFrame) -> Floats:
    road_m = known_column(crossings, "road_elevation_m")
    return road_m - known_column(crossings, "upstream_invert_m")


def _notes(depths: _Depths, along_m: Floats) -> Words:
    """What was assumed of each depth, or contradicts; blank if nothing."""
    is_recorded = depths.has_rise & depths.has_cover
    is_assumed = ~depths.is_fit & ~is_recorded
    gap_m = np.abs(depths.surveyed_m - depths.recorded_m)
    is_apart = is_recorded & (gap_m > flood_defaults()["survey_apart"])
    is_apart = np.where(depths.is_fit, is_apart, ~np.isnan(depths.surveyed_m))
    is_lower = depths.here_m - np.minimum(depths.here_m, depths.low_m) > CREST_FALL_M
    rises = _limit(depths) / depths.rise_m
    is_high = depths.has_rise & (rises > flood_defaults()["chart_headwater_rises"])
    told = np.full(len(along_m), "", dtype=object)
    for row in np.flatnonzero(is_assumed | is_apart | is_lower | is_high):
        one = _Depths(*(field[row] for field in depths))
        lines = _assumed(one) if is_assumed[row] else []
        lines += [_apart(one)] if is_apart[row] else []
        lines += [_lower(one, along_m[row])] if is_lower[row] else []
        lines += [_high(rises[row])] if is_high[row] else []
        told[row] = "; ".join(lines)
    return told


def _assumed(one: _Depths) -> list[str]:
    """What stands in for an unknown size."""
    sizes = (("rise", one.has_rise, one.rise_m), ("cover", one.has_cover, one.cover_m))
    return [
        f"{what} unknown: {_metres(size_m)} assumed for the depth at which water "
        "reaches the road"
        for what, is_known, size_m in sizes
        if not is_known
    ]


def _apart(one: _Depths) -> str:
    """Both depths, where record and survey contradict each other."""
    if not one.is_fit:
        return (
            "surveyed invert puts the crown above the road of the elevation raster: "
            f"{_metres(one.recorded_m)} by rise and cover counts from bed to road"
        )
    return (
        f"bed to road is {_metres(one.recorded_m)} by rise and cover but "
        f"{_metres(one.surveyed_m)} by surveyed invert and elevation raster: the "
        "lesser counts"
    )


def _lower(one: _Depths, along_m: float) -> str:
    """Where the road is lower than at the crossing."""
    where = f"road {_metres(one.drop_m)} lower {quantity(along_m, 'm')} along it"
    if one.low_m <= 0:
        return (
            f"{where}, below the bed of the pipe, as on a grade: the road here counts"
        )
    if one.low_m < one.rise_m:
        return f"{where}, below the crown of the pipe: water up to the crown counts"
    return f"{where}: water goes over it there first"


def _high(rises: float) -> str:
    """Headwater beyond what the published charts show."""
    most = flood_defaults()["chart_headwater_rises"]
    return (
        f"water may stand {rises:.1f} times the rise deep before it reaches the road: "
        f"the published inlet charts end at {most:g}, the capacity is an extrapolation"
    )


def _metres(size_m: Floats | float) -> str:
    return quantity(float(size_m), "m", 2)
