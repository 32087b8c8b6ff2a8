"""What one record of the log says of the physics, of the crews, of each crossing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.log_model import (
    LEAST_CHANCE,
    LogModel,
    LogPrior,
    LogRecord,
    believed_chance,
    calibrated_chance,
    effect_weights,
    fitted_log_model,
)
from culvertrisk.stages.log_matching import history_defaults

Floats = NDArray[np.float64]

_PRIOR = (
    *("level_spread", "slope_spread", "effect_spread", "effect_spread_spread"),
    *("logged_fraction", "logged_spread", "group_spread"),
)


@dataclass(frozen=True)
class RecordFit:
    """What one record of the log says: of the physics, of crews, of each crossing.

    ``calibration`` turns the physics into the chance at a crossing like this one
    (None: it says too little and the physics stays as it is),
    ``history_factor``, shape (n,), corrects its odds by the crossing's own log;
    ``logged_fraction``, shape (n,), is the share of blocks that leave a row.
    """

    calibration: LogModel | None
    history_factor: Floats
    logged_fraction: Floats


def fit_record(record: LogRecord) -> RecordFit:
    """Fit one record: all winters of the log, or all but one for the proof.

    Parameters
    ----------
    record : LogRecord
        With at least one thaw.

    Returns
    -------
    fit : RecordFit
        Factor 1 for crossings without an exposed winter.
    """
    c = history_defaults()
    thaws = record.is_thawed & record.is_exposed
    is_enough = thaws.sum() >= c["calibration_thaw_count"]
    winters = thaws.any(axis=0).sum()
    is_calibrated = bool(is_enough and winters >= c["calibration_winter_count"])
    prior = LogPrior(*(c[name] for name in _PRIOR))
    model = fitted_log_model(record, prior, is_calibrated=is_calibrated)
    return RecordFit(
        calibration=model if is_calibrated else None,
        history_factor=_factor(record, model),
        logged_fraction=model.logged_fraction[record.group],
    )


def _factor(record: LogRecord, model: LogModel) -> Floats:
    """Odds after the crossing's own log over those before, at its usual winter."""
    exposed = np.maximum(record.is_exposed.sum(axis=1), 1)
    usual = (record.chance * record.is_exposed).sum(axis=1) / exposed
    usual = np.clip(usual, LEAST_CHANCE, 1 - LEAST_CHANCE)
    after = believed_chance(usual, effect_weights(record, model), model)
    before = calibrated_chance(usual, model)
    odds = (after / (1 - after)) / (before / (1 - before))
    return np.where(record.is_exposed.any(axis=1), odds, 1.0)


def chance_at_its_like(chance: Floats, calibration: LogModel | None) -> Floats:
    """Chance of a block at crossings like this one; as modelled without calibration."""
    return chance if calibration is None else calibrated_chance(chance, calibration)


def blocked_given_log(
    chance: Floats, calibration: LogModel | None, history_factor: Floats
) -> Floats:
    """Chance of a block: the physics, recalibrated and corrected by the log.

    Parameters
    ----------
    chance : ndarray, shape (n,)
        The model's chance.
    calibration : LogModel or None
        Of the town's log; None leaves the physics as it is.
    history_factor : ndarray, shape (n,)
        On the odds, by the crossing's own log.

    Returns
    -------
    blocked_chance : ndarray, shape (n,)
        From 0 to 1; NaN where an input is.
    """
    return corrected_chance(chance_at_its_like(chance, calibration), history_factor)
