"""The independent checker finds every kind of broken plan."""

import pandas as pd
import pytest

from culvertrisk.plans.morning import plan_morning
from culvertrisk.plans.plan_checker import check_plan
from culvertrisk.settings import FillPoint
from tests.plans_made import (
    HOUR,
    MORNING_S,
    bus_hours,
    made_crews,
    made_morning,
    made_settings,
)

BARN = FillPoint(
    name="barn", lat=0, lon=0, rate_m3s=0.4 / 900, open_from=1.0, open_until=20 * HOUR
)


@pytest.fixture(scope="module")
def morning():
    crews = made_crews(1, hours=6.0, tank_m3=0.26)
    crossings, jobs, travel, settings = made_morning(5, 7, made_settings(crews, [BARN]))
    plan = plan_morning(crossings, jobs, travel, settings)
    assert plan.problems == ()
    assert {"thaw", "fill"} <= set(plan.stops["kind"])
    return plan.stops, crossings, jobs, travel, settings


def rows_of(stops, kind):
    return stops.index[stops["kind"] == kind]


def shifted(stops, first_row, seconds):
    moved = stops.copy()
    moved.loc[first_row:, ["arrive_s", "start_s", "end_s"]] += seconds
    return moved


def problems(morning, stops=None, **changes):
    given = dict(
        zip(("stops", "crossings", "jobs", "travel", "settings"), morning, strict=True)
    )
    if stops is not None:
        given["stops"] = stops
    return " | ".join(check_plan(**(given | changes)))


def with_crew(settings, **changes):
    return settings.model_copy(
        update={"crews": (settings.crews[0].model_copy(update=changes),)}
    )


def test_sound_plan_has_no_problem(morning):
    assert problems(morning) == ""


def test_checker_sees_a_crossing_opened_twice(morning):
    stops = morning[0].copy()
    first, second, *_ = rows_of(stops, "thaw")
    stops.loc[second, "culvert_id"] = stops.loc[first, "culvert_id"]
    assert "opened 2 times" in problems(morning, stops)


def test_checker_sees_an_unknown_crew(morning):
    stops = morning[0].assign(crew="T9")
    assert "no such crew" in problems(morning, stops)


def test_checker_sees_a_drive_shorter_than_the_road(morning):
    stops = morning[0].copy()
    row = rows_of(stops, "thaw")[0]
    stops.loc[row, "drive_s"] -= 60
    assert "drive of" in problems(morning, stops)


def test_checker_sees_an_arrival_before_the_drive_ends(morning):
    stops = shifted(morning[0], rows_of(morning[0], "thaw")[1], -60)
    assert "arrives before it can" in problems(morning, stops)


def test_checker_sees_a_start_before_the_arrival(morning):
    stops = morning[0].copy()
    stops.loc[rows_of(stops, "thaw")[0], "start_s"] -= 60
    assert "starts before it arrives" in problems(morning, stops)


def test_checker_sees_a_job_cut_short(morning):
    stops = morning[0].copy()
    stops.loc[rows_of(stops, "thaw")[0], "end_s"] -= 60
    assert "less time than the job takes" in problems(morning, stops)


def test_checker_sees_an_impossible_job(morning):
    jobs = morning[2].assign(is_possible=False, why_not="hose too short")
    assert "not possible: hose too short" in problems(morning, jobs=jobs)


def test_checker_sees_a_truck_that_leaves_too_early(morning):
    stops = shifted(morning[0], 0, -600)
    assert "leaves before the shift begins" in problems(morning, stops)


def test_checker_sees_a_truck_that_is_back_too_late(morning):
    spare_s = MORNING_S + 6 * HOUR - morning[0]["end_s"].iloc[-1]
    stops = shifted(morning[0], 0, spare_s + 1)
    assert problems(morning, stops) == "T1: is back after the hours left today"


def test_checker_sees_a_day_that_ends_elsewhere(morning):
    assert "does not end at its own yard" in problems(morning, morning[0].iloc[:-1])
    assert "does not begin at its own yard" in problems(morning, morning[0].iloc[1:])


def test_checker_sees_a_dry_tank(morning):
    stops = morning[0]
    settings = with_crew(morning[4], tank_m3=0.05)
    assert "runs out of water" in problems(morning, settings=settings)
    wrong = stops.assign(tank_left_m3=stops["tank_left_m3"] + 0.01)
    assert "tank is said to hold" in problems(morning, wrong)


def test_checker_sees_a_burner_without_fuel(morning):
    settings = with_crew(morning[4], fuel_tank_m3=0.005)
    assert "runs out of burner fuel" in problems(morning, settings=settings)
    wrong = morning[0].assign(fuel_left_m3=0.0)
    assert "fuel is said to be" in problems(morning, wrong)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"open_from": 20 * HOUR}, "fills before it opens"),
        ({"open_until": MORNING_S}, "fills after it closes"),
        ({"rate_m3s": 1e-5}, "takes more water than flows in that time"),
        ({"name": "pond"}, "no such fill point"),
    ],
)
def test_checker_sees_a_fill_that_cannot_be(morning, change, words):
    fill = BARN.model_copy(update=change)
    settings = morning[4].model_copy(update={"fill_points": (fill,)})
    assert words in problems(morning, settings=settings)


def test_checker_sees_a_machine_in_hours_to_keep_clear(morning):
    thaw = morning[0].loc[rows_of(morning[0], "thaw")[0]]
    crossings = morning[1].assign(road_name=" MILL road")
    rule = bus_hours("Mill Road").model_copy(
        update={"clear_from": thaw["start_s"], "clear_until": thaw["start_s"] + 60}
    )
    settings = morning[4].model_copy(update={"keep_clear": (rule,)})
    found = problems(morning, crossings=crossings, settings=settings)
    assert found.endswith("in hours to keep clear (school bus)")


def test_checker_sees_a_pipe_opened_before_the_one_below(morning):
    first, second, *_ = morning[0].loc[rows_of(morning[0], "thaw"), "culvert_id"]
    crossings = morning[1].assign(downstream_id="", blocked_chance=0.9)
    crossings.loc[first, "downstream_id"] = second
    found = problems(morning, crossings=crossings)
    assert found == f"{first}: opened before {second}, which lies below it"


def test_checker_sees_a_worth_that_is_not_in_the_table(morning):
    stops = morning[0].copy()
    stops.loc[rows_of(stops, "thaw")[0], "loss_avoided_person_h"] += 1
    assert "loss avoided is not that of the table" in problems(morning, stops)


def test_checker_sees_a_worth_that_the_hour_has_taken(morning):
    stops, crossings, jobs, travel, settings = morning
    clock_s = [0.0, 12 * 3600.0, 24 * 3600.0]
    by_hour = pd.DataFrame([[1.0, 0.0, 0.0]] * len(crossings), crossings.index, clock_s)
    found = check_plan(stops, crossings, jobs, travel, settings, by_hour)
    assert "loss avoided is not that of the table and hour" in "; ".join(found)
