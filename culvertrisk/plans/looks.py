"""The round of a crew without heat: what it looks at, in which order, until when."""

import numpy as np
import pandas as pd

from culvertrisk.plans.not_reached import LIKELY_OPEN
from culvertrisk.plans.plan_checker import clear_rules
from culvertrisk.plans.thaw_job import thaw_defaults
from culvertrisk.plans.timetable import first_start
from culvertrisk.plans.travel import CREW, Travel
from culvertrisk.settings import Crew, Settings

LOOK_COLUMNS = ("crew", "stop_number", "culvert_id", "drive_s", "start_s", "end_s")
Site = tuple[int, float, tuple[tuple[float, float], ...]]  # place, time, hours to keep
Visit = tuple[int, float, float, float]  # place, drive, start, end


def look_rounds(
    left: pd.DataFrame, crossings: pd.DataFrame, travel: Travel, settings: Settings
) -> pd.DataFrame:
    """Plan the looks at crossings that no truck opens.

    Parameters
    ----------
    left : DataFrame
        Rows of ``not_reached``, the largest loss first.
    crossings : DataFrame
        Crossings table.
    travel : Travel
        Places that can be driven to.
    settings : Settings
        Crews and hours to keep clear.

    Returns
    -------
    rounds : DataFrame
        Columns ``LOOK_COLUMNS``; as many of the largest losses as fit each crew's
        shift with the way home, in the order in which each next one can be started
        soonest. A second crew takes what the first one leaves.
    """
    is_placed = left["culvert_id"].isin(travel.place_ids)
    rest = left[is_placed] if len(travel.place_ids) else left.iloc[:0]
    rows: list[tuple[object, ...]] = []
    for crew in settings.crews:
        if crew.method != "no heat" or rest.empty:
            continue
        visits = _longest(crew, _sites(rest, crossings, travel, settings), travel)
        ids = [travel.place_ids[visit[0]] for visit in visits]
        rows += [
            (crew.name, number, culvert_id, *visit[1:])
            for number, (culvert_id, visit) in enumerate(
                zip(ids, visits, strict=True), start=1
            )
        ]
        rest = rest[~rest["culvert_id"].isin(ids)]
    return pd.DataFrame(rows, columns=list(LOOK_COLUMNS))


def _sites(
    left: pd.DataFrame, crossings: pd.DataFrame, travel: Travel, settings: Settings
) -> list[Site]:
    """Place, time on site [s] and hours to keep clear of each, largest loss first."""
    values, _, _ = thaw_defaults()
    sites = []
    for row in left.to_dict("records"):
        culvert_id = str(row["culvert_id"])
        on_site_s = values["look_s"]
        if row["why"] != LIKELY_OPEN:
            staked = "is_staked" in crossings and crossings["is_staked"][culvert_id] > 0
            on_site_s += (
                2 * values["dig_s"] * (values["staked_dig_fraction"] if staked else 1)
            )
        rules = clear_rules(crossings, culvert_id, settings)
        hours = tuple((rule.clear_from, rule.clear_until) for rule in rules)
        sites.append((travel.place_ids.index(culvert_id), on_site_s, hours))
    return sites


def _longest(crew: Crew, sites: list[Site], travel: Travel) -> list[Visit]:
    """Take the largest losses one by one, leaving out what does not fit."""
    best: list[Visit] = []
    taken: list[Site] = []
    for site in sites:
        if visits := _round([*taken, site], crew, travel):
            best = visits
            taken.append(site)
    return best


def _round(sites: list[Site], crew: Crew, travel: Travel) -> list[Visit]:
    """Visits, each next one the soonest that can be started; none if late home."""
    yard = here = travel.place_ids.index(CREW + crew.name)
    now, end_of_shift = crew.shift_start, crew.shift_start + crew.shift_s
    seconds = travel.seconds / crew.speed_fraction
    visits: list[Visit] = []
    rest = list(sites)
    while rest:
        spans = [_span(site, now + seconds[here, site[0]]) for site in rest]
        pick = int(np.argmin([start for start, _ in spans]))
        start_s, end_s = spans[pick]
        place = rest.pop(pick)[0]
        if not end_s + seconds[place, yard] <= end_of_shift:
            return []
        visits.append((place, float(seconds[here, place]), start_s, end_s))
        here, now = place, end_s
    return visits


def _span(site: Site, arrive_s: float) -> tuple[float, float]:
    return first_start(site[2], arrive_s, site[1]) or (np.inf, np.inf)
