"""How often a crossing is blocked by month: the mean over the winters known."""

from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.overtopping import season_blocked_chance
from culvertrisk.settings import Settings
from culvertrisk.stages.blockage import SectionRows, averaged_state
from culvertrisk.stages.freeze import by_chunk
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.winter import (
    FreezeInputs,
    WinterIce,
    freeze_coefficients,
    winter_by_day,
)
from culvertrisk.stages.winter_weather import WinterDays, has_weather

Floats = NDArray[np.float64]

MONTHS = (10, 11, 12, 1, 2, 3, 4, 5)
_MIDDLE = 15  # day of the month that stands for it


def monthly_blocked_chance(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    on: date,
) -> Floats:
    """Chance that a crossing is blocked in the middle of each month, October to May.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and, where known, site; ``history_factor``
        corrects the odds by the crossing's own log.
    weather : DataFrame
        The table of ``read_weather``; forecasts are not used.
    sun : Sunlight or None
        Sun by season at both ends, rows as in ``crossings``.
    settings : Settings
        Start of the winter and, by ``with_fragility``, the fragility.
    on : date
        The day asked: what came later is not looked at.

    Returns
    -------
    blocked_chance : ndarray, shape (n, 8)
        By ``MONTHS``, the mean over the winters whose weather reaches the middle of
        the month; NaN for bridges and fords, and for a month that none reaches.

    Notes
    -----
    One daily run a winter. If no crew comes: ice that one took out is not taken off.
    """
    coefficients = freeze_coefficients(settings.freeze.defaults)
    inputs = freeze_inputs(crossings, sun, coefficients)
    total, count = np.zeros((len(crossings), len(MONTHS))), np.zeros(len(MONTHS))
    is_past = weather.index <= pd.Timestamp(on)
    measured = weather[is_past & (weather["is_forecast"] != 1).to_numpy()]
    for first_day, middles in _winters(measured, settings, coefficients):
        chance = _chances_on(inputs, measured, first_day, middles, coefficients)
        reached = len(middles)
        total[:, :reached] += chance
        count[:reached] += 1
    mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    is_pipe = pipes_of(crossings)
    mean = np.where(is_pipe[:, None], mean, np.nan)
    if "history_factor" not in crossings:
        return mean
    return corrected_chance(mean, crossings["history_factor"].to_numpy(float)[:, None])


def add_winter_months(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    on: date,
    settings: Settings,
) -> GeoDataFrame:
    """Add the chance that a flood of the iced season meets a blocked pipe.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site, freeze and history.
    weather, sun, on, settings
        As for ``monthly_blocked_chance``.

    Returns
    -------
    crossings : GeoDataFrame
        With ``winter_blocked_chance``: the months by ``flood_month_share`` of the
        defaults table, those left out that no winter reaches; where none does, the
        chance of the day asked.
    """
    monthly = monthly_blocked_chance(crossings, weather, sun, settings, on)
    share = freeze_coefficients(settings.freeze.defaults)["flood_month_share"]
    is_known = ~np.isnan(monthly).all(axis=0)
    if not share[is_known].any():
        usual = crossings["blocked_chance"].to_numpy(float)
    else:
        usual = season_blocked_chance(monthly[:, is_known], share[is_known])
    return crossings.assign(winter_blocked_chance=usual)


def _winters(
    weather: pd.DataFrame, settings: Settings, coefficients: Mapping[str, Floats]
) -> list[tuple[date, list[date]]]:
    """First day of each winter with the middles of months its weather reaches."""
    days = weather.index
    if days.empty:
        return []
    found = []
    for year in range(days[0].year - 1, days[-1].year + 1):
        middles = [date(year + (m < MONTHS[0]), m, _MIDDLE) for m in MONTHS]
        first_day = min(settings.winter_of(middles[-1]), middles[0])
        known = [d for d in middles if d <= days[-1].date()]
        while known and not has_weather(weather, first_day, known[-1], coefficients):
            known.pop()
        if known and days[0].date() <= first_day:
            found.append((first_day, known))
    return found


def _chances_on(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    first_day: date,
    asked: list[date],
    coefficients: Mapping[str, Floats],
) -> Floats:
    """Chance on each day asked, shape (n, k), from one run to the last of them."""
    wanted = {(day - first_day).days for day in asked}

    def kept(
        daily: FreezeInputs, days: WinterDays, c: Mapping[str, Floats]
    ) -> list[WinterIce]:
        run = enumerate(winter_by_day(daily, days, c))
        return [ice for day, ice in run if day in wanted]

    def chances(
        rows: SectionRows, kept_days: list[WinterIce], c: Mapping[str, Floats]
    ) -> Floats:
        states = [averaged_state(rows, ice, c) for ice in kept_days]
        return np.stack([state.modelled_chance for state in states], axis=1)

    span = first_day, asked[-1]
    parts = by_chunk(chances, inputs, weather, span, coefficients, kept)
    return np.concatenate(parts)
