"""What the routing solver is told of a morning: who may be opened when, for what."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import pyvrp
from numpy.typing import NDArray

from culvertrisk.plans.timetable import Case, first_stop_place

Ticks = NDArray[Any]  # whole numbers
Window = tuple[int, int]

TICK_S = 10.0  # the solver counts whole ticks, rounded against us
DROP_M3 = 1e-4  # water and fuel in tenths of a litre: a stop weighs as in ticks
PRIZE_TICKS = 6_000  # prize of a person-hour: a thousandth for each minute
HIGHEST_PRIZE = 10**9  # keeps every sum far from the limit of 64 bits
NO_WAY_TICKS = 10**6  # longer than any shift
FALL_STEPS = 4  # a loss that falls during the shift is told in so many steps
FALL_TIMES = 400  # times of the shift at which the fall is looked at
ROUNDING = 1e-9  # so much of a tick, a drop or a share is none
LEAST_FALL = 0.02  # below it the hour does not matter to the search


@dataclass
class RoutingModel:
    """What is handed to PyVRP, and what its numbers mean here."""

    case: Case
    zero_s: float
    locations: list[int] = field(default_factory=list)  # place of each location
    only: list[int] = field(default_factory=list)  # the one crew allowed; -1 is any
    clients: list[pyvrp.Client] = field(default_factory=list)
    client_places: list[int] = field(default_factory=list)
    groups: list[pyvrp.ClientGroup] = field(default_factory=list)
    depots: list[pyvrp.Depot] = field(default_factory=list)
    depot_places: list[int] = field(default_factory=list)


def routing_model(case: Case) -> RoutingModel:
    """Return crews as depots and crossings as clients that bring a prize.

    A crossing with hours to keep clear, or whose loss falls during the shift, becomes
    a group of clients of which one may be visited: one for each crew, gap between
    the hours and step of the fall.
    """
    zero_s = min(crew.shift_start for crew in case.crews)
    first = first_stop_place(case)
    model = RoutingModel(case, zero_s, [*range(first + len(case.culvert_ids))])
    model.only = [-1] * len(model.locations)
    for crew in range(len(case.crews)):
        model.depots.append(pyvrp.Depot(crew))
        model.depot_places.append(crew)
    for number in range(len(case.culvert_ids)):
        steps = _steps(case, number)
        if case.clear_hours[number] or len(steps) > 1:
            _add_choices(model, number, steps)
        else:
            _add_client(model, number, first + number, steps[0][1])
    return model


def _add_client(
    model: RoutingModel,
    number: int,
    location: int,
    share: float,
    *,
    group: int | None = None,
    window: Window = (0, NO_WAY_TICKS),
) -> None:
    case = model.case
    prize = share * float(case.loss_avoided_person_h[number]) * prize_scale(case)
    model.clients.append(
        pyvrp.Client(
            location,
            delivery=whole_drops(case.water_m3[:, number]).tolist(),
            prize=max(round(prize), 1),
            required=False,
            group=group,
            tw_early=window[0],
            tw_late=window[1],
        )
    )
    model.client_places.append(first_stop_place(case) + number)


def _add_choices(
    model: RoutingModel, number: int, steps: list[tuple[float, float]]
) -> None:
    case = model.case
    members: list[int] = []
    for crew in range(len(case.crews)):
        for window, share in _choices(model, crew, number, steps):
            model.locations.append(first_stop_place(case) + number)
            model.only.append(crew)
            members.append(len(model.clients))
            here, group = len(model.locations) - 1, len(model.groups)
            _add_client(model, number, here, share, group=group, window=window)
    if members:
        model.groups.append(pyvrp.ClientGroup(members, required=False))


def _steps(case: Case, number: int) -> list[tuple[float, float]]:
    """Return clock times and the mean share of the loss left if open by then."""
    start_s = min(crew.shift_start for crew in case.crews)
    end_s = max(crew.shift_start + crew.shift_s for crew in case.crews)
    if case.clock_s is None or case.still_avoided is None:
        return [(end_s, 1.0)]
    times_s = np.linspace(start_s, end_s, FALL_TIMES)
    shares = np.interp(times_s, case.clock_s, case.still_avoided[number])
    most, least = float(shares[0]), float(shares[-1])
    if most - least < LEAST_FALL:
        return [(end_s, (most + least) / 2)]
    levels = np.linspace(most, least, FALL_STEPS + 1)
    return [
        (float(times_s[shares >= low - ROUNDING][-1]), float(high + low) / 2)
        for high, low in pairwise(levels)
    ]


def _choices(
    model: RoutingModel, crew: int, number: int, steps: list[tuple[float, float]]
) -> Iterator[tuple[Window, float]]:
    """Yield from and to which tick a crew's job can start, and for which share."""
    job_s = float(model.case.job_s[crew, number])
    for early, gap_late in _gaps(model, crew, number):
        before = early - 1
        for open_by_s, share in steps:
            late = min(gap_late, int((open_by_s - job_s - model.zero_s) // TICK_S))
            if late > before:
                yield (early, late), share
            before = max(before, late)


def _gaps(model: RoutingModel, crew: int, number: int) -> Iterator[Window]:
    """Yield from and to which tick a crew's job can start between clear hours."""
    job_s = float(model.case.job_s[crew, number])
    truck = model.case.crews[crew]
    open_s, end_s = truck.shift_start, truck.shift_start + truck.shift_s
    if not np.isfinite(job_s):
        return
    clear = sorted(model.case.clear_hours[number])
    for clear_from, clear_until in [*clear, (end_s, end_s)]:
        early = int(whole_ticks(open_s - model.zero_s))
        late = int((min(clear_from, end_s) - job_s - model.zero_s) // TICK_S)
        if late >= early:
            yield early, late
        open_s = max(open_s, clear_until)


def prize_scale(case: Case) -> float:
    """Prize units per person-hour.

    So large that the smallest benefit outweighs a whole shift of all trucks.
    """
    losses = case.loss_avoided_person_h[case.loss_avoided_person_h > 0]
    shifts = sum(crew.shift_s for crew in case.crews) / TICK_S
    wanted = max(PRIZE_TICKS, shifts / losses.min())
    return float(min(wanted, HIGHEST_PRIZE / losses.max()))


def whole_ticks(values_s: NDArray[np.float64] | float) -> Ticks:
    """Return times in ticks, rounded up; no way is a number beyond any shift."""
    ticks = np.nan_to_num(np.asarray(values_s) / TICK_S, nan=np.inf)
    counted = np.ceil(ticks - ROUNDING)
    return np.minimum(counted, NO_WAY_TICKS).astype(np.int64)


def whole_drops(values_m3: NDArray[np.float64] | float) -> Ticks:
    """Return volumes in drops, rounded up."""
    counted = np.ceil(np.nan_to_num(np.asarray(values_m3) / DROP_M3) - ROUNDING)
    return np.minimum(counted, 10**12).astype(np.int64)
