"""Speed of horizons, canopy and sun against numpy and pvlib in the same run."""

import time

import numpy as np
import pandas as pd
import pvlib
import pytest
from scipy.ndimage import map_coordinates

from culvertrisk.formulas.clear_sky import SLOTS, sun_table
from culvertrisk.formulas.insolation import daily_sun, sky_view_under_canopy
from culvertrisk.terrain.canopy import ELEVATIONS_DEG, canopy_depth
from culvertrisk.terrain.horizon import AZIMUTHS, REACH_M, horizon_tangent

SIDE = 3000  # 9 million cells
POINTS = 5000
FEW = 40  # points given to the slower references, whose time is scaled up
CELL_M = 10.0
FINE_STEP = 0.25  # of the reference's rays [cells]
pytestmark = pytest.mark.benchmark(min_rounds=3, max_time=1)


@pytest.fixture(scope="module")
def ground_m():
    """Rolling ground with a tilt, by a power-law spectrum."""
    generator = np.random.default_rng(0)
    noise = np.fft.rfft2(generator.standard_normal((SIDE, SIDE)))
    wave = np.hypot(np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None])
    wave[0, 0] = 1
    rolling = np.fft.irfft2(noise * wave**-1.9, s=(SIDE, SIDE))
    tilt = np.linspace(0, 300, SIDE)[:, None]
    return (rolling / rolling.std() * 80 + tilt).astype(np.float32)


def _places(points):
    return np.random.default_rng(1).uniform(1, SIDE - 2, (2, points))


@pytest.fixture(scope="module")
def tangent():
    return np.random.default_rng(2).uniform(0, 0.2, (POINTS, 72)).astype(np.float32)


def _seconds(work, *args, **options):
    started = time.process_time()
    work(*args, **options)
    return time.process_time() - started


def _fine_horizon(ground_m, rows, cols):
    """Rays of even quarter-cell steps by scipy's bilinear sampling."""
    away = np.arange(FINE_STEP, REACH_M / CELL_M, FINE_STEP)
    bearing = np.radians(np.arange(AZIMUTHS) * 360 / AZIMUTHS)[:, None]
    drop_m = (1 - 0.13) * (away * CELL_M) ** 2 / (2 * 6_371_000.0)
    found = []
    for row, col in zip(rows, cols, strict=True):
        eye_m = map_coordinates(ground_m, [[row], [col]], order=1)[0] + 0.5
        line = np.array([row - np.cos(bearing) * away, col + np.sin(bearing) * away])
        # Cells outside are far below the eye.
        seen_m = map_coordinates(ground_m, line, order=1, cval=-9999.0) - drop_m
        found.append(np.maximum((seen_m - eye_m) / (away * CELL_M), 0).max(axis=1))
    return np.array(found)


@pytest.mark.parametrize("points", [POINTS, 10 * POINTS])
def test_horizons(benchmark, ground_m, points):
    rows, cols = _places(points)
    options = {"cell_m": CELL_M, "eye_m": 0.5}
    few = rows[:FEW], cols[:FEW]
    horizon_tangent(ground_m, *few, **options, north_rad=np.zeros(FEW))
    fine = _fine_horizon(ground_m, *few)
    fine_s = _seconds(_fine_horizon, ground_m, *few) * points / FEW
    options["north_rad"] = np.zeros(points)
    ours_s = _seconds(horizon_tangent, ground_m, rows, cols, **options)
    benchmark.extra_info["cpu_s"] = ours_s
    benchmark.extra_info["of_even_fine_rays"] = ours_s / fine_s
    found = benchmark(horizon_tangent, ground_m, rows, cols, **options)
    apart_deg = np.degrees(np.arctan(found[:FEW]) - np.arctan(fine))
    benchmark.extra_info["rmse_deg"] = float(np.sqrt((apart_deg**2).mean()))
    # The table of the choice: 0.065 degree against fine rays.
    assert benchmark.extra_info["rmse_deg"] < 0.065


def test_canopy(benchmark, ground_m):
    trees_m = np.full_like(ground_m, 12.0)
    rays = np.column_stack([*_places(POINTS), np.zeros(POINTS)])
    options = {"cell_m": CELL_M, "extinction_per_m": 0.05}
    canopy_depth(ground_m, trees_m, rays[:FEW], **options)
    pass_s = min(_seconds((ground_m + trees_m).max) for _ in range(5))
    ours_s = _seconds(canopy_depth, ground_m, trees_m, rays, **options)
    benchmark.extra_info["of_one_pass"] = ours_s / pass_s
    depth = benchmark(canopy_depth, ground_m, trees_m, rays, **options)
    assert (depth >= 0).all()


def _numpy_season(sun, tangent, depth):
    """The same season by whole numpy arrays, a point at a time."""
    ray = sun.azimuth_deg / (360 / tangent.shape[1])
    left = ray.astype(int) % tangent.shape[1]
    right, share = (left + 1) % tangent.shape[1], ray % 1
    level_tangent = np.tan(np.radians(sun.elevation_deg))
    total = []
    for around, crowns in zip(tangent, depth, strict=True):
        edge = around[left] * (1 - share) + around[right] * share
        lit = sun.beam_w_m2 * (level_tangent > edge)
        if crowns.size:
            lit = lit * np.exp(-crowns[left, 0])
        total.append((lit + sun.diffuse_w_m2).sum(axis=1) * 86_400 / SLOTS)
    return np.array(total)


@pytest.mark.parametrize("levels", [0, ELEVATIONS_DEG.size])
def test_season_of_sun(benchmark, tangent, levels):
    sun, view = sun_table(60.0, 25.0), np.ones(POINTS)
    slant = np.sin(np.radians(ELEVATIONS_DEG[:levels]))
    depth = np.broadcast_to(0.05 / slant, (POINTS, 72, levels)).astype(np.float32)
    given = (sun, tangent, view, depth, ELEVATIONS_DEG[:levels])
    daily_sun(sun, tangent[:FEW], view[:FEW], depth[:FEW], given[-1])
    few = (sun, tangent[:FEW], depth[:FEW])
    numpy_s = _seconds(_numpy_season, *few) * POINTS / FEW
    clock = pd.date_range("2025-10-01", "2026-05-31 23:59", freq="15min", tz="UTC")
    pvlib_s = _seconds(pvlib.solarposition.get_solarposition, clock, 60.0, 25.0)
    ours_s = _seconds(daily_sun, *given)
    benchmark.extra_info["of_numpy"] = ours_s / numpy_s
    benchmark.extra_info["of_sun_by_pvlib_at_each_point"] = ours_s / (pvlib_s * POINTS)
    total, hours = benchmark(daily_sun, *given)
    if not levels:  # the reference counts only whole quarters
        apart = total[:FEW] / _numpy_season(*few) - 1
        assert np.abs(apart).mean() < 0.02
    assert (hours >= 0).all()


def test_sky_under_trees(benchmark, tangent):
    depth = np.full((POINTS, 72, ELEVATIONS_DEG.size), 0.3, np.float32)
    sky_view_under_canopy(tangent[:FEW], depth[:FEW], ELEVATIONS_DEG)
    pass_s = min(_seconds(np.exp, depth) for _ in range(3))
    ours_s = _seconds(sky_view_under_canopy, tangent, depth, ELEVATIONS_DEG)
    benchmark.extra_info["of_one_pass_of_exp"] = ours_s / pass_s
    view = benchmark(sky_view_under_canopy, tangent, depth, ELEVATIONS_DEG)
    assert (view < 1).all()
