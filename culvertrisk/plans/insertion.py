"""Last hand on a plan: what breaks a rule is taken out, what still fits is put in."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from culvertrisk.plans.reordering import sooner
from culvertrisk.plans.timetable import (
    Case,
    Route,
    Stop,
    day,
    day_worth,
    fill_places,
    first_stop_place,
    refill_s,
    timetable,
    without_idle_fills,
    worth,
)

Floats = NDArray[np.float64]
Routes = tuple[Route, ...]
ROUNDS = (40, 250)  # the fewest and the most; a small case is tried more often
TRIES = 8_000  # rounds times crossings
MOST_OUT = 4  # crossings taken out at once
ORDER_SPREAD = 0.5  # log standard deviation of the weights on worth
WORTH_DIGITS = 6  # of person-hours; below it the earlier way home decides
TOLERANCE_S = 1e-3  # rounding of sums of driving times


def repaired(case: Case, routes: Routes) -> Routes:
    """Take out the crossing of least worth until the plan holds.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that may break hours, water or the bottom-up rule.

    Returns
    -------
    routes : tuple of Route
        Routes that hold.
    """
    first = first_stop_place(case)
    while day(case, routes) is None:
        planned = [place for route in routes for place in route if place >= first]
        upper = [p for p in planned if not _rests(case, p, planned)]
        worst = min(upper or planned, key=lambda p: _loss(case, p), default=-1)
        routes = tuple(
            tuple(p for p in route if p != worst and (p >= first or worst >= 0))
            for route in routes
        )
    return routes


def filled_up(case: Case, routes: Routes, weights: Floats | None = None) -> Routes:
    """Put in every crossing that still fits, the largest worth first.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.
    weights : ndarray, shape (n,), optional
        On the worth of each crossing, only to try them in another order.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and open at least as much; blocked crossings below one that
        is put in are put in before it.
    """
    first, now = first_stop_place(case), worth(case, routes)
    loss = case.loss_avoided_person_h * (1 if weights is None else weights)
    for place in np.argsort(-loss, kind="stable") + first:
        grown: Routes | None = routes
        for link in _missing_chain(case, routes, int(place)):
            grown = _put_in(case, grown, link) if grown is not None else None
        then = -float("inf") if grown is None else worth(case, grown)
        if grown is not None and then > now:
            routes, now = grown, then
    return routes


def shaken(case: Case, routes: Routes, *, seed: int) -> Routes:
    """Take out a few crossings, fill up in another order, keep what is worth more.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.
    seed : int
        Seed of what is taken out and in which order the rest is tried.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and are worth at least as much, after as many rounds
        as ``ROUNDS`` and ``TRIES`` say.
    """
    rounds = int(np.clip(TRIES // max(len(case.culvert_ids), 1), *ROUNDS))
    first, random = first_stop_place(case), np.random.default_rng(seed)
    now = worth(case, routes)
    for _ in range(rounds):
        planned = [place for route in routes for place in route if place >= first]
        count = min(int(random.integers(1, MOST_OUT + 1)), len(planned))
        out = {*random.choice(planned, count, replace=False)} if planned else set()
        left = tuple(
            without_idle_fills(case, tuple(p for p in route if p not in out))
            for route in routes
        )
        weights = random.lognormal(0, ORDER_SPREAD, len(case.culvert_ids))
        trial = sooner(case, filled_up(case, repaired(case, left), weights))
        if worth(case, trial) > now:
            routes, now = trial, worth(case, trial)
    return routes


def _loss(case: Case, place: int) -> float:
    return float(case.loss_avoided_person_h[place - first_stop_place(case)])


def _rests(case: Case, place: int, planned: list[int]) -> bool:
    """Tell whether a planned crossing above rests on this one being opened."""
    first = first_stop_place(case)
    return any(case.below[above - first] == place for above in planned)


def _missing_chain(case: Case, routes: Routes, place: int) -> list[int]:
    """Return the crossings not yet planned from the lowest up to a place."""
    planned = {stop for route in routes for stop in route}
    chain: list[int] = []
    while place >= 0 and place not in planned:
        chain.append(place)
        place = case.below[place - first_stop_place(case)]
    return chain[::-1]


def _put_in(case: Case, routes: Routes, place: int) -> Routes | None:
    """Put a crossing where most is avoided, then where its truck is home earliest."""
    best: tuple[float, float, Routes] | None = None
    first = first_stop_place(case)
    for crew, route in enumerate(routes):
        if case.job_s[crew, place - first] == float("inf"):
            continue
        before = day_worth(case, timetable(case, crew, route) or ())
        for trial, stops in _trials(case, crew, route, place):
            gain = round(day_worth(case, stops) - before, WORTH_DIGITS)
            key = (-gain, stops[-1].end_s)
            grown = (*routes[:crew], trial, *routes[crew + 1 :])
            is_better = best is None or key < best[:2]
            if is_better and day(case, grown) is not None:
                best = (*key, grown)
    return best[2] if best is not None else None


def _trials(
    case: Case, crew: int, route: Route, place: int
) -> Iterator[tuple[Route, tuple[Stop, ...]]]:
    """Yield a truck's route with a crossing put in at each turn where it holds."""
    job_s = case.job_s[crew, place - first_stop_place(case)]
    spare_s = _spare(case, crew, route) - job_s
    for here in range(len(route) + 1):
        if _way_round(case, crew, route, here, place) > spare_s + TOLERANCE_S:
            continue  # no order of waiting makes up for hours that are not there
        for way in _ways(case, place):
            trial = (*route[:here], *way, *route[here:])
            stops = timetable(case, crew, trial)
            if stops is not None:
                yield trial, stops
                break  # water on the way only where the tank asks for it


def _spare(case: Case, crew: int, route: Route) -> float:
    """Hours of a truck that neither driving nor jobs nor filling take [s]."""
    first, truck = first_stop_place(case), case.crews[crew]
    around = (crew, *route, crew)
    drive_s = sum(case.drive_s[crew, a, b] for a, b in pairwise(around))
    work_s = sum(
        case.job_s[crew, place - first]
        if place >= first
        else refill_s(truck, case.fills[place - len(case.crews)])
        for place in route
    )
    return float(truck.shift_s - drive_s - work_s)


def _way_round(case: Case, crew: int, route: Route, here: int, place: int) -> float:
    """Extra driving of a place put into a route; a fill on the way takes more [s]."""
    around = (crew, *route, crew)
    before, after = around[here], around[here + 1]
    drive_s = case.drive_s[crew]
    extra_s = drive_s[before, place] + drive_s[place, after] - drive_s[before, after]
    return float(extra_s)


def _ways(case: Case, place: int) -> list[Route]:
    fills = fill_places(case)
    before = [(fill, place) for fill in fills]
    after = [(place, fill) for fill in fills]
    return [(place,), *before, *after]
