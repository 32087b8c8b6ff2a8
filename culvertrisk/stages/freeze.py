"""Freeze stage: weather, sun and barrel to ice and the chance that it blocks."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.settings import Settings
from culvertrisk.stages.blockage import FreezeState, averaged_state, section_rows
from culvertrisk.stages.freeze_inputs import (
    Spread,
    Sunlight,
    freeze_inputs,
    unknown_points,
)
from culvertrisk.stages.winter import (
    FreezeInputs,
    freeze_coefficients,
    run_winter,
)
from culvertrisk.stages.winter_weather import with_forecast

Floats = NDArray[np.float64]

NOT_PIPES = ("bridge", "ford")
_CHUNK = 4096  # crossings run at once: bounds memory, keeps arrays near the processor
_DAILY = ("rise_m", "cover_m", "length_m")  # unknowns that the daily run feels


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
    count = len(inputs.rise_m)
    chunks = [
        _chunk_state(
            _rows(inputs, slice(start, start + _CHUNK)),
            weather,
            (first_day, last_day),
            coefficients,
        )
        for start in range(0, max(count, 1), _CHUNK)
    ]
    return FreezeState(
        *(
            np.concatenate([getattr(chunk, item.name) for chunk in chunks])
            for item in fields(FreezeState)
        )
    )


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
    shading is ``sun_j_m2``; slope is ``barrel_slope_m_per_m`` and ``outlet_drop_m``;
    size is ``rise_m``, ``length_m`` and ``cover_m``; water is ``seep_chance`` and
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
        With the columns of culverts and, where known, site.
    weather : DataFrame
        The table of ``read_weather``; the forecast row of the day is used.
    sun : Sunlight or None
        Sun at both ends by day of the season; None is unknown.
    on : date
        The day asked.
    settings : Settings
        Start of the winter, and numbers typed for the day in ``forecast``.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``freeze``; bridges and fords stay NaN.

    Raises
    ------
    InputError
        If the weather of the winter has too many gaps.
    """
    coefficients = freeze_coefficients()
    inputs = freeze_inputs(crossings, sun, coefficients)
    days = with_forecast(weather, on, settings.forecast)
    state = freeze_state(inputs, days, settings.winter_of(on), on, coefficients)
    is_pipe = ~crossings["crossing_kind"].isin(NOT_PIPES).to_numpy(bool)
    names = ("afdd_cday", "standing_ice_m", "seep_ice_m")
    shown = (*names, "blocked_fraction", "modelled_chance")
    cause = _cause(state, coefficients["cause_chance_least"])
    return crossings.assign(
        **{name: np.where(is_pipe, getattr(state, name), np.nan) for name in shown},
        freeze_cause=np.where(is_pipe, cause, "").astype(object),
    )


def _cause(state: FreezeState, least_chance: Floats) -> NDArray[np.object_]:
    leading = np.where(state.seep_chance > state.sag_chance, "seep", "sag")
    most = np.maximum(state.seep_chance, state.sag_chance)
    return np.where(most < least_chance, "none", leading).astype(object)


def _rows(inputs: FreezeInputs, rows: slice) -> FreezeInputs:
    arrays = {
        item.name: getattr(inputs, item.name)[rows]
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    points = {name: value[rows] for name, value in inputs.points.items()}
    return FreezeInputs(points=points, **arrays)


def _chunk_state(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    days: tuple[date, date],
    coefficients: Mapping[str, Floats],
) -> FreezeState:
    sun_known = np.isfinite(inputs.sun_j_m2).all(axis=1)
    daily = unknown_points(
        {
            **{name: getattr(inputs, name) for name in _DAILY},
            "sun_fraction": np.where(sun_known, 1.0, np.nan),
        },
        inputs.points,
    )
    ice = run_winter(_daily_inputs(inputs, daily), weather, *days, coefficients)
    return averaged_state(section_rows(inputs, daily, coefficients), ice, coefficients)


def _daily_inputs(inputs: FreezeInputs, daily: Spread) -> FreezeInputs:
    """Repeat the crossings for the daily run; without any sun known there is none."""
    owner = daily.owner
    at_end = inputs.sun_j_m2[owner]
    fraction = daily.values["sun_fraction"][:, None].astype(at_end.dtype)
    in_open = np.nan_to_num(inputs.open_sun_j_m2[owner]) * fraction
    return replace(
        inputs,
        rise_m=daily.values["rise_m"],
        cover_m=daily.values["cover_m"],
        length_m=daily.values["length_m"],
        elevation_offset_m=inputs.elevation_offset_m[owner],
        sun_j_m2=np.where(np.isfinite(at_end).all(axis=1)[:, None], at_end, in_open),
    )
