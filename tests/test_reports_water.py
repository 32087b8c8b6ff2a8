"""Water in the reports as files: exports, sheets, the council's copy, what is shown."""

import csv
import html
import json
import re
from io import StringIO

import numpy as np
import pandas as pd
import pytest

from culvertrisk.reports import map_data
from culvertrisk.reports.amounts import factor
from culvertrisk.reports.council import without_people
from culvertrisk.reports.exports import outlet_ends, write_exports
from culvertrisk.reports.map_advice import limits
from culvertrisk.reports.map_data import map_columns
from culvertrisk.reports.offline import template_text
from culvertrisk.reports.release import release_dangers
from culvertrisk.reports.run_sheet import truck_sheets, write_run_sheets
from tests import report_fixture, water_fixture


@pytest.fixture
def data(monkeypatch):
    monkeypatch.setattr(map_data, "columns", water_fixture.known_columns)
    return map_columns(water_fixture.content())


def test_rating_curves_are_exported_without_those_not_known(tmp_path):
    write_exports(tmp_path, water_fixture.content())
    path = tmp_path / "rating_curves.csv"
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [*rows[0]] == [*water_fixture.ratings().columns]
    assert [row["culvert_id"] for row in rows] == ["H1"] * 4 + ["O5"] * 4


def test_ponds_keep_their_islands_and_their_crossing(data):
    rows = [pond["row"] for pond in data["ponds"]]
    assert rows == [0, 1]
    assert [len(pond["rings"]) for pond in data["ponds"]] == [2, 1]


def test_ponds_and_curves_of_crossings_that_are_not_listed_are_left_out():
    ponds = water_fixture.ponds().rename(index={"H1": "gone"})
    ratings = water_fixture.ratings().replace({"culvert_id": {"H1": "gone"}})
    data = map_columns(water_fixture.content(ponds=ponds, ratings=ratings))
    assert [pond["row"] for pond in data["ponds"]] == [1]
    assert data["ratings"]["curves"][0] is None
    assert data["ratings"]["curves"][1]["flow"][0] == 0.15


def test_unlisted_streams_stay_apart_from_the_crossings(data):
    assert len(data["ids"]) == 12
    assert data["unlisted"]["count"] == 2
    assert "Norrick Lane" in data["unlisted"]["roads"]["words"]


def test_content_without_water_says_nothing_of_it():
    data = map_columns(report_fixture.content())
    assert data["ponds"] == []
    assert data["unlisted"] == {"count": 0}
    assert data["ratings"] is None
    assert {word for words in data["advice"]["danger"] for word in words["words"]} == {
        ""
    }


def test_rows_of_the_shown_table_that_no_stage_makes_are_passed_over(data):
    shown = pd.read_csv(StringIO(template_text("shown.csv")))
    assert shown["name"].is_unique
    names = {column["name"] for column in data["columns"]} - {""}
    assert names <= set(shown["name"])
    assert "over_road_depth_m" in names
    missing = set(shown["name"]) - set(water_fixture.known_columns().index)
    assert not names & missing


def test_every_shown_column_of_the_dictionary_can_be_converted():
    shown = pd.read_csv(StringIO(template_text("shown.csv")))
    units = water_fixture.known_columns()["unit"]
    for row in shown[shown["name"].isin(units.index)].to_dict("records"):
        for system in ("metric", "us"):
            assert np.isfinite(factor(units[row["name"]], row[system])), row["name"]


def test_water_in_a_pond_is_converted_to_acre_feet():
    # 1 acre-foot = 43 560 ft3 of 0.3048 m each (exact): 1 233.48 m3.
    assert factor("m3", "acre_foot") == pytest.approx(
        1 / (43_560 * 0.3048**3), rel=1e-5
    )
    assert factor("s", "hour") == pytest.approx(1 / 3600)


def test_limits_are_told_once_and_those_of_the_pond_too():
    table = water_fixture.with_water(report_fixture.crossings())
    table["flow_note"] = "slope is outside the 3 to 10 %; cover unknown"
    table["peak_note"] = "slope is outside the 3 to 10 %; no equation given"
    table["pond_note"] = ["pond spills elsewhere"] + [""] * 11
    told = limits(table)
    assert told[0].split("; ") == [
        "slope is outside the 3 to 10 %",
        "cover unknown",
        "no equation given",
        "pond spills elsewhere",
    ]
    assert told[1].endswith("no equation given")


def test_chance_of_a_release_is_not_named_until_calibrated(data):
    assert "chance" not in json.dumps(data).lower()


def test_stop_tells_danger_cure_and_band(tmp_path):
    content = water_fixture.content()
    stop = truck_sheets(content)[0]["stops"][1]
    assert stop["danger"].us.startswith("Pond above: up to 7.0 ft deep. Stand to")
    assert "Opened it may send up to 30 ft³/s to O5, likely" in stop["danger"].us
    page = write_run_sheets(tmp_path / "sheets.html", content).read_text("utf-8")
    told = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    assert told.count("Danger.") == 2
    for part in (
        "Make sure O5 (Ossel Mill Road, 47.",
        "keep clear then.",
        "drain, then heat cable",
        "fall), fragile.",
    ):
        assert part in told


def test_danger_is_told_from_an_even_chance_on():
    for chance, is_told in ((0.49, False), (0.5, True)):
        crossings = water_fixture.with_water(report_fixture.crossings())
        crossings["pond_depth_m"] = 0.0
        crossings.loc["H1", "held_release_flooded_chance"] = chance
        sheets = truck_sheets(water_fixture.content(crossings=crossings))
        assert bool(sheets[0]["stops"][1]["danger"].metric) == is_told, chance


def test_each_pipe_is_warned_of_its_own_release_and_tells_where_the_next_lies():
    """H1 (300, 2400) and T1 (700, 900) drain to O5 (1500, 2100), of them H1 floods it:
    hypot(1200, 300) m is 1.24 km, to the east by south."""
    crossings = water_fixture.with_water(report_fixture.crossings())
    crossings.loc["T1", ["downstream_id", "held_release_flooded_chance"]] = ["O5", 0.1]
    crossings.loc[["H1", "T1"], "held_release_m3s"] = [0.84, 2.75]
    told = dict(zip(crossings.index, release_dangers(crossings), strict=True))
    assert "send up to 0.8 m³/s to O5" in told["H1"].metric
    assert told["T1"] == ("", "")
    assert "2.75" not in "".join(told["O5"])
    assert "When H1 (up to 0.8 m³/s) above is opened" in told["O5"].metric
    outlet = outlet_ends(crossings)["O5"]
    place = f"Ossel Mill Road, {outlet.y:.5f}, {outlet.x:.5f}, 1.2 km E of here"
    assert f"Make sure O5 ({place}) is open first" in told["H1"].metric


def test_a_deep_pond_is_told_although_no_pipe_is_below():
    crossings = water_fixture.with_water(report_fixture.crossings())
    crossings = crossings.assign(downstream_id="", pond_volume_m3=3218.0)
    crossings.loc["O5", "pond_depth_m"] = 0.9
    first, second, *_ = release_dangers(crossings)
    assert first.us == (
        "Pond above: up to 7.0 ft deep, 850,000 gal. Stand to the side of the outlet, "
        "check the road for hollows, see who is below before it runs."
    )
    assert second.us == ""


def test_the_card_tells_a_cause_as_likely_where_its_input_is_not_recorded():
    crossings = report_fixture.crossings().assign(freeze_cause="seep")
    cause = map_columns(report_fixture.content(crossings=crossings))["advice"]["cause"]
    told = [cause["words"][code] for code in cause["codes"]]
    assert told[0] == told[1] == "seep icing"
    assert set(told[2:]) == {"likely seep icing"}


def _advice(name, **columns):
    crossings = report_fixture.crossings().assign(**columns)
    told = map_columns(report_fixture.content(crossings=crossings))["advice"][name]
    return [told["words"][code] for code in told["codes"]]


def test_the_card_tells_a_weak_cause_as_most_likely():
    told = _advice("cause", freeze_cause="perched", cause_sureness="weak")
    assert set(told) == {"most likely ice under a perched outlet"}


@pytest.mark.parametrize(
    ("columns", "expected"),
    [
        (
            {"closing_day": "2025-01-14", "freeze_class": "high"},
            "Likely shut since about 14 January 2025, in the usual case.",
        ),
        (
            {"closing_day": "2025-01-14", "freeze_class": "some"},
            "If it is shut, since about 14 January 2025, in the usual case.",
        ),
        (
            {"closing_day": "2025-03-27", "freeze_class": "some"},
            "If it closes, about 27 March 2025 in the usual case.",
        ),
        (
            {"closing_day": "", "freeze_class": "severe", "history_factor": 4.5},
            "Likely closed by now, by the log.",
        ),
        (
            {"closing_day": "", "freeze_class": "high", "opened_days": "2025-02-07"},
            "Likely closed again by now.",
        ),
        ({"closing_day": "", "freeze_class": "some", "history_factor": 4.5}, ""),
    ],
)
def test_the_card_tells_days_in_the_words_of_the_class(columns, expected):
    assert set(_advice("closes", **columns)) == {expected}


def test_the_card_tells_the_opening_as_one_of_a_shut_pipe():
    assert set(_advice("opens", self_opening_day="2025-04-26")) == {
        "If shut, opens without a crew about 26 April 2025, by forecast and a usual "
        "spring."
    }


def test_council_copy_holds_no_word_on_people_or_callers():
    crossings = report_fixture.crossings()
    crossings.loc["H1", "reasons"] = "Only way to 4 dwellings, oxygen at home; Flat"
    crossings.loc["H1", "note"] = "ask Marna at the red house"
    calls = pd.DataFrame(
        {
            "call_s": [15_000.0],
            "caller": ["resident at 14"],
            "road_name": ["Hendle Dead End"],
            "place": [""],
            "seen": ["water over the road"],
            "culvert_id": ["H1"],
            "match": ["likely"],
        }
    )
    whole = report_fixture.content(crossings=crossings, calls=calls)
    copy = without_people(whole)
    told = json.dumps(map_columns(copy)) + str(truck_sheets(copy))
    for word in ("oxygen", "Marna", "resident at 14"):
        assert word in json.dumps(map_columns(whole)) + str(whole.calls)
        assert word not in told
    assert "Only way to 4 dwellings" in told
    assert copy.calls is None
    assert "note" not in set(copy.notes["column"])
    assert whole.crossings["cut_off_places"]["H1"] == "oxygen at home"
