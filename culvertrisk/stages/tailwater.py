"""Water below each road: the ditch, or the next crossing's headwater; what it costs."""

from functools import cache

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.barrel_flow import barrel_headwater
from culvertrisk.formulas.uniform_flow import channel_depth
from culvertrisk.formulas.water_profile import profile_headwater
from culvertrisk.stages.flood_capacity import Openings, taken
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.road_over_bed import inlet_bed
from culvertrisk.stages.usual_barrel import usual_barrel
from culvertrisk.tables import table

Floats = NDArray[np.float64]

NOBODY = -1
_HALVINGS = 40  # of a flow
_MOST_ROUNDS = 50  # crossings of a chain that one headwater can back up through
_CLOSE_M = 1e-4  # a lesser rise of the tailwater ends the rounds


@cache
def rating_defaults() -> dict[str, float]:
    """Return the numbers assumed for roads and ditches, by name."""
    rows = table("rating_defaults")
    return dict(zip(rows["name"], rows["value"].astype(float), strict=True))


def channel_tailwater(crossings: GeoDataFrame, flow_m3s: ArrayLike) -> Floats:
    """Water below each road over the outlet bed: uniform flow in an assumed ditch.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.
    flow_m3s : array_like, shape (n,) or (k, n)
        Whole flow [m3/s].

    Returns
    -------
    tailwater_m : ndarray, shape of the flow
        Depth in the ditch less the drop at the outlet, 0 or more [m].

    Notes
    -----
    Bottom as wide as the barrels, slope that of the barrel, each at least the
    default; banks and roughness by default: an assumption.
    """
    defaults = rating_defaults()
    count = crossings["barrel_count"].fillna(1).to_numpy(float)
    width_m = np.fmax(crossings["span_m"], crossings["rise_m"]).to_numpy(float) * count
    slope = crossings["barrel_slope_m_per_m"].to_numpy(float)
    depth_m = channel_depth(
        flow_m3s,
        np.fmax(width_m, defaults["channel_bottom"]),
        defaults["channel_side_slope"],
        np.fmax(slope, defaults["channel_slope"]),
        defaults["channel_roughness"],
    )
    drop_m = known_column(crossings, "outlet_drop_m")
    return np.maximum(depth_m - np.nan_to_num(drop_m), 0)


def next_below(crossings: GeoDataFrame) -> NDArray[np.int64]:
    """Row of the crossing that the water of each one meets next.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of chains, or without.

    Returns
    -------
    below : ndarray of int, shape (n,)
        -1 where none is known.
    """
    if "downstream_id" not in crossings:
        return np.full(len(crossings), NOBODY, np.int64)
    return crossings.index.get_indexer(crossings["downstream_id"]).astype(np.int64)


def beds(crossings: GeoDataFrame) -> tuple[Floats, Floats]:
    """Elevation of the bed at inlet and outlet.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.

    Returns
    -------
    inlet_bed_m, outlet_bed_m : ndarray, shape (n,)
        As ``inlet_bed`` finds the first; down from it by the usual slope and
        length where they are unknown; NaN where the road's elevation is [m].
    """
    inlet_m = inlet_bed(crossings)
    length_m, slope = usual_barrel(crossings)
    return inlet_m, inlet_m - slope * length_m


def depth_from_below(crossings: GeoDataFrame, depth_m: Floats) -> Floats:
    """Depth over each outlet bed of the water that stands at the next crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site and chains.
    depth_m : ndarray, shape (n,)
        Water over each crossing's own inlet bed [m].

    Returns
    -------
    depth_m : ndarray, shape (n,)
        0 where it does not reach up to the outlet; NaN where no crossing below, or
        an elevation, is known [m].

    Notes
    -----
    Level water. The bed below counts as no higher than this outlet, since water runs
    down to it: elevations are not that sure.
    """
    below = next_below(crossings)
    return _reached(below, _fall_below(crossings, below), depth_m)


def _fall_below(crossings: GeoDataFrame, below: NDArray[np.int64]) -> Floats:
    """Fall from each outlet bed to the inlet bed below it, 0 or more [m]."""
    inlet_m, outlet_m = beds(crossings)
    return np.maximum(outlet_m - inlet_m[below], 0)


def _reached(below: NDArray[np.int64], fall_m: Floats, depth_m: Floats) -> Floats:
    reached_m = np.maximum(depth_m[below] - fall_m, 0)
    return np.where(below == NOBODY, np.nan, reached_m)


def backed_up(
    crossings: GeoDataFrame, found: Openings, limit_m: Floats, flow_m3s: Floats
) -> Floats:
    """Depth over each outlet bed to which the next crossing, open, backs its water.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site and chains.
    found : Openings
        Of the same rows.
    limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].
    flow_m3s : ndarray, shape (n,)
        Flow to each crossing [m3/s].

    Returns
    -------
    depth_m : ndarray, shape (n,)
        As ``depth_from_below``; NaN also where the headwater below is unknown [m].

    Notes
    -----
    Headwaters from a free ditch first, then again with what they back up, until none
    rises: each round only raises them, and none rises above its road: an open
    crossing never backs up more than a blocked one.
    """
    below = next_below(crossings)
    fall_m = _fall_below(crossings, below)
    rows = np.unique(below[below >= 0])
    ditch_m = channel_tailwater(crossings, flow_m3s)
    backed_m = np.full(len(crossings), np.nan)
    depth_m = np.full(len(crossings), np.nan)
    for _ in range(_MOST_ROUNDS if rows.size else 0):
        tail_m = np.fmax(ditch_m, backed_m)
        depth_m[rows] = np.minimum(
            _headwater(taken(found, rows), flow_m3s[rows], tail_m[rows]), limit_m[rows]
        )
        before_m, backed_m = backed_m, _reached(below, fall_m, depth_m)
        if not (backed_m > np.nan_to_num(before_m) + _CLOSE_M).any():
            break
    return backed_m


def capacity_under_tailwater(
    crossings: GeoDataFrame,
    found: Openings,
    limit_m: Floats,
    backed_m: Floats,
    most_m3s: Floats,
) -> tuple[Floats, Floats]:
    """Flow of all barrels at the headwater limit against the water below the road.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.
    found : Openings
        Of the same rows, with a free outlet.
    limit_m : ndarray, shape (n,)
        Depth over the inlet bed at which water reaches the road [m].
    backed_m : ndarray, shape (n,)
        Water over the outlet bed that the next crossing backs up; NaN is none known
        [m].
    most_m3s : ndarray, shape (n,)
        Flow with less water below the road, such as that of a free outlet [m3/s].

    Returns
    -------
    capacity_m3s, tailwater_m : ndarray, shape (n,)
        Never above the flow given; the water below the road at that
        flow: of the ditch or backed up, whichever is higher [m3/s, m].

    Notes
    -----
    The ditch rises with the flow, the headwater with both: so one flow only brings
    it to the limit, found by halving between 0 and the flow given.
    """
    tail_m = np.fmax(channel_tailwater(crossings, most_m3s), backed_m)
    rows = np.flatnonzero(_outlet_headwater(found, most_m3s, tail_m) > limit_m)
    capacity_m3s = most_m3s.copy()
    some, part, limit_m = crossings.iloc[rows], taken(found, rows), limit_m[rows]
    low, high = np.zeros(len(rows)), most_m3s[rows]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        against_m = np.fmax(channel_tailwater(some, middle), backed_m[rows])
        passes = _outlet_headwater(part, middle, against_m) <= limit_m
        low, high = np.where(passes, middle, low), np.where(passes, high, middle)
    capacity_m3s[rows] = low
    return capacity_m3s, np.fmax(channel_tailwater(crossings, capacity_m3s), backed_m)


def _outlet_headwater(found: Openings, flow_m3s: Floats, tail_m: Floats) -> Floats:
    conduit = found.conduit._replace(tailwater_m=tail_m)
    return profile_headwater(flow_m3s / found.barrel_count, found.barrel, conduit)


def _headwater(found: Openings, flow_m3s: Floats, tail_m: Floats) -> Floats:
    return barrel_headwater(
        flow_m3s / found.barrel_count,
        found.barrel,
        found.conduit._replace(tailwater_m=tail_m),
        found.inlet,
        found.inlet_slope_m_per_m,
    )
