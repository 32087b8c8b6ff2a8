"""Calls on the sheets: in the order they came, with what is done about each."""

import pandas as pd

from culvertrisk.reports.call_sheet import ASK_BACK, DANGER, NO_CROSSING, call_rows
from culvertrisk.reports.run_sheet import write_run_sheets
from tests import report_fixture as made


def _calls(ids):
    return pd.DataFrame(
        {
            "call_s": [15_000.0] + [float("nan")] * (len(ids) - 1),
            "caller": "resident",
            "road_name": "Norrick Lane",
            "place": "<b>by the barn</b>",
            "seen": "{{ 7 * 7 }}",
            "culvert_id": ids,
            "match": ["named" if i else "unknown road" for i in ids],
            "likeliest": "",
            "is_danger": False,
        }
    )


def test_each_call_says_what_is_done():
    plan = made.plan()
    planned = plan.stops.loc[plan.stops["kind"] == "thaw", "culvert_id"].iloc[0]
    missed = plan.not_reached["culvert_id"].iloc[0]
    rows = call_rows(made.content(calls=_calls([planned, missed, "", "elsewhere"])))
    crew = plan.stops.loc[plan.stops["culvert_id"] == planned, "crew"].iloc[0]
    assert rows[0]["done"].us.startswith(f"{crew} from ")
    assert rows[1]["done"].metric.startswith("Not reached. ")
    assert rows[2]["done"] == (NO_CROSSING, NO_CROSSING)
    assert rows[3]["done"].metric.startswith("Little at stake")
    assert [row["time"] for row in rows] == ["04:10", "", "", ""]


def test_words_of_a_caller_stay_words(tmp_path):
    path = tmp_path / "run_sheets.html"
    write_run_sheets(path, made.content(calls=_calls([""])))
    page = path.read_text(encoding="utf-8")
    assert "&lt;b&gt;by the barn&lt;/b&gt;" in page
    assert "{{ 7 * 7 }}" in page


def test_a_call_with_a_road_and_no_place_asks_back_and_promises_nothing():
    plan = made.plan()
    planned = plan.stops.loc[plan.stops["kind"] == "thaw", "culvert_id"].iloc[0]
    calls = _calls([""]).assign(match="road", likeliest=f"{planned}, N7")
    row = call_rows(made.content(calls=calls))[0]
    assert row["id"] == f"{planned}, N7?"
    assert row["done"].us == ASK_BACK


def test_a_road_that_may_give_way_is_signed_first_and_not_before_the_water_rises():
    plan = made.plan()
    planned = plan.stops.loc[plan.stops["kind"] == "thaw", "culvert_id"].iloc[0]
    missed = plan.not_reached["culvert_id"].iloc[0]
    calls = _calls([planned, missed, ""]).assign(is_danger=True)
    told = [row["done"].metric for row in call_rows(made.content(calls=calls))]
    assert all(words.startswith(DANGER) for words in told)
    assert all("before the water rises" not in words for words in told)
