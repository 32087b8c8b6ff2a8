"""Which crossings a morning may open, and the morning as numbers."""

from itertools import pairwise

import numpy as np
import pandas as pd

from culvertrisk.plans.plan_checker import clear_rules, must_be_opened
from culvertrisk.plans.timetable import Case, Hours
from culvertrisk.plans.travel import CREW, FILL, Travel
from culvertrisk.settings import Crew, Settings

MOST_CANDIDATES = 150


def working_crews(jobs: pd.DataFrame, settings: Settings) -> tuple[Crew, ...]:
    """Return the crews that can open at least one crossing."""
    able = set(jobs.loc[jobs["is_possible"].astype(bool), "crew"])
    return tuple(crew for crew in settings.crews if crew.name in able)


def candidates(
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    least_blocked_chance: float = 0.0,
) -> tuple[list[str], dict[str, str]]:
    """Choose the crossings to plan for.

    Parameters
    ----------
    crossings, jobs : DataFrame
        Crossings table and thaw jobs.
    travel : Travel
        Places that can be driven to.
    least_blocked_chance : float
        Crossings less likely blocked get a look, not a truck.

    Returns
    -------
    culvert_ids : list of str
        Largest loss avoided first, at most ``MOST_CANDIDATES``; and the blocked
        pipes below them, which must be opened first.
    below : dict
        Culvert to the blocked one below it.
    """
    loss = crossings["loss_avoided_person_h"]
    able = set(jobs.loc[jobs["is_possible"].astype(bool), "culvert_id"])
    able &= set(travel.place_ids)
    likely = ~is_likely_open(crossings, least_blocked_chance)
    worth = loss[(loss > 0) & likely & loss.index.isin(able)]
    chosen = [*worth.sort_values(ascending=False, kind="stable").index]
    chosen = chosen[:MOST_CANDIDATES]
    below: dict[str, str] = {}
    kept: dict[str, None] = {}
    for culvert_id in chosen:
        chain = _chain(crossings, culvert_id)
        if all(link in able for link in chain):
            below.update(pairwise(chain))
            kept.update(dict.fromkeys(chain))
    return [*kept], below


def is_likely_open(
    crossings: pd.DataFrame, least_blocked_chance: float
) -> "pd.Series[bool]":
    """Tell which crossings are too likely open to send a truck to."""
    if "blocked_chance" not in crossings:
        return pd.Series(False, crossings.index)
    return crossings["blocked_chance"] < least_blocked_chance


def _chain(crossings: pd.DataFrame, culvert_id: str) -> list[str]:
    """Return a crossing and the blocked ones below it, downwards."""
    chain = [culvert_id]
    while "downstream_id" in crossings:
        below = crossings["downstream_id"].get(chain[-1], "")
        known = isinstance(below, str) and must_be_opened(crossings, below)
        if not known or below in chain:
            break
        chain.append(below)
    return chain


def morning_case(
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    settings: Settings,
    by_hour: pd.DataFrame | None = None,
) -> Case:
    """Turn the tables of a morning into arrays.

    Parameters
    ----------
    crossings, jobs : DataFrame
        Crossings table and thaw jobs.
    travel : Travel
        Driving times at the road's winter speed.
    settings : Settings
        The town file.
    by_hour : DataFrame, optional
        Shares of the loss still avoided by clock time, one row a crossing.

    Returns
    -------
    case : Case
        Places in the order crews, fill points, crossings.
    """
    crews = working_crews(jobs, settings)
    ids, below = candidates(crossings, jobs, travel, settings.plan.least_blocked_chance)
    fills = settings.fill_points
    names = [*(CREW + c.name for c in crews), *(FILL + f.name for f in fills), *ids]
    drive_s, drive_m = _drives(travel, names, crews)
    first = len(crews) + len(fills)
    number = {culvert_id: first + here for here, culvert_id in enumerate(ids)}
    return Case(
        crews=crews,
        fills=fills,
        culvert_ids=tuple(ids),
        loss_avoided_person_h=_loss(crossings, ids),
        job_s=np.nan_to_num(_by_crew(jobs, crews, ids, "job_s"), nan=np.inf),
        water_m3=np.nan_to_num(_by_crew(jobs, crews, ids, "water_m3")),
        fuel_m3=np.nan_to_num(_by_crew(jobs, crews, ids, "fuel_m3")),
        drive_s=drive_s,
        drive_m=drive_m,
        clear_hours=tuple(_clear_hours(crossings, i, settings) for i in ids),
        below=tuple(number[below[i]] if i in below else -1 for i in ids),
        clock_s=None if by_hour is None else by_hour.columns.to_numpy(float),
        still_avoided=None if by_hour is None else by_hour.loc[ids].to_numpy(float),
    )


def _drives(
    travel: Travel, names: list[str], crews: tuple[Crew, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Return times of each truck and lengths between places; infinite without a way."""
    index = {place: number for number, place in enumerate(travel.place_ids)}
    places = np.array([index[name] for name in names], dtype=int)
    square = np.ix_(places, places)
    speeds = np.array([crew.speed_fraction for crew in crews]).reshape(-1, 1, 1)
    times_s = _reached(travel.seconds[square])[None] / speeds
    return times_s, _reached(travel.metres[square])


def _reached(table: np.ndarray) -> np.ndarray:
    return np.nan_to_num(table.astype(float), nan=np.inf, posinf=np.inf)


def _loss(crossings: pd.DataFrame, ids: list[str]) -> np.ndarray:
    loss = crossings["loss_avoided_person_h"].reindex(ids).to_numpy(float)
    return np.maximum(np.nan_to_num(loss), 0.0)


def _by_crew(
    jobs: pd.DataFrame, crews: tuple[Crew, ...], ids: list[str], column: str
) -> np.ndarray:
    possible = jobs[jobs["is_possible"].astype(bool)]
    table = possible.pivot(index="crew", columns="culvert_id", values=column)
    names = [crew.name for crew in crews]
    return table.reindex(index=names, columns=ids).to_numpy(float)


def _clear_hours(crossings: pd.DataFrame, culvert_id: str, settings: Settings) -> Hours:
    rules = clear_rules(crossings, culvert_id, settings)
    return tuple((rule.clear_from, rule.clear_until) for rule in rules)
