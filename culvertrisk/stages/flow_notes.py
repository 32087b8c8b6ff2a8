"""What limits today's flow and capacity of each crossing, in sentences."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.concentrations import (
    kirpich_limits,
    rational_limits,
    slope_limits,
    time_limits,
)
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.limits import Limits, Words, told_limits
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.usual_barrel import barrel_limits
from culvertrisk.units import quantity

Floats = NDArray[np.float64]

_NO_AREA = (
    "catchment unknown: no flow; give an elevation raster, a column of recorded "
    "catchments or design.catchment_m2"
)


def flow_notes(
    crossings: GeoDataFrame, concentration_s: Floats, assumed: Words, missing: str
) -> Words:
    """Say what limits the flow of each crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, and those of given area where it has run.
    concentration_s : ndarray, shape (n,)
        Time of concentration used [s].
    assumed : ndarray of str, shape (n,)
        What was assumed for the depth at which water reaches the road, or contradicts.
    missing : str
        What the day's weather does not tell.

    Returns
    -------
    notes : ndarray of str, shape (n,)
        Joined by semicolons; blank if nothing limits.
    """
    size_m2 = crossings["catchment_m2"].to_numpy(float)
    is_known, count = ~np.isnan(size_m2), len(crossings)
    ours = crossings.get("catchment_note", np.full(count, ""))
    lines = [
        (_NO_AREA, ~is_known),
        *_dem_limits(crossings),
        *_method_limits(crossings, concentration_s),
    ]
    is_pipe = pipes_of(crossings)
    lines += [(line, holds & is_pipe) for line, holds in barrel_limits(crossings)]
    told = zip(told_limits(lines, ours), assumed, [missing] * count, strict=True)
    joined = ["; ".join(words for words in row if words) for row in told]
    return np.array(joined, dtype=object)


def _dem_limits(crossings: GeoDataFrame) -> Limits:
    """What makes a catchment of the DEM doubtful; a recorded one is not of it."""
    source = crossings.get("catchment_source", np.full(len(crossings), "dem"))
    is_dem = np.asarray(source) == "dem"
    cut = crossings["is_catchment_cut"].to_numpy(float)
    fill_m = crossings["fill_depth_m"].to_numpy(float)
    is_deep = is_dem & (fill_m > flood_defaults()["doubtful_fill"])
    return (
        (
            "catchment reaches the edge of the elevation raster: flow is a lower bound",
            is_dem & (cut == 1),
        ),
        *(
            (
                f"elevation raster filled {quantity(depth_m, 'm', 1)} deep at the "
                "inlet: catchment doubtful",
                is_deep & (np.round(fill_m, 1) == depth_m),
            )
            for depth_m in np.unique(np.round(fill_m[is_deep], 1))
        ),
    )


def _method_limits(crossings: GeoDataFrame, concentration_s: Floats) -> Limits:
    return (
        *rational_limits(crossings["catchment_m2"].to_numpy(float)),
        *kirpich_limits(crossings),
        *slope_limits(crossings),
        *time_limits(concentration_s),
    )
