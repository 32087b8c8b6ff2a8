"""Who told the crews of each thaw in the log: a caller, or their own rounds."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.log_record import Callers
from culvertrisk.inputs.thaw_words import CALLED, OWN_ROUND
from culvertrisk.stages.known_column import known_column

Floats = NDArray[np.float64]


def callers_of(
    crossings: GeoDataFrame,
    thaws: pd.DataFrame,
    winters: Sequence[int],
    coefficients: Mapping[str, float],
) -> tuple[Callers | None, tuple[str, ...]]:
    """Gather who told the crews of each thaw, where the log says so.

    Parameters
    ----------
    crossings : GeoDataFrame
        With ``near_dwelling_count`` where dwellings are known.
    thaws : DataFrame
        Rows of the log that found ice at a known crossing: ``culvert_id``, ``day``,
        ``winter`` and, where the reader gives it, ``origin``.
    winters : sequence of int
        Years in which the winters begin, w of them.
    coefficients : mapping
        By name, of the history defaults.

    Returns
    -------
    callers : Callers or None
        Shapes (n, w) and (n,). None where the log has too few words of either kind or
        no dwelling is known: then nothing is parted by dwellings.
    notes : tuple of str
        Which of the two, for the reports; empty without a thaw.

    Notes
    -----
    The first row of a winter that says so counts. Where rounds are never written but
    calls are, a row without a word in a winter with calls counts as a round.
    """
    if thaws.empty:
        return None, ()
    origin = thaws["origin"] if "origin" in thaws else pd.Series("", index=thaws.index)
    called = origin == CALLED
    if (origin != OWN_ROUND).all():
        writes_calls = thaws["winter"].isin(thaws.loc[called, "winter"].unique())
        origin = origin.where(called | ~writes_calls, OWN_ROUND)
    own, least = origin == OWN_ROUND, coefficients["called_row_count"]
    if min(called.sum(), own.sum()) < least:
        return None, (_too_few(int(called.sum()), int(own.sum()), int(least)),)
    near = np.log1p(known_column(crossings, "near_dwelling_count"))
    if np.isnan(near).all():
        return None, ("No dwelling is known: who calls is not told by dwellings.",)
    said = thaws.assign(is_called=called.astype(float))[called | own]
    first = said.sort_values("day", kind="stable")
    wide = first.groupby(["culvert_id", "winter"])["is_called"].first().unstack()
    told = wide.reindex(index=crossings.index.astype(str), columns=[*winters])
    from_mean = np.nan_to_num(near - np.nanmean(near))
    note = f"The log says who told of {called.sum() + own.sum()} of {len(thaws)} thaws:"
    note += f" somebody called for {called.sum()}, crews found {own.sum()}."
    return Callers(told.to_numpy(float), from_mean), (note,)


def _too_few(called: int, own: int, least: int) -> str:
    if called == 0:
        return (
            "The log does not say which thaws somebody called for: where people live "
            "near is not told apart from where nobody does."
        )
    return (
        f"The log says of {called} thaws that somebody called and of {own} that crews "
        f"found them; {least} of each are needed to part places by who lives near."
    )
