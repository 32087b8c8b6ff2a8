"""The thaw log as crews and clerks keep it."""

from datetime import date

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.inputs.days import parse_days
from culvertrisk.inputs.thaw_log import COLUMNS, read_thaw_log
from culvertrisk.inputs.thaw_words import RESULTS
from culvertrisk.settings import Reading

PLAIN = Reading()
TEXT = st.characters(min_codepoint=32, exclude_categories=["Cs"])


def _read(folder, text, reading=PLAIN):
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_thaw_log(path, reading)


def test_log_is_read_into_our_columns_and_units(tmp_path):
    reading = _read(
        tmp_path,
        "date,time,place,culvert,crew,method,minutes,gallons,result,note\n"
        "2024-02-25,06:10,Norrick Lane N4,N4,T1,hot water,70,95,open,\n"
        "2024-11-30,,Hendle,,T2,steam,,,just dug out,ends only\n",
    )
    table = reading.table
    assert [*table.columns] == [*COLUMNS]
    assert table["day"].dtype.kind == "M"
    assert table["winter"].tolist() == [2023, 2024]
    assert table["culvert_id"].tolist() == ["N4", ""]
    assert table["result"].tolist() == ["open", "dug"]
    assert_allclose(table["work_s"], [4200, np.nan])
    assert_allclose(table["water_m3"], [95 * 0.003785411784, np.nan])
    assert reading.notes.empty


@pytest.mark.parametrize(
    ("header", "cell", "expected"),
    [
        ("hours", "1.5", 5400),
        ("duration (h)", "1.5", 5400),
        ("duration", "90 min", 5400),
        ("duration", "1:30", 5400),
        ("work_s", "5400", 5400),
    ],
)
def test_durations_are_read_as_they_are_written(tmp_path, header, cell, expected):
    reading = _read(tmp_path, f"date,place,{header}\n2024-02-25,Wyke Rd,{cell}\n")
    assert_allclose(reading.table["work_s"], [expected])


def test_amount_without_a_unit_is_unknown_until_told(tmp_path):
    text = "date,place,water\n2024-02-25,Wyke Rd,100\n"
    unknown = _read(tmp_path, text)
    assert unknown.table["water_m3"].isna().all()
    found = unknown.notes.set_index("column")["understood"]
    assert found["water_m3"] == "unknown: set thaw_log.units.water_m3"
    told = _read(tmp_path, text, Reading(units={"water_m3": "liter"}))
    assert_allclose(told.table["water_m3"], [0.1])


def test_one_bad_row_never_stops_the_run(tmp_path):
    reading = _read(
        tmp_path,
        "date,culvert,minutes,result\n"
        "2024-02-25,12,long,open\n"
        "last week,13,20,open\n"
        "2024-02-26,14,20,see note\n",
    )
    assert reading.table["culvert_id"].tolist() == ["12", "14"]
    assert reading.table["result"].tolist() == ["open", "other"]
    assert reading.notes[["row", "column", "kind"]].values.tolist() == [
        [2, "day", "refused"],
        [1, "work_s", "refused"],
        [3, "result", "assumed"],
    ]


def test_log_without_results_takes_every_row_as_a_thaw_and_says_so(tmp_path):
    reading = _read(tmp_path, "date,culvert\n2024-02-25,12\n")
    assert reading.table["result"].tolist() == ["open"]
    assert reading.notes["understood"].tolist() == ["every row taken as 'open'"]


def test_workbook_is_read_as_the_text_table_is(tmp_path):
    book = openpyxl.Workbook()
    for row in (
        ["Date", "Pipe No", "Where", "Hours", "Litres", "Outcome"],
        [pd.Timestamp("2024-02-25").to_pydatetime(), 12.0, "Wyke", 1.5, 300, "Gave up"],
    ):
        book.active.append(row)
    path = tmp_path / "log.xlsx"
    book.save(path)
    row = read_thaw_log(path, PLAIN).table.iloc[0]
    assert row["day"] == pd.Timestamp("2024-02-25")
    assert (row["culvert_id"], row["result"]) == ("12", "gave up")
    assert_allclose([row["work_s"], row["water_m3"]], [5400, 0.3])


@pytest.mark.parametrize(
    ("texts", "days", "order"),
    [
        (["2024-02-25", "20240226"], [25, 26], ""),
        (["2/25/2024", "2/3/2024"], [25, 3], "month first"),
        (["25/2/2024", "3/2/24"], [25, 3], "day first"),
        (["25.02.2024", "03.02.2024"], [25, 3], ""),
        (["25 Feb 2024", "Feb 3, 2024"], [25, 3], ""),
        (["2024-02-25T06:10", "45325"], [25, 3], ""),
    ],
)
def test_order_of_dates_is_found_from_the_whole_column(texts, days, order):
    found = parse_days(pd.Series(texts))
    assert found.day.dt.day.tolist() == days
    assert (found.day.dt.month == 2).all()
    assert (found.order, found.is_order_assumed) == (order, False)


def test_ambiguous_dates_are_read_month_first_and_noted(tmp_path):
    reading = _read(tmp_path, "date,culvert,result\n3/2/2024,12,open\n")
    assert reading.table["day"].dt.month.tolist() == [3]
    assert reading.notes[["column", "understood", "kind"]].values.tolist() == [
        ["day", "month first assumed", "assumed"]
    ]


@rules(deadline=None, max_examples=25)
@given(day=st.dates(min_value=date(1960, 1, 1), max_value=date(2199, 12, 31)))
def test_iso_dates_are_read_back(day):
    found = parse_days(pd.Series([day.isoformat()])).day
    assert found.dt.strftime("%Y-%m-%d").tolist() == [day.isoformat()]


def test_impossible_dates_are_unknown_and_do_not_stop():
    found = parse_days(pd.Series(["9999-12-31", "2024-02-31", "31/31/2024", ""]))
    assert found.day.isna().all()


@rules(deadline=None, max_examples=10)
@given(words=st.lists(st.text(TEXT, max_size=12), min_size=1, max_size=6))
def test_any_result_words_give_a_known_result(tmp_path_factory, words):
    path = tmp_path_factory.mktemp("log") / "log.csv"
    frame = pd.DataFrame({"date": "2024-02-25", "culvert": "12", "result": words})
    frame.to_csv(path, index=False)
    assert set(read_thaw_log(path, PLAIN).table["result"]) <= {*RESULTS}


def test_log_without_date_or_place_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "date,minutes\n2024-02-25,40\n")
    assert caught.value.problems == (
        "log.csv: file must have a column for the date and one for the culvert or the "
        "place, got columns date, minutes. Rename the columns (date, culvert, place, "
        "minutes, result, ...) or name them under [thaw_log.columns] in the town "
        "file.",
    )


def test_log_without_a_readable_date_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "date,culvert\nsoon,12\n")
    assert caught.value.problems == (
        "log.csv: file must have a row with a readable date, got none in 1 rows. "
        "Write dates as 2024-02-25.",
    )


def test_told_column_that_is_absent_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        _read(
            tmp_path, "date,culvert\n2024-02-25,12\n", Reading(columns={"crew": "who"})
        )
    assert caught.value.problems == (
        "log.csv: thaw_log.columns.crew must be a column of the file (date, culvert), "
        "got 'who'. Correct the spelling in the town file.",
    )


@pytest.mark.parametrize(
    ("header", "cell", "note", "expected"),
    [
        ("called by", "Resident", "", "called"),
        ("Reported by", "crew", "", "own round"),
        ("complaint", "yes", "", "called"),
        ("complaint", "N", "", "own round"),
        ("origin", "", "phoned twice", "called"),
        ("origin", "?", "", ""),
        ("method", "steam", "Complaint, barn side", "called"),
        ("method", "steam", "on patrol; glaze on road", "own round"),
        ("method", "steam", "no call, found by T1", "own round"),
        ("method", "steam", "could not find end 20 min", ""),
        ("method", "steam", "called contractor", ""),
        ("method", "steam", "", ""),
    ],
)
def test_who_told_of_a_thaw_is_read_where_it_is_written(
    tmp_path, header, cell, note, expected
):
    text = f'date,place,{header},note\n2024-02-25,Wyke Rd,{cell},"{note}"\n'
    assert _read(tmp_path, text).table["origin"].tolist() == [expected]


def test_log_of_a_spreadsheet_with_title_serial_dates_and_clock_times_is_read(tmp_path):
    reading = _read(
        tmp_path,
        "Thaw log, winter 2023/24, north and south district, all crews, checked\n"
        "date,culvert,duration,result,note\n"
        "45231.25,N4,1:10:00,open,\n45232,N4,0:30,open,\nTotal,,1:40,,\n",
    )
    # 45231 days after 30 December 1899 is 1 November 2023
    days = reading.table["day"].dt.strftime("%Y-%m-%d").tolist()
    assert days == ["2023-11-01", "2023-11-02"]
    assert_allclose(reading.table["work_s"], [4200, 1800])
    told = reading.notes[reading.notes["kind"] == "refused"]
    assert told[["row", "found"]].to_numpy().tolist() == [[3, "Total"]]
