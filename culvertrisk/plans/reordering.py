"""Last hand on the order of a plan: the true benefit falls with the hour."""

from collections.abc import Callable, Iterator
from itertools import combinations

from culvertrisk.plans.timetable import (
    Case,
    Route,
    day,
    day_worth,
    fill_places,
    first_stop_place,
    without_idle_fills,
)

Routes = tuple[Route, ...]
Score = tuple[float, float]
LEAST_GAIN_PERSON_H = 1e-6  # below it rounding would move stops to and fro
KEPT_SHARE = 0.999  # of the loss avoided; our choice
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
    return _searched(case, routes, _moves, _is_better)


def larger_first(case: Case, routes: Routes) -> Routes:
    """End the larger losses sooner where that costs next to nothing.

    Parameters
    ----------
    case : Case
        The morning.
    routes : tuple of Route
        Routes that hold.

    Returns
    -------
    routes : tuple of Route
        Routes that hold and avoid at least ``KEPT_SHARE`` of what they did: a
        forecast is not so sure that a thousandth should send a truck past a worse
        crossing. Neither moving nor swapping stops ends the larger losses sooner.
    """
    best, _ = _score(case, routes)
    least = KEPT_SHARE * best

    def is_sooner(score: Score, now: Score) -> bool:
        return score[0] >= least and score[1] < now[1] - LEAST_WAIT

    return _searched(case, routes, _order_moves, is_sooner)


def _searched(
    case: Case,
    routes: Routes,
    moves: Callable[[Case, Routes], Iterator[Routes]],
    is_better: Callable[[Score, Score], bool],
) -> Routes:
    """Take the first move that is better, again and again until none is."""
    best = _score(case, routes)
    moved = True
    while moved:
        moved = False
        for trial in moves(case, routes):
            score = _score(case, trial)
            if is_better(score, best):
                routes, best, moved = trial, score, True
                break
    return routes


def _order_moves(case: Case, routes: Routes) -> Iterator[Routes]:
    """Yield the same stops in other orders: one moved, or two swapped."""
    opened = _opened(case, routes)
    yield from (r for r in _moves(case, routes) if _opened(case, r) == opened)
    places = [(crew, here) for crew, r in enumerate(routes) for here in range(len(r))]
    for (crew, here), (other, there) in combinations(places, 2):
        swapped = [list(route) for route in routes]
        swapped[crew][here] = routes[other][there]
        swapped[other][there] = routes[crew][here]
        yield tuple(tuple(route) for route in swapped)


def _opened(case: Case, routes: Routes) -> set[int]:
    first = first_stop_place(case)
    return {place for route in routes for place in route if place >= first}


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
                for fill in fill_places(case):
                    elsewhere = (*route[:here], fill, *route[here + 1 :])
                    yield _with(routes, crew, elsewhere)


def _to_others(case: Case, routes: Routes, crew: int, place: int) -> Iterator[Routes]:
    ways = [(place,), *((fill, place) for fill in fill_places(case))]
    for other, route in enumerate(routes):
        if other == crew:
            continue
        for here in range(len(route) + 1):
            for way in ways:
                yield _with(routes, other, (*route[:here], *way, *route[here:]))


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
    return sum(day_worth(case, stops) for stops in days), waiting
