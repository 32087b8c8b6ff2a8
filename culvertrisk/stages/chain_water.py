"""Water handed on: what ponds hold back, what an opened pipe lets go, what backs up."""

from typing import NamedTuple

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.barrel_flow import barrel_headwater
from culvertrisk.formulas.frequency import exceedance_chance
from culvertrisk.formulas.level_pool import (
    level_pool,
    outflow_of_storage,
    overtopping_factor,
)
from culvertrisk.settings import Settings
from culvertrisk.stages.flood import with_open_chance
from culvertrisk.stages.flood_capacity import (
    Openings,
    iced_openings,
    openings,
    taken,
)
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.pond_room import storage_at
from culvertrisk.stages.ponding import PondGround
from culvertrisk.stages.tailwater import (
    capacity_under_tailwater,
    channel_tailwater,
    depth_from_below,
    next_below,
)
from culvertrisk.stages.today_hours import (
    day_clock,
    day_flow,
    hours_in_order,
    row_slices,
)

Floats = NDArray[np.float64]

# Shares of the capacity at which the pond's outflow is worked out; closer where the
# headwater rises fastest
_SHARES = np.array([0.0, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9])
_AT_NO_FLOW = slice(1, 2)  # the level after the bed: headwater without flow
_SURE = 6.0  # spreads of the day's water beyond which no chance is left


class _Tables(NamedTuple):
    """Storage and outflow at the same m levels of n ponds, shape (n, m) [m3, m3/s]."""

    storage_m3: Floats
    outflow_m3s: Floats
    is_dem: NDArray[np.bool_]

    def of(self, rows: slice) -> tuple[Floats, Floats]:
        """The tables of some rows."""
        return self.storage_m3[rows], self.outflow_m3s[rows]


def add_chain_water(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    pond: PondGround | None = None,
) -> GeoDataFrame:
    """Add the water that ponds hold back and that crossings hand to each other.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood and today's hours; those of chains are used if there.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Runoff shares; hours of the rain and spread of today's peak in ``forecast``.
    pond : PondGround or None
        The ponds of the elevation raster, of the same rows.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``chain_water``. The chance of water over the road
        with the pipe open, what follows from it, and ``water_over_road_open_s``, are
        replaced where the pond's stages are known: there water first fills the pond.

    Notes
    -----
    Level-pool routing of the day, from the water that stands behind the open pipe
    without flow, and from an empty pond with ice, as when blocked; what does not fit
    below the road goes over at once. What ponds upstream hold back is not taken off
    the inflow. The day's water is lognormal: the chance is that of the factor on it at
    which the pond just goes over. An open pipe is never likelier to flood than a
    blocked one.

    A release is that of the next crossing upstream, opened with the day's runoff held
    below its road, at its greatest, at the hour of the peak here, and not flattened
    on its way: the safe side. Of several upstream the largest counts, since one is
    opened at a time. It floods this road no likelier than all of the day's water and
    the water let go would, were this pipe blocked. Backwater is the full pond of the
    next crossing below, level, up to its road: that it spills lower is seldom sure.
    """
    routed = _routed(crossings, water, settings, pond)
    opened = _with_pond_taken_in(crossings, routed, settings)
    is_pipe = pipes_of(crossings)
    names = ("routed_open_m3s", "routed_iced_m3s")
    made = {name: routed[name] for name in names}
    made |= _released(opened, routed["held_outflow_m3s"], settings)
    made |= _backwater(crossings)
    return opened.assign(
        **{name: np.where(is_pipe, value, np.nan) for name, value in made.items()}
    )


def _routed(
    crossings: GeoDataFrame,
    water: DayWater,
    settings: Settings,
    pond: PondGround | None,
) -> dict[str, Floats]:
    """Peaks that leave each pond, its critical factor, hour and full outflow."""
    tables = _tables(crossings, pond)
    clock_s = day_clock()
    spread = settings.forecast.spread_fraction
    held_m3 = crossings["today_runoff_m3"].to_numpy(float)
    parts = []
    for rows in row_slices(len(crossings)):
        flow_m3s = day_flow(crossings.iloc[rows], water, settings, clock_s)
        step_s, (usual, iced) = float(clock_s[1]), (t.of(rows) for t in tables)
        out_m3s, over_m3s, _ = level_pool(flow_m3s, step_s, *usual)
        iced_m3s, iced_over_m3s, _ = level_pool(flow_m3s, step_s, *iced)
        part = {
            "routed_open_m3s": (out_m3s + over_m3s).max(axis=1),
            "routed_iced_m3s": (iced_m3s + iced_over_m3s).max(axis=1),
            "over_s": _first_over(over_m3s, clock_s),
            "iced_over_s": _first_over(iced_over_m3s, clock_s),
            "factor": _factor(flow_m3s, step_s, usual, tables[0].is_dem[rows], spread),
            "held_outflow_m3s": outflow_of_storage(held_m3[rows], *usual),
        }
        parts.append(part)
    found = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return found | {"is_dem": tables[0].is_dem}


def _factor(
    flow_m3s: Floats,
    step_s: float,
    table: tuple[Floats, Floats],
    is_dem: NDArray[np.bool_],
    spread: float,
) -> Floats:
    """Factor on the day's water at which a known pond just goes over."""
    factor = np.full(len(flow_m3s), np.nan)
    storage_m3, outflow_m3s = (field[is_dem] for field in table)
    most = 2 * np.exp(_SURE * spread)
    factor[is_dem] = overtopping_factor(
        flow_m3s[is_dem], step_s, storage_m3, outflow_m3s, most
    )
    return factor


def _first_over(over_m3s: Floats, clock_s: Floats) -> Floats:
    """Start of the step in which water first goes over [s]."""
    is_over = over_m3s > 0
    first = np.maximum(is_over.argmax(axis=1) - 1, 0)
    return np.where(is_over.any(axis=1), clock_s[first], np.nan)


def _tables(
    crossings: GeoDataFrame, pond: PondGround | None
) -> tuple[_Tables, _Tables]:
    """Storage and outflow of the pond of each pipe, open and with its ice."""
    found = openings(crossings)
    limit_m = crossings["headwater_limit_m"].to_numpy(float)
    iced = iced_openings(found, limit_m, crossings["blocked_fraction"].to_numpy(float))
    tables = []
    for some, name in ((found, "today_capacity_m3s"), (iced, "iced_capacity_m3s")):
        most_m3s = crossings[name].to_numpy(float)
        level_m, outflow_m3s = _levels(crossings, some, most_m3s, limit_m)
        storage_m3, is_dem = storage_at(crossings, level_m, pond)
        tables.append(_Tables(storage_m3, outflow_m3s, is_dem))
    usual = tables[0]
    # over silt, or backed up, water stands behind an open pipe before the day's comes
    there_m3 = usual.storage_m3[:, _AT_NO_FLOW]
    stored_m3 = np.maximum(usual.storage_m3 - there_m3, 0)
    # with ice, as when blocked: only what stands there before a thaw is taken off
    room_m3 = crossings["pond_room_m3"].to_numpy(float)[:, None]
    iced_m3 = tables[1].storage_m3
    iced_m3 = np.maximum(iced_m3 - (iced_m3[:, -1:] - room_m3), 0)
    return usual._replace(storage_m3=stored_m3), tables[1]._replace(storage_m3=iced_m3)


def _levels(
    crossings: GeoDataFrame, found: Openings, most_m3s: Floats, limit_m: Floats
) -> tuple[Floats, Floats]:
    """Headwater at shares of the capacity, and those flows, shape (n, m)."""
    flow_m3s = _SHARES * most_m3s[:, None]
    ditch_m = channel_tailwater(crossings, flow_m3s.T).T
    backed_m = _backed_today(crossings)[:, None]
    part = taken(found, np.repeat(np.arange(len(limit_m)), len(_SHARES)))
    level_m = barrel_headwater(
        flow_m3s.ravel() / part.barrel_count,
        part.barrel,
        part.conduit._replace(tailwater_m=np.fmax(ditch_m, backed_m).ravel()),
        part.inlet,
        part.inlet_slope_m_per_m,
    ).reshape(flow_m3s.shape)
    bottom, top = np.zeros((len(limit_m), 1)), limit_m[:, None]
    level_m = np.hstack([bottom, np.minimum(level_m, top), top])
    outflow_m3s = np.hstack([bottom, flow_m3s, most_m3s[:, None]])
    return np.maximum.accumulate(level_m, axis=1), outflow_m3s


def _backed_today(crossings: GeoDataFrame) -> Floats:
    """Water that the next crossing backs up to each outlet today: above the ditch's."""
    tail_m = crossings["tailwater_m"].to_numpy(float)
    ditch_m = channel_tailwater(crossings, crossings["today_capacity_m3s"].to_numpy())
    return np.where(tail_m > ditch_m, tail_m, np.nan)


def _with_pond_taken_in(
    crossings: GeoDataFrame, routed: dict[str, Floats], settings: Settings
) -> GeoDataFrame:
    """The chance of water over the road by the routed factor, where it is known."""
    when_open = crossings["flooded_open_chance"].to_numpy(float)
    has_water = np.where(crossings["today_flow_m3s"].to_numpy(float) > 0, 1.0, 0.0)
    spread = settings.forecast.spread_fraction
    chance = exceedance_chance(has_water, routed["factor"], spread)
    is_routed = routed["is_dem"].astype(bool) & ~np.isnan(chance + when_open)
    most = crossings["flooded_blocked_chance"].to_numpy(float)
    when_open = np.minimum(np.where(is_routed, chance, when_open), most)
    opened = with_open_chance(crossings, when_open)
    hours = {
        "water_over_road_open_s": "over_s",
        "water_over_road_iced_s": "iced_over_s",
    }
    told = {
        name: np.where(is_routed, routed[own], crossings[name].to_numpy(float))
        for name, own in hours.items()
    }
    return hours_in_order(opened.assign(**told))


def _released(
    crossings: GeoDataFrame, held_outflow_m3s: Floats, settings: Settings
) -> dict[str, Floats]:
    """What each crossing lets go when opened with its pond full, and what comes."""
    flow_m3s = _at_next_below(crossings, "today_flow_m3s")
    runoff_m3 = _at_next_below(crossings, "today_runoff_m3")
    room_m3 = _at_next_below(crossings, "pond_room_m3")
    spread = settings.forecast.spread_fraction
    left_m3s = _at_next_below(crossings, "today_capacity_m3s") - held_outflow_m3s
    chance = exceedance_chance(flow_m3s, left_m3s, spread)
    chance = np.where(left_m3s < 0, 1.0, chance)
    held_m3 = np.minimum(crossings["today_runoff_m3"], crossings["pond_room_m3"])
    by_volume = exceedance_chance(runoff_m3 + held_m3.to_numpy(), room_m3, spread)
    usual = _at_next_below(crossings, "flooded_open_chance")
    own_chance = np.maximum(np.minimum(chance, by_volume), usual)
    return {
        "held_release_m3s": held_outflow_m3s,
        "held_release_flooded_chance": own_chance,
        "release_flow_m3s": _largest_upstream(crossings, held_outflow_m3s),
        "release_flooded_chance": _largest_upstream(crossings, own_chance),
    }


def _at_next_below(crossings: GeoDataFrame, name: str) -> Floats:
    """A column's value at the next crossing below; NaN where none is known."""
    below = next_below(crossings)
    values = crossings[name].to_numpy(float)
    return np.where(below >= 0, values[below], np.nan)


def _largest_upstream(crossings: GeoDataFrame, values: Floats) -> Floats:
    """Largest value of the crossings whose water each one meets; NaN where none."""
    below = next_below(crossings)
    largest = pd.Series(values).groupby(below).max()
    every = largest.reindex(np.arange(len(crossings)))
    return np.asarray(every, dtype=np.float64)


def _backwater(crossings: GeoDataFrame) -> dict[str, Floats]:
    """Depth at each outlet under the next crossing's full pond, and what is left."""
    limit_m = crossings["headwater_limit_m"].to_numpy(float)
    backwater_m = depth_from_below(crossings, limit_m)
    left_m3s, _ = capacity_under_tailwater(
        crossings,
        openings(crossings),
        limit_m,
        backwater_m,
        crossings["today_capacity_m3s"].to_numpy(float),
    )
    left_m3s = np.where(np.isnan(backwater_m), np.nan, left_m3s)
    return {"backwater_m": backwater_m, "backwater_capacity_m3s": left_m3s}
