"""Freeze stage: weather, sun and barrel to ice and the chance that it blocks."""

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from datetime import date
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.draught import prevailing_wind, wind_alignment
from culvertrisk.settings import Settings
from culvertrisk.stages.blockage import (
    FreezeState,
    SectionRows,
    section_rows,
    trial_chances,
)
from culvertrisk.stages.causes import cause_columns, leading_causes
from culvertrisk.stages.freeze_inputs import (
    DAILY_UNKNOWNS,
    Sunlight,
    daily_inputs,
)
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.openings import opened_state, opening_inputs
from culvertrisk.stages.outlook import outlook
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.unknowns import each_once, unknown_points
from culvertrisk.stages.winter import (
    FreezeInputs,
    days_of_winter,
    freeze_coefficients,
    run_winter,
)
from culvertrisk.stages.winter_weather import WinterDays

Floats = NDArray[np.float64]
Answer = TypeVar("Answer")
Run = TypeVar("Run")

_CHUNK = 8192  # crossings run at once: bounds memory, keeps arrays near the processor
_SHOWN_ICE = {"sag": "standing_ice_m"}  # the other columns bear the mechanism's name


def freeze_state(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> FreezeState:
    """Run a winter and average over everything unknown.

    Parameters
    ----------
    inputs : FreezeInputs
        n crossings; NaN is unknown and spread over its ``points``.
    weather : DataFrame
        The table of ``read_weather``.
    first_day, last_day : date
        The winter's first day and the day asked, both included.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    state : FreezeState
        No NaN: each crossing gets a chance whatever is unknown of it.

    Raises
    ------
    InputError
        If the weather has too many gaps: see ``winter_weather``.
    """
    span = first_day, last_day
    return _joined(
        by_chunk(opened_state, inputs, weather, span, coefficients, run_winter)
    )


def most_chances(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> Floats:
    """Chance with the thickest ice of a winter, for each trial fragility.

    Parameters are those of ``freeze_state``.

    Returns
    -------
    chances : ndarray, shape (2, 5, 5, n)
        By what is guessed and by what is recorded, then by ``MEDIAN_FACTORS`` of the
        fragility and by ``SPREAD_FACTORS``.
    """
    span = first_day, last_day
    parts = by_chunk(trial_chances, inputs, weather, span, coefficients, run_winter)
    return np.concatenate(parts, axis=-1)


def by_chunk(
    last_step: Callable[[SectionRows, Run, Mapping[str, Floats]], Answer],
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    span: tuple[date, date],
    coefficients: Mapping[str, Floats],
    run: Callable[[FreezeInputs, WinterDays, Mapping[str, Floats]], Run],
) -> list[Answer]:
    """Run the winter for some crossings at a time and take the last step for each.

    ``run`` is ``run_winter``, or what keeps more of the winter than its last day.
    """
    days = days_of_winter(weather, *span, coefficients)
    from_deg = _wind_from_deg(weather, *span, coefficients)
    aligned = wind_alignment(inputs.barrel_bearing_deg, from_deg)
    starts = range(0, max(len(inputs.rise_m), 1), _CHUNK)

    def of_chunk(start: int) -> Answer:
        rows = slice(start, start + _CHUNK)
        chunk = rows_of(inputs, rows)
        daily, at_work = _spread(chunk, aligned[rows], coefficients)
        ran = run(daily, days, coefficients)
        return last_step(at_work, ran, coefficients)

    with ThreadPoolExecutor(max_workers=os.cpu_count()) as workers:
        return [*workers.map(of_chunk, starts)]


def modelled_chance(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    on: date,
    *,
    first_day: date,
    coefficients: Mapping[str, Floats],
) -> Floats:
    """Chance that each crossing is blocked on a day, by the physics alone.

    For the shares by group, swap fields of ``inputs`` with ``dataclasses.replace``:
    shading is both suns; slope is ``barrel_slope_m_per_m``, ``outlet_drop_m`` and the
    chances of a pond, of none and of ice from below; size is ``rise_m``, ``length_m``
    and ``cover_m``; water is ``seep_chance``, ``plug_chance``, ``open_chance`` and
    ``silt_fraction``; for the weather give ``climatology`` in place of ``weather``.

    Parameters
    ----------
    inputs : FreezeInputs
        n crossings, also such as no real one has.
    weather : DataFrame
        The table of ``read_weather``.
    on, first_day : date
        The day asked and the first of its winter.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    modelled_chance : ndarray, shape (n,)
        From 0 to 1, never NaN.
    """
    return freeze_state(inputs, weather, first_day, on, coefficients).modelled_chance


def add_freeze(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    on: date,
    settings: Settings,
) -> GeoDataFrame:
    """Add frost, ice and the modelled chance of a block on the day asked.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and, where known, site, ``opened_days`` and
        ``history_factor``, by which causes and days follow the log.
    weather : DataFrame
        The table of ``read_weather``, the row of the day in it.
    sun : Sunlight or None
        Sun at both ends by day of the season; None is unknown.
    on : date
        The day asked.
    settings : Settings
        Start of the winter.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``freeze``; bridges and fords stay NaN.

    Raises
    ------
    InputError
        If the weather of the winter has too many gaps.
    """
    c = freeze_coefficients(settings.freeze.defaults)
    first_day = settings.winter_of(on)
    inputs = opening_inputs(crossings, sun, (first_day, on), c)
    state = freeze_state(inputs, weather, first_day, on, c)
    without = [replace(inputs, opened_day=np.full_like(inputs.opened_day, np.nan))]
    without += [replace(without[0], silt_fraction=np.zeros(len(crossings)))]
    never, clean = (
        freeze_state(given, weather, first_day, on, c).modelled_chance
        for given in without
    )
    # what a crew found says nothing of how much of it was the silt's
    kept = clean / np.where(never > 0, never, 1)
    by_log = known_column(crossings, "history_factor")
    causes = leading_causes(state, state.modelled_chance * kept, c, by_log)
    seen = outlook(inputs, weather, (first_day, on), causes, c)
    made = {**_state_columns(state), **cause_columns(causes), **seen}
    is_pipe = pipes_of(crossings)
    return crossings.assign(
        **{name: _of_pipes(values, is_pipe) for name, values in made.items()}
    )


def _state_columns(state: FreezeState) -> dict[str, Floats]:
    ice = {_SHOWN_ICE.get(k, f"{k}_ice_m"): v for k, v in state.ice_m.items()}
    return {
        "afdd_cday": state.afdd_cday,
        "frost_depth_m": state.frost_depth_m,
        "ground_c": state.ground_c,
        "blocked_fraction": state.blocked_fraction,
        "modelled_chance": state.modelled_chance,
        **ice,
    }


def _of_pipes(values: NDArray[Any], is_pipe: NDArray[np.bool_]) -> NDArray[Any]:
    if values.dtype == object:
        return np.where(is_pipe, values, "").astype(object)
    return np.where(is_pipe, values, np.nan)


def rows_of(inputs: FreezeInputs, rows: slice | NDArray[np.bool_]) -> FreezeInputs:
    """Return the inputs of some crossings."""
    arrays = {
        item.name: getattr(inputs, item.name)[rows]
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    points = {name: value[rows] for name, value in inputs.points.items()}
    return FreezeInputs(points=points, **arrays)


def _spread(
    inputs: FreezeInputs, wind_alignment: Floats, coefficients: Mapping[str, Floats]
) -> tuple[FreezeInputs, SectionRows]:
    """Spread crossings over what is unknown: for the daily run, then by section."""
    sun_known = np.isfinite(inputs.sun_j_m2).all(axis=1)
    daily = unknown_points(
        {
            **{name: getattr(inputs, name) for name in DAILY_UNKNOWNS},
            "sun_fraction": np.where(sun_known, 1.0, np.nan),
        },
        inputs.points,
    )
    rows = section_rows(inputs, daily, wind_alignment, coefficients)
    few, run = each_once(daily, inputs.run_label)
    return daily_inputs(inputs, few), replace(rows, run=run[rows.run])


def _joined(chunks: Sequence[FreezeState]) -> FreezeState:
    whole: dict[str, Any] = {}
    for item in fields(FreezeState):
        parts = [getattr(chunk, item.name) for chunk in chunks]
        if isinstance(parts[0], Mapping):
            whole[item.name] = {
                key: np.concatenate([part[key] for part in parts]) for key in parts[0]
            }
        else:
            whole[item.name] = np.concatenate(parts)
    return FreezeState(**whole)


def _wind_from_deg(
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> float:
    """Where the wind of the winter's days comes from, by the weather or the town."""
    told = float(coefficients["wind_from_deg"].item())
    if "wind_from_deg" not in weather:
        return told
    span = weather.loc[str(first_day) : str(last_day)]
    from_deg = prevailing_wind(span["wind_from_deg"], span["wind_m_s"])
    return told if np.isnan(from_deg) else from_deg
