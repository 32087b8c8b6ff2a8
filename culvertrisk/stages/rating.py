"""Rating curve of a crossing: headwater against flow, open and with today's ice."""

from collections.abc import Sequence
from dataclasses import fields as fields_of
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.barrel_flow import barrel_headwater
from culvertrisk.formulas.road_flow import Road, WeirCurves, balanced_headwater
from culvertrisk.stages.flood_capacity import (
    Openings,
    iced_openings,
    open_capacity,
    openings,
    taken,
)
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.road_over_bed import headwater_limit
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.stages.tailwater import (
    backed_up,
    channel_tailwater,
    rating_defaults,
)
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
        Water that stands over the outlet bed at any flow, such as ``backed_up``; that
        of the ditch at each flow counts where it is higher; NaN is none known [m].
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
    backed_m = np.broadcast_to(np.asarray(tailwater_m, dtype=float), len(crossings))
    found = openings(crossings)
    flow_m3s = _flows(crossings, open_capacity(found, limit_m), flow_count)
    tail_m = np.fmax(channel_tailwater(crossings, flow_m3s), backed_m)
    road = road_lengths(limit_m, profile)._replace(
        tailwater_m=_over_inlet(found, tail_m)
    )
    closed = crossings["blocked_fraction"].to_numpy(float)
    open_m = _headwater(flow_m3s, found, tail_m, road)
    iced = iced_openings(found, limit_m, closed)
    iced_m = np.maximum(_headwater(flow_m3s, iced, tail_m, road), open_m)
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


def rating_for_pages(
    crossings: GeoDataFrame,
    culvert_ids: Sequence[str],
    profile: RoadProfile | None = None,
) -> pd.DataFrame:
    """Rating curves of some crossings, with what the others below them back up.

    Parameters
    ----------
    crossings : GeoDataFrame
        The whole table, with the columns of culverts, site, chains, freeze and flood.
    culvert_ids : sequence of str
        Crossings wanted, each once.
    profile : RoadProfile, optional
        The road along the whole table's rows.

    Returns
    -------
    curves : DataFrame
        As ``rating_curves`` returns it; water backed up is today's.
    """
    rows = crossings.index.get_indexer(pd.Index(culvert_ids))
    limit_m, _ = headwater_limit(crossings)
    flow_m3s = crossings["today_flow_m3s"].to_numpy(float)
    backed_m = backed_up(crossings, openings(crossings), limit_m, flow_m3s)
    shown = None if profile is None else profile_of(profile, rows)
    return rating_curves(
        crossings.iloc[rows], tailwater_m=backed_m[rows], profile=shown
    )


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


def _flows(crossings: GeoDataFrame, open_m3s: Floats, count: int) -> Floats:
    """Flows of each crossing, shape (count, n)."""
    top_m3s = PAST_CAPACITY * open_m3s
    for name in ("design_flow_m3s", "today_flow_m3s"):
        if name in crossings:
            top_m3s = np.fmax(top_m3s, crossings[name].to_numpy(float))
    is_pipe = pipes_of(crossings)
    known = is_pipe & ~np.isnan(open_m3s)
    return np.linspace(1 / count, 1, count)[:, None] * np.where(known, top_m3s, np.nan)


def _over_inlet(found: Openings, tail_m: Floats) -> Floats:
    """Water below the road over the inlet bed, for each length of road [m]."""
    slope, length_m = found.conduit.slope_m_per_m, found.conduit.length_m
    fall_m = np.nan_to_num(np.asarray(slope) * np.asarray(length_m))
    return (tail_m - fall_m)[..., None]


def _headwater(flow_m3s: Floats, found: Openings, tail_m: Floats, road: Road) -> Floats:
    count = len(found.barrel_count)

    def of_barrels(whole_m3s: Floats, rows: NDArray[np.int_]) -> Floats:
        part = taken(found, rows % count)
        return barrel_headwater(
            whole_m3s / part.barrel_count,
            part.barrel,
            part.conduit._replace(tailwater_m=tail_m.ravel()[rows]),
            part.inlet,
            part.inlet_slope_m_per_m,
        )

    level_m, _ = balanced_headwater(flow_m3s, of_barrels, road, weir_curves())
    return np.maximum.accumulate(level_m, axis=0)


def road_lengths(limit_m: Floats, profile: RoadProfile | None) -> Road:
    """The crest as level lengths over the inlet bed, lowest at the limit."""
    rises_m = np.diff(_HEIGHTS_M)
    middle_m = _HEIGHTS_M[:-1] + rises_m / 2
    grade = rating_defaults()["assumed_grade"]
    length_m = np.tile(2 * rises_m / grade, (len(limit_m), 1))
    if profile is not None:
        shown_m = _sag_lengths(profile)
        is_shown = shown_m.sum(axis=1) > 0
        length_m[is_shown] = shown_m[is_shown]
    crest_m = limit_m[:, None] + middle_m - middle_m[0]
    return Road(crest_m, length_m, rating_defaults()["road_width"], is_gravel=True)


def under_water_length(depth_m: Floats, road: Road) -> Floats:
    """Length of a road of ``road_lengths`` under water, even within a level length.

    Parameters
    ----------
    depth_m : ndarray, shape (n,)
        Water over the road's low point [m].
    road : Road
        The crest as level lengths.

    Returns
    -------
    length_m : ndarray, shape (n,)
        0 where the road is dry, growing with the depth; NaN where it is unknown [m].
    """
    rises_m = np.diff(_HEIGHTS_M)
    shares = np.clip((depth_m[:, None] - _HEIGHTS_M[:-1]) / rises_m, 0, 1)
    return np.asarray((shares * np.asarray(road.length_m)).sum(axis=1))


def open_headwater(
    crossings: GeoDataFrame, flow_m3s: Floats, profile: RoadProfile | None = None
) -> Floats:
    """Headwater at which each open pipe and its road carry one flow.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site and flood.
    flow_m3s : ndarray, shape (n,)
        Whole flow [m3/s].
    profile : RoadProfile, optional
        The road along the same rows, as for ``rating_curves``.

    Returns
    -------
    headwater_m : ndarray, shape (n,)
        Over the inlet bed, the ditch alone below; NaN where not known [m].
    """
    limit_m = crossings["headwater_limit_m"].to_numpy(float)
    found = openings(crossings)
    tail_m = channel_tailwater(crossings, flow_m3s)
    below_m = _over_inlet(found, tail_m)
    road = road_lengths(limit_m, profile)._replace(tailwater_m=below_m)
    return _headwater(flow_m3s[None], found, tail_m, road)[0]


def profile_of(profile: RoadProfile, rows: NDArray[np.intp]) -> RoadProfile:
    """The profile of some rows."""
    fields = {field.name: getattr(profile, field.name) for field in fields_of(profile)}
    step_m = fields.pop("step_m")
    return RoadProfile(
        step_m=step_m, **{name: value[rows] for name, value in fields.items()}
    )


def _sag_lengths(profile: RoadProfile) -> Floats:
    """Length of road at each height over its low point, between its crests [m].

    Straight from one place looked at to the next.
    """
    count = profile.elevation_m.shape[1]
    steps = np.arange(count)
    first, last = profile.crests[:, :1], profile.crests[:, 1:]
    last = np.where(last < 0, count, last)
    inside = (steps >= first) & (steps <= last) & (profile.sag[:, None] >= 0)
    low_m = profile.elevation_m[np.arange(len(inside)), profile.sag][:, None]
    height_m = np.where(inside, profile.elevation_m - low_m, np.nan)
    ends_m = height_m[:, :-1], height_m[:, 1:]
    lower_m, upper_m = np.minimum(*ends_m), np.maximum(*ends_m)
    rise_m = upper_m - lower_m
    slopes = rise_m > 0
    per_rise = np.divide(
        profile.step_m, rise_m, where=slopes, out=np.zeros_like(rise_m)
    )
    lengths_m = np.empty((len(inside), len(_HEIGHTS_M) - 1))
    for i, (low, high) in enumerate(pairwise(_HEIGHTS_M)):
        part_m = np.clip(upper_m, low, high) - np.clip(lower_m, low, high)
        level = ~slopes & (lower_m >= low) & (lower_m < high)
        length_m = np.where(level, profile.step_m, part_m * per_rise)
        lengths_m[:, i] = np.nansum(length_m, axis=1)
    return lengths_m
