"""What one record of the log says of the physics, of the crews, of each crossing."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from culvertrisk.formulas.fragility_trials import LEAST_CHANCE, at_factors
from culvertrisk.formulas.log_model import (
    LogModel,
    LogPrior,
    LogRecord,
    believed_chance,
    effect_weights,
    fitted_log_model,
)

Floats = NDArray[np.float64]

_PRIOR = (
    *("median_spread", "factor_spread", "level_spread"),
    *(
        "effect_spread",
        "effect_spread_spread",
        "logged_fraction",
        "logged_spread",
        "group_spread",
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
        By name, of the history defaults.

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
        history_factor=_factor(record, model),
        logged_fraction=model.logged_fraction[record.group],
    )


def winter_chances(record: LogRecord, model: LogModel | None = None) -> Floats:
    """Chance of a block in each winter of a record, by the physics.

    Parameters
    ----------
    record : LogRecord
        Of n places and w winters.
    model : LogModel, optional
        With the fragility to take; without it that of the defaults.

    Returns
    -------
    chance : ndarray, shape (n, w)
        Not corrected by the places' own log.
    """
    m = model or LogModel(1.0, 1.0, 1.0, 0.0, np.empty(0))
    deviate = at_factors(record.deviate, m.median_factor, m.spread_factor, m.level)
    return np.asarray(ndtr(deviate))


def _factor(record: LogRecord, model: LogModel) -> Floats:
    """Odds after the crossing's own log over those before, at its usual winter."""
    exposed = np.maximum(record.is_exposed.sum(axis=1), 1)
    chance = winter_chances(record, model)
    usual = (chance * record.is_exposed).sum(axis=1) / exposed
    usual = np.clip(usual, LEAST_CHANCE, 1 - LEAST_CHANCE)
    after = believed_chance(usual, effect_weights(record, model), model)
    after = np.clip(after, LEAST_CHANCE, 1 - LEAST_CHANCE)
    odds = (after / (1 - after)) / (usual / (1 - usual))
    return np.where(record.is_exposed.any(axis=1), odds, 1.0)
