"""What a plan is set beside: worst first by hand, all ways, and a bound on any plan."""

from itertools import product

import numpy as np
from scipy.optimize import linprog

from culvertrisk.plans.timetable import (
    Case,
    Floats,
    Route,
    Stop,
    avoided,
    day,
    departure,
    fill_places,
    first_stop_place,
    next_stop,
    worth,
)

MOST_STOPS = 10
MOST_CREWS = 2
_Label = tuple[Stop, Route, float]  # with its worth so far
_Labels = dict[tuple[int, int], list[_Label]]


def worst_first(case: Case) -> tuple[Route, ...]:
    """Plan as by hand: the truck that is free goes to the worst that still fits.

    Parameters
    ----------
    case : Case
        The morning.

    Returns
    -------
    routes : tuple of Route
        One route per crew under the same hours, water, fuel, hours to keep clear
        and bottom-up rule as the plan. A truck takes water at the nearest fill point
        when the tank does not hold the next job.
    """
    routes: list[Route] = [() for _ in case.crews]
    last = [departure(case, crew) for crew in range(len(case.crews))]
    waiting = set(range(len(case.crews)))
    while waiting:
        crew = min(waiting, key=lambda c: (last[c].end_s, c))
        for place in _worst_order(case, routes):
            grown = _grown(case, crew, last[crew], place)
            if grown is None:
                continue
            trial = list(routes)
            trial[crew] = routes[crew] + grown[1]
            if day(case, tuple(trial)) is not None:
                routes, last[crew] = trial, grown[0]
                break
        else:
            waiting.discard(crew)
    return tuple(routes)


def _worst_order(case: Case, routes: list[Route]) -> list[int]:
    first = first_stop_place(case)
    done = {place for route in routes for place in route}
    order = np.argsort(-case.loss_avoided_person_h, kind="stable") + first
    return [int(place) for place in order if place not in done]


def _grown(case: Case, crew: int, last: Stop, place: int) -> tuple[Stop, Route] | None:
    """Return the next visit, by way of water where the tank needs it."""
    direct = next_stop(case, crew, last, place)
    if direct is not None:
        return direct, (place,)
    ways = []
    for fill in fill_places(case):
        full = next_stop(case, crew, last, fill)
        then = next_stop(case, crew, full, place) if full is not None else None
        if then is not None:
            ways.append((then.end_s, fill, then))
    if not ways:
        return None
    _, fill, then = min(ways, key=lambda way: way[:2])
    return then, (fill, place)


def most_possible(case: Case) -> float:
    """Return a loss avoided that no plan with these trucks can pass [person-h].

    Parameters
    ----------
    case : Case
        The morning.

    Returns
    -------
    bound_person_h : float
        At least that of the best plan, and at most that of opening everything.

    Notes
    -----
    A linear programme that asks less than the truth: every crossing opened takes a
    truck its job and the shortest drive to it from anywhere, a truck's shift holds
    the sum, parts of crossings may be opened, and each counts with what is left of
    its loss at the earliest hour it could be open. Water, burner fuel, hours to keep
    clear and chains are left out.
    """
    crews, count = len(case.crews), len(case.culvert_ids)
    if not crews or not count:
        return 0.0
    first = first_stop_place(case)
    legs_s = case.drive_s[:, :, first:].copy()
    own = np.arange(count)
    legs_s[:, first + own, own] = np.inf
    takes_s = case.job_s + legs_s.min(axis=1)
    starts_s = np.array([crew.shift_start for crew in case.crews])
    shifts_s = np.array([crew.shift_s for crew in case.crews])
    yards = np.arange(crews)
    homes_s = case.drive_s[yards, first:, yards].min(axis=1)
    able = takes_s <= (shifts_s - homes_s)[:, None]
    gain = _earliest_worth(case, starts_s[:, None] + takes_s) * able
    each = np.tile(np.eye(count), crews)
    hours = np.kron(np.eye(crews), np.ones(count)) * np.where(able, takes_s, 0).ravel()
    found = linprog(
        -gain.ravel(),
        A_ub=np.vstack([each, hours]),
        b_ub=np.concatenate([np.ones(count), np.maximum(shifts_s - homes_s, 0)]),
        bounds=(0, 1),
    )
    return -float(found.fun or 0.0)  # opening nothing is always possible


def _earliest_worth(case: Case, open_s: Floats) -> Floats:
    """Loss avoided by each truck and crossing if open as early as can be."""
    if case.clock_s is None or case.still_avoided is None:
        return np.broadcast_to(case.loss_avoided_person_h, open_s.shape)
    shares = [
        np.interp(open_s[:, number], case.clock_s, row)
        for number, row in enumerate(case.still_avoided)
    ]
    return case.loss_avoided_person_h * np.stack(shares, axis=1)


def best_plan_exhaustive(case: Case) -> tuple[Route, ...]:
    """Find the best plan of a small case by trying all.

    Parameters
    ----------
    case : Case
        At most ``MOST_STOPS`` crossings and ``MOST_CREWS`` trucks, without chains.

    Returns
    -------
    routes : tuple of Route
        Routes of the largest loss avoided.

    Raises
    ------
    ValueError
        If the case is larger, or has chains.

    Notes
    -----
    For each truck every set of crossings is grown stop by stop, with and without
    water on the way; of two ways with the same set and last stop the one that is
    later, has less water and is worth less is dropped, which loses nothing.
    """
    if len(case.culvert_ids) > MOST_STOPS or len(case.crews) > MOST_CREWS:
        raise ValueError("the case is too large to try all")
    if max(case.below, default=-1) >= 0:
        raise ValueError("chains cannot be tried exhaustively")
    sets = [_sets(case, crew) for crew in range(len(case.crews))]
    best: tuple[float, tuple[Route, ...]] = (0.0, tuple(() for _ in case.crews))
    for choice in product(*(found.items() for found in sets)):
        masks = [mask for mask, _ in choice]
        if (
            sum(mask.bit_count() for mask in masks)
            > np.bitwise_or.reduce(masks).bit_count()
        ):
            continue
        routes = tuple(route for _, route in choice)
        best = max(best, (worth(case, routes), routes), key=lambda pair: pair[0])
    return best[1]


def _sets(case: Case, crew: int) -> dict[int, Route]:
    """Return the best route for each set of crossings that a truck can open."""
    first = first_stop_place(case)
    found: dict[int, tuple[float, Route]] = {0: (0.0, ())}
    layer: _Labels = {(0, crew): [(departure(case, crew), (), 0.0)]}
    while layer:
        grown: _Labels = {}
        for (mask, _), labels in layer.items():
            for number in range(len(case.culvert_ids)):
                if mask >> number & 1:
                    continue
                for label in labels:
                    _grow(case, crew, label, first + number, mask | 1 << number, grown)
        for (mask, _), labels in grown.items():
            for _, route, value in labels:
                if mask not in found or value > found[mask][0]:
                    found[mask] = (value, route)
        layer = grown
    return {mask: route for mask, (_, route) in found.items()}


def _grow(
    case: Case,
    crew: int,
    label: _Label,
    place: int,
    mask: int,
    grown: _Labels,
) -> None:
    last, route, value = label
    fills = fill_places(case)
    for way in [(place,), *((fill, place) for fill in fills)]:
        stop: Stop | None = last
        for step in way:
            stop = next_stop(case, crew, stop, step) if stop is not None else None
        if stop is not None:
            new = stop, route + way, value + avoided(case, stop)
            _keep(grown.setdefault((mask, place), []), new)


def _keep(labels: list[_Label], new: _Label) -> None:
    if any(_is_as_good(old, new) for old in labels):
        return
    labels[:] = [old for old in labels if not _is_as_good(new, old)]
    labels.append(new)


def _is_as_good(one: _Label, other: _Label) -> bool:
    return (
        one[0].end_s <= other[0].end_s
        and one[0].tank_left_m3 >= other[0].tank_left_m3
        and one[2] >= other[2]
    )
