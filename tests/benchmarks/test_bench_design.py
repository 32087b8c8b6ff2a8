"""Speed of design peaks and of the day's clock for ten thousand crossings."""

import geopandas as gpd
import numpy as np
import pytest

from culvertrisk.settings import Settings
from culvertrisk.stages.design_flow import add_design_flow
from culvertrisk.stages.design_storm import DesignChoices
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.today_hours import add_today_hours
from culvertrisk.terrain.flow import accumulate, flow_field
from culvertrisk.terrain.weighted import catchment_counts

CROSSINGS = 10_000
SIDE = 1500  # cells of the made-up ground, each way
TOWN = Settings(files={"culverts": "culverts.csv"})


@pytest.fixture(scope="module")
def crossings():
    rng = np.random.default_rng(6)
    table = {
        "road_class": ["C"] * CROSSINGS,
        "catchment_m2": rng.lognormal(11, 1.5, CROSSINGS),
        "flow_path_m": rng.uniform(50, 3000, CROSSINGS),
        "flow_path_slope_m_per_m": rng.uniform(0.005, 0.2, CROSSINGS),
        "concentration_s": rng.uniform(300, 7200, CROSSINGS),
        "open_capacity_m3s": rng.uniform(0.1, 3, CROSSINGS),
        "today_capacity_m3s": rng.uniform(0.1, 3, CROSSINGS),
        "iced_capacity_m3s": rng.uniform(0, 0.1, CROSSINGS),
        "pond_room_m3": rng.uniform(0, 2000, CROSSINGS),
    }
    points = gpd.points_from_xy(np.arange(CROSSINGS), np.zeros(CROSSINGS))
    return gpd.GeoDataFrame(table, geometry=points, crs="EPSG:32616")


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_design_flow_of_ten_thousand_crossings(benchmark, crossings):
    result = benchmark(add_design_flow, crossings, TOWN, DesignChoices())
    assert (result["design_flow_m3s"] > 0).all()


@pytest.mark.benchmark(max_time=0.1, min_rounds=1)
def test_today_hours_of_ten_thousand_crossings(benchmark, crossings):
    water = DayWater(0.02, 0.005, 28_800.0, 36_000.0, is_frozen=True)
    result = benchmark(add_today_hours, crossings, water, TOWN)
    assert result["today_peak_s"].notna().all()


@pytest.fixture(scope="module")
def ground_m():
    rng = np.random.default_rng(6)
    return rng.uniform(0, 20, (SIDE, SIDE)).astype(np.float32) + np.arange(SIDE)


@pytest.mark.benchmark(group="cells along the flow", max_time=0.5, min_rounds=2)
def test_land_cover_counts_of_ten_thousand_catchments(benchmark, ground_m):
    rng = np.random.default_rng(7)
    flow = flow_field(ground_m.astype(np.float32), 10.0)
    row, col = rng.integers(0, SIDE, (2, CROSSINGS))
    classes = rng.integers(0, 20, ground_m.shape).astype(np.uint8)
    catchment_counts(flow.direction, row[:5], col[:5], classes, 20)
    counts = benchmark(catchment_counts, flow.direction, row, col, classes, 20)
    cells = flow.area_m2[row, col] / 100.0
    np.testing.assert_array_equal(counts.sum(axis=1), cells)


@pytest.mark.benchmark(group="cells along the flow", max_time=0.5, min_rounds=2)
def test_areas_of_the_same_ground_as_a_reference(benchmark, ground_m):
    """One accumulation of areas over the same cells, in the same run."""
    ground_m = ground_m.astype(np.float32)
    flow = flow_field(ground_m, 10.0)
    args = (flow.direction, flow.filled_m, ground_m, flow.is_cut.copy(), 10.0)
    assert benchmark(accumulate, *args)[0].size == ground_m.size
