"""Trips for water in jobs that take more than a tank."""

import numpy as np
import pandas as pd
import pytest

from culvertrisk.plans.morning import plan_morning
from culvertrisk.plans.thaw_job import TOO_MUCH_WATER
from culvertrisk.plans.travel import Travel
from culvertrisk.plans.water_trips import MOST_TRIPS, with_water_trips
from culvertrisk.settings import FillPoint
from tests.plans_made import HOUR, made_crews, made_settings

TANK_M3 = 0.4
BARN = FillPoint(name="barn", lat=0, lon=0, rate_m3s=TANK_M3 / 600)


def made(water_m3, fill=BARN, **job):
    """One crossing 300 s from the barn and 900 s from the yard, one truck."""
    settings = made_settings(made_crews(1, hours=6.0), [fill])
    seconds = np.array([[0.0, 600, 900], [600, 0, 300], [900, 300, 0]])
    travel = Travel(("crew:T1", "fill:barn", "C0"), seconds, 10 * seconds)
    row = {
        "culvert_id": "C0",
        "crew": "T1",
        "job_s": 3600.0,
        "job_low_s": 3000.0,
        "job_high_s": 5000.0,
        "water_m3": water_m3,
        "fuel_m3": 0.01,
        "is_possible": water_m3 <= TANK_M3,
        "why_not": "" if water_m3 <= TANK_M3 else TOO_MUCH_WATER,
    }
    return pd.DataFrame([row | job]), travel, settings


def test_each_trip_takes_the_way_there_and_back_and_the_filling():
    jobs, travel, settings = made(2.5 * TANK_M3)
    before = jobs.copy()
    job = with_water_trips(jobs, travel, settings).iloc[0]
    assert job.is_possible
    assert job.why_not == ""
    assert (job.trip_count, job.trip_fill) == (2, "barn")
    assert job.job_s == 3600 + 2 * (300 + 300 + 600)
    assert job.job_high_s - job.job_low_s == 2000
    assert job.water_m3 == pytest.approx(0.5 * TANK_M3)
    pd.testing.assert_frame_equal(jobs, before)


def test_plan_opens_a_crossing_that_takes_two_tanks():
    jobs, travel, settings = made(2 * TANK_M3)
    jobs = with_water_trips(jobs, travel, settings)
    crossings = pd.DataFrame({"loss_avoided_person_h": [5.0]}, index=["C0"])
    plan = plan_morning(crossings, jobs, travel, settings)
    assert plan.problems == ()
    thaw = plan.stops.query("kind == 'thaw'").iloc[0]
    assert thaw["end_s"] - thaw["start_s"] == 3600 + 1200


@pytest.mark.parametrize(
    ("water_m3", "fill", "job"),
    [
        ((MOST_TRIPS + 1.5) * TANK_M3, BARN, {}),
        (0.5, BARN.model_copy(update={"rate_m3s": 0.0}), {}),
        (0.5, BARN.model_copy(update={"open_until": 7 * HOUR}), {}),
        (0.5, BARN, {"why_not": "hose too short"}),
        (0.5, BARN, {"culvert_id": "elsewhere"}),
    ],
)
def test_jobs_that_trips_do_not_help_stay_as_they_are(water_m3, fill, job):
    jobs, travel, settings = made(water_m3, fill, **job)
    after = with_water_trips(jobs, travel, settings)
    pd.testing.assert_frame_equal(after[jobs.columns], jobs)
    assert not after["trip_count"].any()
