"""Speed of the proof over eight winters and of rank bands, for a town of 850."""

import time
from datetime import date

import numpy as np
import pytest

from culvertrisk.plans.proof import prove
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.hindcast import hindcast
from culvertrisk.stages.history import fit_history, with_history, with_log
from culvertrisk.stages.rank_band import add_rank_band
from culvertrisk.stages.winter import freeze_coefficients
from tests.history_made import TOWN, drawn_log, made_crossings, made_sun, made_weather

COUNT = 850
ON = date(2024, 2, 25)


@pytest.fixture(scope="module")
def town():
    """Slopes, silt and cover unknown at two of three crossings."""
    crossings = made_crossings(COUNT)
    rng = np.random.default_rng(8)
    for name in ("barrel_slope_m_per_m", "silt_fraction", "cover_m"):
        values = crossings[name].to_numpy(float).copy()
        values[rng.random(COUNT) < 0.66] = np.nan
        crossings[name] = values
    chance = np.where(rng.random(COUNT) < 0.1, 0.4, 0.02)
    return crossings, drawn_log(chance), made_weather(), made_sun(COUNT)


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_bench_proof_over_eight_winters(benchmark, town):
    crossings, log, weather, sun = town
    started = time.perf_counter()
    hindcast(crossings, log, weather, sun, TOWN, date(2024, 6, 1))
    one_hindcast_s = time.perf_counter() - started
    proof = benchmark(prove, crossings, log, weather, sun, TOWN)
    assert proof.hits["winter"].nunique() == 8
    benchmark.extra_info["of_one_hindcast"] = benchmark.stats["mean"] / one_hindcast_s


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_bench_rank_bands(benchmark, town):
    crossings, log, weather, sun = town
    assert len(freeze_inputs(crossings, sun, freeze_coefficients()).rise_m) == COUNT
    fit = fit_history(crossings, log, weather, sun, TOWN, ON)
    crossings, town_fitted = with_log(crossings, TOWN, fit)
    crossings = add_freeze(crossings, weather, sun, ON, town_fitted)
    crossings = with_history(crossings, fit)
    crossings = crossings.assign(
        loss_avoided_person_h=crossings["blocked_chance"],
        priority_rank=crossings["blocked_chance"].rank(ascending=False),
    )
    result = benchmark(add_rank_band, crossings, weather, sun, town_fitted, ON)
    assert (result["rank_low"] <= result["rank_high"]).all()
