"""Speed of the inlet equations for a million pipes."""

import numpy as np
import pytest

from culvertrisk.formulas.inlet_control import (
    InletCoefficients,
    inlet_control_flow,
    inlet_control_headwater,
)
from culvertrisk.formulas.sections import Barrel

PIPES = 1_000_000
THIN_EDGE = InletCoefficients(1, 0.0340, 1.50, 0.0553, 0.54, -0.5)  # HDS-5 chart 2-3


@pytest.fixture(scope="module")
def pipes():
    rng = np.random.default_rng(5)
    diameter_m = rng.uniform(0.3, 3.0, PIPES)
    flow_m3s = rng.uniform(0.0, 3.0, PIPES) * diameter_m**2.5
    return Barrel(diameter_m, diameter_m, False), flow_m3s


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_inlet_headwater_of_a_million_pipes(benchmark, pipes):
    barrel, flow_m3s = pipes
    headwater_m = benchmark(inlet_control_headwater, flow_m3s, barrel, 0.02, THIN_EDGE)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_inlet_capacity_of_a_million_pipes(benchmark, pipes):
    barrel, _ = pipes
    limit_m = 2 * np.asarray(barrel.rise_m)
    flow_m3s = benchmark(inlet_control_flow, limit_m, barrel, 0.02, THIN_EDGE)
    assert (flow_m3s > 0).all()
