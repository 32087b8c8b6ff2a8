"""Last hand on the order of a plan: the true benefit falls with the hour."""

from collections.abc import Iterator

from culvertrisk.plans.timetable import (
    Case,
    Route,
    avoided,
    day,
    first_stop_place,
    without_idle_fills,
)

Routes = tuple[Route, ...]
Score = tuple[float, float]
LEAST_GAIN_PERSON_H = 1e-6  # below it rounding would move stops to and fro
LEAST_WAIT = 1e-6  # the same of person-hours times seconds
NO_PLAN: Score = (-float("inf"), float("inf"))


def sooner(case: Case, routes: Routes) -> Routes:
    """Move stops within and between trucks while the loss avoided grows.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.

    Returns
    -------
    routes : tuple of Route
        Routes that hold. Neither moving one stop, nor leaving one out, nor taking
        water elsewhere makes them worth more at the hours the crossings are opened; of
        equal worth the larger losses are ended sooner.
    """
    best = _score(case, routes)
    moved = True
    while moved:
        moved = False
        for trial in _moves(case, routes):
            score = _score(case, trial)
            if _is_better(score, best):
                routes, best, moved = trial, score, True
                break
    return routes


def _moves(case: Case, routes: Routes) -> Iterator[Routes]:
    for crew, route in enumerate(routes):
        for here, place in enumerate(route):
            rest = route[:here] + route[here + 1 :]
            for there in range(len(route)):
                if there != here:
                    turned = (*rest[:there], place, *rest[there:])
                    yield _with(routes, crew, turned)
            if place >= first_stop_place(case):
                left = _with(routes, crew, without_idle_fills(case, rest))
                yield left
                yield from _to_others(case, left, crew, place)
            else:
                for fill in _fills(case):
                    elsewhere = (*route[:here], fill, *route[here + 1 :])
                    yield _with(routes, crew, elsewhere)


def _to_others(case: Case, routes: Routes, crew: int, place: int) -> Iterator[Routes]:
    ways = [(place,), *((fill, place) for fill in _fills(case))]
    for other, route in enumerate(routes):
        if other == crew:
            continue
        for here in range(len(route) + 1):
            for way in ways:
                yield _with(routes, other, (*route[:here], *way, *route[here:]))


def _fills(case: Case) -> range:
    return range(len(case.crews), first_stop_place(case))


def _with(routes: Routes, crew: int, route: Route) -> Routes:
    return (*routes[:crew], route, *routes[crew + 1 :])


def _is_better(score: Score, best: Score) -> bool:
    gain = score[0] - best[0]
    if abs(gain) > LEAST_GAIN_PERSON_H:
        return gain > 0
    return score[1] < best[1] - LEAST_WAIT


def _score(case: Case, routes: Routes) -> Score:
    """Loss avoided, and loss times end time over all crossings."""
    days, first = day(case, routes), first_stop_place(case)
    if days is None:
        return NO_PLAN
    visits = [stop for stops in days for stop in stops if stop.place >= first]
    waiting = sum(
        float(case.loss_avoided_person_h[stop.place - first]) * stop.end_s
        for stop in visits
    )
    return sum(avoided(case, stop) for stop in visits), waiting
