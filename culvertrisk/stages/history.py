"""History stage: the log's thaws against those expected, by empirical Bayes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import (
    corrected_chance,
    empirical_bayes_count,
    fitted_overdispersion,
)
from culvertrisk.formulas.log_record import LogRecord
from culvertrisk.inputs.reading import note_table
from culvertrisk.settings import Freeze, Settings
from culvertrisk.stages.blockage import FRAGILITY, with_factors
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.hindcast import Hindcast, hindcast
from culvertrisk.stages.history_notes import fit_notes, unsure_level
from culvertrisk.stages.log_fit import (
    RecordFit,
    fit_record,
    place_factors,
    winter_chances,
)
from culvertrisk.stages.log_remarks import with_log_note
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.town_defaults import within_limits

Floats = NDArray[np.float64]

_NO_THAW = (
    "The freeze model is not yet calibrated: the log names no thaw that it could be "
    "fitted to."
)
_LOW, _SOME, _HIGH, _SEVERE = "low", "some", "high", "severe"


@dataclass(frozen=True)
class HistoryFit:
    """What the log says of n crossings, shape (n,), and of the town.

    ``logging_rate`` is thaws logged for each block expected, ``overdispersion`` that
    of the thaws about those expected. The factors on the median and the spread of
    the fragility and on how many mechanisms are at work are 1 where it is not yet
    calibrated. ``history_factor`` leaves out this winter where a crew opened the pipe,
    ``usual_factor`` does not: see ``fit_history``. ``notes`` are sentences for the
    reports, ``row_notes`` the rows of the log that count for nothing, as
    ``Reading.notes``; ``log_note``, shape (n,), the log's own remarks.
    """

    logged_thaw_count: Floats
    expected_thaw_count: Floats
    believed_thaw_count: Floats
    history_factor: Floats
    usual_factor: Floats
    logged_fraction: Floats
    median_factor: float
    spread_factor: float
    level_factor: float
    is_calibrated: bool
    logging_rate: float
    overdispersion: float
    notes: tuple[str, ...]
    row_notes: pd.DataFrame
    log_note: NDArray[np.object_]


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
        With the columns of culverts and, where known, site, access and
        ``opened_days``.
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
    Fitted at once, by penalised maximum likelihood over crossings x winters: median
    closing ratio and spread of the fragility and how many mechanisms are at work (with
    30 thaws over 3 winters, else they stay as they are and the model is "not yet
    calibrated"), the spread of crossings that look alike, and the share of blocks
    logged by class of road and, where the log says who called, by the dwellings near.
    See ``hindcast`` and ``fitted_log_model``. Thaws
    expected are winters with a thaw expected, times the visits that such a winter has
    in this log.

    One thaw speaks once. That a crew opened a pipe this winter already raises its
    chance of the day, by Bayes on the block that the crew found: see ``opened_state``.
    The same row in the factor would raise it again. So in ``history_factor`` this
    winter is left out for pipes with ``opened_days``: it is what was known of them on
    the morning before the crew came; ``factor_of_day`` puts both together. This winter
    stays for all others, whose silence or vain visit nothing else counts; in
    ``usual_factor``, for chances that know no opening; in the counts; and in what is
    fitted for the town as a whole.
    """
    is_pipe = pipes_of(crossings)
    noted = with_log_note(crossings, log, settings, on)
    remarks = noted["log_note"].to_numpy(dtype=object)
    past = hindcast(noted, log, weather, sun, settings, on)
    if past is None:
        unknown = np.full(len(is_pipe), np.nan)
        c = freeze_coefficients(settings.freeze.defaults)
        only = "No thaw log: the freeze model is not yet calibrated, physics alone."
        says = only, unsure_level(c)
        return _no_history(is_pipe, unknown, says, remarks)
    if not (past.record.is_thawed & past.record.is_exposed).any():
        said = *past.notes, _NO_THAW
        empty = _no_history(is_pipe, past.logged_thaw_count, said, remarks)
        return replace(empty, row_notes=past.row_notes)
    fit = fit_record(past.record, past.coefficients)
    told = _winters_told(past, crossings, settings.winter_of(on).year)
    made = _with_counts(past, fit, is_pipe, remarks)
    unknown = np.where(is_pipe, 0.0, np.nan)
    return replace(made, history_factor=place_factors(told, fit.model) + unknown)


def _winters_told(past: Hindcast, crossings: GeoDataFrame, year: int) -> LogRecord:
    """The record without this winter where ``opened_state`` takes it."""
    if "opened_days" not in crossings:
        return past.record
    is_opened = (crossings["opened_days"] != "").to_numpy(bool)
    is_this = np.array(past.winters) == year
    taken = is_opened[:, None] & is_this
    return replace(past.record, is_exposed=past.record.is_exposed & ~taken)


def with_log(
    crossings: GeoDataFrame, settings: Settings, fit: HistoryFit
) -> tuple[GeoDataFrame, Settings]:
    """Give the freeze model what the log says: its remarks and the fragility.

    Parameters
    ----------
    crossings : GeoDataFrame
        As the log was fitted with.
    settings : Settings
        As the log was fitted with.
    fit : HistoryFit
        Of the town's log.

    Returns
    -------
    crossings : GeoDataFrame
        With ``log_note``, whose words stand in where seep or plug are blank.
    settings : Settings
        The same where the model is not yet calibrated.
    """
    town = settings.freeze.defaults
    factors = fit.median_factor, fit.spread_factor, fit.level_factor
    fitted = with_factors(freeze_coefficients(town), *factors)
    own = {name: float(fitted[name].item()) for name in FRAGILITY}
    own["level_spread"] = 0.0  # the log has told it
    own = {**town, **within_limits("freeze", own)}
    freeze = Freeze(defaults=own) if fit.is_calibrated else settings.freeze
    noted = crossings.assign(log_note=fit.log_note)
    return noted, settings.model_copy(update={"freeze": freeze})


def with_history(
    crossings: GeoDataFrame, fit: HistoryFit, settings: Settings | None = None
) -> GeoDataFrame:
    """Add the counts, the factor, the corrected chance, its score and its word.

    Parameters
    ----------
    crossings : GeoDataFrame
        With ``modelled_chance``, by the settings of ``with_log``.
    fit : HistoryFit
        Of the same crossings.
    settings : Settings, optional
        The town's own limits of the classes, if it has any.

    Returns
    -------
    crossings : GeoDataFrame
        The factor multiplies the odds of the modelled chance. ``freeze_class`` is
        severe from a chance of 0.60, high from 0.35, some from 0.15, else low
        (the limits of the defaults table), "" where there is no chance.
    """
    modelled = crossings["modelled_chance"].to_numpy(float)
    chance = corrected_chance(modelled, fit.history_factor)
    town = settings.freeze.defaults if settings else None
    return crossings.assign(
        logged_thaw_count=fit.logged_thaw_count,
        expected_thaw_count=fit.expected_thaw_count,
        believed_thaw_count=fit.believed_thaw_count,
        history_factor=fit.history_factor,
        blocked_chance=chance,
        freeze_index=100.0 * chance,
        freeze_class=class_words(chance, freeze_coefficients(town)),
    )


def class_words(
    chance: Floats, coefficients: Mapping[str, Floats]
) -> NDArray[np.object_]:
    """Return the word for each chance, "" where it is unknown."""
    limits = [
        coefficients[f"class_{word}_chance"].item() for word in (_SOME, _HIGH, _SEVERE)
    ]
    words = np.array([_LOW, _SOME, _HIGH, _SEVERE], dtype=object)
    place = np.searchsorted(limits, np.nan_to_num(chance), side="right")
    return np.where(np.isnan(chance), "", words[place]).astype(object)


def _with_counts(
    past: Hindcast,
    fit: RecordFit,
    is_pipe: NDArray[np.bool_],
    remarks: NDArray[np.object_],
) -> HistoryFit:
    record = past.record
    blocks = winter_chances(record, fit.model) * record.is_exposed
    logged, unknown = past.visits.sum(axis=1), np.where(is_pipe, 0.0, np.nan)
    # the penalties pull the shares: what is expected adds up to what was logged
    winters = fit.logged_fraction * (blocks @ record.kept_fraction)
    expected = winters * logged[is_pipe].sum() / winters.sum()
    spread = fitted_overdispersion(logged[is_pipe], expected[is_pipe])
    believed = empirical_bayes_count(expected, logged, spread)
    return HistoryFit(
        logged_thaw_count=past.logged_thaw_count,
        expected_thaw_count=expected + unknown,
        believed_thaw_count=believed + unknown,
        history_factor=fit.history_factor + unknown,
        usual_factor=fit.history_factor + unknown,
        logged_fraction=fit.logged_fraction + unknown,
        median_factor=fit.model.median_factor,
        spread_factor=fit.model.spread_factor,
        level_factor=fit.model.level,
        is_calibrated=fit.is_calibrated,
        logging_rate=float(logged[is_pipe].sum() / blocks.sum()),
        overdispersion=spread,
        notes=(*past.notes, *fit_notes(past, fit)),
        row_notes=past.row_notes,
        log_note=remarks,
    )


def _no_history(
    is_pipe: NDArray[np.bool_],
    logged: Floats,
    says: tuple[str, ...],
    remarks: NDArray[np.object_],
) -> HistoryFit:
    unknown = np.full(len(is_pipe), np.nan)
    return HistoryFit(
        logged_thaw_count=logged,
        expected_thaw_count=unknown,
        believed_thaw_count=unknown,
        history_factor=np.where(is_pipe, 1.0, np.nan),
        usual_factor=np.where(is_pipe, 1.0, np.nan),
        logged_fraction=unknown,
        median_factor=1.0,
        spread_factor=1.0,
        level_factor=1.0,
        is_calibrated=False,
        logging_rate=np.nan,
        overdispersion=np.nan,
        notes=says,
        row_notes=note_table([]),
        log_note=remarks,
    )
