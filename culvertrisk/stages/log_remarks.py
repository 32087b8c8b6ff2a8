"""What the log itself says of a crossing, beside it for the crew and the engineer."""

from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.settings import Settings
from culvertrisk.stages.log_matching import history_defaults, match_rows
from culvertrisk.stages.log_rows import of_an_old_pipe


def with_log_note(
    crossings: GeoDataFrame, log: pd.DataFrame | None, settings: Settings, on: date
) -> GeoDataFrame:
    """Add the newest remarks of the log with their days.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name`` and ``install_year``.
    log : DataFrame or None
        The table of ``read_thaw_log``.
    settings : Settings
        The town's own defaults of the history.
    on : date
        The day asked; no row of that day or later is looked at.

    Returns
    -------
    crossings : GeoDataFrame
        With ``log_note``: remarks of rows that are clearly the crossing's, newest
        first, each once, joined by ``"; "``; "" without any. What was said of a pipe
        that has been replaced since is left out.
    """
    return crossings.assign(log_note=_notes(crossings, log, settings, on))


def _notes(
    crossings: GeoDataFrame, log: pd.DataFrame | None, settings: Settings, on: date
) -> NDArray[np.object_]:
    none = np.full(len(crossings), "", dtype=object)
    if log is None or "note" not in log:
        return none
    rows = log[(log["day"] < pd.Timestamp(on)) & (log["note"] != "")]
    if rows.empty:
        return none
    c = history_defaults(settings.history.defaults)
    rows = rows.assign(**match_rows(crossings, rows, c))
    clear = rows[rows["match_confidence"] >= c["match_least_fraction"]]
    clear = clear[~of_an_old_pipe(crossings, clear)]
    newest = clear.sort_values("day", ascending=False, kind="stable")
    once = newest.drop_duplicates(["culvert_id", "note"])
    said = once["day"].dt.strftime("%Y-%m-%d") + ": " + once["note"]
    shown = said.groupby(once["culvert_id"]).head(int(c["shown_remark_count"]))
    notes = shown.groupby(once["culvert_id"]).agg("; ".join)
    found = notes.reindex(crossings.index.astype(str)).fillna("")
    return found.to_numpy(dtype=object)
