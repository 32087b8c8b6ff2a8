"""Speed of flow against a second library and one pass over memory."""

import subprocess
import sys
import time

import geopandas as gpd
import numpy as np
import pyflwdir
import pytest
import shapely
from affine import Affine

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.site import site_flow
from culvertrisk.stages.unmapped import unmapped_crossings
from culvertrisk.terrain.carve import carve
from culvertrisk.terrain.flow import flow_field
from tests.terrain_made import CRS, crossings

SIDE = 3000  # 9 million cells
POINTS = 5000
CELL_M = 10.0
FINE_CELL_M = 3.0


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


WHOLE_RUN = """
import resource, sys, time
import numpy as np
ground_m = np.load(sys.argv[1])
if sys.argv[2] == "ours":
    from culvertrisk.terrain.flow import flow_field
    work = lambda z: flow_field(z, 10.0)
else:
    import pyflwdir
    work = lambda z: pyflwdir.from_dem(z, nodata=-9999.0, latlon=False).upstream_area()
work(ground_m[:50, :50].copy())
started = time.process_time()
work(ground_m)
peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
print(time.process_time() - started, peak_gb)
"""


def _whole_run(path, which):
    command = [sys.executable, "-c", WHOLE_RUN, str(path), which]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    return [float(word) for word in run.stdout.split()]


def test_flow_of_thirty_six_million_cells(benchmark, ground_m, tmp_path):
    upper_m = np.hstack([ground_m, ground_m[:, ::-1]])
    path = tmp_path / "ground.npy"
    np.save(path, np.vstack([upper_m, upper_m[::-1]]))
    ours_s, ours_gb = benchmark.pedantic(_whole_run, (path, "ours"), rounds=1)
    theirs_s, theirs_gb = _whole_run(path, "theirs")
    benchmark.extra_info["of_second_library"] = ours_s / theirs_s
    benchmark.extra_info["peak_gb"] = ours_gb
    benchmark.extra_info["peak_gb_of_second_library"] = theirs_gb
    assert ours_gb > 0


@pytest.mark.benchmark(min_rounds=1, max_time=1)
def test_unmapped_crossings_of_nine_million_cells(benchmark, ground_m):
    """Forty kilometres of road on cells of 3 m; five known crossings."""
    side_m = SIDE * FINE_CELL_M
    away_m = np.linspace(0, side_m, 6)[1:-1]
    lines = [shapely.LineString([(0, y), (side_m, y)]) for y in away_m]
    lines += [shapely.LineString([(x, 0), (x, side_m)]) for x in away_m]
    roads = gpd.GeoDataFrame(geometry=lines, crs=CRS).assign(road_name="Grid")
    grid = Affine(FINE_CELL_M, 0, 0, 0, -FINE_CELL_M, side_m)
    terrain = Terrain(ground_m, grid, CRS, FINE_CELL_M)
    points = shapely.points(np.linspace(500, 8500, 5), away_m[0])
    table = crossings().iloc[[0] * 5].set_geometry(points, crs=CRS)
    site = site_flow(table, terrain, roads)
    found = benchmark(unmapped_crossings, table, terrain, roads, site)
    assert len(found) > 20
