"""Pipes that a crew opened this winter: their ice is counted anew from that day."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.settings import Settings
from culvertrisk.stages.blockage import (
    FreezeState,
    SectionRows,
    averaged_state,
    mean_case,
)
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.log_matching import history_defaults, match_rows
from culvertrisk.stages.winter import FreezeInputs, WinterIce, freeze_coefficients

Floats = NDArray[np.float64]

_SURE_M = 1e3  # ice that shuts any barrel
_LEFT = {"open": "left_open_fraction", "partial": "left_partial_fraction"}
_LEFT |= {"dug": "left_dug_fraction"}  # what gave up or found no ice changes none


def with_openings(
    crossings: GeoDataFrame, log: pd.DataFrame | None, settings: Settings, on: date
) -> GeoDataFrame:
    """Add the days of this winter on which a crew opened each crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name`` and ``crossing_kind``.
    log : DataFrame or None
        The table of ``read_thaw_log``.
    settings : Settings
        Start of the winter and the town's own defaults.
    on : date
        The day asked; no row of that day or later is looked at.

    Returns
    -------
    crossings : GeoDataFrame
        With ``opened_days``: each day with the log's word and the share of the ice
        taken to be left, as ``"2025-01-12 open 0.20; 2025-02-03 partial 0.50"``; ""
        where the log has none.

    Notes
    -----
    Rows "open", "partial" and "dug" count if they are clearly the crossing's, as for
    its history. How sure that is bears on the share left: a row placed with a
    confidence of 0.6 takes out 0.6 of what it would.
    """
    told = _told(crossings, log, settings, on)
    days = told.reindex(crossings.index.astype(str)).fillna("")
    return crossings.assign(opened_days=days.to_numpy(dtype=object))


def _told(
    crossings: GeoDataFrame, log: pd.DataFrame | None, settings: Settings, on: date
) -> pd.Series:
    none = pd.Series(dtype=object)
    if log is None or log.empty:
        return none
    past = log[log["day"] < pd.Timestamp(on)]
    this_winter = past["day"] >= pd.Timestamp(settings.winter_of(on))
    if not (this_winter & past["result"].isin(_LEFT)).any():
        return none
    # matched among all: what older rows say of a mile places those of this winter
    c = history_defaults(settings.history.defaults)
    rows = past.assign(**match_rows(crossings, past, c))[this_winter]
    is_clear = rows["match_confidence"] >= c["match_least_fraction"]
    rows = rows[is_clear & rows["result"].isin(_LEFT)]
    left = freeze_coefficients(settings.freeze.defaults)
    share = rows["result"].map({k: left[name].item() for k, name in _LEFT.items()})
    rows = rows.assign(left=1 - rows["match_confidence"] * (1 - share))
    rows = rows.assign(day=rows["day"].dt.normalize()).sort_values(["day", "left"])
    once = rows.drop_duplicates(["culvert_id", "day"])
    said = once["day"].dt.strftime("%Y-%m-%d ") + once["result"]
    said = said + once["left"].map(" {:.2f}".format)
    return said.groupby(once["culvert_id"]).agg("; ".join).astype(object)


def opening_inputs(
    crossings: GeoDataFrame,
    sun: Sunlight | None,
    span: tuple[date, date],
    coefficients: Mapping[str, Floats],
) -> FreezeInputs:
    """Gather the freeze model's inputs for this winter, with what crews opened in it.

    Parameters
    ----------
    crossings : GeoDataFrame
        As for ``freeze_inputs``, where known with ``opened_days``.
    sun : Sunlight or None
        Sun by season at both ends.
    span : tuple of date
        The winter's first day and the day asked; an opening from the first of them to
        the day before the second counts.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    inputs : FreezeInputs
        Those of ``freeze_inputs``, which knows no opening, with both of its fields.
    """
    inputs = freeze_inputs(crossings, sun, coefficients)
    if "opened_days" not in crossings:
        return inputs
    first_day, length = span[0], (span[1] - span[0]).days
    found = [_parsed(str(text), first_day, length) for text in crossings["opened_days"]]
    most = max(map(len, found), default=0)
    day, left = np.full((2, len(found), most), np.nan)
    for row, openings in enumerate(found):
        for turn, (when, share) in enumerate(openings):
            day[row, turn], left[row, turn] = when, share
    return replace(inputs, opened_day=day, left_fraction=left)


def opened_state(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> FreezeState:
    """Turn ice into chances, knowing which pipes a crew found blocked this winter.

    Parameters
    ----------
    rows : SectionRows
        Crossings spread over their unknown sections.
    ice : WinterIce
        On the day asked, with the ice that crews found.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    state : FreezeState
        Of ``averaged_state``; where a crew opened a pipe, by Bayes.

    Notes
    -----
    The ice starts again, what feeds it does not. In ``lasting_fraction`` of the pipes
    all that is unknown stays as it was: then ice that would block today would have
    blocked on the day of the crew too, and the chance today is the one without the log
    over the one that the crew's day had, at most 1; of the ice it is known that some
    mechanism is at work. In the rest the log tells nothing. By the physics alone: how
    the pipe's history bears on it, without counting the row twice, see
    ``factor_of_day``.
    """
    state = averaged_state(rows, ice, coefficients)
    found = {name: mean_case(m) for name, m in ice.found_ice_m.items()}
    is_found = np.any([m > 0 for m in found.values()], axis=0)[rows.run]
    if not is_found.any():
        return state
    few, c = _some(rows, is_found), coefficients
    then = averaged_state(few, replace(ice, ice_m=ice.found_ice_m), c).modelled_chance
    much = {name: np.full_like(m, _SURE_M) for name, m in ice.ice_m.items()}
    at_work = averaged_state(few, replace(ice, ice_m=much), c).modelled_chance
    lasts = np.where(then > 0, c["lasting_fraction"], 0)

    def given(known: Floats, values: Floats) -> Floats:
        told = np.minimum(values / np.where(then > 0, known, 1), 1)
        return np.asarray(lasts * told + (1 - lasts) * values)

    return replace(
        state,
        blocked_fraction=given(at_work, state.blocked_fraction),
        modelled_chance=given(then, state.modelled_chance),
        ice_m={name: given(at_work, m) for name, m in state.ice_m.items()},
        chance={name: given(then, p) for name, p in state.chance.items()},
    )


def _some(rows: SectionRows, which: NDArray[np.bool_]) -> SectionRows:
    kept: dict[str, Any] = {"count": rows.count}
    for item in fields(SectionRows):
        value = getattr(rows, item.name)
        if isinstance(value, Mapping):
            kept[item.name] = {name: array[which] for name, array in value.items()}
        elif isinstance(value, np.ndarray):
            kept[item.name] = value[which]
    return SectionRows(**kept)


def _parsed(text: str, first_day: date, length: int) -> list[tuple[int, float]]:
    """Days since the winter's first, with the share left, of those within it."""
    parts = [part.split() for part in text.split("; ") if part]
    days = [((date.fromisoformat(p[0]) - first_day).days, float(p[2])) for p in parts]
    return [(day, share) for day, share in days if 0 <= day < length]
