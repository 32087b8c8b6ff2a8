"""The main job on open data as published: real inventories, roads, DEM, weather."""

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from culvertrisk import pipeline
from culvertrisk.settings import Crew, read_settings

OPEN_DATA = os.environ.get("CULVERTRISK_OPEN_DATA")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not OPEN_DATA, reason="CULVERTRISK_OPEN_DATA names no folder"),
]
BULKLEY = (
    "bc_bulkley_crossings",
    "bc_bulkley_terrain",
    "bc_bulkley_roads",
    "bc_salmon_river_weather",
)


RAIN_ON_SNOW = date(1997, 2, 15)  # 8.3 mm of rain, high 5.7 °C, in the weather file


@pytest.fixture(scope="module")
def bulkley(tmp_path_factory):
    town = tmp_path_factory.mktemp("bulkley") / "town.toml"
    taken = pipeline.start_town(town, [Path(OPEN_DATA) / name for name in BULKLEY])
    assert taken["crossings.csv"] == "culverts"
    assert taken["railway.geojson"].startswith("not used")
    settings = read_settings(town)
    return settings, pipeline.assess(settings, RAIN_ON_SNOW)


def test_start_and_assess_run_on_bulkley_without_editing_the_data(bulkley):
    _, assessment = bulkley
    crossings = assessment.crossings
    is_pipe = ~crossings["crossing_kind"].isin(["bridge", "ford"])
    assert crossings.loc[is_pipe, "freeze_index"].notna().all()
    assert crossings.loc[~is_pipe, "freeze_index"].isna().all()


def test_what_lies_outside_the_dem_is_unknown(bulkley):
    """The README of the DEM says that 12 rows of the inventory fall inside it."""
    _, assessment = bulkley
    inside = assessment.crossings["dem_elevation_m"].notna()
    assert 0 < inside.sum() <= 12
    outside = assessment.crossings[~inside]
    assert outside["catchment_m2"].isna().all()
    assert outside["today_flow_m3s"].isna().all()
    pipes = outside[~outside["crossing_kind"].isin(["bridge", "ford"])]
    assert pipes["unknowns"].str.contains("catchment unknown").all()


def test_morning_on_bulkley_opens_what_lies_on_a_road(bulkley):
    settings, assessment = bulkley
    lowest = assessment.crossings["road_distance_m"].idxmin()
    point = assessment.crossings.to_crs(4326).geometry[lowest]
    crew = Crew(
        name="T1",
        method="hot water",
        flow_m3s=3.2e-4,
        burner_input_w=120_000,
        hose_m=90,
        tank_m3=3.0,
        fuel_tank_m3=0.15,
        start_lat=point.y,
        start_lon=point.x,
    )
    told = settings.model_copy(update={"crews": (crew,)})
    data = replace(assessment.data, settings=told)
    plan = pipeline.plan_morning(replace(assessment, data=data)).plan
    assert plan.problems == ()
    opened = plan.stops.loc[plan.stops["kind"] == "thaw", "culvert_id"]
    assert len(opened) > 0
    distance_m = assessment.crossings.loc[opened, "road_distance_m"]
    assert (distance_m <= 60).all()
    assert settings.crews == ()


def test_morning_without_a_crew_says_so(bulkley):
    _, assessment = bulkley
    plan = pipeline.plan_morning(assessment).plan
    assert plan.stops.empty
    assert set(plan.not_reached["why"]) <= {
        "no crew is given in the town file",
        "likely open: a look, not a truck",
    }


def test_assess_runs_on_columbus_without_roads_dem_or_weather(tmp_path):
    town = tmp_path / "town.toml"
    pipeline.start_town(
        town, [Path(OPEN_DATA) / "columbus_culverts" / "culverts.geojson"]
    )
    assessment = pipeline.assess(read_settings(town), date(2025, 2, 25))
    crossings = assessment.crossings
    assert crossings["freeze_index"].between(0, 100).all()
    assert crossings["flood_index"].isna().all()
    assert np.isfinite(crossings["priority_rank"]).all()
    assert assessment.notes["understood"].str.contains("smooth winter").any()
    paths = pipeline.write_reports(tmp_path / "out", assessment)
    assert paths[0].stat().st_size < 8_000_000
