"""Fall and length of each barrel for its hydraulics, by default where unknown."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.limits import Limits
from culvertrisk.units import quantity

Floats = NDArray[np.float64]


def usual_barrel(crossings: GeoDataFrame) -> tuple[Floats, Floats]:
    """Fill in what friction and fall need of each barrel.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.

    Returns
    -------
    length_m, slope_m_per_m : ndarray, shape (n,)
        Never NaN [m, m/m].

    Notes
    -----
    An unknown slope is a slight one and an unknown length a long one, of a driveway
    or of a road: the lesser flow, so that what is not known does not carry more than
    what is.
    """
    defaults = flood_defaults()
    slope = crossings["barrel_slope_m_per_m"].to_numpy(float)
    length_m = crossings["length_m"].to_numpy(float)
    usual_m = np.where(
        crossings["crossing_kind"] == "driveway",
        defaults["unknown_driveway_length"],
        defaults["unknown_length"],
    )
    return (
        np.where(np.isnan(length_m), usual_m, length_m),
        np.where(np.isnan(slope), defaults["unknown_slope"], slope),
    )


def barrel_limits(crossings: GeoDataFrame) -> Limits:
    """Say what was assumed of the barrels whose size is known.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.

    Returns
    -------
    limits : tuple of (sentence, ndarray of bool of shape (n,))
        Where each sentence holds.
    """
    is_sized = crossings["rise_m"].notna().to_numpy(bool)
    no_length = crossings["length_m"].isna().to_numpy(bool)
    no_slope = crossings["barrel_slope_m_per_m"].isna().to_numpy(bool)
    length_m, slope = usual_barrel(crossings)
    return (
        *(
            (
                f"slope of the barrel unknown: {100 * usual:g} % assumed for its "
                "capacity",
                is_sized & no_slope,
            )
            for usual in np.unique(slope[no_slope])
        ),
        *(
            (
                f"length of the barrel unknown: {quantity(usual_m, 'm')} assumed for "
                "its capacity",
                is_sized & no_length & (length_m == usual_m),
            )
            for usual_m in np.unique(length_m[no_length])
        ),
    )
