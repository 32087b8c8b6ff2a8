"""Run sheets: what a crew needs is on the paper, and nothing on it can run."""

import html
import itertools
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from culvertrisk.forecast_model import Forecast
from culvertrisk.plans.looks import LOOK_COLUMNS
from culvertrisk.reports import words
from culvertrisk.reports.amounts import volume
from culvertrisk.reports.exports import outlet_ends
from culvertrisk.reports.missed_sheet import not_reached
from culvertrisk.reports.planned_line import planned_line
from culvertrisk.reports.run_sheet import sheet_markup, truck_sheets, write_run_sheets
from culvertrisk.reports.sentence_units import both_units, in_units
from culvertrisk.reports.water_amounts import volume_used
from culvertrisk.settings import Files, Settings
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


def test_every_sheet_says_day_and_weather_and_that_the_winter_is_made_up(page):
    assert "Planned for" not in page  # nothing is known of the day's weather
    looks = pd.DataFrame(
        [("Pickup", 1, "N7", 300.0, 21_000.0, 22_000.0)], columns=LOOK_COLUMNS
    )
    plan = replace(report_fixture.plan(), looks=looks)
    asked = report_fixture.asked()
    sheets = sheets_of(sheet_markup(report_fixture.content(plan=plan, asked=asked)))
    assert len(sheets) == 4
    no_plan = report_fixture.content(plan=None, jobs=None, routes=None, asked=asked)
    for sheet in (*sheets, sheet_markup(no_plan)):
        told = text_of(sheet)
        for line in (
            "for: Tuesday 25 February 2025, low -9 °C, high 6 °C, rain 18 mm (typed",
            "for: Tuesday 25 February 2025, low 16 °F, high 43 °F, rain 0.71 in (typed",
            "No weather file: a winter of 800 °C·days is assumed.",
            "No weather file: a winter of 1,440 °F·days is assumed.",
        ):
            assert line in told
    assert "Planned for: " in sheets[0]
    assert "Scored for: " in sheet_markup(no_plan)


def test_the_line_of_the_day_says_which_number_is_from_where():
    asked = report_fixture.asked(
        rain_m=np.nan,
        forecast=Forecast(rain_start="09:30", rain_end="18:00", snow_water_m=0.14),
        sources={"low": "typed with the command", "high": "made up", "rain": "unknown"},
    )
    line = in_units(planned_line(asked, is_planned=True), "metric")
    assert line == (
        "Planned for: Tuesday 25 February 2025, low -9 °C, high 6 °C, rain unknown "
        "from 09:30 to 18:00, water in the snow 140 mm (low: typed with the command; "
        "high: made up)"
    )
    assert planned_line(None, is_planned=True) == ""


def test_every_truck_carries_every_caution(page):
    for sheet in sheets_of(page)[:2]:
        for line in report_fixture.cautions()["words"]:
            for told in both_units(line):
                assert told in text_of(sheet)


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
    assert (
        '<span class="metric">Small pipe: 460 mm closes early</span>'
        '<span class="us">Small pipe: 18.1 in closes early</span>'
    ) in page
    assert '<span class="us">Hose too short: barrel 200 ft</span>' in page
    assert "\u202f" not in page


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
    assert "tank is said to hold 1000 L" in told
    assert "tank is said to hold 264 gal" in told


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


TOWN = Settings(
    files=Files(culverts="c.csv"),
    crews=[
        {"name": "Steam trailer", "method": "steam", "start_lat": 0, "start_lon": 0}
        | {"people_count": 1}
    ],
    fill_points=[
        {"name": "Hydrant by the hall", "lat": 47.75, "lon": -87.5, "rate_m3s": 0.01}
    ],
    keep_clear=[
        {"reason": "school bus", "road_names": ["Torvessin Trunk 4"]}
        | {"clear_from": "06:30", "clear_until": "08:10"}
    ],
)


def _whole(**other):
    """The morning with a fill point, a bus, a crew of one and a county pipe."""
    crossings = report_fixture.crossings().assign(
        blocked_chance=0.16, water_over_road_blocked_s=41_400.0
    )
    crossings.loc["T1", "owner"] = "county"
    plan = report_fixture.plan()
    plan.stops.loc[3, "place_id"] = "fill:Hydrant by the hall"
    plan.stops.loc[7, "start_s"] = 29_400.0
    looks = pd.DataFrame(
        [("Pickup", 1, "N7", 300.0, 21_000.0, 22_000.0)], columns=LOOK_COLUMNS
    )
    parts = {"crossings": crossings, "plan": replace(plan, looks=looks)}
    return report_fixture.content(settings=TOWN, **(parts | other))


def _told(content):
    return text_of(sheet_markup(content))


def test_the_chance_is_told_when_calibrated_and_the_class_word_until_then():
    told = _told(_whole(calibrated=True))
    assert "Frozen: about 1 in 6. Look first; if it runs, tick and go on." in told
    assert "3 to visit, fewer than 1 expected shut" in told  # 3 * 0.16
    told = _told(_whole())
    assert "Frozen: very likely frozen. Look first" in told
    assert "expected shut" not in told
    assert "chance" not in told
    assert "Times count every stop as shut, so you may be ahead" in told
    assert "person-hours of delay on average." in told


def test_another_owner_is_called_before_opening_and_the_town_is_not():
    told = _told(_whole())
    assert told.count("Owner: county. Call before opening.") == 1
    assert "Owner: town" not in told


def test_a_wait_and_the_hours_to_keep_clear_are_told_with_the_reason():
    told = _told(_whole())
    assert "There at 08:06: wait off the road until 08:10." in told
    assert "No machine here 06:30 to 08:10 (school bus)." in told


def test_a_fill_has_its_number_and_its_place():
    told = _told(_whole())
    assert "A3 07:41 Fill water at Hydrant by the hall , 47.75000, -87.50000" in told


def test_a_crew_of_one_is_warned():
    told = _told(_whole())
    assert "Two people at least, never alone. The town file gives this crew 1" in told


def test_a_crew_without_heat_gets_a_round_with_place_order_and_hour():
    sheet = next(
        s for s in sheets_of(sheet_markup(_whole())) if "Look and call in" in s
    )
    told = text_of(sheet)
    outlet = outlet_ends(report_fixture.crossings())["N7"]
    for part in (
        "Look and call in: Pickup",
        "1 to look at",
        "1 more crossings that no truck reaches",
        "1 05:50 to 06:07 drive 5 min N7 , Norrick Lane",
        f"{outlet.y:.5f}, {outlet.x:.5f}",
        "Water over the road about 11:30 if shut.",
        "Look again at 14:00",
    ):
        assert part in told
    for line in words.STATEMENT:
        assert line in told


def test_not_reached_rows_tell_place_and_hour():
    row = not_reached(_whole())[0]
    assert row["where"].startswith("47.7")
    assert row["over"] == "water over the road about 11:30 if shut"
    crossings = report_fixture.crossings()
    assert not_reached(report_fixture.content(crossings=crossings))[0]["over"] == ""
    for depth_m, told in ((0.0, ""), (np.nan, "water over the road: not known")):
        pipes = crossings.assign(headwater_limit_m=1.6, over_road_depth_m=depth_m)
        content = report_fixture.content(crossings=pipes)
        assert not_reached(content)[0]["over"] == told


NAN = np.nan


def _flooding(**open_s):
    """The morning with water over some roads although the pipe is open."""
    crossings = report_fixture.crossings().assign(
        crossing_kind="cross",
        flooded_open_chance=0.49,
        water_over_road_open_s=NAN,
        water_over_road_blocked_s=18_000.0,
        over_road_depth_m=1.3,
        loss_person_h=np.arange(12.0),
    )
    for culvert_id, seconds in open_s.items():
        crossings.loc[culvert_id, "flooded_open_chance"] = 0.5
        crossings.loc[culvert_id, "water_over_road_open_s"] = seconds
    return crossings


def test_roads_that_flood_with_the_pipe_open_are_listed_to_sign_the_worst_first():
    """No crew is sent where opening avoids nothing: they were on no sheet at all."""
    crossings = _flooding(K1=46_500.0, Q7=NAN, S9=42_900.0, N7=42_900.0)
    crossings.loc["S9", ["owner", "daily_traffic_count"]] = ["county", NAN]
    crossings.loc["Q7", ["over_road_depth_m", "water_over_road_blocked_s"]] = NAN
    crossings.loc["Q7", "crossing_kind"] = "driveway"
    content = report_fixture.content(crossings=crossings)
    last = text_of(sheets_of(sheet_markup(content))[-1])
    assert "Not reached today" in last
    signs = last.partition("Sign these: opening does not help")[2]
    signs = signs.partition("Do instead")[0]
    assert "goes over the road at 4 crossings even with the pipe open" in signs
    places = [signs.index(f" {name} , ") for name in ("K1", "S9", "Q7", "N7")]
    assert places == sorted(places)
    deep = "Up to 1.3 m 4.3 ft deep if shut."
    assert f"From about 12:55, 05:00 if shut. {deep} 240" in signs
    assert (
        f"11:55, 05:00 if shut. {deep} Owner: county. Call before you sign. not"
        in signs
    )
    assert "Hour not known. 240" in signs
    assert signs.count("driveway") == 1
    missed = {row["id"]: row["over"] for row in not_reached(content)}
    assert missed["N7"].endswith("about 05:00 if shut, about 11:55 even if open")
    assert missed["P34"].endswith("about 05:00 if shut")


def test_the_list_to_sign_is_cut_with_the_count_said_and_stands_without_a_plan():
    crossings = pd.concat([_flooding(K1=46_500.0).loc[["K1"]]] * 41)
    crossings.index = [f"K{row}" for row in range(41)]
    told = _told(report_fixture.content(crossings=crossings, plan=None, jobs=None))
    assert "road at 41 crossings even with the pipe open; the 40 with most" in told
    assert "To sign today" in told
    assert "Not reached today" not in told
    assert "Sign these" not in _told(report_fixture.content())


def test_a_truck_is_told_of_water_over_the_road_on_its_way():
    """B2 drives from the garage past T1, arrives at T2 at 09:28."""
    assert "Water likely" not in _told(report_fixture.content(crossings=_flooding()))
    crossings = _flooding(T1=34_080.0, T2=30_000.0, O5=24_661.0, U2=20_000.0)
    content = report_fixture.content(crossings=crossings)
    hot, steam = truck_sheets(content)
    assert steam["stops"][2]["wet"] == [
        "Water likely over the road at this stop from 08:20: halt short of it, do not "
        "drive in.",
        "Water likely over the road on the way at T1 (Torvessin Trunk 4) from 09:28: "
        "do not drive through, go round.",
    ]
    told = text_of(sheet_markup(content))
    assert steam["stops"][2]["wet"][1] in told
    assert steam["stops"][1]["wet"] == []  # T1 is dry until an hour later
    assert hot["stops"][2]["wet"] == []  # at O5 a second before its water
    assert len(hot["stops"][4]["wet"]) == 2  # from O5 to U2
    driveways = report_fixture.content(
        crossings=crossings.assign(crossing_kind="driveway")
    )
    assert "Water likely" not in _told(driveways)
    no_lines = report_fixture.content(crossings=crossings, routes=None)
    assert "Water likely" not in _told(no_lines)


@pytest.mark.parametrize(("off_m", "is_told"), [(14.0, True), (16.0, False)])
def test_a_crossing_counts_as_on_the_way_up_to_fifteen_metres_off(off_m, is_told):
    crossings = _flooding(T2=30_000.0)
    crossings.geometry = crossings.geometry.translate(yoff=off_m)  # the line lies east
    steam = truck_sheets(report_fixture.content(crossings=crossings))[1]
    assert bool(steam["stops"][2]["wet"]) is is_told


def test_a_fill_on_a_wet_way_says_so_too():
    crossings = _flooding(U2=20_000.0)
    routes = report_fixture.routes().replace({"stop_number": {4: 3}})
    told = _told(report_fixture.content(crossings=crossings, routes=routes))
    fill = told.partition("07:41")[2]
    assert fill.startswith(" Water likely over the road on the way at U2 (")


@given(st.lists(st.floats(0.005, 0.6), min_size=1, max_size=6))
def test_printed_water_and_tank_add_up(used_m3):
    """Start less all that is used is what is left, in litres and in gallons."""
    tank_m3 = 4.0 - np.cumsum([0.0, *used_m3])
    pairs = [*itertools.pairwise(tank_m3)]
    for unit in (0, 1):
        start, *after = (_number(volume(tank)[unit]) for tank in tank_m3)
        each = [_number(volume_used([pair])[unit]) for pair in pairs]
        assert [start - used for used in np.cumsum(each)] == after
        assert sum(each) == _number(volume_used(pairs)[unit])


def _number(told):
    return int(told.split()[0].replace(",", ""))
