"""Speed of flow against a second library and one pass over memory."""

import time

import numpy as np
import pyflwdir
import pytest

from culvertrisk.terrain.carve import carve
from culvertrisk.terrain.flow import flow_field

SIDE = 3000  # 9 million cells
POINTS = 5000
CELL_M = 10.0


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


@pytest.fixture(scope="module")
def places():
    rows, cols = np.random.default_rng(1).uniform(1, SIDE - 2, (2, POINTS))
    return rows, cols


def _seconds(work, *args, **options):
    started = time.process_time()
    work(*args, **options)
    return time.process_time() - started


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_flow_of_nine_million_cells(benchmark, ground_m):
    flow_field(ground_m[:50, :50], CELL_M)
    small = pyflwdir.from_dem(ground_m[:50, :50], nodata=-9999.0, latlon=False)
    small.upstream_area()

    def second_library():
        grid = pyflwdir.from_dem(ground_m, nodata=-9999.0, latlon=False)
        grid.upstream_area(unit="cell")

    ours_s = _seconds(flow_field, ground_m, CELL_M)
    theirs_s = _seconds(second_library)
    pass_s = min(_seconds(ground_m.max) for _ in range(5))
    benchmark.extra_info["of_second_library"] = ours_s / theirs_s
    benchmark.extra_info["of_one_pass"] = ours_s / pass_s
    flow = benchmark(flow_field, ground_m, CELL_M)
    assert np.isfinite(flow.area_m2).all()


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_cuts_of_five_thousand_culverts(benchmark, ground_m, places):
    rows, cols = places
    ends = np.column_stack([rows - 1, cols, rows + 1, cols])
    cut = benchmark(carve, ground_m, ends, np.full(POINTS, 3.0))
    assert cut.is_carved.mean() > 0.9
