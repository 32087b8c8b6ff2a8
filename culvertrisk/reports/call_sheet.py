"""The list of calls for the sheets: who called about what, and what is done there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from culvertrisk.reports import amounts

if TYPE_CHECKING:
    from culvertrisk.plans.morning import MorningPlan
    from culvertrisk.reports.map_data import MapContent

_MATCH = {
    "named": "named in the call",
    "likely": "likely: the one that matters most on this road",
}
NO_CROSSING = "No crossing of ours on this road: ask back."


def call_rows(content: MapContent) -> list[dict[str, Any]]:
    """Return the calls in the order they came, in plain words.

    Parameters
    ----------
    content : MapContent
        Calls matched to crossings, and the plan.

    Returns
    -------
    rows : list of dict
        Keys ``time``, ``caller``, ``where``, ``seen``, ``id``, ``match`` and
        ``done``; empty without calls.
    """
    if content.calls is None:
        return []
    return [
        {
            "time": ""
            if pd.isna(row["call_s"])
            else amounts.time_of_day(row["call_s"]),
            "caller": str(row["caller"]),
            "where": ", ".join(str(row[k]) for k in ("road_name", "place") if row[k]),
            "seen": str(row["seen"]),
            "id": str(row["culvert_id"]),
            "match": _MATCH.get(str(row["match"]), ""),
            "done": _done(str(row["culvert_id"]), content.plan),
        }
        for row in content.calls.to_dict("records")
    ]


def _done(culvert_id: str, plan: MorningPlan | None) -> str:
    if not culvert_id:
        return NO_CROSSING
    if plan is None:
        return ""
    stops = plan.stops[plan.stops["culvert_id"] == culvert_id]
    if len(stops):
        stop = stops.iloc[0]
        return f"{stop['crew']} from {amounts.time_of_day(stop['start_s'])}"
    missed = plan.not_reached[plan.not_reached["culvert_id"] == culvert_id]
    if len(missed):
        return f"Not reached. {missed.iloc[0]['instead']}"
    return "Little at stake by the score: look when a crew passes"
