"""The list of calls for the sheets: who called about what, and what is done there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from culvertrisk.plans.not_reached import SIGN
from culvertrisk.reports import amounts
from culvertrisk.reports.sentence_units import both_units

if TYPE_CHECKING:
    from culvertrisk.plans.morning import MorningPlan
    from culvertrisk.reports.map_data import MapContent

_MATCH = {
    "named": "named in the call",
    "note": "its place is in the remarks",
    "mile": "by the mile named",
    "only one": "the only one recorded on this road",
    "road": "somewhere on this road: which, is not told",
}
DANGER = "Sign or close now; look before any machine goes on it."
ASK_BACK = "Ask back where on the road; then look."
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
            "id": str(row["culvert_id"]) or _likeliest(row),
            "match": _MATCH.get(str(row["match"]), ""),
            "done": both_units(_done(row, content.plan)),
        }
        for row in content.calls.to_dict("records")
    ]


def _likeliest(row: dict[Any, Any]) -> str:
    return f"{row['likeliest']}?" if row["likeliest"] else ""


def _done(row: dict[Any, Any], plan: MorningPlan | None) -> str:
    told = _on_plan(row, plan)
    if not row["is_danger"]:
        return told
    # later steps of the usual list come too late once the road itself goes
    later = told.replace(f"{SIGN[0].upper()}{SIGN[1:]}; ", "")
    return f"{DANGER} {later}".strip()


def _on_plan(row: dict[Any, Any], plan: MorningPlan | None) -> str:
    if row["match"] == "road":
        return ASK_BACK
    culvert_id = str(row["culvert_id"])
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
