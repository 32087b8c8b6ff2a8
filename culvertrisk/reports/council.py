"""The same morning without what is told of single people: for the council's table."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import pandas as pd

from culvertrisk.stages.log_rows import FILE

if TYPE_CHECKING:
    from culvertrisk.reports.map_data import MapContent

_BLANKED = ("cut_off_places", "note", "log_note")  # needs, and free remarks


def without_people(content: MapContent) -> MapContent:
    """Return the content without callers, people's needs and free remarks.

    Parameters
    ----------
    content : MapContent
        The whole morning.

    Returns
    -------
    content : MapContent
        To be written as a map of its own: what is left out is not in that file at
        all. Numbers of dwellings stay, the words on who lives there go, in the
        reasons too; the title says so.
    """
    crossings = content.crossings.copy()
    if "reasons" in crossings and "cut_off_places" in crossings:
        crossings["reasons"] = [
            _without(*row)
            for row in zip(
                crossings["reasons"], crossings["cut_off_places"], strict=True
            )
        ]
    for name in _BLANKED:
        if name in crossings:
            crossings[name] = ""
    return dataclasses.replace(
        content,
        title=f"{content.title}, without words on people",
        crossings=crossings,
        notes=_without_remarks(content.notes),
        calls=None,
    )


def _without(reasons: Any, places: Any) -> Any:
    if not (isinstance(reasons, str) and isinstance(places, str) and places):
        return reasons
    return reasons.replace(f", {places}", "").replace(places, "some places")


def _without_remarks(notes: pd.DataFrame) -> pd.DataFrame:
    if "column" not in notes:
        return notes
    is_log_row = (notes["file"] == FILE) & (notes["row"].astype(float) > 0)
    return notes[~notes["column"].isin(_BLANKED) & ~is_log_row]
