"""Speed of design peaks and of the day's clock for ten thousand crossings."""

import geopandas as gpd
import numpy as np
import pytest

from culvertrisk.settings import Settings
from culvertrisk.stages.design_flow import add_design_flow
from culvertrisk.stages.design_storm import DesignChoices
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.today_hours import add_today_hours

CROSSINGS = 10_000
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
