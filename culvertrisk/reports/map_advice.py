"""Mechanism, cure, band, danger and the limits of a crossing's numbers, as words."""

from __future__ import annotations

from typing import Any

import pandas as pd

from culvertrisk.plans.not_reached import other_owner
from culvertrisk.reports import words
from culvertrisk.reports.packing import coded, coded_lists, texts
from culvertrisk.reports.release import release_dangers
from culvertrisk.reports.stop_site import OWNER_WORDS
from culvertrisk.stages.reasons import CAUSE_INPUTS, CAUSE_WORDS

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


def advice_columns(crossings: pd.DataFrame) -> dict[str, Any]:
    """Return what the card tells beside scores and reasons.

    Parameters
    ----------
    crossings : DataFrame
        In the order of the page; columns that are not there are left blank.

    Returns
    -------
    columns : dict
        Coded texts ``cause``, ``next``, ``cure``, ``owner``, ``band``, ``closes``,
        ``opens``, ``washout`` and ``danger`` (metric and US), and
        the sentences ``limits``.
    """
    dangers = release_dangers(crossings)
    return {
        "cause": coded(_first_causes(crossings)),
        "next": coded(_causes(crossings, "second_cause")),
        "cure": coded([text.replace("; ", ", then ") for text in _cures(crossings)]),
        "owner": coded(_owners(crossings)),
        "band": coded(texts(crossings, "rank_band")),
        "closes": coded([_day(text) for text in texts(crossings, "closing_day")]),
        "opens": coded([_day(text) for text in texts(crossings, "self_opening_day")]),
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


def _first_causes(crossings: pd.DataFrame) -> list[str]:
    """Likely causes are told as such: their input is not recorded."""
    unknown = {
        cause: crossings[column].isna().to_numpy()
        for cause, column in CAUSE_INPUTS.items()
        if column in crossings
    }
    causes = texts(crossings, "freeze_cause")
    return [
        f"likely {told}" if told and cause in unknown and unknown[cause][row] else told
        for row, (cause, told) in enumerate(
            zip(causes, _causes(crossings, "freeze_cause"), strict=True)
        )
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
