"""Whether the freeze score was fitted to the town's log, in words for every surface."""

from __future__ import annotations

import pandas as pd

from culvertrisk.settings import Settings
from culvertrisk.stages.log_matching import history_defaults

_NOT = "Freeze scores are not yet calibrated to this town"
_NO_LOG = f"{_NOT}: no thaw log says anything of them, they are physics alone."
_SHORT_LOG = (
    f"{_NOT}: its thaw log is too short to fit them. What it says of single crossings "
    "is applied."
)
_INDEX = (
    "Scores run from 0 to 100 and are a reasoned index: they put crossings in order."
)


def uncalibrated_words(crossings: pd.DataFrame, *, calibrated: bool) -> str:
    """Say that the freeze score is not yet calibrated; blank where it is.

    Parameters
    ----------
    crossings : DataFrame
        With ``history_factor``, if there is one: other than 1 the log was applied.
    calibrated : bool
        Whether the fragility was fitted to the log.

    Examples
    --------
    >>> uncalibrated_words(pd.DataFrame({"history_factor": [1.0, 2.5]}),
    ...                    calibrated=False)[:61]
    'Freeze scores are not yet calibrated to this town: its thaw l'
    """
    if calibrated:
        return ""
    factor = crossings.get("history_factor", pd.Series(dtype=float)).dropna()
    return _SHORT_LOG if (factor != 1).any() else _NO_LOG


def score_words(
    crossings: pd.DataFrame, settings: Settings | None, *, calibrated: bool
) -> str:
    """Say what a score means, and what it hangs on.

    Parameters
    ----------
    crossings : DataFrame
        As for ``uncalibrated_words``.
    settings : Settings or None
        The share of blocks taken to be written down; the defaults without them.
    calibrated : bool
        Whether the fragility was fitted to the log.
    """
    if not calibrated:
        return f"{_INDEX} {uncalibrated_words(crossings, calibrated=False)}"
    own = history_defaults(settings.history.defaults if settings else None)
    percent = f"{own['logged_fraction'] * 100:.0f} %"
    return (
        "Freeze scores run from 0 to 100. They are fitted to this town's log, if "
        f"{percent} of the blocks where crews go are written down: the log cannot tell "
        "that share. If fewer are, pipes are shut more often than the scores say; if "
        "more, less often. Flood scores are a reasoned index."
    )
