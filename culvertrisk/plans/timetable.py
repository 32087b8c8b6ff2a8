"""The morning as numbers, and the exact timetable of a truck's stops in it."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from culvertrisk.settings import Crew, FillPoint

Floats = NDArray[np.float64]
Route = tuple[int, ...]
Hours = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Case:
    """A morning to plan; places are crews, then fill points, then crossings.

    Attributes
    ----------
    crews, fills : tuple
        Trucks and fill points, in the order of the places.
    culvert_ids : tuple of str
        Crossings that may be opened, after crews and fill points.
    loss_avoided_person_h : ndarray, shape (n,)
        Worth of opening each crossing [person-h].
    job_s, water_m3, fuel_m3 : ndarray, shape (crews, n)
        What each job takes; ``job_s`` is infinite where it is impossible.
    drive_s, drive_m : ndarray, shape (crews, places, places), (places, places)
        Driving of each truck, from row to column.
    clear_hours : tuple of Hours
        Hours in which no machine may stand there, per crossing.
    below : tuple of int
        Place that must be opened first, per crossing; -1 for none.
    clock_s, still_avoided : ndarray, shape (k,), (n, k)
        Share of ``loss_avoided_person_h`` left if a crossing is open by a clock time,
        never rising; without them all of it at any time.
    """

    crews: tuple[Crew, ...]
    fills: tuple[FillPoint, ...]
    culvert_ids: tuple[str, ...]
    loss_avoided_person_h: Floats
    job_s: Floats
    water_m3: Floats
    fuel_m3: Floats
    drive_s: Floats
    drive_m: Floats
    clear_hours: tuple[Hours, ...]
    below: tuple[int, ...]
    clock_s: Floats | None = None
    still_avoided: Floats | None = None
    _days: dict[tuple[int, Route], tuple["Stop", ...] | None] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )  # timetables worked out so far: a search asks for the same ones many times


@dataclass(frozen=True)
class Stop:
    """One visit of a truck, in seconds after midnight and cubic metres."""

    place: int
    drive_s: float
    drive_m: float
    arrive_s: float
    start_s: float
    end_s: float
    water_m3: float
    fuel_m3: float
    tank_left_m3: float
    fuel_left_m3: float


def first_stop_place(case: Case) -> int:
    """Return the place number of the first crossing."""
    return len(case.crews) + len(case.fills)


def refill_s(crew: Crew, fill: FillPoint) -> float:
    """Time to fill a whole tank; infinite where no water flows [s]."""
    return crew.tank_m3 / fill.rate_m3s if fill.rate_m3s > 0 else np.inf


def departure(case: Case, crew: int) -> Stop:
    """Return the start of a truck: full tanks, beginning of the shift."""
    truck = case.crews[crew]
    now = truck.shift_start
    return Stop(crew, 0, 0, now, now, now, 0, 0, truck.tank_m3, truck.fuel_tank_m3)


def next_stop(case: Case, crew: int, last: Stop, place: int) -> Stop | None:
    """Return the visit of a place after another one, or None if it cannot be."""
    drive_s = float(case.drive_s[crew, last.place, place])
    arrive_s = last.end_s + drive_s
    number = place - first_stop_place(case)
    if number < 0:
        span = _filling(case, crew, place, arrive_s)
        water_m3, fuel_m3 = case.crews[crew].tank_m3 - last.tank_left_m3, 0.0
        left_m3 = case.crews[crew].tank_m3
    else:
        job_s = float(case.job_s[crew, number])
        span = first_start(case.clear_hours[number], arrive_s, job_s)
        water_m3 = float(case.water_m3[crew, number])
        fuel_m3 = float(case.fuel_m3[crew, number])
        left_m3 = last.tank_left_m3 - water_m3
    fuel_left_m3 = last.fuel_left_m3 - fuel_m3
    if span is None or min(left_m3, fuel_left_m3) < 0:
        return None
    if not _back(case, crew, place, span[1]):
        return None
    drive_m = float(case.drive_m[last.place, place])
    way = (drive_s, drive_m, arrive_s)
    return Stop(place, *way, *span, water_m3, fuel_m3, left_m3, fuel_left_m3)


def timetable(case: Case, crew: int, route: Route) -> tuple[Stop, ...] | None:
    """Work out a truck's day.

    Parameters
    ----------
    case : Case
        The morning.
    crew : int
        Number of the truck.
    route : tuple of int
        Places in order, without start and end.

    Returns
    -------
    stops : tuple of Stop or None
        Start, visits and end; None if the route breaks hours, water, fuel or the
        hours to keep clear.
    """
    key = crew, route
    if key not in case._days:
        case._days[key] = _day_of(case, crew, route)
    return case._days[key]


def _day_of(case: Case, crew: int, route: Route) -> tuple[Stop, ...] | None:
    stops = [departure(case, crew)]
    for place in route:
        stop = next_stop(case, crew, stops[-1], place)
        if stop is None:
            return None
        stops.append(stop)
    last = stops[-1]
    drive_s = float(case.drive_s[crew, last.place, crew])
    home_s = last.end_s + drive_s
    metres = float(case.drive_m[last.place, crew])
    left = (last.tank_left_m3, last.fuel_left_m3)
    stops.append(Stop(crew, drive_s, metres, home_s, home_s, home_s, 0, 0, *left))
    return tuple(stops)


def day(case: Case, routes: tuple[Route, ...]) -> list[tuple[Stop, ...]] | None:
    """Return the timetable of every truck, or None if the plan cannot be.

    A crossing above another one may start only when that one is open.
    """
    days = [timetable(case, crew, route) for crew, route in enumerate(routes)]
    possible = [stops for stops in days if stops is not None]
    if len(possible) < len(days) or not _bottom_up(case, possible):
        return None
    return possible


def avoided(case: Case, stop: Stop) -> float:
    """Return the loss avoided by a visit, as much as its hour leaves [person-h]."""
    number = stop.place - first_stop_place(case)
    if number < 0:
        return 0.0
    whole = float(case.loss_avoided_person_h[number])
    if case.clock_s is None or case.still_avoided is None:
        return whole
    return whole * float(
        np.interp(stop.end_s, case.clock_s, case.still_avoided[number])
    )


def worth(case: Case, routes: tuple[Route, ...]) -> float:
    """Return the loss avoided by routes that hold; less than nothing if not [person-h].

    Each crossing counts with what its hour leaves of its loss.
    """
    days = day(case, routes)
    if days is None:
        return -np.inf
    return sum(day_worth(case, stops) for stops in days)


def day_worth(case: Case, stops: tuple[Stop, ...]) -> float:
    """Return the loss avoided by the visits of one truck [person-h]."""
    return sum(avoided(case, stop) for stop in stops)


def fill_places(case: Case) -> range:
    """Return the places of the fill points."""
    return range(len(case.crews), first_stop_place(case))


def without_idle_fills(case: Case, route: Route) -> Route:
    """Return a route without fills that no thaw follows."""
    first = first_stop_place(case)
    return tuple(
        place
        for here, place in enumerate(route)
        if place >= first or (len(route) > here + 1 and route[here + 1] >= first)
    )


def _bottom_up(case: Case, days: list[tuple[Stop, ...]]) -> bool:
    if max(case.below, default=-1) < 0:
        return True
    first = first_stop_place(case)
    visits = {s.place: s for stops in days for s in stops if s.place >= first}
    for place, stop in visits.items():
        below = case.below[place - first]
        if below < 0:
            continue
        if below not in visits or visits[below].end_s > stop.start_s:
            return False
    return True


def _back(case: Case, crew: int, place: int, end_s: float) -> bool:
    truck = case.crews[crew]
    home_s = end_s + float(case.drive_s[crew, place, crew])
    return home_s <= truck.shift_start + truck.shift_s


def _filling(
    case: Case, crew: int, place: int, arrive_s: float
) -> tuple[float, float] | None:
    fill = case.fills[place - len(case.crews)]
    start_s = max(arrive_s, fill.open_from)
    end_s = start_s + refill_s(case.crews[crew], fill)
    return (start_s, end_s) if end_s <= fill.open_until else None


def first_start(
    hours: Hours, arrive_s: float, job_s: float
) -> tuple[float, float] | None:
    """Return the first start from the arrival on that keeps clear of the hours."""
    start_s = arrive_s
    for clear_from, clear_until in sorted(hours):
        if start_s < clear_until and start_s + job_s > clear_from:
            start_s = clear_until
    end_s = start_s + job_s
    return (start_s, end_s) if np.isfinite(end_s) else None
