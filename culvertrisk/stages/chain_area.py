"""Catchments along each chain: a crossing has at least what the one above passes on."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.limits import Words
from culvertrisk.stages.tailwater import NOBODY, next_below
from culvertrisk.units import quantity, to_unit

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

ABOVE = "above"  # source of a catchment taken from the crossing above
_TAKEN = ("catchment_m2", "flow_path_m")  # the slope is that of the ground here
_HECTARE_M2 = to_unit("1 ha", "m**2")


def add_chain_area(crossings: GeoDataFrame) -> GeoDataFrame:
    """Find crossings with far less catchment than the one above, and give them its.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, given area and chains.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``chain_area``; catchment, the length of its path,
        source and note are replaced where a crossing above has more than twice as much.

    Notes
    -----
    Either the catchment above is too large, or the one below too small, or the water
    goes elsewhere: the data do not tell which. The larger counts, on the cautious
    side, and both crossings say so.
    """
    below = next_below(crossings)
    own_m2 = crossings["catchment_m2"].to_numpy(float)
    above, source, area_m2 = _taken_from(own_m2, below)
    has_larger = source != NOBODY
    share = flood_defaults()["chain_area_share"]
    has_smaller = (below != NOBODY) & has_larger[below]
    has_smaller &= own_m2[below] < share * area_m2
    taken = {name: crossings[name].to_numpy(float) for name in _TAKEN}
    told = crossings["catchment_source"].to_numpy(object)
    return crossings.assign(
        **{n: np.where(has_larger, v[source], v) for n, v in taken.items()},
        catchment_source=np.where(has_larger, ABOVE, told),
        catchment_note=_notes(
            crossings,
            _told_below(crossings, area_m2, np.where(has_larger, above, NOBODY)),
            _told_above(crossings, np.where(has_smaller, below, NOBODY)),
        ),
        has_larger_above=np.where(np.isnan(own_m2), np.nan, has_larger),
        has_smaller_below=np.where(np.isnan(own_m2), np.nan, has_smaller),
    )


def _taken_from(own_m2: Floats, below: Rows) -> tuple[Rows, Rows, Floats]:
    """Largest next above, row whose catchment counts, -1 its own, and that area."""
    area_m2 = own_m2.copy()
    source = np.full(len(own_m2), NOBODY, np.int64)
    share = flood_defaults()["chain_area_share"]
    gives = np.flatnonzero((below != NOBODY) & ~np.isnan(own_m2))
    for _ in range(len(own_m2) + 1):
        above = np.full(len(own_m2), NOBODY, np.int64)
        rows = gives[np.argsort(area_m2[gives], kind="stable")]
        above[below[rows]] = rows  # the largest comes last and stays
        is_less = (above != NOBODY) & (area_m2 < share * area_m2[above])
        if not is_less.any():
            break
        origin = np.where(source[above] == NOBODY, above, source[above])
        source = np.where(is_less, origin, source)
        area_m2 = np.where(is_less, area_m2[above], area_m2)
    return above, source, area_m2


def _told_below(crossings: GeoDataFrame, area_m2: Floats, above: Rows) -> Words:
    """What a crossing says whose catchment is that of the one above; else blank."""
    own_m2 = crossings["catchment_m2"].to_numpy(float)
    told = np.full(len(above), "", object)
    for row in np.flatnonzero(above != NOBODY):
        told[row] = (
            f"catchment {_hectares(own_m2[row])} by its own data, but "
            f"{crossings.index[above[row]]}, next above in the chain, has "
            f"{_hectares(area_m2[above[row]])}: one of the two is wrong, the larger "
            "counts"
        )
    return told


def _told_above(crossings: GeoDataFrame, below: Rows) -> Words:
    """What a crossing says whose next one below has far less; else blank."""
    own_m2 = crossings["catchment_m2"].to_numpy(float)
    told = np.full(len(below), "", object)
    for row in np.flatnonzero(below != NOBODY):
        told[row] = (
            f"{crossings.index[below[row]]}, next below in the chain, has a catchment "
            f"of {_hectares(own_m2[below[row]])} by its own data: one of the two is "
            "wrong"
        )
    return told


def _notes(crossings: GeoDataFrame, *told: Words) -> Words:
    parts = zip(crossings["catchment_note"], *told, strict=True)
    joined = ["; ".join(words for words in each if words) for each in parts]
    return np.array(joined, dtype=object)


def _hectares(area_m2: float) -> str:
    return quantity(area_m2 / _HECTARE_M2, "ha", 1 if area_m2 >= _HECTARE_M2 else 2)
