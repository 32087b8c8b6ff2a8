"""Rounds of crews without heat: what fits, in which order, never in hours to keep."""

import numpy as np
import pandas as pd

from culvertrisk.plans.looks import LOOK_COLUMNS, look_rounds
from culvertrisk.plans.not_reached import LIKELY_OPEN
from culvertrisk.plans.travel import Travel
from culvertrisk.settings import KeepClear
from tests.plans_made import HOUR, MORNING_S, made_crews, made_settings

MINUTE = 60.0
# Along one road from the yard: minutes of driving to each crossing.
AT_MIN = {"crew:T1": 0.0, "C1": 30.0, "C2": 10.0, "C3": 20.0, "C4": 5.0}


def _round(hours=3.0, keep_clear=(), why=LIKELY_OPEN, ids=("C1", "C2", "C3", "C4")):
    (crew,) = made_crews(1, hours=hours)
    crew = crew.model_copy(update={"method": "no heat"})
    at_s = np.array([*AT_MIN.values()]) * MINUTE
    way_s = np.abs(at_s[:, None] - at_s)
    crossings = pd.DataFrame({"road_name": "Mill Road"}, index=pd.Index(ids))
    left = pd.DataFrame(
        {"culvert_id": ids, "loss_avoided_person_h": range(len(ids), 0, -1), "why": why}
    )
    settings = made_settings([crew], keep_clear=keep_clear)
    travel = Travel((*AT_MIN,), way_s, way_s * 10)
    return look_rounds(left, crossings, travel, settings)


def test_the_nearest_comes_next_with_ten_minutes_each():
    looks = _round()
    assert tuple(looks.columns) == LOOK_COLUMNS
    assert looks["culvert_id"].tolist() == ["C4", "C2", "C3", "C1"]
    starts_min = (looks["start_s"] - MORNING_S) / MINUTE
    assert starts_min.tolist() == [5.0, 20.0, 40.0, 60.0]
    assert looks["stop_number"].tolist() == [1, 2, 3, 4]


def test_only_the_largest_losses_that_fit_with_the_way_home_are_kept():
    """To C1 and back are 60 min, 10 more each: 80 min hold two; the third is late."""
    assert _round(hours=80 / 60)["culvert_id"].tolist() == ["C2", "C1"]
    assert _round(hours=0.2).empty


def test_digging_for_both_ends_takes_longer_than_a_look():
    looks = _round(why="no hours left after stops worth more", ids=("C2",))
    (on_site_s,) = looks["end_s"] - looks["start_s"]
    assert on_site_s == (10 + 2 * 14) * MINUTE


def test_no_machine_stands_in_hours_to_keep_clear():
    bus = KeepClear(
        reason="bus", clear_from=MORNING_S, clear_until=MORNING_S + HOUR / 2
    )
    assert _round(keep_clear=[bus])["start_s"].min() == MORNING_S + HOUR / 2


def test_places_without_a_way_are_left_out():
    assert _round(ids=("C1", "elsewhere"))["culvert_id"].tolist() == ["C1"]
