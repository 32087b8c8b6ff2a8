"""The sentence on what a plan is worth; without a truck it says what is missing."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from culvertrisk.reports.comparison_line import comparison_words
from culvertrisk.reports.map_data import map_columns
from culvertrisk.reports.run_sheet import write_run_sheets
from tests import report_fixture

NOTHING = {"plan": 0.0, "worst_first": 0.0, "bound": 0.0}
OPENED = "Everything opened at once would avoid about 430 person-hours."


def _content(possible_person_h, crews=("steam",), **changes):
    content = report_fixture.content()
    no_stops = replace(
        content.plan,
        stops=content.plan.stops.iloc[:0],
        comparison={**NOTHING, "possible": possible_person_h},
    )
    told = replace(content, plan=no_stops, **changes)
    town = SimpleNamespace(crews=crews)
    assert told.settings is None
    return replace(told, settings=town)


@pytest.mark.parametrize(
    ("changes", "begins", "tells"),
    [
        ({"crews": ()}, "No truck is given", "write a part [[crews]] into the town"),
        ({"roads": None}, "No road file is given", 'roads = "roads.geojson"'),
        ({}, "No truck given can open a crossing today", "see method, flow, burner"),
    ],
    ids=["no crews", "no roads", "no able crew"],
)
def test_without_a_truck_that_can_go_the_sentence_says_what_to_write_where(
    changes, begins, tells
):
    told = comparison_words(_content(430.0, **changes))
    assert told.startswith(begins)
    assert tells in told
    assert told.endswith(OPENED)
    assert "worst first" not in told
    assert "This plan avoids" not in told


def test_a_day_without_any_loss_is_said_to_need_no_truck():
    content = _content(0.0)
    none_left = content.plan.not_reached.iloc[:0]
    told = comparison_words(
        replace(content, plan=replace(content.plan, not_reached=none_left))
    )
    assert told.startswith("No crossing is worth a truck today")


def test_losses_that_no_truck_can_drive_to_are_not_called_none():
    content = _content(0.0)
    assert (content.plan.not_reached["loss_avoided_person_h"] > 0).any()
    told = comparison_words(content)
    assert told.startswith("No crossing that a truck can drive to and open")
    assert "beside each crossing not reached" in told


def test_a_plan_is_set_beside_worst_first_and_the_bound():
    content = report_fixture.content()
    values = {"plan": 404.5, "worst_first": 380.0, "bound": 420.0, "possible": 430.0}
    planned = replace(content, plan=replace(content.plan, comparison=values))
    assert comparison_words(planned) == (
        "This plan avoids about 400 person-hours; worst first with the same trucks "
        "about 380 person-hours; no plan with them can avoid more than about 420 "
        "person-hours; everything opened at once would avoid about 430 person-hours."
    )


def test_sheet_and_map_carry_the_sentence(tmp_path):
    content = _content(430.0, crews=())
    content = replace(content, settings=None, roads=None)
    told = comparison_words(content)
    assert told.startswith("No road file is given")
    page = write_run_sheets(tmp_path / "sheets.html", content).read_text("utf-8")
    assert "so no truck can be sent" in page
    assert map_columns(content)["comparison"] == told
