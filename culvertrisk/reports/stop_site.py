"""What a crew needs to know of the place of a stop: where, why, and what threatens."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from culvertrisk.plans.not_reached import other_owner
from culvertrisk.plans.plan_checker import clear_rules
from culvertrisk.reports import amounts, words
from culvertrisk.reports.log_words import last_remark
from culvertrisk.reports.sentence_units import both_units
from culvertrisk.settings import Settings
from culvertrisk.units import clock

OWNER_WORDS = "Owner: {}. Call before opening."
LEAST_PEOPLE = 2  # of the caution on cold and fatigue: never alone
WAIT_S = 60.0  # a shorter wait is not told
_SURE_CHANCE = 2 / 3  # from here on "one in" says too little
_ENDS = {
    "outlet": "work from the outlet",
    "both ends": "work from both ends",
    "dig only": "dig only, no heat",
}
STAKES = {1.0: "Staked.", 0.0: "NOT staked: probe for it."}


def site_words(place: pd.Series[Any]) -> dict[str, Any]:
    """Return the place of a stop in plain words.

    Parameters
    ----------
    place : Series
        One crossing with ``lat``, ``lon``, ``has_end``, the offsets ``east_m`` and
        ``north_m`` of its outlet, and ``danger`` of ``release_dangers``.

    Returns
    -------
    site : dict
        Words of the stop card; amounts are metric and US words.
    """
    given = place.get
    side = amounts.compass(_outlet_bearing(place))
    reasons = words.sentences(given("reasons"))
    owner = other_owner(given("owner"))
    return {
        "road": str(given("road_name") or ""),
        "size": amounts.size(given("rise_m", np.nan)),
        "length": amounts.length(given("length_m", np.nan)),
        "material": str(given("material") or ""),
        "where": f"{place['lat']:.5f}, {place['lon']:.5f}",
        "has_end": bool(place["has_end"]),
        "side": f"on the {side} side of the road" if side else "side not recorded",
        "stakes": STAKES.get(given("is_staked", np.nan), "Stakes: not recorded."),
        "note": str(given("note") or ""),
        "logged": last_remark(given("log_note")),
        "owner": OWNER_WORDS.format(owner) if owner else "",
        "access": "" if _tells_access(reasons) else _access_words(place),
        "why": [both_units(reason) for reason in reasons],
        "rank": words.rank_words(
            *(given(k, np.nan) for k in ("priority_rank", "rank_low", "rank_high"))
        ),
        "band": str(given("rank_band") or ""),
        "cure": str(given("cure") or "").replace("; ", ", then "),
        "danger": place["danger"],
        "unknown": [both_units(s) for s in words.sentences(given("unknowns"))],
    }


def frozen_words(place: pd.Series[Any], *, calibrated: bool) -> str:
    """Say how likely the pipe is shut, and to look first.

    Examples
    --------
    >>> frozen_words(pd.Series({"blocked_chance": 0.16}), calibrated=True)
    'Frozen: about 1 in 6. Look first; if it runs, tick and go on.'
    >>> frozen_words(pd.Series({"freeze_class": "high"}), calibrated=False)
    'Frozen: likely frozen. Look first; if it runs, tick and go on.'
    """
    chance = place.get("blocked_chance", np.nan)
    if calibrated and chance > 0:
        tenths = min(round(chance * 10), 9)
        told = f"{tenths} in 10" if chance >= _SURE_CHANCE else f"1 in {1 / chance:.0f}"
        told = f"about {told}"
    else:
        code = words.class_code(place.get("freeze_class", ""))
        told = words.CLASS_WORDS["freeze"][code]
    return f"Frozen: {told}. Look first; if it runs, tick and go on."


def expected_shut(chances: pd.Series[Any]) -> str:
    """Say how many of some pipes are shut on average; blank where it is not known.

    Examples
    --------
    >>> expected_shut(pd.Series([0.16, 0.15, 0.09, 0.62, 0.6]))
    'about 2 expected shut'
    """
    count = round(float(chances.sum(skipna=False))) if chances.notna().all() else 0
    if chances.isna().any():
        return ""
    return f"about {count} expected shut" if count else "fewer than 1 expected shut"


def clear_words(places: pd.DataFrame, culvert_id: str, settings: Settings) -> str:
    """Return the hours in which no machine may stand at a crossing, and why."""
    hours = [
        f"{clock(rule.clear_from)} to {clock(rule.clear_until)} ({rule.reason})"
        for rule in clear_rules(places, culvert_id, settings)
    ]
    return f"No machine here {', '.join(hours)}." if hours else ""


def wait_words(stop: dict[Any, Any]) -> str:
    """Say that a truck is early; blank where it is not."""
    if not stop["start_s"] - stop["arrive_s"] >= WAIT_S:
        return ""
    early, start = (amounts.time_of_day(stop[key]) for key in ("arrive_s", "start_s"))
    return f"There at {early}: wait off the road until {start}."


def people_words(settings: Settings | None, crew: str) -> str:
    """Warn of a crew of one, beside the caution never to work alone."""
    if settings is None:
        return ""
    count = {own.name: own.people_count for own in settings.crews}.get(crew)
    if count is None or count >= LEAST_PEOPLE:
        return ""
    return (
        f"The town file gives this crew {count} person: a second one comes along, or "
        "it does not leave."
    )


def how_words(job: dict[Any, Any]) -> str:
    """Which ends are worked at, and trips for more water than a tank holds."""
    ends = str(job.get("ends", ""))
    told = [_ENDS.get(ends, ends)] if ends else []
    if count := int(job.get("trip_count", 0)):
        trips = "1 trip" if count == 1 else f"{count} trips"
        told.append(f"{trips} to {job['trip_fill']} for water, counted in the time")
    return ", ".join(told)


def _tells_access(reasons: list[str]) -> bool:
    return any(reason.startswith("Only way") for reason in reasons)


def _outlet_bearing(place: pd.Series[Any]) -> float:
    if place["has_end"] and (place["east_m"] or place["north_m"]):
        radians = np.arctan2(place["east_m"], place["north_m"])
        return float(np.degrees(radians) % 360)
    return float(place.get("barrel_bearing_deg", np.nan))


def _access_words(place: pd.Series[Any]) -> str:
    count = place.get("cut_off_dwelling_count", np.nan)
    told = []
    if place.get("is_only_way", np.nan) == 1:
        told.append("Only way in.")
    if count > 0:
        told.append(f"{count:.0f} dwelling{'s' if count > 1 else ''} cut off if shut.")
    if place.get("cut_off_places"):
        told.append(f"Cut off too: {place['cut_off_places']}.")
    return " ".join(told)
