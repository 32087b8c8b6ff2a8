"""What one record of the log says of the physics, of the crews, of each crossing."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from culvertrisk.formulas.fragility_trials import LEAST_CHANCE, at_factors
from culvertrisk.formulas.log_model import (
    believed_chance,
    effect_weights,
    logged_shares,
)
from culvertrisk.formulas.log_model_fit import fitted_log_model
from culvertrisk.formulas.log_record import LogModel, LogPrior, LogRecord

Floats = NDArray[np.float64]

_PRIOR = (
    *("median_spread", "factor_spread", "level_spread"),
    *(
        "effect_spread",
        "effect_spread_spread",
        "logged_fraction",
        "logged_spread",
        "group_spread",
        "called_fraction",
        "called_spread",
        "near_spread",
    ),
)


@dataclass(frozen=True)
class RecordFit:
    """What one record of the log says: of the physics, of crews, of each crossing.

    ``model`` holds the factors on the fragility and the level, 1 where the log says too
    little (``is_calibrated`` is False); ``history_factor``, shape (n,), corrects the
    odds of the chance by the crossing's own log; ``logged_fraction``, shape (n,), is
    the share of blocks that leave a row.
    """

    model: LogModel
    is_calibrated: bool
    history_factor: Floats
    logged_fraction: Floats


def fit_record(record: LogRecord, coefficients: Mapping[str, float]) -> RecordFit:
    """Fit one record: all winters of the log, or all but one for the proof.

    Parameters
    ----------
    record : LogRecord
        With at least one thaw.
    coefficients : mapping
        By name, of the history defaults, and ``level_spread``.

    Returns
    -------
    fit : RecordFit
        Factor 1 for crossings without an exposed winter.
    """
    c = coefficients
    thaws = record.is_thawed & record.is_exposed
    is_enough = thaws.sum() >= c["calibration_thaw_count"]
    winters = thaws.any(axis=0).sum()
    is_calibrated = bool(is_enough and winters >= c["calibration_winter_count"])
    prior = LogPrior(*(c[name] for name in _PRIOR))
    model = fitted_log_model(record, prior, is_calibrated=is_calibrated)
    return RecordFit(
        model=model,
        is_calibrated=is_calibrated,
        history_factor=place_factors(record, model),
        logged_fraction=logged_shares(record, model),
    )


def physics_alone(coefficients: Mapping[str, float]) -> LogModel:
    """Return the model that no log has touched, its level as unsure as it is."""
    unsure = coefficients["level_spread"]
    return LogModel(1.0, 1.0, 1.0, 0.0, np.empty(0), level_spread=unsure)


def winter_chances(record: LogRecord, model: LogModel) -> Floats:
    """Chance of a block in each winter of a record, by the physics.

    Parameters
    ----------
    record : LogRecord
        Of n places and w winters.
    model : LogModel
        With the fragility to take, such as ``physics_alone``.

    Returns
    -------
    chance : ndarray, shape (n, w)
        Not corrected by the places' own log.
    """
    factors = model.median_factor, model.spread_factor, model.level, model.level_spread
    return np.asarray(ndtr(at_factors(record.deviate, *factors)))


def place_factors(record: LogRecord, model: LogModel) -> Floats:
    """Odds after the crossing's own log over those before, at its usual winter.

    Parameters
    ----------
    record : LogRecord
        Of n places; winters that are not exposed say nothing.
    model : LogModel
        Fitted to the town's log.

    Returns
    -------
    history_factor : ndarray, shape (n,)
        1 for crossings without an exposed winter.
    """
    exposed = np.maximum(record.is_exposed.sum(axis=1), 1)
    chance = winter_chances(record, model)
    usual = (chance * record.is_exposed).sum(axis=1) / exposed
    usual = np.clip(usual, LEAST_CHANCE, 1 - LEAST_CHANCE)
    after = believed_chance(usual, effect_weights(record, model), model)
    after = np.clip(after, LEAST_CHANCE, 1 - LEAST_CHANCE)
    odds = (after / (1 - after)) / (usual / (1 - usual))
    return np.where(record.is_exposed.any(axis=1), odds, 1.0)
