"""What the log says on card, stop and sheet, and what it says to nobody outside."""

import pytest

from culvertrisk.inputs.reading import note_table
from culvertrisk.reports.council import without_people
from culvertrisk.reports.log_words import last_remark, unplaced_words
from culvertrisk.reports.map import write_map
from culvertrisk.reports.map_data import map_columns
from culvertrisk.reports.run_sheet import sheet_markup
from tests import browser_fixture, report_fixture
from tests.test_reports_run_sheet import sheets_of

browser = browser_fixture.browser
opened = browser_fixture.opened

REMARK = "2023-03-14: could not find end 20 min; 2022-02-01: slush"
SAID = "The log says: could not find end 20 min (14 March 2023)."


def _content(**changes):
    rows = [REMARK, *[""] * 11]
    crossings = report_fixture.crossings().assign(log_note=rows)
    return report_fixture.content(crossings=crossings, **changes)


def _notes(count):
    row = {"file": "thaw log", "column": "place", "found": "by the barn"}
    old = {"file": "thaw log", "row": 9, "column": "install_year", "found": "H1"}
    return note_table([*({**row, "row": 4 + i} for i in range(count)), old])


@pytest.mark.parametrize(
    ("log_note", "said"),
    [
        (REMARK, SAID),
        ("2024-01-02: dug; then steamed; 2023-01-01: slush",
         "The log says: dug; then steamed (2 January 2024)."),
        ("", ""),
        (None, ""),
    ],
)  # fmt: skip
def test_newest_remark_is_told_whole_with_its_day(log_note, said):
    assert last_remark(log_note) == said


def test_stop_of_the_truck_carries_the_last_remark_of_the_log():
    sheets = sheets_of(sheet_markup(_content()))
    assert SAID in sheets[0]
    assert sum(sheet.count("The log says") for sheet in sheets) == 1


def test_round_of_a_crew_without_heat_carries_it_too():
    plan = report_fixture.plan()
    crossings = report_fixture.crossings().assign(log_note="")
    crossings.loc["P34", "log_note"] = REMARK
    looks = plan.not_reached.head(1).assign(
        crew="Scouts", stop_number=1, start_s=0, end_s=600, drive_s=60
    )
    plan = report_fixture.Plan(plan.stops, plan.not_reached, looks=looks)
    content = report_fixture.content(plan=plan, crossings=crossings)
    assert SAID in sheet_markup(content)


def test_council_map_has_neither_remarks_nor_rows_of_the_log():
    public = without_people(_content(notes=_notes(2)))
    assert "could not find" not in str(map_columns(public))
    assert public.notes.empty


def test_rows_that_name_no_crossing_are_counted_on_the_page():
    told = map_columns(_content(notes=_notes(79)))["scoreWords"]
    assert told.endswith(
        "79 rows of the thaw log name no crossing clearly. They count for nothing "
        "until somebody writes the culvert's number there: assumptions.csv lists each "
        "with the reason."
    )
    assert unplaced_words(_notes(1)).startswith("1 row of the thaw log names no cros")
    assert unplaced_words(_notes(0)) == ""


@pytest.mark.slow
@browser_fixture.BROWSER_MARKS[1]
def test_card_shows_the_last_remark_of_the_log(opened, tmp_path):
    page = opened(write_map(tmp_path / "map.html", _content()))
    page.click("#rows button >> nth=0")
    assert SAID in page.locator("#card").inner_text()
    page.click("#close")
    page.click("#rows button >> nth=1")
    assert "The log says" not in page.locator("#card").inner_text()
    page.click("#tab-today")
    assert page.locator(".visit", has_text=SAID).count() == 1
