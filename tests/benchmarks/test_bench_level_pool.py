"""Speed of routing a day through ten thousand ponds, and of the factor they bear."""

import numpy as np
import pytest

from culvertrisk.formulas.level_pool import level_pool, overtopping_factor

PONDS = 10_000
STEP_S = 300.0


@pytest.fixture(scope="module")
def ponds():
    """A day of rain at each pond, and storage and outflow at ten levels."""
    rng = np.random.default_rng(8)
    rain = np.sin(np.pi * np.clip((np.arange(289) - 108) / 96, 0, 1))
    level = np.linspace(0, 1, 10)
    inflow_m3s = rng.lognormal(-2, 1, (PONDS, 1)) * rain
    storage_m3 = rng.uniform(0, 5000, (PONDS, 1)) * level**2
    return inflow_m3s, STEP_S, storage_m3, rng.uniform(0, 1, (PONDS, 1)) * level


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_a_day_through_ten_thousand_ponds(benchmark, ponds):
    outflow_m3s, _, _ = benchmark(level_pool, *ponds)
    assert (outflow_m3s >= 0).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_the_factor_of_ten_thousand_ponds(benchmark, ponds):
    factor = benchmark(overtopping_factor, *ponds, 16.0)
    assert (factor > 0).all()
