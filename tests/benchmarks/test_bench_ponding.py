"""Speed of ponds and road profiles, against one pass over memory in the same run."""

import time

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine
from shapely import LineString

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.road_profile import road_profile
from culvertrisk.terrain.ponding import fill_ponds
from culvertrisk.terrain.rising import AT_ROAD, PondMarks, PondStarts

CRS = "EPSG:32633"
CROSSINGS = 850
DEPTH_M = 2.0
STAGES = 8


@pytest.fixture(scope="module", params=[(960, 10.0), (3200, 3.0)], ids=["10m", "3m"])
def terrain(request):
    """Rolling ground of some 9.6 km by 9.6 km."""
    side, cell_m = request.param
    generator = np.random.default_rng(0)
    noise = np.fft.rfft2(generator.standard_normal((side, side)))
    wave = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None])
    wave[0, 0] = 1
    rolling = np.fft.irfft2(noise * wave**-1.9, s=(side, side))
    ground_m = (rolling / rolling.std() * 40).astype(np.float32)
    grid = Affine(cell_m, 0, 0, 0, -cell_m, side * cell_m)
    return Terrain(ground_m, grid, CRS, cell_m)


def _pass_s(ground_m):
    started = time.perf_counter()
    ground_m.max()
    return time.perf_counter() - started


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_ponds_of_a_town(benchmark, terrain):
    ground_m = terrain.elevation_m
    inner = ground_m[1:-1, 1:-1]
    is_pit = np.ones(inner.shape, bool)
    for step in ((0, 1), (2, 1), (1, 0), (1, 2)):
        beside = ground_m[step[0] :, step[1] :][: inner.shape[0], : inner.shape[1]]
        is_pit &= inner < beside
    rows, cols = np.nonzero(is_pit)
    chosen = np.random.default_rng(1).integers(0, len(rows), CROSSINGS)
    row, col = rows[chosen] + 1, cols[chosen] + 1
    starts = PondStarts(row, col, ground_m[row, col].astype(float) + DEPTH_M)
    none = np.zeros(0, np.int64)
    marks = PondMarks(
        np.zeros(CROSSINGS + 1, np.int64), none, none, none.astype(np.uint8),
        none.astype(np.float32),
    )  # fmt: skip
    options = {"cell_m": terrain.cell_m, "stage_count": STAGES}
    fill_ponds(ground_m, starts, marks, **options)
    ponds = benchmark(fill_ponds, ground_m, starts, marks, **options)
    pass_s = min(_pass_s(ground_m) for _ in range(5))
    benchmark.extra_info["of_one_pass"] = benchmark.stats.stats.min / pass_s
    assert (ponds.end == AT_ROAD).any()


@pytest.mark.benchmark(min_rounds=2, max_time=1)
def test_road_profiles_of_a_town(benchmark, terrain):
    side_m = terrain.elevation_m.shape[0] * terrain.cell_m
    generator = np.random.default_rng(2)
    lines = [
        LineString(generator.uniform(0, side_m, (40, 2)).cumsum(axis=0) / 20)
        for _ in range(20)
    ]
    roads = gpd.GeoDataFrame(geometry=lines, crs=CRS)
    points = [
        line.interpolate(share, normalized=True)
        for line in lines
        for share in np.linspace(0, 1, CROSSINGS // 20 + 1)
    ]
    crossings = gpd.GeoDataFrame(
        {"crossing_kind": ["cross"] * len(points)}, geometry=points, crs=CRS
    )
    road_profile(crossings, terrain, roads)
    profile = benchmark(road_profile, crossings, terrain, roads)
    assert (profile.sag >= 0).any()
