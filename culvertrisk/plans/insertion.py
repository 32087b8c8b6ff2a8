"""Last hand on a plan: what breaks a rule is taken out, what still fits is put in."""

from itertools import pairwise

from culvertrisk.plans.timetable import (
    Case,
    Route,
    day,
    first_stop_place,
    refill_s,
    timetable,
    without_idle_fills,
    worth,
)

Routes = tuple[Route, ...]
MOST_EXCHANGES = 12
TOLERANCE_S = 1e-3  # rounding of sums of driving times
LEAST_GAIN = 1e-6  # person-h·s; below it rounding would move stops to and fro


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


def filled_up(case: Case, routes: Routes) -> Routes:
    """Put in every crossing that still fits, the largest worth first.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and open at least as much; blocked crossings below one that
        is put in are put in before it.
    """
    first = first_stop_place(case)
    places = range(first, first + len(case.culvert_ids))
    for place in sorted(places, key=lambda p: (-_loss(case, p), p)):
        grown: Routes | None = routes
        for link in _missing_chain(case, routes, place):
            grown = _put_in(case, grown, link) if grown is not None else None
        if grown is not None and worth(case, grown) > worth(case, routes):
            routes = grown
    return routes


def exchanged(case: Case, routes: Routes) -> Routes:
    """Take out one crossing, fill up again, and keep what is worth more.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and are worth at least as much; the ``MOST_EXCHANGES``
        crossings of least worth are tried.
    """
    first, best = first_stop_place(case), routes
    planned = [place for route in routes for place in route if place >= first]
    for out in sorted(planned, key=lambda p: (_loss(case, p), p))[:MOST_EXCHANGES]:
        left = tuple(
            without_idle_fills(case, tuple(p for p in route if p != out))
            for route in routes
        )
        trial = filled_up(case, repaired(case, left))
        best = max(best, trial, key=lambda r: worth(case, r))
    return best


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
    """Put a crossing where its truck is home earliest, with water if needed."""
    best: tuple[float, Routes] | None = None
    first = first_stop_place(case)
    for crew, route in enumerate(routes):
        if case.job_s[crew, place - first] == float("inf"):
            continue
        spare_s = _spare(case, crew, route) - case.job_s[crew, place - first]
        for here in range(len(route) + 1):
            if _way_round(case, crew, route, here, place) > spare_s + TOLERANCE_S:
                continue  # no order of waiting makes up for hours that are not there
            for way in _ways(case, place):
                trial = (*route[:here], *way, *route[here:])
                stops = timetable(case, crew, trial)
                if stops is None:
                    continue
                grown = (*routes[:crew], trial, *routes[crew + 1 :])
                home_s = stops[-1].end_s
                earlier = best is None or home_s < best[0]
                if earlier and day(case, grown) is not None:
                    best = (home_s, grown)
                break  # water on the way only where the tank asks for it
    return best[1] if best is not None else None


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
    fills = range(len(case.crews), first_stop_place(case))
    before = [(fill, place) for fill in fills]
    after = [(place, fill) for fill in fills]
    return [(place,), *before, *after]


def worst_sooner(case: Case, routes: Routes) -> Routes:
    """Reorder each truck's stops so that the larger losses are ended sooner.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and make the same stops; moving any one stop within its
        truck's day does not lower the person-hours that wait, loss times end time.
    """
    best_wait = _waiting(case, routes)
    for crew in range(len(routes)):
        moved = True
        while moved:
            moved = False
            for trial in _moves(routes, crew):
                wait = _waiting(case, trial)
                if wait < best_wait - LEAST_GAIN:
                    routes, best_wait, moved = trial, wait, True
                    break
    return routes


def _moves(routes: Routes, crew: int) -> list[Routes]:
    """Return the routes with one stop of a truck moved to another turn."""
    route = routes[crew]
    trials = []
    for here in range(len(route)):
        rest = route[:here] + route[here + 1 :]
        for there in range(len(route)):
            trial = (*rest[:there], route[here], *rest[there:])
            if trial != route:
                trials.append((*routes[:crew], trial, *routes[crew + 1 :]))
    return trials


def _waiting(case: Case, routes: Routes) -> float:
    """Loss times end time over all crossings; infinite if the plan does not hold."""
    days, first = day(case, routes), first_stop_place(case)
    if days is None:
        return float("inf")
    return sum(
        _loss(case, stop.place) * stop.end_s
        for stops in days
        for stop in stops
        if stop.place >= first
    )
