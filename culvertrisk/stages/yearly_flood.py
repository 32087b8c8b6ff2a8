"""Yearly flood stage: the storm a crossing holds, its floodings and their loss."""

from typing import NamedTuple

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.consequence import time_over_capacity
from culvertrisk.formulas.frequency import (
    annual_exceedance_chance,
    chance_over_years,
    expected_annual_damage,
)
from culvertrisk.formulas.overtopping import (
    floods_per_year,
    limiting_return_years,
    overtopping_per_year,
    peak_of_return,
)
from culvertrisk.settings import Settings
from culvertrisk.stages.closure_loss import closure_loss
from culvertrisk.stages.consequence import consequence_defaults
from culvertrisk.stages.design_flow import PEAK_COLUMNS
from culvertrisk.stages.design_storm import PEAK_YEARS, storm_defaults
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.limits import Words, told_limits

Floats = NDArray[np.float64]

_EVERY_RISE = 1e9  # floods a year above a capacity of 0: more than any limit


class _Floods(NamedTuple):
    """Floodings of n crossings, each field of shape (n,).

    ``open_years`` is the storm that the open pipe holds; the others are a year: with
    the pipe open, with the winter's ice, and those of the latter that meet a block.
    """

    open_years: Floats
    open_per_year: Floats
    per_year: Floats
    blocked_per_year: Floats


def add_yearly_flood(crossings: GeoDataFrame, settings: Settings) -> GeoDataFrame:
    """Add the limiting storm, floodings and loss a year, open and with winter ice.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of access, flood and design flow. ``winter_blocked_chance`` of
        ``add_winter_months`` is used, without it the chance of a block on the day
        asked, which ``yearly_note`` says.
    settings : Settings
        In ``design`` the share of floods in the iced season, the floods that a
        blocked pipe meets and the years a pipe lasts; in ``prices`` people in a
        vehicle.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``yearly_flood``. Bridges and fords are NaN.

    Notes
    -----
    If no crew comes: what crews save is not taken off. Capacity is what passes
    before water reaches the road, the pond's room left out. A blocked pipe passes
    nothing, whatever ice the day asked has in it: each rise of ``thaw_floods_per_year``
    comes over the road, but for what leaves over lower ground for sure. An open pipe's
    floods and the storm it holds are by the pipe alone. Return periods are held
    within ``shortest_return`` and ``longest_return``, beyond which five peaks do not
    tell.

    The loss a year with the pipe open is the integral of the loss over the floods a
    year, from the limiting storm through the peaks of 2 to 100 years, each shut for
    the time a triangular flood of ``storm_base`` times of concentration is above the
    capacity, and inspection. A flood that meets a block costs the town's closure,
    ``consequence_person_h``, or the mean of the open ones where that is more. Repair of
    the road is in neither.
    """
    winter_chance = _winter_chance(crossings)
    floods = _floods(crossings, winter_chance, settings)
    open_chance = annual_exceedance_chance(1 / floods.open_per_year)
    chance = annual_exceedance_chance(1 / floods.per_year)
    open_loss, loss = _losses(crossings, floods, settings)
    life_years = settings.design.life_years
    return crossings.assign(
        limiting_return_years=np.where(
            known_column(crossings, "has_larger_above") == 1, np.nan, floods.open_years
        ),
        overtopping_open_per_year=floods.open_per_year,
        overtopping_per_year=floods.per_year,
        overtopping_open_chance=open_chance,
        overtopping_chance=chance,
        floodings_in_life_count=life_years * floods.per_year,
        flooded_in_life_chance=chance_over_years(chance, life_years),
        yearly_loss_open_person_h=open_loss,
        yearly_loss_person_h=loss,
        yearly_note=_notes(crossings, floods.open_years),
    )


def _winter_chance(crossings: GeoDataFrame) -> Floats:
    name = "winter_blocked_chance"
    day = crossings["blocked_chance"]
    return crossings.get(name, day).fillna(day).to_numpy(float)


def _floods(
    crossings: GeoDataFrame, winter_chance: Floats, settings: Settings
) -> _Floods:
    open_years = _return_years(crossings, crossings["open_capacity_m3s"])
    open_per_year = floods_per_year(open_years)
    iced_share = settings.design.iced_season_fraction
    per_year = overtopping_per_year(
        open_per_year,
        _blocked_per_year(crossings),
        winter_chance,
        iced_share,
        settings.design.thaw_floods_per_year,
    )
    not_blocked = (1 - iced_share * winter_chance) * open_per_year
    blocked = np.maximum(per_year - not_blocked, 0)
    return _Floods(open_years, open_per_year, per_year, blocked)


def _blocked_per_year(crossings: GeoDataFrame) -> Floats:
    """Floods a year that come over the road past a blocked pipe, without a limit."""
    spill_m3s = np.nan_to_num(known_column(crossings, "spill_capacity_m3s"))
    past_spill = floods_per_year(_return_years(crossings, spill_m3s))
    return np.where(spill_m3s > 0, past_spill, _EVERY_RISE)


def _return_years(crossings: GeoDataFrame, capacity_m3s: ArrayLike) -> Floats:
    defaults = storm_defaults()
    years = limiting_return_years(
        capacity_m3s,
        PEAK_YEARS,
        crossings[[*PEAK_COLUMNS]].to_numpy(float),
    )
    return np.clip(years, defaults["shortest_return"], defaults["longest_return"])


def _losses(
    crossings: GeoDataFrame, floods: _Floods, settings: Settings
) -> tuple[Floats, Floats]:
    """Loss a year with the pipe open, and with the winter's ice [person-h]."""
    years, closure_s = _storms(crossings, floods.open_years)
    damage = closure_loss(crossings, closure_s, settings)
    open_loss = expected_annual_damage(floods_per_year(years), damage)
    each = np.maximum(
        crossings["consequence_person_h"].to_numpy(float),
        open_loss / floods.open_per_year,
    )
    share = 1 - floods.blocked_per_year / floods.per_year
    not_blocked = share * floods.per_year / floods.open_per_year
    return open_loss, not_blocked * open_loss + floods.blocked_per_year * each


def _storms(crossings: GeoDataFrame, open_years: Floats) -> tuple[Floats, Floats]:
    """Storms from the limiting one up, and the closure by each, shape (n, k + 1)."""
    peaks_m3s = crossings[[*PEAK_COLUMNS]].to_numpy(float)
    first_m3s = peak_of_return(open_years, PEAK_YEARS, peaks_m3s)
    limit_years = open_years[:, None]
    rarer = np.maximum(limit_years, np.asarray(PEAK_YEARS, float))
    defaults = consequence_defaults()
    over_s = time_over_capacity(
        np.column_stack([first_m3s, np.maximum(peaks_m3s, first_m3s[:, None])]),
        crossings["open_capacity_m3s"].to_numpy(float)[:, None],
        defaults["storm_base"] * crossings["concentration_s"].to_numpy(float)[:, None],
    )
    return np.hstack([limit_years, rarer]), over_s + defaults["inspection_time"]


def _notes(crossings: GeoDataFrame, open_years: Floats) -> Words:
    """What the yearly figures stand on where a method's limits end."""
    low, high = (storm_defaults()[n] for n in ("shortest_return", "longest_return"))
    often = float(floods_per_year(low))
    is_pipe = ~np.isnan(open_years)
    has_months = ~np.isnan(known_column(crossings, "winter_blocked_chance"))
    is_contradicted = known_column(crossings, "has_larger_above") == 1
    lines = (
        (
            "the storm it holds is not told: its catchment contradicts that of the "
            "crossing above it in the chain; the larger counts in the floods a year",
            is_contradicted,
        ),
        (
            "the open pipe, without its pond, holds less than a storm of "
            f"{low:g} years, where the frequency curve ends: {often:.0f} floods a year "
            "are counted",
            is_pipe & ~is_contradicted & (open_years <= low),
        ),
        (
            f"the open pipe holds more than a storm of {high:g} years, where the "
            f"frequency curve ends: {high:g} years are counted",
            is_pipe & ~is_contradicted & (open_years >= high),
        ),
        (
            "chance of ice over the winter unknown: that of the day asked stands for "
            "it in the floods a year",
            is_pipe & ~has_months,
        ),
    )
    return told_limits(lines, [""] * len(crossings))
