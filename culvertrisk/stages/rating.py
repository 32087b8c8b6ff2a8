"""Rating curve of a crossing: headwater against flow, open and with today's ice."""

from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.barrel_flow import barrel_headwater
from culvertrisk.formulas.inlet_control import InletCoefficients
from culvertrisk.formulas.road_flow import Road, WeirCurves, balanced_headwater
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.formulas.uniform_flow import channel_depth
from culvertrisk.stages.flood_capacity import (
    NOT_PIPES,
    Openings,
    headwater_limit,
    iced_openings,
    open_capacity,
    openings,
)
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.tables import table
from culvertrisk.units import to_unit

Floats = NDArray[np.float64]

FLOW_COUNT = 12  # flows of a curve
PAST_CAPACITY = 1.5  # the curve runs to this share of the open capacity at least
# A sag is split at these heights over its low point [m]
_HEIGHTS_M = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0])


def rating_curves(
    crossings: GeoDataFrame,
    *,
    flow_count: int = FLOW_COUNT,
    tailwater_m: Floats | float = 0.0,
    profile: RoadProfile | None = None,
) -> pd.DataFrame:
    """Headwater over the inlet bed at a row of flows, at every crossing given.

    Parameters
    ----------
    crossings : GeoDataFrame
        The rows asked, with the columns of culverts, site, freeze and flood.
    flow_count : int
        Flows of each curve, evenly spaced up to 1.5 times the open capacity, or to
        the design flow or today's where that is more.
    tailwater_m : ndarray, shape (n,), or float
        Water below the road over the outlet bed [m].
    profile : RoadProfile, optional
        The road along the same rows; without it the road rises at an assumed grade
        either side of its low point.

    Returns
    -------
    curves : DataFrame
        ``culvert_id``, ``flow_m3s`` (of all barrels and the road), and at that flow
        ``headwater_open_m``, ``headwater_iced_m``, and ``over_road_m``, the depth
        over the road's low point with the ice. NaN where not known and at bridges
        and fords; a barrel closed by ice holds water up to the road at any flow.

    Notes
    -----
    Road as gravel: the lesser flow. Headwater is never less for more flow. The ice is
    an engineering assumption, see ``iced_openings``.
    """
    limit_m, _ = headwater_limit(crossings)
    found = openings(crossings, tailwater_m)
    flow_m3s = _flows(crossings, open_capacity(found, limit_m), flow_count)
    road = _road(limit_m, profile)
    closed = crossings["blocked_fraction"].to_numpy(float)
    open_m = _headwater(flow_m3s, found, road)
    iced = iced_openings(found, limit_m, closed)
    iced_m = np.maximum(_headwater(flow_m3s, iced, road), open_m)
    iced_m = np.where(closed == 0, open_m, iced_m)
    return pd.DataFrame(
        {
            "culvert_id": np.repeat(crossings.index.to_numpy(), flow_count),
            "flow_m3s": flow_m3s.T.ravel(),
            "headwater_open_m": open_m.T.ravel(),
            "headwater_iced_m": iced_m.T.ravel(),
            "over_road_m": np.maximum(iced_m - limit_m, 0).T.ravel(),
        }
    )


def channel_tailwater(crossings: GeoDataFrame, flow_m3s: Floats) -> Floats:
    """Water below each road over the outlet bed: uniform flow in an assumed ditch.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.
    flow_m3s : ndarray, shape (n,)
        Whole flow [m3/s].

    Returns
    -------
    tailwater_m : ndarray, shape (n,)
        Depth in the ditch less the drop at the outlet, 0 or more [m].

    Notes
    -----
    Bottom as wide as the barrels, slope that of the barrel, each at least the
    default; banks and roughness by default: an assumption.
    """
    defaults = _defaults()
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
    drop_m = crossings["outlet_drop_m"].fillna(0).to_numpy(float)
    return np.maximum(depth_m - drop_m, 0)


@cache
def weir_curves() -> WeirCurves:
    """Return the curves of ``weir_coefficients`` in SI units."""
    rows = table("weir_coefficients")
    foot_m = to_unit("1 ft", "m")
    curves = []
    for name in ("low", "deep", "paved submergence", "gravel submergence"):
        row = rows[rows["curve"] == name]
        axis = row["axis_value"].to_numpy(float)
        values = row["coefficient"].to_numpy(float)
        if (row["axis_unit"] == "ft").all():
            axis = axis * foot_m
        if (row["coefficient_unit"] == "ft^0.5/s").all():
            values = values * np.sqrt(foot_m)
        curves.append((axis, values))
    return WeirCurves(*curves)


@cache
def _defaults() -> dict[str, float]:
    rows = table("rating_defaults")
    return dict(zip(rows["name"], rows["value"].astype(float), strict=True))


def _flows(crossings: GeoDataFrame, open_m3s: Floats, count: int) -> Floats:
    """Flows of each crossing, shape (count, n)."""
    top_m3s = PAST_CAPACITY * open_m3s
    for name in ("design_flow_m3s", "today_flow_m3s"):
        if name in crossings:
            top_m3s = np.fmax(top_m3s, crossings[name].to_numpy(float))
    is_pipe = ~crossings["crossing_kind"].isin(NOT_PIPES).to_numpy(bool)
    known = is_pipe & ~np.isnan(open_m3s)
    return np.linspace(1 / count, 1, count)[:, None] * np.where(known, top_m3s, np.nan)


def _headwater(flow_m3s: Floats, found: Openings, road: Road) -> Floats:
    count = len(found.barrel_count)

    def of_barrels(whole_m3s: Floats, rows: NDArray[np.int_]) -> Floats:
        at = rows % count
        barrel = (np.asarray(f, dtype=float)[at] for f in found.barrel)
        conduit = (np.broadcast_to(f, count)[at] for f in found.conduit)
        return barrel_headwater(
            whole_m3s / found.barrel_count[at],
            Barrel(*barrel),
            Conduit(*conduit),
            InletCoefficients(*(np.asarray(f)[at] for f in found.inlet)),
            found.inlet_slope_m_per_m[at],
        )

    level_m, _ = balanced_headwater(flow_m3s, of_barrels, road, weir_curves())
    return np.maximum.accumulate(level_m, axis=0)


def _road(limit_m: Floats, profile: RoadProfile | None) -> Road:
    """The crest as level lengths over the inlet bed, lowest at the limit."""
    rises_m = np.diff(_HEIGHTS_M)
    middle_m = _HEIGHTS_M[:-1] + rises_m / 2
    length_m = np.tile(2 * rises_m / _defaults()["assumed_grade"], (len(limit_m), 1))
    if profile is not None:
        shown_m = _sag_lengths(profile)
        is_shown = shown_m.sum(axis=1) > 0
        length_m[is_shown] = shown_m[is_shown]
    crest_m = limit_m[:, None] + middle_m - middle_m[0]
    return Road(crest_m, length_m, _defaults()["road_width"], is_gravel=True)


def _sag_lengths(profile: RoadProfile) -> Floats:
    """Length of road at each height over its low point, between its crests [m]."""
    count = profile.elevation_m.shape[1]
    steps = np.arange(count)
    first, last = profile.crests[:, :1], profile.crests[:, 1:]
    last = np.where(last < 0, count, last)
    inside = (steps >= first) & (steps <= last) & (profile.sag[:, None] >= 0)
    low_m = profile.elevation_m[np.arange(len(inside)), profile.sag][:, None]
    height_m = np.where(inside, profile.elevation_m - low_m, np.nan)
    bins = [(height_m >= low) & (height_m < high) for low, high in pairwise(_HEIGHTS_M)]
    return profile.step_m * np.stack(bins).sum(axis=2).T
