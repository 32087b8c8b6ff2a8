"""What the plan is worth beside other plans, or what is missing for a plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from culvertrisk.reports import amounts

if TYPE_CHECKING:
    from culvertrisk.plans.morning import MorningPlan
    from culvertrisk.reports.map_data import MapContent
    from culvertrisk.settings import Settings

_NO_TRUCK = (
    "No truck is given, so there is no plan to compare. For each truck write a part "
    '[[crews]] into the town file: name, method = "hot water", "steam" or "no heat", '
    "start_lat and start_lon of its yard, and its flow, burner, hose and tank."
)
_NO_ROADS = (
    "No road file is given, so no truck can be sent and there is no plan to compare. "
    'Name one under [files] in the town file, such as roads = "roads.geojson".'
)
_NOT_ABLE = (
    "No truck given can open a crossing today, so there is no plan to compare. The "
    "reason stands beside each crossing not reached; see method, flow, burner, hose "
    "and start under [[crews]] in the town file."
)
_NOT_BY_ROAD = (
    "No crossing that a truck can drive to and open is worth a truck today. The reason "
    "stands beside each crossing not reached."
)
_NOTHING = (
    "No crossing is worth a truck today: opening one would avoid no loss that this "
    "program can tell."
)
_PARTS = {
    "plan": "This plan avoids {}",
    "worst_first": "worst first with the same trucks {}",
    "bound": "no plan with them can avoid more than {}",
    "possible": "everything opened at once would avoid {}",
}


def comparison_words(content: MapContent) -> str:
    """Say it of what the map and the sheets show; blank without a plan."""
    if content.plan is None:
        return ""
    return comparison_line(content.plan, content.settings, content.roads is not None)


def comparison_line(
    plan: MorningPlan, settings: Settings | None, has_roads: bool
) -> str:
    """Say what the plan avoids, beside worst first, the bound and opening all.

    Without a truck that can go there is nothing to compare: then it says what is
    missing, what to write where, and what opening everything would avoid.
    """
    values = plan.comparison
    told = {key: amounts.person_hours(value) for key, value in values.items()}
    missing = _missing(plan, settings, has_roads) if values else ""
    if missing and not values.get("possible"):
        return missing
    if missing:
        return f"{missing} Everything opened at once would avoid {told['possible']}."
    kept = [text.format(told[key]) for key, text in _PARTS.items() if key in told]
    return "; ".join(kept) + "." if kept else ""


def _missing(plan: MorningPlan, settings: Settings | None, has_roads: bool) -> str:
    """Return what keeps every truck in its yard; blank if one goes."""
    if len(plan.stops):
        return ""
    if settings is not None and not settings.crews:
        return _NO_TRUCK
    if not has_roads:
        return _NO_ROADS
    if plan.comparison.get("possible", 0.0) > 0:
        return _NOT_ABLE
    is_left = (plan.not_reached["loss_avoided_person_h"] > 0).any()
    return _NOT_BY_ROAD if is_left else _NOTHING
