"""What the morning does not reach: why, and what is done there instead."""

import numpy as np
import pandas as pd

from culvertrisk.plans.candidates import is_likely_open
from culvertrisk.plans.thaw_job import NO_HEAT
from culvertrisk.plans.timetable import Case, first_stop_place, timetable
from culvertrisk.plans.travel import CREW, Travel
from culvertrisk.settings import Settings
from culvertrisk.units import HOUR_S

COLUMNS = ("culvert_id", "loss_avoided_person_h", "why", "instead")
NO_CREW = "no crew is given in the town file"
NO_ROADS = "no road file is given, so nothing can be driven to"
NO_HOURS = "no hours left after stops worth more"
LOOK = "Look when a crew passes"
SIGN = "sign and lights before the water rises"
OWN_WORDS = ("", "town", "township", "city", "municipality")  # no call to oneself
LIKELY_OPEN = "likely open: a look, not a truck"
LOOK_LOSS_PERSON_H = 1.0  # a likely open crossing is listed from here; our choice


def not_reached(
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    settings: Settings,
    case: Case | None,
    reached: frozenset[str],
) -> pd.DataFrame:
    """List every crossing worth opening, or a look, that is not opened.

    Parameters
    ----------
    crossings, jobs : DataFrame
        Crossings table and thaw jobs.
    travel : Travel
        Places that can be driven to.
    settings : Settings
        The town file.
    case : Case or None
        What was planned for; None without any crew.
    reached : frozenset of str
        Crossings that the plan opens.

    Returns
    -------
    rows : DataFrame
        Columns ``COLUMNS``, the largest loss first.
    """
    loss = crossings["loss_avoided_person_h"]
    look = is_likely_open(crossings, settings.plan.least_blocked_chance)
    listed = (loss > 0) & ~(look & (loss < LOOK_LOSS_PERSON_H))
    left = loss[listed & ~loss.index.isin(reached)]
    left = left.sort_values(ascending=False, kind="stable")
    of_left = jobs[jobs["culvert_id"].isin(left.index)]
    groups = {str(key): own for key, own in of_left.groupby("culvert_id")}
    nothing = jobs.iloc[:0]
    nothing_goes = no_plan_reason(settings, travel)
    rows = []
    for culvert_id, worth in left.items():
        own = groups.get(str(culvert_id), nothing)
        if look[str(culvert_id)]:
            rows.append((culvert_id, float(worth), LIKELY_OPEN, _look(settings)))
            continue
        why = nothing_goes or _why(str(culvert_id), own, travel, case)
        instead = _instead(crossings, str(culvert_id), own, settings)
        rows.append((culvert_id, float(worth), why, instead))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def other_owner(owner: object) -> str:
    """Return an owner outside the town's own words; blank for the town itself.

    Examples
    --------
    >>> other_owner(" county"), other_owner("Town")
    ('county', '')
    """
    told = owner.strip() if isinstance(owner, str) else ""
    return "" if told.casefold() in OWN_WORDS else told


def no_plan_reason(settings: Settings, travel: Travel) -> str:
    """Say why no plan can be made; blank if one can."""
    if not settings.crews:
        return NO_CREW
    return "" if travel.place_ids else NO_ROADS


def _why(culvert_id: str, own: pd.DataFrame, travel: Travel, case: Case | None) -> str:
    if not own["is_possible"].astype(bool).any():
        reasons = [*dict.fromkeys(own["why_not"])]
        reasons = [word for word in reasons if word != NO_HEAT] or reasons
        return "; ".join(reasons) or "no thaw job was worked out"
    if culvert_id not in travel.place_ids or not _has_way(culvert_id, travel):
        return "no way by road from any crew's start"
    if case is None or culvert_id not in case.culvert_ids:
        return "not among the losses planned for, or the pipe below it cannot be opened"
    if not _fits_alone(case, culvert_id):
        return "does not fit the hours, water, fuel or keep-clear hours of any crew"
    if case.below[case.culvert_ids.index(culvert_id)] >= 0:
        return "the blocked pipe below it comes first and both do not fit"
    return NO_HOURS


def _has_way(culvert_id: str, travel: Travel) -> bool:
    here = travel.place_ids.index(culvert_id)
    starts = [n for n, p in enumerate(travel.place_ids) if p.startswith(CREW)]
    return bool(np.isfinite(travel.seconds[starts, here]).any())


def _fits_alone(case: Case, culvert_id: str) -> bool:
    place = first_stop_place(case) + case.culvert_ids.index(culvert_id)
    return any(
        timetable(case, crew, (place,)) is not None for crew in range(len(case.crews))
    )


def _instead(
    crossings: pd.DataFrame, culvert_id: str, own: pd.DataFrame, settings: Settings
) -> str:
    # dry whatever passes: a sign would warn of nothing
    depth_m = crossings.get("over_road_depth_m", pd.Series(dtype=float))
    words = [LOOK.lower() if depth_m.get(culvert_id, np.nan) <= 0 else SIGN]
    if owner := other_owner(
        crossings["owner"][culvert_id] if "owner" in crossings else ""
    ):
        words.append(f"call the owner ({owner})")
    hours = own.loc[own["is_possible"].astype(bool), "job_s"].min() / HOUR_S
    if np.isfinite(hours):
        words.append(f"contractor: {hours:.1f} h on site")
    if scouts := _scouts(settings):
        words.append(f"{scouts} looks and digs for the ends")
    text = "; ".join(words)
    return text[0].upper() + text[1:]


def _look(settings: Settings) -> str:
    scouts = _scouts(settings)
    return f"{scouts} looks, and calls it in if shut" if scouts else LOOK


def _scouts(settings: Settings) -> str:
    names = [crew.name for crew in settings.crews if crew.method == "no heat"]
    return " or ".join(names)
