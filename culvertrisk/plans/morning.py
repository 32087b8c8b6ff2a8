"""The morning plan: which stops, which truck, which order, what is not reached."""

from dataclasses import dataclass, field
from functools import partial

import numpy as np
import pandas as pd

from culvertrisk.plans.candidates import morning_case
from culvertrisk.plans.compare import most_possible, worst_first
from culvertrisk.plans.insertion import filled_up, repaired, shaken
from culvertrisk.plans.looks import LOOK_COLUMNS, look_rounds
from culvertrisk.plans.not_reached import no_plan_reason, not_reached
from culvertrisk.plans.plan_checker import check_plan
from culvertrisk.plans.reordering import larger_first, sooner
from culvertrisk.plans.solver import ITERATIONS, PENALTY_SHARES, solve_routes
from culvertrisk.plans.timetable import (
    Case,
    Route,
    Stop,
    avoided,
    day,
    first_stop_place,
    worth,
)
from culvertrisk.plans.travel import CREW, FILL, Travel
from culvertrisk.settings import Settings

__all__ = ["MorningPlan", "Travel", "best_routes", "plan_morning"]

STARTS = (2, 8)  # the fewest and the most searches, which share the steps
SMALL_STARTS = 160  # a small case is searched from more starts
STOP_COLUMNS = (
    "crew",
    "stop_number",
    "kind",
    "place_id",
    "culvert_id",
    "drive_s",
    "drive_m",
    "arrive_s",
    "start_s",
    "end_s",
    "water_m3",
    "fuel_m3",
    "tank_left_m3",
    "fuel_left_m3",
    "loss_avoided_person_h",
)


@dataclass(frozen=True)
class MorningPlan:
    """A planned morning.

    Attributes
    ----------
    stops : DataFrame
        One row per stop, in order for each crew that leaves its yard: ``start``,
        ``thaw``, ``fill`` and ``end``. Times are seconds after midnight, exact from the
        unrounded driving times; waiting lies between ``arrive_s`` and ``start_s``, and
        is spent off the road. ``water_m3`` is used at a thaw and taken in at a fill.
    not_reached : DataFrame
        Crossings worth opening that are not opened, the largest loss first, why, and
        what is done there instead.
    comparison : dict
        Loss avoided by ``plan``, by ``worst_first`` with the same trucks, the ``bound``
        that no plan with them can pass, and ``possible`` if every crossing planned for
        could be opened [person-h].
    problems : tuple of str
        Broken constraints found by the independent checker; empty when all hold.
    looks : DataFrame
        Rounds of the crews without heat past crossings not reached, ``LOOK_COLUMNS``.
    """

    stops: pd.DataFrame
    not_reached: pd.DataFrame
    comparison: dict[str, float]
    problems: tuple[str, ...]
    looks: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=list(LOOK_COLUMNS))
    )


def plan_morning(
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    settings: Settings,
    by_hour: pd.DataFrame | None = None,
    *,
    seed: int = 1,
) -> MorningPlan:
    """Plan which crossings to open, by which truck, in which order.

    Parameters
    ----------
    crossings : DataFrame
        Crossings table with ``loss_avoided_person_h``; ``blocked_chance``,
        ``road_name``, ``owner`` and ``downstream_id`` are used where they are there.
    jobs : DataFrame
        Rows of :func:`culvertrisk.plans.thaw_job.thaw_jobs`.
    travel : Travel
        Driving between crews, fill points and crossings.
    settings : Settings
        The town file: crews, fill points and hours to keep clear.
    by_hour : DataFrame, optional
        Shares of the loss that are still avoided at each clock time, by crossing, as
        of ``stages.loss_by_hour.avoided_by_hour``; without it all of it at any time.
    seed : int
        Seed of the search; the same inputs and seed give the same plan.

    Returns
    -------
    plan : MorningPlan
        A crossing counts with what the hour at which it is open leaves of its loss.
        Where the hour does not matter the larger losses come sooner.
    """
    case = None
    if not no_plan_reason(settings, travel):
        case = morning_case(crossings, jobs, travel, settings, by_hour)
    if case is None or not case.crews:
        return _no_plan(crossings, jobs, travel, settings, case)
    routes = best_routes(case, seed=seed)
    stops = _stops(case, routes)
    reached = frozenset(stops.loc[stops["kind"] == "thaw", "culvert_id"])
    left = not_reached(crossings, jobs, travel, settings, case, reached)
    return MorningPlan(
        stops=stops,
        not_reached=left,
        comparison={
            "plan": worth(case, routes),
            "worst_first": worth(case, worst_first(case)),
            "bound": most_possible(case),
            "possible": float(case.loss_avoided_person_h.sum()),
        },
        problems=check_plan(stops, crossings, jobs, travel, settings, by_hour),
        looks=look_rounds(left, crossings, travel, settings),
    )


def best_routes(case: Case, *, seed: int = 1) -> tuple[Route, ...]:
    """Return the best of several searches and of worst first, each filled up.

    Parameters
    ----------
    case : Case
        The morning.
    seed : int
        Seed of the search.

    Returns
    -------
    routes : tuple of Route
        Routes that hold in exact time.
    """
    plans = [filled_up(case, worst_first(case))]
    starts = int(np.clip(SMALL_STARTS // max(len(case.culvert_ids), 1), *STARTS))
    for start in range(starts):
        routes = solve_routes(
            case,
            seed=seed + start,
            iterations=ITERATIONS // starts,
            penalty_share=PENALTY_SHARES[start % len(PENALTY_SHARES)],
        )
        plans.append(filled_up(case, repaired(case, routes)))
    best = max((sooner(case, routes) for routes in plans), key=partial(worth, case))
    return larger_first(case, shaken(case, best, seed=seed))


def _no_plan(
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    settings: Settings,
    case: Case | None,
) -> MorningPlan:
    loss = crossings["loss_avoided_person_h"]
    reason = no_plan_reason(settings, travel)
    left = not_reached(crossings, jobs, travel, settings, case, frozenset())
    return MorningPlan(
        stops=pd.DataFrame(columns=list(STOP_COLUMNS)),
        not_reached=left,
        comparison={
            "plan": 0.0,
            "worst_first": 0.0,
            "bound": 0.0,
            "possible": float(loss[loss > 0].sum()),
        },
        problems=(f"No plan: {reason}.",) if reason else (),
        looks=look_rounds(left, crossings, travel, settings),
    )


def _stops(case: Case, routes: tuple[Route, ...]) -> pd.DataFrame:
    days = day(case, routes)
    if days is None:
        raise RuntimeError("a plan that was checked no longer holds")
    rows = [
        _row(case, crew, number, stop, is_end=number == len(stops) - 1)
        for crew, stops in enumerate(days)
        if routes[crew]
        for number, stop in enumerate(stops)
    ]
    return pd.DataFrame(rows, columns=list(STOP_COLUMNS))


def _row(
    case: Case, crew: int, number: int, stop: Stop, *, is_end: bool
) -> dict[str, object]:
    first, name = first_stop_place(case), case.crews[crew].name
    culvert_id = ""
    if stop.place >= first:
        culvert_id = case.culvert_ids[stop.place - first]
        kind, place_id = "thaw", culvert_id
    elif stop.place >= len(case.crews):
        fill = case.fills[stop.place - len(case.crews)]
        kind, place_id = "fill", f"{FILL}{fill.name}"
    else:
        kind, place_id = "end" if is_end else "start", f"{CREW}{name}"
    values = {
        column: getattr(stop, column)
        for column in STOP_COLUMNS
        if hasattr(stop, column)
    }
    return {
        "crew": name,
        "stop_number": number,
        "kind": kind,
        "place_id": place_id,
        "culvert_id": culvert_id,
        "loss_avoided_person_h": avoided(case, stop),
        **values,
    }
