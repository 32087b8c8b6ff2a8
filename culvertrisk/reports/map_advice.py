"""Mechanism, cure, band, danger and the limits of a crossing's numbers, as words."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from culvertrisk.plans.not_reached import other_owner
from culvertrisk.reports import words
from culvertrisk.reports.packing import coded, coded_lists, texts
from culvertrisk.reports.release import release_dangers
from culvertrisk.reports.stop_site import OWNER_WORDS
from culvertrisk.stages.reasons import CAUSE_INPUTS, CAUSE_WORDS, cause_word

_SHUT_CLASSES = ("severe", "high")  # likely frozen, in words
# Notes of the stages that say where a method was used outside its limits, or not.
_LIMITS = (
    "flow_note",
    "peak_note",
    "catchment_note",
    "pond_note",
    "stream_note",
    "washout_note",
    "yearly_note",
)


def advice_columns(crossings: pd.DataFrame, on: date) -> dict[str, Any]:
    """Return what the card tells beside scores and reasons.

    Parameters
    ----------
    crossings : DataFrame
        In the order of the page; columns that are not there are left blank.
    on : date
        The day asked.

    Returns
    -------
    columns : dict
        Coded texts ``cause``, ``next``, ``cure``, ``owner``, ``band``, ``closes`` and
        ``opens`` (whole sentences), ``washout`` and ``danger`` (metric and US), and
        the sentences ``limits``.
    """
    dangers = release_dangers(crossings)
    return {
        "cause": coded(_first_causes(crossings)),
        "next": coded(_causes(crossings, "second_cause")),
        "cure": coded([text.replace("; ", ", then ") for text in _cures(crossings)]),
        "owner": coded(_owners(crossings)),
        "band": coded(texts(crossings, "rank_band")),
        "closes": coded(closing_words(crossings, on)),
        "opens": coded([_opens(text) for text in texts(crossings, "self_opening_day")]),
        "washout": coded(texts(crossings, "washout_class")),
        "danger": [coded([told[unit] for told in dangers]) for unit in (0, 1)],
        "limits": coded_lists(limits(crossings)),
    }


def limits(crossings: pd.DataFrame) -> list[str]:
    """Return the notes of each crossing's numbers, each once, joined by ``"; "``."""
    notes = [texts(crossings, name) for name in _LIMITS]
    return [
        "; ".join(dict.fromkeys(s for note in row for s in note.split("; ") if s))
        for row in zip(*notes, strict=True)
    ]


def closing_words(crossings: pd.DataFrame, on: date) -> list[str]:
    """Say for each crossing since when it is shut, or when it closes.

    Parameters
    ----------
    crossings : DataFrame
        With ``closing_day``, ``freeze_class`` and ``history_factor``, if there.
    on : date
        The day asked.

    Returns
    -------
    words : list of str
        A sentence each, blank where no day is told; a crossing likely shut whose day
        the physics does not tell is closed by now.
    """
    factor = crossings.get("history_factor", pd.Series(1.0, index=crossings.index))
    opened = [" again" if days else "" for days in texts(crossings, "opened_days")]
    by_log = [", by the log" if value > 1 else "" for value in factor]
    without = [
        f"Likely closed{a} by now{b}." for a, b in zip(opened, by_log, strict=True)
    ]
    days, classes = texts(crossings, "closing_day"), texts(crossings, "freeze_class")
    rows = zip(days, classes, without, strict=True)
    return [_closes(*row, on=on) for row in rows]


def _closes(day: str, word: str, without: str, *, on: date) -> str:
    is_shut = word in _SHUT_CLASSES
    if not day:
        return without if is_shut else ""
    if day > on.isoformat():
        return f"If it closes, about {_day(day)} in the usual case."
    since = "Likely shut" if is_shut else "If it is shut,"
    return f"{since} since about {_day(day)}, in the usual case."


def _opens(day: str) -> str:
    if not day:
        return ""
    spring = "by forecast and a usual spring"
    return f"If shut, opens without a crew about {_day(day)}, {spring}."


def _first_causes(crossings: pd.DataFrame) -> list[str]:
    """Causes that are weak, or whose input is not recorded, are told as such."""
    unknown = np.full(len(crossings), np.nan)
    recorded = {
        cause: crossings[column].to_numpy(float) if column in crossings else unknown
        for cause, column in CAUSE_INPUTS.items()
    }
    causes = texts(crossings, "freeze_cause")
    sureness = texts(crossings, "cause_sureness")
    rows = zip(causes, _causes(crossings, "freeze_cause"), sureness, strict=True)
    return [
        f"{cause_word(cause, sure, recorded.get(cause, unknown)[row])} {told}".strip()
        if told
        else ""
        for row, (cause, told, sure) in enumerate(rows)
    ]


def _causes(crossings: pd.DataFrame, name: str) -> list[str]:
    return [CAUSE_WORDS.get(text, "") for text in texts(crossings, name)]


def _cures(crossings: pd.DataFrame) -> list[str]:
    return texts(crossings, "cure")


def _owners(crossings: pd.DataFrame) -> list[str]:
    owners = [other_owner(owner) for owner in texts(crossings, "owner")]
    return [OWNER_WORDS.format(owner) if owner else "" for owner in owners]


def _day(text: str) -> str:
    """Return a day of the table, 2025-03-04, as 4 March 2025; other words as is."""
    try:
        day = pd.Timestamp(text).date() if text else None
    except ValueError:
        return text
    return words.day_words(day).partition(" ")[2] if day else ""
