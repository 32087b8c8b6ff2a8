"""Room for water behind each road: the pond of the elevation raster or a wedge."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.runoff import pond_storage
from culvertrisk.stages.flood_weather import flood_defaults

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
    found_m3 = _column(crossings, "pond_volume_m3")
    rise_m = crossings["rise_m"].fillna(defaults["unknown_rise"]).to_numpy(float)
    is_spilling = _column(crossings, "pond_spills_first") == 1
    is_deep = _column(crossings, "pond_depth_m") >= rise_m
    is_larger = is_spilling & (found_m3 > wedge_m3)
    is_found = ~np.isnan(found_m3) & ((is_deep & ~is_spilling) | is_larger)
    pond_m3 = np.where(is_found, found_m3, wedge_m3)
    words = np.where(np.isnan(pond_m3), "unknown", "assumed")
    return pond_m3, np.where(is_found, "dem", words).astype(object)


def _column(crossings: GeoDataFrame, name: str) -> Floats:
    if name not in crossings:
        return np.full(len(crossings), np.nan)
    return crossings[name].to_numpy(float)
