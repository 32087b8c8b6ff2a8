"""The roads' lines from their corner points, and their banks on the elevation model."""

import json
from dataclasses import dataclass

import numpy as np
import shapely
from layout import MILE_M, SIDE_M, Array, Raster, latitude_longitude
from road_plan import Plan, Point, all_plans
from scipy import ndimage

STEP_M = 30.0  # vertex spacing of the lines
SAMPLE_M = 5.0  # spacing at which banks and pipes are worked out
LOWEST_BANK_M, HIGHEST_BANK_M, USUAL_BANK_M = 0.6, 2.5, 0.8
PROFILE_M = 160.0  # length over which a road's profile is smoothed
CREEK_M, CREEK_PIPES, CREEK_SWING_M = 1_890.0, 9, 34.0
CREEK_MOUTH_M = np.array([(7_480.0, 5_800.0), (7_180.0, 6_020.0), (7_060.0, 6_140.0)])
WIDTH_M = {"A": 14.0, "B": 12.0, "C": 10.0, "D": 9.0}
BLOCKING_CELLS = 0.75  # half a bank at least, so that no water slips through a corner


@dataclass(frozen=True)
class Roads:
    """Road plans and lines by name; lines in metres from the south-west corner."""

    plans: dict[str, Plan]
    lines: dict[str, Array]


def _wave(corner: Point, following: Point, phase: Array, size: float) -> Array:
    """Return a gently winding line between two corners."""
    start, end = np.array(corner) * 1000, np.array(following) * 1000
    length = float(np.hypot(*(end - start)))
    count = max(int(length / STEP_M), 2)
    t = np.linspace(0, 1, count + 1)
    bends = max(round(length / 620), 1)
    taper = np.sin(np.pi * t) ** 0.5
    swing = (
        np.sin(np.pi * bends * t)
        + 0.45 * np.sin(np.pi * (bends + 1) * t + phase[0])
        - 0.45
        * ((1 - t) * np.sin(phase[0]) + t * np.sin(np.pi * (bends + 1) + phase[0]))
    )
    side = np.array([-(end - start)[1], (end - start)[0]]) / length
    offset = size * np.sign(phase[1]) * taper * swing * min(length, 900.0)
    return start + t[:, None] * (end - start) + offset[:, None] * side


def _winding(plan: Plan, phases: Array, size: float) -> Array:
    pieces = [
        _wave(a, b, phase, size)
        for a, b, phase in zip(plan.corners[:-1], plan.corners[1:], phases, strict=True)
    ]
    line = np.concatenate([pieces[0]] + [piece[1:] for piece in pieces[1:]])
    return np.clip(line, 2.0, SIDE_M - 2.0)


def line_length(line: Array) -> float:
    """Return the length of a line in metres."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _road_line(plan: Plan, rng: np.random.Generator) -> Array:
    """Wind a road until it is as long as it must be."""
    count = len(plan.corners) - 1
    phases = np.column_stack([rng.uniform(-1.2, 1.2, count), rng.normal(size=count)])
    if plan.letter == "V":
        return _winding(plan, phases, 0.0)
    low, high = 0.0, 0.35
    for _ in range(30):
        middle = (low + high) / 2
        short = line_length(_winding(plan, phases, middle)) < plan.miles * MILE_M
        low, high = (middle, high) if short else (low, middle)
    return _winding(plan, phases, low)


def _crossings(lines: dict[str, Array]) -> int:
    """Count the places where two lines meet without a common vertex."""
    shapes = [shapely.LineString(line) for line in lines.values()]
    bad = 0
    for i, first in enumerate(shapes):
        for second in shapes[:i]:
            meet = first.intersection(second)
            if meet.is_empty:
                continue
            points = shapely.get_coordinates(meet)
            shared = set(map(tuple, np.round(first.coords, 1))) & set(
                map(tuple, np.round(second.coords, 1))
            )
            bad += sum(tuple(np.round(point, 1)) not in shared for point in points)
    return bad


def make_roads(seed: int) -> Roads:
    """Draw all roads; windings are drawn again until roads meet only at junctions."""
    plans = {plan.name: plan for plan in all_plans()}
    for attempt in range(400):
        rng = np.random.default_rng([seed, 2, attempt])
        lines = {name: _road_line(plan, rng) for name, plan in plans.items()}
        if _crossings(lines) == 0:
            return Roads(plans, lines)
    raise RuntimeError("no winding found in which roads meet only at junctions")


def along(line: Array, step_m: float = SAMPLE_M) -> tuple[Array, Array]:
    """Return places at even steps along a line and their distance from its start."""
    reach = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    distance = np.linspace(0.0, reach[-1], max(int(reach[-1] / step_m), 2) + 1)
    xy = [np.interp(distance, reach, line[:, k]) for k in (0, 1)]
    return np.column_stack(xy), distance


def tolliver_creek(roads: Roads) -> tuple[Array, Array]:
    """Return the creek that crosses Tolliver Hollow Rd nine times, and where.

    It comes down beside the road, passes under Trunk 4 and runs to Ossel Brook.
    """
    places, distance = along(roads.lines["Tolliver Hollow Rd"])
    upper = distance <= CREEK_M
    places, distance = places[upper], distance[upper]
    way = np.gradient(places, axis=0)
    side = np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(*way.T)[:, None]
    half = CREEK_M / CREEK_PIPES
    swing = CREEK_SWING_M * np.sin(np.pi * (distance - half / 2) / half)
    creek = (places + swing[:, None] * side)[::-1]
    mouth, _ = along(np.vstack([creek[-1], CREEK_MOUTH_M]))
    crossings = (np.arange(CREEK_PIPES) + 0.5) * half
    spots = [np.interp(crossings, distance, places[:, k]) for k in (0, 1)]
    return np.vstack([creek, mouth]), np.column_stack(spots)


def bank_heights(line: Array, ground: Raster) -> tuple[Array, Array]:
    """Return places along a road and the height of its bank over the ground [m]."""
    places, _ = along(line)
    levels = ground.at(places)
    smooth = ndimage.uniform_filter1d(
        levels, round(PROFILE_M / SAMPLE_M), mode="nearest"
    )
    height = np.clip(smooth - levels + USUAL_BANK_M, LOWEST_BANK_M, HIGHEST_BANK_M)
    return places, ndimage.uniform_filter1d(height, 5, mode="nearest")


def with_banks(ground: Raster, coarse: Raster, roads: Roads) -> Raster:
    """Raise the roads on the ground; banks are worked out on the coarse ground."""
    raised = ground.values.copy()
    last = raised.shape[0] - 1
    for name, line in roads.lines.items():
        places, heights = bank_heights(line, coarse)
        half = max(
            WIDTH_M[roads.plans[name].road_class] / 2, BLOCKING_CELLS * ground.cell_m
        )
        top = coarse.at(places) + heights
        reach = int(half / ground.cell_m) + 1
        row, column = ground.rows_columns(places)
        for dr in range(-reach, reach + 1):
            for dc in range(-reach, reach + 1):
                i, j = np.clip(row + dr, 0, last), np.clip(column + dc, 0, last)
                x = (j + 0.5) * ground.cell_m - places[:, 0]
                y = (last - i + 0.5) * ground.cell_m - places[:, 1]
                near = np.hypot(x, y) <= half
                np.maximum.at(raised, (i[near], j[near]), top[near])
    return Raster(raised, ground.cell_m)


def geojson(roads: Roads) -> str:
    """Return the roads as GeoJSON in longitude and latitude."""
    features = []
    for name, line in roads.lines.items():
        plan = roads.plans[name]
        places = np.round(latitude_longitude(line)[:, ::-1], 6).tolist()
        words = {
            "name": name,
            "class": plan.road_class,
            "surface": plan.surface,
            "adt": plan.traffic,
            "oneway": "no",
            "level": 0,
        }
        shape = {"type": "LineString", "coordinates": places}
        features.append({"type": "Feature", "properties": words, "geometry": shape})
    lines = ",\n".join(json.dumps(item) for item in features)
    return '{"type": "FeatureCollection", "features": [\n' + lines + "\n]}\n"
