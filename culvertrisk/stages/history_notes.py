"""What the fit of the thaw log says, in sentences for the reports."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, ndtri

from culvertrisk.stages.hindcast import Hindcast
from culvertrisk.stages.log_fit import RecordFit

_SURE = 0.8  # share of towns that the range told holds


def fit_notes(past: Hindcast, fit: RecordFit) -> tuple[str, ...]:
    """Tell whether the log calibrates the model and what share of blocks it holds.

    Parameters
    ----------
    past : Hindcast
        Model and log of all winters.
    fit : RecordFit
        Of its record.

    Returns
    -------
    notes : tuple of str
        A sentence or two each.
    """
    c = past.coefficients
    share = pd.Series(fit.logged_fraction).groupby(past.record.group).mean()
    listed = ", ".join(f"{past.group_names[i]} {share[i]:.2f}" for i in share.index)
    return (
        *calibration_notes(past, fit),
        *_callers(past, fit),
        f"Share of blocks taken to leave a row in the log, by road: {listed}. Its "
        f"level ({c['logged_fraction']:.2f} where crews go) is assumed: a log cannot "
        "tell it.",
    )


def calibration_notes(past: Hindcast, fit: RecordFit) -> tuple[str, ...]:
    """Tell whether the log calibrates the model, and by what it holds.

    Parameters
    ----------
    past : Hindcast
        Model and log of all winters.
    fit : RecordFit
        Of its record.
    """
    return (_calibrated(past, fit),) if fit.is_calibrated else _uncalibrated(past)


def counted(count: int, noun: str) -> str:
    """Write a count with its noun, in the plural where it is not one.

    Examples
    --------
    >>> counted(1, "winter"), counted(3, "crossing")
    ('1 winter', '3 crossings')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def unsure_level(coefficients: Mapping[str, NDArray[np.float64]]) -> str:
    """Tell how unsure chances are that no log has touched."""
    reach = np.exp(ndtri((1 + _SURE) / 2) * coefficients["level_spread"].item())
    return (
        f"How often pipes block in this town is not known to a factor of {reach:.1f} "
        "either way: chances are averages over that."
    )


def _calibrated(past: Hindcast, fit: RecordFit) -> str:
    return (
        f"The freeze model is calibrated by this log ({_seen(past)}): ice at which "
        f"half block {fit.model.median_factor:.2f} times that of the defaults, spread "
        f"{fit.model.spread_factor:.2f} times, mechanisms at work "
        f"{fit.model.level:.2f} times as often."
    )


def _uncalibrated(past: Hindcast) -> tuple[str, str]:
    c = past.coefficients
    return (
        f"The freeze model is not yet calibrated: this log has {_seen(past)}; "
        f"{c['calibration_thaw_count']:.0f} thaws in "
        f"{counted(int(c['calibration_winter_count']), 'winter')} are needed.",
        unsure_level({"level_spread": np.array([c["level_spread"]])}),
    )


def _seen(past: Hindcast) -> str:
    thaws = past.record.is_thawed & past.record.is_exposed
    return (
        f"{counted(int(thaws.sum()), 'thaw')} at "
        f"{counted(int(thaws.any(axis=1).sum()), 'crossing')} in "
        f"{counted(int(thaws.any(axis=0).sum()), 'winter')}, each crossing counted "
        "once a winter"
    )


def _callers(past: Hindcast, fit: RecordFit) -> tuple[str, ...]:
    callers, model = past.record.callers, fit.model
    if callers is None:
        return ()
    few, many = (
        expit(model.called_odds + model.near_odds * end)
        for end in (callers.near.min(), callers.near.max())
    )
    return (
        "Of the blocks that crews do not find on their rounds, somebody calls for "
        f"{few:.2f} where the fewest dwellings are near and for {many:.2f} where the "
        "most are.",
    )
