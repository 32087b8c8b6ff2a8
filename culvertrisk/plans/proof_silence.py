"""Crossings never logged: surprises, where the log should have shown them, or blind."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.log_model import empty_log_chance
from culvertrisk.stages.hindcast import Hindcast
from culvertrisk.stages.log_fit import RecordFit, winter_chances

Floats = NDArray[np.float64]


def never_logged(
    past: Hindcast,
    fit: RecordFit,
    crossings: GeoDataFrame,
    freeze: Mapping[str, Floats],
) -> dict[str, pd.DataFrame]:
    """List what is likely blocked in a usual winter, yet never in the log.

    Parameters
    ----------
    past : Hindcast
        Of all winters.
    fit : RecordFit
        Of its record.
    crossings : GeoDataFrame
        The same crossings.
    freeze : mapping
        By name, as ``freeze_coefficients``: from which chance a class begins.

    Returns
    -------
    never_logged : dict of str to DataFrame
        ``surprises`` and ``blind_spots``, the likeliest first: ``culvert_id``,
        ``road_name``, ``blocked_chance`` (mean of the winters, after its own empty
        log), ``logged_fraction``, ``winter_count``, ``expected_log_count`` (winters
        with a thaw that the log should hold) and ``empty_log_chance`` (that it holds
        none all the same).

    Notes
    -----
    A surprise is a crossing whose log should more likely than not hold a thaw and holds
    none: the physics may be wrong there, or somebody else opens it. In a blind spot an
    empty log says little, because crews seldom go or the pipe is new. Only crossings
    from the class "some" on are listed. Driveways are left out: their owners open them.
    """
    table = _by_crossing(past, fit, crossings)
    is_town_job = (crossings["crossing_kind"] != "driveway").to_numpy(bool)
    never = (table["winter_count"] > 0) & (past.logged_thaw_count == 0) & is_town_job
    never &= table["blocked_chance"] >= freeze["class_some_chance"].item()
    likely = table[never].sort_values("culvert_id")
    likely = likely.sort_values("blocked_chance", ascending=False, kind="stable")
    count = int(past.coefficients["surprise_count"])
    is_blind = likely["empty_log_chance"] > past.coefficients["blind_chance"]
    both = {"surprises": likely[~is_blind], "blind_spots": likely[is_blind]}
    return {k: t.head(count).reset_index(drop=True) for k, t in both.items()}


def _by_crossing(
    past: Hindcast, fit: RecordFit, crossings: GeoDataFrame
) -> pd.DataFrame:
    record = past.record
    modelled = winter_chances(record, fit.model)
    blocked = corrected_chance(modelled, fit.history_factor[:, None])
    lived = record.is_exposed.sum(axis=1)
    mean = (blocked * record.is_exposed).sum(axis=1) / np.maximum(lived, 1)
    told = (modelled * record.is_exposed) @ record.kept_fraction
    return pd.DataFrame(
        {
            "culvert_id": crossings.index.astype(str),
            "road_name": crossings["road_name"].to_numpy(str),
            "blocked_chance": mean,
            "logged_fraction": fit.logged_fraction,
            "winter_count": lived,
            "expected_log_count": fit.logged_fraction * told,
            "empty_log_chance": empty_log_chance(record, fit.model),
        }
    )
