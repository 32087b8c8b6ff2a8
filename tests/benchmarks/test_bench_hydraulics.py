"""Speed of the hydraulic formulas: a million pipes, ten thousand water surfaces."""

import numpy as np
import pytest

from culvertrisk.formulas.barrel_flow import barrel_capacity
from culvertrisk.formulas.barrel_kernels import PIPE_ARCH
from culvertrisk.formulas.inlet_control import (
    InletCoefficients,
    inlet_control_flow,
    inlet_control_headwater,
)
from culvertrisk.formulas.outlet_control import outlet_control_headwater
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.formulas.water_profile import profile_headwater

PIPES = 1_000_000
PROFILES = 10_000
THIN_EDGE = InletCoefficients(1, 0.0340, 1.50, 0.0553, 0.54, -0.5)  # HDS-5 chart 2-3


def _pipes(count):
    rng = np.random.default_rng(5)
    diameter_m = rng.uniform(0.3, 3.0, count)
    flow_m3s = rng.uniform(0.0, 1.5, count) * diameter_m**2.5
    conduit = Conduit(
        rng.uniform(6, 40, count),
        rng.uniform(0.0, 0.02, count),
        0.9,
        0.024,
        rng.uniform(0, 0.9, count) * diameter_m,
    )
    return Barrel(diameter_m, diameter_m), conduit, flow_m3s


@pytest.fixture(scope="module")
def pipes():
    return _pipes(PIPES)


@pytest.fixture(scope="module")
def profiles():
    return _pipes(PROFILES)


@pytest.mark.benchmark(max_time=0.1, min_rounds=1, warmup=True)
def test_inlet_headwater_of_a_million_pipes(benchmark, pipes):
    barrel, _, flow_m3s = pipes
    headwater_m = benchmark(inlet_control_headwater, flow_m3s, barrel, 0.02, THIN_EDGE)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1, warmup=True)
def test_inlet_headwater_of_a_million_pipe_arches(benchmark, pipes):
    barrel, _, flow_m3s = pipes
    arches = barrel._replace(span_m=1.45 * barrel.rise_m, shape=PIPE_ARCH)
    headwater_m = benchmark(inlet_control_headwater, flow_m3s, arches, 0.02, THIN_EDGE)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1, warmup=True)
def test_inlet_capacity_of_a_million_pipes(benchmark, pipes):
    barrel, _, _ = pipes
    limit_m = 2 * np.asarray(barrel.rise_m)
    flow_m3s = benchmark(inlet_control_flow, limit_m, barrel, 0.02, THIN_EDGE)
    assert (flow_m3s > 0).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1, warmup=True)
def test_outlet_headwater_by_losses_of_a_million_pipes(benchmark, pipes):
    barrel, conduit, flow_m3s = pipes
    headwater_m = benchmark(outlet_control_headwater, flow_m3s, barrel, conduit)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=3, warmup=True)
def test_water_surface_in_ten_thousand_pipes(benchmark, profiles):
    barrel, conduit, flow_m3s = profiles
    headwater_m = benchmark(profile_headwater, flow_m3s, barrel, conduit)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=3, warmup=True)
def test_water_surface_in_ten_thousand_pipe_arches(benchmark, profiles):
    barrel, conduit, flow_m3s = profiles
    arches = barrel._replace(span_m=1.45 * barrel.rise_m, shape=PIPE_ARCH)
    headwater_m = benchmark(profile_headwater, flow_m3s, arches, conduit)
    assert np.isfinite(headwater_m).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1, warmup=True)
def test_capacity_of_ten_thousand_pipes(benchmark, profiles):
    barrel, conduit, _ = profiles
    limit_m = 1.2 * np.asarray(barrel.rise_m)
    flow_m3s = benchmark(
        barrel_capacity, limit_m, barrel, conduit, THIN_EDGE, conduit.slope_m_per_m
    )
    assert (flow_m3s > 0).all()
