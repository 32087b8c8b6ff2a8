"""The morning plan: constraints, quality, repetition, what is not reached."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from culvertrisk.plans.candidates import morning_case
from culvertrisk.plans.compare import best_plan_exhaustive, worst_first
from culvertrisk.plans.insertion import repaired
from culvertrisk.plans.morning import STOP_COLUMNS, plan_morning
from culvertrisk.plans.reordering import KEPT_SHARE, larger_first
from culvertrisk.plans.reordering import sooner as in_better_order
from culvertrisk.plans.solver import solve_routes
from culvertrisk.plans.timetable import day, first_stop_place, worth
from culvertrisk.plans.travel import Travel
from culvertrisk.settings import FillPoint
from tests.plans_made import (
    HOUR,
    bus_hours,
    made_crews,
    made_morning,
    made_settings,
)

# Whole ticks of 10 s and tenths of a litre, rounded against the truck, and a search
# that proves nothing may cost a little: no plan may lose more than this share, and
# nine of ten must be the best.
LEAST_SHARE = 0.97


def tight_settings(seed):
    fills = [
        FillPoint(name="barn", lat=0, lon=0, rate_m3s=0.4 / 900),
        FillPoint(
            name="hydrant",
            lat=0,
            lon=0,
            rate_m3s=0.4 / 300,
            open_from=7.5 * HOUR,
            open_until=8.6 * HOUR,
        ),
    ]
    crews = made_crews(1 + seed % 2, hours=4.0, tank_m3=0.25)
    return made_settings(crews, fills, [bus_hours()] if seed % 3 == 0 else [])


def made_hours(seed, crossings):
    """Shares of each loss left by hour, each falling steeply at an own hour."""
    random = np.random.default_rng(seed)
    clock_s = np.arange(0, 25) * HOUR
    falls_at = random.uniform(6.5 * HOUR, 10 * HOUR, (len(crossings), 1))
    shares = 1 / (1 + np.exp((clock_s - falls_at) / (0.3 * HOUR)))
    return pd.DataFrame(shares, index=crossings.index, columns=clock_s)


@pytest.mark.slow
@pytest.mark.parametrize("is_falling", [False, True])
def test_plan_equals_all_ways_tried(is_falling):
    shares = []
    for seed in range(100, 110):
        morning = made_morning(seed, 6, tight_settings(seed), 5000.0)
        by_hour = made_hours(seed, morning[0]) if is_falling else None
        plan = plan_morning(*morning, by_hour)
        case = morning_case(*morning, by_hour)
        best = best_plan_exhaustive(case)
        assert day(case, best) is not None
        assert plan.problems == ()
        assert plan.comparison["bound"] >= worth(case, best) - 1e-6
        shares.append(plan.comparison["plan"] / worth(case, best))
    assert max(shares) <= 1 + 1e-9
    assert min(shares) >= LEAST_SHARE
    assert sum(share >= KEPT_SHARE - 1e-9 for share in shares) >= 9


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_plan_holds_and_is_never_below_worst_first(seed):
    crews = made_crews(2, hours=4.0)
    settings = made_settings(crews, keep_clear=[bus_hours()])
    plan = plan_morning(*made_morning(seed, 14, settings))
    assert plan.problems == ()
    assert plan.comparison["plan"] >= plan.comparison["worst_first"]
    assert plan.comparison["plan"] <= plan.comparison["bound"] + 1e-6
    assert plan.comparison["bound"] <= plan.comparison["possible"] + 1e-6


def test_loss_that_falls_with_the_hour_sends_the_truck_there_first():
    crews = made_crews(1, hours=12.0, tank_m3=3.0)
    crossings, jobs, *rest = made_morning(6, 5, made_settings(crews))
    jobs = jobs.assign(is_possible=True)
    unhurried = plan_morning(crossings, jobs, *rest).stops.query("kind == 'thaw'")
    last = unhurried["culvert_id"].iloc[-1]
    assert len(unhurried) == len(crossings)
    by_hour = made_hours(1, crossings)
    by_hour.loc[:] = 1.0
    by_hour.loc[last, by_hour.columns >= 9 * HOUR] = 0.0
    thaws = plan_morning(crossings, jobs, *rest, by_hour).stops.query("kind == 'thaw'")
    row = thaws[thaws["culvert_id"] == last].iloc[0]
    assert row["end_s"] < 9 * HOUR < unhurried["end_s"].iloc[-1]
    assert row["loss_avoided_person_h"] > 0


def test_a_truck_does_not_drive_past_a_worse_crossing_for_next_to_nothing():
    crews = made_crews(1, hours=12.0, tank_m3=3.0)
    crossings, jobs, *rest = made_morning(6, 6, made_settings(crews))
    crossings["loss_avoided_person_h"] = [5.0, 5, 5, 5, 5, 50]
    by_hour = made_hours(1, crossings)
    by_hour.loc[:] = np.linspace(1, 0.99995, len(by_hour.columns))
    case = morning_case(crossings, jobs.assign(is_possible=True), *rest, by_hour)
    worst = first_stop_place(case)  # candidates come with the largest loss first
    last = ((*range(worst + 1, worst + 6), worst),)
    sooner = larger_first(case, last)
    assert sooner[0][0] == worst
    assert worth(case, sooner) >= KEPT_SHARE * worth(case, last)


def test_search_alone_beats_worst_first_on_most_mornings():
    better = 0
    for seed in range(5):
        case = morning_case(*made_morning(seed, 12))
        routes = solve_routes(case, iterations=300)
        assert day(case, routes) is not None
        better += worth(case, routes) > worth(case, worst_first(case))
    assert better >= 4


def test_same_inputs_give_the_same_plan():
    first, second = (plan_morning(*made_morning(3, 9), seed=5) for _ in range(2))
    pd.testing.assert_frame_equal(first.stops, second.stops)
    pd.testing.assert_frame_equal(first.not_reached, second.not_reached)


def test_stops_and_not_reached_hold_every_crossing_worth_opening_once():
    crossings, jobs, travel, settings = made_morning(4, 10)
    crossings.loc["C0", "loss_avoided_person_h"] = np.nan
    crossings.loc["C1", "loss_avoided_person_h"] = 0.0
    plan = plan_morning(crossings, jobs, travel, settings)
    thawed = plan.stops.loc[plan.stops["kind"] == "thaw", "culvert_id"]
    listed = [*thawed, *plan.not_reached["culvert_id"]]
    assert sorted(listed) == sorted(set(crossings.index) - {"C0", "C1"})
    assert list(plan.stops.columns) == list(STOP_COLUMNS)
    assert plan.not_reached["loss_avoided_person_h"].is_monotonic_decreasing
    assert plan.not_reached["why"].str.len().min() > 0
    total = plan.stops["loss_avoided_person_h"].sum()
    assert total == pytest.approx(plan.comparison["plan"])


def test_inputs_are_left_alone():
    morning = made_morning(4)
    before = [frame.copy() for frame in morning[:2]]
    plan_morning(*morning)
    pd.testing.assert_frame_equal(morning[0], before[0])
    pd.testing.assert_frame_equal(morning[1], before[1])


def test_no_crew_leaves_everything_not_reached_with_a_clear_word():
    crossings, jobs, travel, settings = made_morning(1)
    nobody = settings.model_copy(update={"crews": ()})
    plan = plan_morning(crossings, jobs.iloc[:0], travel, nobody)
    assert plan.stops.empty
    assert len(plan.not_reached) == len(crossings)
    assert set(plan.not_reached["why"]) == {"no crew is given in the town file"}
    assert plan.problems == ("No plan: no crew is given in the town file.",)


def test_without_roads_nothing_is_reached_and_the_plan_says_so():
    crossings, jobs, _, settings = made_morning(1)
    nowhere = Travel((), np.empty((0, 0)), np.empty((0, 0)))
    plan = plan_morning(crossings, jobs, nowhere, settings)
    assert plan.stops.empty
    assert len(plan.not_reached) == len(crossings)
    no_roads = "no road file is given, so nothing can be driven to"
    assert set(plan.not_reached["why"]) == {no_roads}
    assert plan.problems == (f"No plan: {no_roads}.",)


def test_no_candidate_gives_an_empty_plan():
    crossings, jobs, travel, settings = made_morning(1)
    crossings["loss_avoided_person_h"] = np.nan
    plan = plan_morning(crossings, jobs, travel, settings)
    assert plan.stops.empty
    assert plan.not_reached.empty
    assert set(plan.comparison.values()) == {0.0}


def test_not_reached_says_why_and_what_instead():
    crossings, jobs, travel, settings = made_morning(2, 8)
    jobs.loc[jobs["culvert_id"] == "C3", ["is_possible", "why_not"]] = [
        False,
        "hose too short",
    ]
    here = travel.place_ids.index("C4")
    seconds = travel.seconds.copy()
    seconds[here, :] = seconds[:, here] = np.inf
    jobs.loc[jobs["culvert_id"] == "C4", "is_possible"] = True
    jobs.loc[jobs["culvert_id"] == "C5", ["is_possible", "job_s"]] = [True, 20 * HOUR]
    plan = plan_morning(crossings, jobs, replace(travel, seconds=seconds), settings)
    assert plan.problems == ()
    rows = plan.not_reached.set_index("culvert_id")
    assert rows["why"]["C3"] == "hose too short"
    assert rows["why"]["C4"] == "no way by road from any crew's start"
    assert rows["why"]["C5"].startswith("does not fit the hours, water, fuel")
    assert rows["instead"]["C5"] == (
        "Sign and lights before the water rises; contractor: 20.0 h on site"
    )


def test_no_sign_warns_of_water_that_does_not_reach_the_road():
    crossings, jobs, travel, settings = made_morning(2, 4)
    crossings["over_road_depth_m"] = [0.0, 0.2, np.nan, 0.0]
    plan = plan_morning(
        crossings, jobs, travel, settings.model_copy(update={"crews": ()})
    )
    told = plan.not_reached.set_index("culvert_id")["instead"]
    sign, look = "Sign and lights before the water rises", "Look when a crew passes"
    starts = {row: text.partition(";")[0] for row, text in told.items()}
    assert starts == {"C0": look, "C1": sign, "C2": sign, "C3": look}


def test_a_crossing_that_is_likely_open_gets_a_look_and_no_truck():
    crossings, jobs, travel, settings = made_morning(2, 4)
    crossings.loc["C1", ["blocked_chance", "loss_avoided_person_h"]] = [0.03, 500.0]
    crossings.loc["C2", ["blocked_chance", "loss_avoided_person_h"]] = [0.03, 0.1]
    crossings.loc["C3", "owner"] = "county"
    jobs.loc[jobs["culvert_id"] == "C3", "is_possible"] = False
    plan = plan_morning(crossings, jobs, travel, settings)
    rows = plan.not_reached.set_index("culvert_id")
    assert rows.loc["C1", ["why", "instead"]].tolist() == [
        "likely open: a look, not a truck",
        "Look when a crew passes",
    ]
    assert "C2" not in rows.index
    assert "call the owner (county)" in rows.loc["C3", "instead"]


@pytest.mark.slow
def test_no_machine_stands_on_a_road_in_the_hours_to_keep_clear():
    settings = made_settings(keep_clear=[bus_hours("HILL LANE ")])
    for seed in range(4):
        crossings, *rest = made_morning(seed, 6, settings)
        plan = plan_morning(crossings, *rest)
        thaws = plan.stops[plan.stops["kind"] == "thaw"].set_index("culvert_id")
        on_hill = thaws[crossings["road_name"].reindex(thaws.index) == "Hill Lane"]
        early = on_hill["end_s"] <= 6.5 * HOUR
        assert (early | (on_hill["start_s"] >= 8.25 * HOUR)).all()
        assert plan.problems == ()


def test_blocked_pipe_below_is_opened_first():
    crossings, jobs, travel, settings = made_morning(7, 6)
    jobs["is_possible"] = True
    top = crossings["loss_avoided_person_h"].idxmax()
    bottom = crossings["loss_avoided_person_h"].idxmin()
    crossings["downstream_id"] = ""
    crossings.loc[top, "downstream_id"] = bottom
    crossings.loc[bottom, ["blocked_chance", "loss_avoided_person_h"]] = [0.9, 0.0]
    plan = plan_morning(crossings, jobs, travel, settings)
    thaws = plan.stops[plan.stops["kind"] == "thaw"].set_index("culvert_id")
    assert plan.problems == ()
    assert thaws["end_s"][bottom] <= thaws["start_s"][top]


def test_pipe_above_one_that_cannot_be_opened_is_not_planned():
    crossings, jobs, travel, settings = made_morning(7, 6)
    jobs["is_possible"] = True
    crossings["downstream_id"] = ""
    crossings.loc["C0", "downstream_id"] = "C1"
    crossings.loc["C1", "blocked_chance"] = np.nan
    jobs.loc[jobs["culvert_id"] == "C1", "is_possible"] = False
    plan = plan_morning(crossings, jobs, travel, settings)
    assert "C0" not in set(plan.stops["culvert_id"])
    assert plan.problems == ()


def test_burner_fuel_for_the_shift_limits_the_stops():
    rich = made_settings(made_crews(1, hours=6.0, fuel_tank_m3=0.1))
    poor = made_settings(made_crews(1, hours=6.0, fuel_tank_m3=0.012))
    plans = [plan_morning(*made_morning(5, 7, settings)) for settings in (rich, poor)]
    used = [plan.stops["fuel_m3"].sum() for plan in plans]
    assert used[0] > 0.012 >= used[1] > 0
    assert plans[1].problems == ()


def test_truck_returns_to_a_fill_point_when_its_tank_is_small():
    crews = made_crews(1, hours=6.0, tank_m3=0.26)
    plan = plan_morning(*made_morning(5, 7, made_settings(crews)))
    assert (plan.stops["kind"] == "fill").any()
    assert plan.problems == ()


def test_larger_losses_come_sooner_and_nothing_is_lost():
    crews = made_crews(1, hours=12.0, tank_m3=3.0)
    crossings, jobs, *rest = made_morning(6, 8, made_settings(crews))
    case = morning_case(crossings, jobs[jobs["is_possible"]], *rest)
    first = first_stop_place(case)
    order = np.argsort(case.loss_avoided_person_h)
    backwards = repaired(case, (tuple(int(n) + first for n in order),))
    assert len(backwards[0]) > 2
    sooner = in_better_order(case, backwards)
    assert sorted(sooner[0]) == sorted(backwards[0])

    def waiting(routes):
        return sum(
            case.loss_avoided_person_h[stop.place - first] * stop.end_s
            for stop in day(case, routes)[0]
            if stop.place >= first
        )

    assert waiting(sooner) < waiting(backwards)
