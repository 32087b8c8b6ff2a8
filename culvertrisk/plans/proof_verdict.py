"""Whether the model beats the crew's repeat list, or whether that may be luck."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.ranking import sign_flip_chance
from culvertrisk.stages.hindcast import Hindcast
from culvertrisk.stages.history_notes import calibration_notes, counted
from culvertrisk.stages.log_fit import RecordFit

Floats = NDArray[np.float64]

_LEVEL_THAWS = 0.5  # lists less than half a thaw apart in a winter are level


def verdict(ours: pd.DataFrame, theirs: pd.DataFrame, sure_fraction: float) -> str:
    """Tell for each length of the list who found more of the hidden winters' thaws.

    Parameters
    ----------
    ours, theirs : DataFrame
        Thaws found by the model and by the repeat list, a row for each hidden winter
        and a column ``top_<length>`` for each length.
    sure_fraction : float
        How sure "beats" and "behind" must be.

    Returns
    -------
    verdict : str
        A sentence for each length, one on what its words mean.

    Notes
    -----
    The lists are compared winter by winter. "Beats" and "behind" are said only where
    the winters' differences, with signs drawn by lot, would add up to as much with a
    chance of less than 1 - ``sure_fraction``: see ``sign_flip_chance``.
    """
    said = []
    for name in ours.columns:
        pair = ours[name].to_numpy(float), theirs[name].to_numpy(float)
        said.append(_sentence(name.removeprefix("top_"), *pair, 1 - sure_fraction))
    return " ".join([*said, _meaning(len(ours), 1 - sure_fraction)])


def calibration_words(
    past: Hindcast, whole: RecordFit, fits: list[RecordFit]
) -> tuple[str, ...]:
    """Tell whether the log fits the model, whole and with a winter hidden.

    Parameters
    ----------
    past : Hindcast
        Model and log of all winters.
    whole : RecordFit
        Of all of them.
    fits : list of RecordFit
        Each with one winter hidden.
    """
    told = calibration_notes(past, whole)
    short = sum(not fit.is_calibrated for fit in fits)
    if not whole.is_calibrated or not short:
        return told
    return (
        *told,
        f"With one winter hidden the rest of the log is too short for that in {short} "
        f"of {counted(len(fits), 'winter')}: there the model is not yet calibrated.",
    )


def _sentence(length: str, ours: Floats, theirs: Floats, least_chance: float) -> str:
    ahead = int((ours - theirs >= _LEVEL_THAWS).sum())
    behind = int((theirs - ours >= _LEVEL_THAWS).sum())
    level = len(ours) - ahead - behind
    counts = (
        f"{counted(round(ours.sum()), 'logged thaw')} against {theirs.sum():.0f}; of "
        f"{counted(len(ours), 'winter')} ahead in {ahead}, level in {level}, behind in "
        f"{behind}."
    )
    told = "is about as good as the repeat list and does not beat it"
    if sign_flip_chance(ours - theirs) < least_chance:
        is_more = ours.sum() > theirs.sum()
        told = "beats the repeat list" if is_more else "is behind the repeat list"
    return f"In the top {length} the model {told}: {counts}"


def _meaning(winters: int, least_chance: float) -> str:
    if 2.0 ** (1 - winters) >= least_chance:
        return (
            f"{counted(winters, 'winter')} are too few to tell the two lists apart: "
            "whatever the difference, it may be luck."
        )
    return (
        '"Beats" and "behind" are said only where luck alone would bring such a '
        f"difference between winters in fewer than {least_chance:.0%} of cases."
    )
