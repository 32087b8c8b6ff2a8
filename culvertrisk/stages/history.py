"""History stage: the log's thaws against those expected, by empirical Bayes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.checks import SHOWN_ROWS
from culvertrisk.formulas.bayes import (
    corrected_chance,
    empirical_bayes_count,
    fitted_overdispersion,
)
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze import NOT_PIPES, freeze_state
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.log_matching import match_log
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_weather import has_weather

Floats = NDArray[np.float64]

FOUND_ICE = ("open", "partial", "dug", "gave up")
_LAST_MONTH_DAY = (5, 31)  # the sun's season ends; no ice grows from here on
_LOW, _SOME, _HIGH, _SEVERE = "low", "some", "high", "severe"


@dataclass(frozen=True)
class HistoryFit:
    """What the log says of n crossings, shape (n,), and of the town.

    ``logging_rate`` is thaws logged for each block expected; ``notes`` are
    sentences for the reports.
    """

    logged_thaw_count: Floats
    expected_thaw_count: Floats
    history_factor: Floats
    logging_rate: float
    overdispersion: float
    notes: tuple[str, ...]


def fit_history(
    crossings: GeoDataFrame,
    log: pd.DataFrame | None,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    on: date,
) -> HistoryFit:
    """Compare the log before a day with a hindcast of the same winters.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and, where known, site.
    log : DataFrame or None
        The table of ``read_thaw_log``; None where the town keeps none.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun at both ends by day of the season; None is unknown.
    settings : Settings
        Start of the winter.
    on : date
        The day asked; no row of that day or later is looked at.

    Returns
    -------
    fit : HistoryFit
        Factor 1 and unknown counts without a log; NaN for bridges and fords.

    Notes
    -----
    Of each winter the model's chance with its thickest ice counts, times one
    logging rate for the town, thaws over chances. Winters before ``install_year``
    are cut, from the log and from the hindcast; so are winters without weather.
    """
    is_pipe = ~crossings["crossing_kind"].isin(NOT_PIPES).to_numpy(bool)
    before = None if log is None else log[log["day"] < pd.Timestamp(on)]
    if before is None or before.empty:
        return _no_history(is_pipe, "No thaw log: the freeze score is physics alone.")
    before = before.assign(culvert_id=match_log(crossings, before))
    spans = _winter_spans(before, settings, on)
    known = {y: s for y, s in spans.items() if has_weather(weather, *s)}
    inputs = freeze_inputs(crossings, sun, freeze_coefficients())
    lived = {year: _lived(crossings, year) for year in spans}
    hindcast = np.zeros(len(crossings))
    for year, span in known.items():
        state = freeze_state(inputs, weather, *span, freeze_coefficients())
        hindcast += np.where(lived[year], state.most_chance, 0)
    counts = {year: _thaws(crossings, before, year) * lived[year] for year in spans}
    logged = np.sum([*counts.values()], axis=0)
    in_fit = np.sum([counts[y] for y in known] or [np.zeros(len(crossings))], axis=0)
    notes = (_match_note(before), *_skipped_note(spans, known))
    return _fit(logged, in_fit, np.where(is_pipe, hindcast, np.nan), notes)


def add_history(
    crossings: GeoDataFrame,
    log: pd.DataFrame | None,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    on: date,
) -> GeoDataFrame:
    """Correct the modelled chance by the log and score it.

    Parameters are those of ``fit_history``; ``crossings`` also needs
    ``modelled_chance``.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``history``: see ``with_history``.
    """
    fit = fit_history(crossings, log, weather, sun, settings, on)
    return with_history(crossings, fit)


def with_history(crossings: GeoDataFrame, fit: HistoryFit) -> GeoDataFrame:
    """Add the counts, the factor, the corrected chance, its score and its word.

    Parameters
    ----------
    crossings : GeoDataFrame
        With ``modelled_chance``.
    fit : HistoryFit
        Of the same crossings.

    Returns
    -------
    crossings : GeoDataFrame
        The factor multiplies the odds of ``modelled_chance``. ``freeze_class`` is
        severe from a chance of 0.60, high from 0.35, some from 0.15, else low
        (the limits of the defaults table), "" where there is no chance.
    """
    chance = corrected_chance(crossings["modelled_chance"], fit.history_factor)
    return crossings.assign(
        logged_thaw_count=fit.logged_thaw_count,
        expected_thaw_count=fit.expected_thaw_count,
        history_factor=fit.history_factor,
        blocked_chance=chance,
        freeze_index=100.0 * chance,
        freeze_class=_words(chance, freeze_coefficients()),
    )


def _words(chance: Floats, coefficients: Mapping[str, Floats]) -> NDArray[np.object_]:
    limits = [
        coefficients[f"class_{word}_chance"].item() for word in (_SOME, _HIGH, _SEVERE)
    ]
    words = np.array([_LOW, _SOME, _HIGH, _SEVERE], dtype=object)
    place = np.searchsorted(limits, np.nan_to_num(chance), side="right")
    return np.where(np.isnan(chance), "", words[place]).astype(object)


def _winter_spans(
    log: pd.DataFrame, settings: Settings, on: date
) -> dict[int, tuple[date, date]]:
    """First and last day of each winter from the log's first to the day before."""
    spans = {}
    for year in range(int(log["winter"].min()), settings.winter_of(on).year + 1):
        last = date(year + 1, *_LAST_MONTH_DAY)
        first = settings.winter_of(last)
        last = min(last, on - timedelta(days=1))
        if first <= last:
            spans[year] = first, last
    return spans


def _lived(crossings: GeoDataFrame, year: int) -> NDArray[np.bool_]:
    """Tell which pipes lay there in the winter; an unknown year counts as always."""
    installed = crossings["install_year"].to_numpy(float)
    return np.isnan(installed) | (installed <= year)


def _thaws(crossings: GeoDataFrame, log: pd.DataFrame, year: int) -> Floats:
    rows = log[(log["winter"] == year) & log["result"].isin(FOUND_ICE)]
    days = rows.assign(day=rows["day"].dt.normalize())
    visits = days.drop_duplicates(["culvert_id", "day"])["culvert_id"].value_counts()
    counts = visits.reindex(crossings.index.astype(str)).fillna(0)
    return np.asarray(counts, dtype=np.float64)


def _fit(
    logged: Floats, in_fit: Floats, hindcast: Floats, notes: tuple[str, ...]
) -> HistoryFit:
    is_pipe = ~np.isnan(hindcast)
    total, expected_total = in_fit[is_pipe].sum(), hindcast[is_pipe].sum()
    if total == 0 or expected_total == 0:
        empty = _no_history(
            is_pipe, "The log names no thaw that the model could be fitted to."
        )
        return HistoryFit(
            np.where(is_pipe, logged, np.nan),
            empty.expected_thaw_count,
            empty.history_factor,
            empty.logging_rate,
            empty.overdispersion,
            (*notes, *empty.notes),
        )
    rate = float(total / expected_total)
    expected = rate * hindcast
    overdispersion = fitted_overdispersion(in_fit[is_pipe], expected[is_pipe])
    believed = empirical_bayes_count(expected, in_fit, overdispersion)
    # a pipe laid after the last winter of the log has no history: factor 1
    safe = np.where(expected > 0, expected, 1)
    factor = np.where(expected == 0, 1.0, believed / safe)
    says = f"{rate:.2f} thaws are logged for each block the model expects."
    counts = np.where(is_pipe, logged, np.nan)
    return HistoryFit(counts, expected, factor, rate, overdispersion, (*notes, says))


def _no_history(is_pipe: NDArray[np.bool_], says: str) -> HistoryFit:
    unknown = np.full(len(is_pipe), np.nan)
    factor = np.where(is_pipe, 1.0, np.nan)
    return HistoryFit(unknown, unknown, factor, np.nan, np.nan, (says,))


def _match_note(log: pd.DataFrame) -> str:
    lost = int((log["culvert_id"] == "").sum())
    return f"{lost} of {len(log)} rows of the log name no crossing clearly."


def _skipped_note(
    spans: Mapping[int, object], known: Mapping[int, object]
) -> tuple[str, ...]:
    skipped = [f"{year}-{year + 1}" for year in spans if year not in known]
    if not skipped:
        return ()
    listed = ", ".join(skipped[:SHOWN_ROWS]) + ", ..." * (len(skipped) > SHOWN_ROWS)
    return (f"Winters without enough weather are left out of the fit: {listed}.",)
