"""Every surface says "not yet calibrated" until the score was fitted to the log."""

from dataclasses import replace

import pytest

from culvertrisk.reports.calibration import score_words, uncalibrated_words
from culvertrisk.reports.council import without_people
from culvertrisk.reports.map_data import map_columns
from culvertrisk.reports.offline import template_text
from culvertrisk.reports.run_sheet import sheet_markup
from culvertrisk.settings import Files, History, Settings
from tests import report_fixture
from tests.test_reports_run_sheet import sheets_of

NO_LOG = (
    "Freeze scores are not yet calibrated to this town: no thaw log says anything of "
    "them, they are physics alone."
)
SHORT_LOG = (
    "Freeze scores are not yet calibrated to this town: its thaw log is too short to "
    "fit them. What it says of single crossings is applied."
)


def _short_log():
    return report_fixture.crossings().assign(history_factor=[2.5, *[1.0] * 11])


def test_the_page_and_the_council_map_say_not_yet_calibrated_in_their_head():
    whole = report_fixture.content()
    for content in (whole, without_people(whole)):
        assert map_columns(content)["uncalibrated"] == NO_LOG
        assert NO_LOG in map_columns(content)["scoreWords"]
    fitted = map_columns(report_fixture.content(calibrated=True))
    assert fitted["uncalibrated"] == ""
    assert "not yet calibrated" not in fitted["scoreWords"]
    head = template_text("map.html").partition("</header>")[0]
    assert 'id="uncalibrated"' in head


def test_every_sheet_says_not_yet_calibrated():
    looks = report_fixture.plan().not_reached.head(1)
    looks = looks.assign(crew="Scouts", stop_number=1, start_s=0, end_s=600, drive_s=60)
    plan = replace(report_fixture.plan(), looks=looks)
    calls = report_fixture.content(plan=plan)
    sheets = sheets_of(sheet_markup(calls))
    assert len(sheets) == 4
    assert all(NO_LOG in sheet for sheet in sheets)
    no_plan = report_fixture.content(plan=None, jobs=None, routes=None)
    assert NO_LOG in sheet_markup(no_plan)
    fitted = sheet_markup(report_fixture.content(plan=plan, calibrated=True))
    assert "not yet calibrated" not in fitted


def test_a_short_log_is_not_told_as_none():
    told = map_columns(report_fixture.content(crossings=_short_log()))
    assert told["uncalibrated"] == SHORT_LOG
    assert "not been checked" not in told["scoreWords"]
    assert uncalibrated_words(_short_log(), calibrated=True) == ""


@pytest.mark.parametrize(("share", "percent"), [(None, "50 %"), (0.8, "80 %")])
def test_fitted_scores_hang_on_the_share_of_blocks_written_down(share, percent):
    own = {} if share is None else {"logged_fraction": share}
    settings = Settings(files=Files(culverts="c.csv"), history=History(defaults=own))
    told = score_words(_short_log(), settings, calibrated=True)
    assert f"if {percent} of the blocks where crews go are written down" in told
    assert "a chance of about 70 in 100" not in told
