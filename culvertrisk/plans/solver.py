"""Which crossings, which truck, in which order: the routing model for PyVRP."""

import warnings
from typing import Any

import numpy as np
import pyvrp
from pyvrp.PenaltyManager import PenaltyParams
from pyvrp.solve import SolveParams
from pyvrp.stop import MaxIterations

from culvertrisk.plans.routing_model import (
    DROP_M3,
    NO_WAY_TICKS,
    TICK_S,
    RoutingModel,
    Ticks,
    prize_scale,
    routing_model,
    whole_drops,
    whole_ticks,
)
from culvertrisk.plans.timetable import (
    Case,
    Route,
    first_stop_place,
    refill_s,
    without_idle_fills,
)

MOST_REFILLS = 8
RETRIES = 3  # each with ten times the penalty
ITERATIONS = 6_000  # about 10 s for 60 to 150 crossings on one core
PENALTY_SHARES = (0.5, 0.25, 0.1, 1.0)  # of the best rate of benefit; by trial


def solve_routes(
    case: Case,
    *,
    seed: int = 1,
    iterations: int = ITERATIONS,
    penalty_share: float = PENALTY_SHARES[0],
) -> tuple[Route, ...]:
    """Choose and order stops for the largest loss avoided, from one start.

    Parameters
    ----------
    case : Case
        The morning; chains (``below``) are left to the caller.
    seed : int
        Seed of the search.
    iterations : int
        Steps of the search: a count and no time, so that a plan can be repeated.
    penalty_share : float
        Price of a tick too late, over the best rate of benefit: low lets the search
        pass through plans that do not hold.

    Returns
    -------
    routes : tuple of Route
        One route per crew. Every time, litre and fuel is rounded against the truck,
        so that a route that fits in whole numbers fits in truth. Empty routes if no
        feasible plan was found.
    """
    empty: tuple[Route, ...] = tuple(() for _ in case.crews)
    model = routing_model(case) if case.crews else None
    if model is None or not model.clients:
        return empty
    data = _data(model)
    penalty = penalty_share * _rate(case) * prize_scale(case)
    for _ in range(RETRIES):
        params = SolveParams(penalty=PenaltyParams(max_penalty=max(penalty, 1.0)))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its word on penalties is met by the retry
            result = pyvrp.solve(
                data, MaxIterations(iterations), seed, False, params=params
            )
        if result.best.is_feasible():
            return _routes(model, result.best)
        penalty *= 10
    return empty


def _rate(case: Case) -> float:
    """Largest benefit per tick of work and way: no overtime is worth more."""
    first = first_stop_place(case)
    legs = case.drive_s[:, :, first:].copy()
    own = np.arange(len(case.culvert_ids))
    legs[:, first + own, own] = np.inf  # from itself
    ticks = (case.job_s + legs.min(axis=1)).min(axis=0) / TICK_S
    return float((case.loss_avoided_person_h / np.maximum(ticks, 1)).max())


def _data(model: RoutingModel) -> pyvrp.ProblemData:
    case = model.case
    trucks = [_truck(model, crew) for crew in range(len(case.crews))]
    matrices = [_matrices(model, crew) for crew in range(len(case.crews))]
    return pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in model.locations],
        model.clients,
        model.depots,
        trucks,
        [fuel for fuel, _ in matrices],
        [ticks for _, ticks in matrices],
        model.groups,
    )


def _truck(model: RoutingModel, crew: int) -> pyvrp.VehicleType:
    """One truck; its own water is one load dimension, the others do not bind."""
    case, truck = model.case, model.case.crews[crew]
    capacity = [10**15] * len(case.crews)
    capacity[crew] = int(truck.tank_m3 / DROP_M3 + 1e-9)
    start = int(whole_ticks(truck.shift_start - model.zero_s))
    end = int((truck.shift_start + truck.shift_s - model.zero_s) // TICK_S)
    return pyvrp.VehicleType(
        1,
        capacity,
        start_depot=crew,
        end_depot=crew,
        tw_early=start,
        tw_late=max(end, start),
        start_late=start,
        shift_duration=max(end - start, 0),
        max_distance=int(truck.fuel_tank_m3 / DROP_M3 + 1e-9),
        unit_distance_cost=0,
        unit_duration_cost=1,
        profile=crew,
        reload_depots=_fills(model, crew),
        max_reloads=MOST_REFILLS,
    )


def _fills(model: RoutingModel, crew: int) -> list[int]:
    """Add a depot for each fill point this truck can use; return their numbers."""
    case, added = model.case, []
    for number, fill in enumerate(case.fills):
        filling_s = refill_s(case.crews[crew], fill)
        early = int(whole_ticks(max(fill.open_from - model.zero_s, 0)))
        if not np.isfinite(filling_s):
            continue
        late = int((fill.open_until - filling_s - model.zero_s) // TICK_S)
        if late < early:
            continue
        place = len(case.crews) + number
        added.append(len(model.depots))
        service = int(whole_ticks(filling_s))
        model.depots.append(pyvrp.Depot(place, early, late, service))
        model.depot_places.append(place)
    return added


def _matrices(model: RoutingModel, crew: int) -> tuple[Any, Any]:
    """Fuel and time from each location: the job there, then the drive.

    PyVRP knows one service time and no fuel tank. So the job stands on the leg that
    leaves it, in this truck's own matrices, where a window bounds its start, and the
    distance is burner fuel, whose limit is the tank.
    """
    case, first = model.case, first_stop_place(model.case)
    drive = _closed(whole_ticks(case.drive_s[crew]))
    stay = np.zeros(len(drive), np.int64)
    burn = np.zeros(len(drive), np.int64)
    stay[first:] = whole_ticks(case.job_s[crew])
    burn[first:] = whole_drops(case.fuel_m3[crew])
    places = np.array(model.locations)
    ticks = drive[np.ix_(places, places)] + stay[places][:, None]
    fuel = np.repeat(burn[places][:, None], len(places), axis=1)
    only = np.array(model.only)
    shut = (only >= 0) & (only != crew)
    ticks[shut, :] = ticks[:, shut] = NO_WAY_TICKS
    np.fill_diagonal(ticks, 0)
    np.fill_diagonal(fuel, 0)
    return fuel, ticks


def _closed(ticks: Ticks) -> Ticks:
    """Shorten by way of other places: rounding up broke the triangle inequality."""
    closed = ticks.copy()
    np.fill_diagonal(closed, 0)
    for middle in range(len(closed)):
        np.minimum(closed, closed[:, [middle]] + closed[[middle], :], out=closed)
    return closed


def _routes(model: RoutingModel, solution: pyvrp.Solution) -> tuple[Route, ...]:
    routes: list[Route] = [() for _ in model.case.crews]
    for found in solution.routes():
        places: list[int] = []
        for visit in found.schedule()[1:-1]:
            known = model.depot_places if visit.is_depot() else model.client_places
            places.append(known[visit.idx])
        routes[found.vehicle_type()] = without_idle_fills(model.case, tuple(places))
    return tuple(routes)
