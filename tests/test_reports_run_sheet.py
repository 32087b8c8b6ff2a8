"""Run sheets: what a crew needs is on the paper, and nothing on it can run."""

import html
import re

import numpy as np
import pyproj
import pytest

from culvertrisk.reports import words
from culvertrisk.reports.run_sheet import not_reached, truck_sheets, write_run_sheets
from tests import report_fixture


def text_of(page):
    plain = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(html.unescape(plain).split())


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheets") / "sheets.html"
    return write_run_sheets(path, report_fixture.content()).read_text(encoding="utf-8")


def sheets_of(page):
    return page.split('<section class="sheet">')[1:]


def test_sheets_are_one_a_truck_and_one_for_what_is_not_reached(page):
    headings = [re.search(r"<h2>(.*?)</h2>", sheet)[1] for sheet in sheets_of(page)]
    assert [text_of(heading) for heading in headings] == [
        "A: Hot water truck",
        "B: Steam trailer",
        "Not reached today",
    ]


def test_every_sheet_carries_the_whole_statement(page):
    for sheet in sheets_of(page):
        for line in words.STATEMENT:
            assert line in text_of(sheet)


def test_every_truck_carries_every_caution(page):
    for sheet in sheets_of(page)[:2]:
        for line in report_fixture.cautions()["words"]:
            assert line in text_of(sheet)


def test_page_has_no_script_and_forbids_any(page):
    assert "<script" not in page
    assert "script-src 'none'" in html.unescape(page)
    assert not re.findall(r"(?:src|href)=", page)


def test_stops_are_in_order_with_clock_times(page):
    told = text_of(sheets_of(page)[0])
    parts = [
        "05:40 Leave Town garage",
        "A1 05:54 to 06:44",
        "A2 06:51 to 07:36",
        "07:41 Fill water at Hydrant by the hall",
        "A4 08:05",
        "09:10 Back",
    ]
    places = [told.index(part) for part in parts]
    assert places == sorted(places)


def test_stop_says_where_the_outlet_is_as_pyproj_gives_it():
    stop = truck_sheets(report_fixture.content())[0]["stops"][1]
    crossing = report_fixture.crossings().loc["H1"]
    to_degrees = pyproj.Transformer.from_crs(32616, 4326, always_xy=True)
    lon, lat = to_degrees.transform(crossing["outlet_x_m"], crossing["outlet_y_m"])
    assert stop["where"] == f"{lat:.5f}, {lon:.5f}"
    assert stop["has_end"]
    assert stop["side"] == "on the NE side of the road"  # 6 m east and 5 m north of it
    assert stop["stakes"] == "Staked."


def test_stop_without_an_outlet_says_so():
    crossings = report_fixture.crossings()
    crossings[["outlet_x_m", "outlet_y_m"]] = np.nan
    stop = truck_sheets(report_fixture.content(crossings=crossings))[0]["stops"][1]
    assert stop["has_end"] is False
    assert stop["side"] == "side not recorded"


def test_stop_says_why_with_people_behind_the_pipe_first(page):
    told = text_of(sheets_of(page)[0])
    assert "Why: Only way in. 4 dwellings cut off if shut. Cut off too: oxygen" in told
    assert "Not known: Cover not recorded: taken from the elevation model ." in told


def test_amounts_stand_in_both_units_for_the_switch(page):
    assert '<span class="metric">620 L</span><span class="us">160 gal</span>' in page
    assert '<span class="metric">460 mm</span><span class="us">18 in</span>' in page


def test_every_thaw_has_boxes_to_tick_and_lines_to_fill(page):
    thaws = page.count('<li class="stop">')
    assert thaws == 5
    assert page.count('<span class="tick">') == 4 * thaws
    assert page.count('<span class="fill">') == 4 * thaws


def test_unknown_amounts_are_unknown_not_zero():
    plan = report_fixture.plan()
    plan.stops.loc[1, ["water_m3", "fuel_m3", "tank_left_m3"]] = np.nan
    truck = truck_sheets(report_fixture.content(plan=plan))[0]
    assert truck["stops"][1]["water"] == ("unknown", "unknown")
    assert truck["water"] == ("unknown", "unknown")


def test_not_reached_says_what_to_do_instead_greatest_loss_first(page):
    told = text_of(sheets_of(page)[2])
    assert told.index("P34") < told.index("N7")
    assert "Sign both sides, tell the county" in told
    assert "One operator short" in told


def test_sheets_without_a_plan_say_that_no_truck_is_planned(tmp_path):
    content = report_fixture.content(plan=None, jobs=None, routes=None)
    page = write_run_sheets(tmp_path / "sheets.html", content).read_text()
    assert "No trucks planned" in page
    assert truck_sheets(content) == not_reached(content) == []


def test_hostile_names_are_escaped(tmp_path):
    crossings = report_fixture.crossings()
    evil = "<img src=x onerror=alert(1)>{{ 7*7 }}"
    crossings["road_name"] = crossings["note"] = crossings["reasons"] = evil
    plan = report_fixture.plan()
    plan.stops["place_id"] = plan.not_reached["instead"] = evil
    content = report_fixture.content(crossings=crossings, plan=plan, title=evil)
    page = write_run_sheets(tmp_path / "sheets.html", content).read_text()
    assert "<img" not in page
    assert page.count(html.escape(evil)) > 10


def test_same_content_gives_the_same_bytes(tmp_path, page):
    again = write_run_sheets(tmp_path / "other.html", report_fixture.content())
    assert again.read_bytes() == page.encode()


def test_the_sheet_says_how_hard_the_jet_pushes_back(tmp_path, page):
    jobs = report_fixture.jobs().assign(jet_reaction_n=58.5)
    content = report_fixture.content(jobs=jobs)
    assert truck_sheets(content)[0]["push"] == ("58 N", "13 lbf")
    told = write_run_sheets(tmp_path / "sheets.html", content).read_text("utf-8")
    assert "burner fuel. The jet pushes back with 58 N" in text_of(told)
    assert "pushes back" not in page


def test_the_sheet_says_how_often_the_truck_goes_for_water(tmp_path):
    jobs = report_fixture.jobs().assign(trip_count=2, trip_fill="barn <1>")
    content = report_fixture.content(jobs=jobs)
    told = write_run_sheets(tmp_path / "sheets.html", content).read_text("utf-8")
    assert "2 trips to barn <1> for water, counted in the time" in text_of(told)
    assert "barn <1>" not in told
