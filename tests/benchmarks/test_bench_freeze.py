"""A winter of 100,000 crossings, every mechanism, against one pass of plain sums."""

import resource
import time
from dataclasses import fields, replace
from datetime import date, timedelta

import numpy as np
import pytest

from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.stages.freeze import freeze_state
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.winter import FreezeInputs
from tests.test_stages_freeze import COEFFICIENTS, _inputs, _weather

COUNT, DAYS = 100_000, 180
FIRST = date(2023, 10, 1)
LAST = FIRST + timedelta(days=DAYS - 1)


@pytest.fixture(scope="module")
def town():
    """Crossings all known, no two alike."""
    rng = np.random.default_rng(3)
    one = _inputs()
    arrays = {
        item.name: np.repeat(getattr(one, item.name), COUNT, axis=0)
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    points = {name: np.repeat(v, COUNT, axis=0) for name, v in one.points.items()}
    sun = arrays["sun_j_m2"] * rng.random((COUNT, 1), dtype=np.float32)
    assert sun.shape == (COUNT, SEASON_DAYS)
    arrays["sun_j_m2"], arrays["rise_m"] = sun, rng.uniform(0.3, 1.5, COUNT)
    arrays["cover_m"] = rng.uniform(0.2, 2.0, COUNT)
    arrays["elevation_offset_m"] = rng.normal(0, 50, COUNT)
    return replace(one, points=points, **arrays)


def one_pass_s():
    """Seconds of one addition a crossing, day and mechanism, in this run."""
    total, more = np.zeros(COUNT), np.ones(COUNT)
    started = time.perf_counter()
    for _ in range(DAYS * len(MECHANISMS)):
        total += more
    return time.perf_counter() - started


def test_bench_winter_of_100000_crossings_with_every_mechanism(benchmark, town):
    weather = _weather(last="2024-05-31")
    weather["snowfall_water_m"] = 0.001  # so that each elevation has its own snow
    run = (town, weather, FIRST, LAST, COEFFICIENTS)
    benchmark.pedantic(freeze_state, args=run, rounds=3, warmup_rounds=1)
    benchmark.extra_info["over_one_pass"] = benchmark.stats["mean"] / one_pass_s()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    benchmark.extra_info["peak_bytes"] = peak
