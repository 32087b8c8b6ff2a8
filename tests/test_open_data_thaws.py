"""The level of the defaults in real winters: how often a pipe blocks without a log."""

import os
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Point

from culvertrisk.formulas.fragility_trials import levelled_chance
from culvertrisk.inputs.weather import read_weather
from culvertrisk.settings import Reading
from culvertrisk.stages.freeze import most_chances
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_weather import has_weather

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)
FILES = (
    "bc_salmon_river_weather/daily_1990_2010.csv",
    "sweden_harjedalen_weather/weather_mittadalen.csv",
)
C = freeze_coefficients()
AT_ONE = {**C, "at_work_level": np.ones(1)}


def _chances(file):
    """Winter chances of a cross pipe of which nothing is known, at a level of 1."""
    table = {"crossing_kind": ["cross"], "road_class": [""], "road_name": [""]}
    pipe = gpd.GeoDataFrame(table, geometry=[Point(0, 0)], crs=32616, index=["P"])
    weather = read_weather(Path(FOLDER) / file, Reading()).table
    inputs, found = freeze_inputs(pipe, None, AT_ONE), []
    for year in range(weather.index.min().year, weather.index.max().year):
        span = date(year, 10, 1), date(year + 1, 4, 30)
        if has_weather(weather, *span, AT_ONE):
            found.append(most_chances(inputs, weather, *span, AT_ONE)[0, 2, 2, 0])
    return found


def test_usual_pipe_blocks_in_a_tenth_of_real_winters_and_the_spread_holds_most_towns():
    """The defaults table says one in ten, from one in twenty to one in four."""
    at_one = np.concatenate([_chances(file) for file in FILES])
    assert len(at_one) == 32
    assert at_one.mean() > 0.2  # far more than any crew would believe
    level, spread = C["at_work_level"].item(), C["level_spread"].item()
    ends = level * np.exp(1.2816 * spread * np.array([-1, 0, 1]))  # 10, 50, 90 %
    low, middle, high = (levelled_chance(at_one, end).mean() for end in ends)
    assert 0.08 < middle < 0.12
    assert 0.03 < low < 0.06
    assert 0.20 < high < 0.28
    assert middle < levelled_chance(at_one, level, spread).mean() < 0.15
