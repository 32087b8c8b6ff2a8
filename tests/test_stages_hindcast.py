"""Lost pages of the log, the share kept, groups, matches by mile and what is said."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import Point

from culvertrisk.checks import InputError
from culvertrisk.settings import History
from culvertrisk.stages.blockage import FRAGILITY
from culvertrisk.stages.freeze import most_chances
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.hindcast import hindcast
from culvertrisk.stages.history import fit_history, with_log
from culvertrisk.stages.log_fit import fit_record, winter_chances
from culvertrisk.stages.log_gaps import kept_fractions, lost_spans
from culvertrisk.stages.log_matching import history_defaults, match_rows
from culvertrisk.stages.winter import freeze_coefficients
from tests.history_made import (
    TOWN,
    drawn_log,
    log_of,
    made_crossings,
    made_sun,
    made_weather,
)

ON = date(2024, 6, 1)
SPANS = {y: (date(y, 10, 1), date(y + 1, 5, 31)) for y in range(2018, 2022)}


def _daily(years=SPANS, lost=()):
    """A row a day from January to April, but for the days lost."""
    days = [
        day
        for year in years
        for day in pd.date_range(f"{year + 1}-01-01", f"{year + 1}-04-30")
        if day not in lost
    ]
    return log_of([(day, "W1", "", "open") for day in days])


def test_a_silence_in_a_busy_season_is_taken_for_a_lost_page():
    lost = pd.date_range("2020-03-14", "2020-03-22")
    found = lost_spans(_daily(lost=lost), SPANS, history_defaults())
    assert found == [(date(2020, 3, 14), date(2020, 3, 22))]


def test_a_log_without_a_silence_has_no_lost_page():
    assert lost_spans(_daily(), SPANS, history_defaults()) == []


def test_a_silence_when_nobody_ever_logs_is_no_lost_page():
    rows = [(f"{y + 1}-{md}", "W1", "", "open") for y in SPANS
            for md in ("01-05", "03-20", "03-21")]  # fmt: skip
    assert lost_spans(log_of(rows), SPANS, history_defaults()) == []


def test_two_winters_are_too_few_to_know_what_is_usual():
    lost = pd.date_range("2020-03-01", "2020-03-31")
    spans = {year: SPANS[year] for year in (2018, 2019)}
    assert lost_spans(_daily(spans, lost), spans, history_defaults()) == []


def test_kept_share_is_what_other_winters_have_on_the_days_left():
    lost = pd.date_range("2020-02-01", "2020-02-28")
    spans = [(lost[0].date(), lost[-1].date())]
    kept = kept_fractions(_daily(lost=lost), SPANS, spans, history_defaults())
    assert_allclose(kept[[0, 2, 3]], 1)
    assert_allclose(kept[1], 1 - 28 / 120, atol=0.01)


def _hindcast(crossings, log, weather=None):
    weather = made_weather() if weather is None else weather
    sun = made_sun(len(crossings))
    return hindcast(crossings, log, weather, sun, TOWN, ON)


def test_crossings_are_grouped_by_road_class_and_driveway():
    crossings = made_crossings(4).assign(
        road_class=["B", "", "C", ""],
        network_class=["A", "C", "", ""],
        crossing_kind=["cross", "driveway", "cross", "cross"],
    )
    past = _hindcast(crossings, log_of([("2022-02-01", "W1", "", "open")]))
    names = [past.group_names[group] for group in past.record.group]
    assert names == ["A", "C driveway", "C", "unknown class"]


def test_seldom_logged_kinds_of_road_are_found_and_said():
    crossings = made_crossings(200)
    chance = np.where(crossings["road_class"] == "B", 0.25, 0.04)
    fit = fit_history(
        crossings, drawn_log(chance), made_weather(), made_sun(200), TOWN, ON
    )
    share = pd.Series(fit.logged_fraction).groupby(
        [*crossings["road_class"] + crossings["crossing_kind"]]
    )
    share = share.first()
    assert share["Bcross"] > 3 * share["Ccross"]
    assert fit.is_calibrated
    assert any("calibrated by this log" in note for note in fit.notes)
    assert fit.notes[-1].startswith("Share of blocks taken to leave a row in the log")


def test_few_thaws_leave_the_physics_uncalibrated_and_it_is_said():
    crossings = made_crossings(40)
    log = log_of([(f"{y}-02-01", "W1", "", "open") for y in (2021, 2022, 2023)])
    fit = fit_history(crossings, log, made_weather(), made_sun(40), TOWN, ON)
    assert not fit.is_calibrated
    assert (fit.median_factor, fit.spread_factor, fit.level_factor) == (1.0, 1.0, 1.0)
    assert (
        "The freeze model is not yet calibrated: this log has 3 thaws at 1 "
        "crossing in 3 winters, each crossing counted once a winter; 30 thaws in 3 "
        "winters are needed." in fit.notes
    )
    assert fit.history_factor[1] > 1 > fit.history_factor[0]


def _mile(metres):
    return f"Wyke road mile {metres / 1609.344:.1f}"


def test_place_by_mile_is_matched_along_the_road_where_the_log_tells_its_zero():
    crossings = made_crossings(30).assign(crossing_kind="cross")
    # the road's miles begin 800 m before the first crossing
    known = [(f"2022-01-{i:02d}", f"W{i}", _mile(800 + 200 * i), "open")
             for i in (2, 9, 17, 28)]  # fmt: skip
    asked = [("2022-03-01", "", _mile(800 + 200 * i), "open") for i in (5, 12, 21)]
    far = [("2022-03-05", "", "Wyke road mile 9.9", "open")]
    rows = match_rows(crossings, log_of(known + asked + far))
    assert rows["match_by"].tolist() == ["number"] * 4 + ["mile"] * 3 + [""]
    # a tenth of a mile is 161 m: the crossing meant or the one beside it
    number = rows["culvert_id"].str.lstrip("W").to_numpy()[4:7].astype(int)
    assert np.abs(number - [5, 12, 21]).max() <= 1
    assert rows["match_confidence"].between(0, 1).all()
    assert (rows["match_confidence"].iloc[4:7] < 1).all()


def test_crossing_without_a_place_takes_no_part_in_the_match_by_mile():
    crossings = made_crossings(30)
    known = [(f"2022-01-{i:02d}", f"W{i}", _mile(200 * i), "open")
             for i in (2, 9, 17, 28)]  # fmt: skip
    log = log_of([*known, ("2022-03-01", "", _mile(200 * 12), "open")])
    geometry = crossings.geometry.copy()
    geometry.iloc[20] = Point()
    rows = match_rows(crossings.set_geometry(geometry), log)
    expected = match_rows(crossings, log)
    assert rows["culvert_id"].tolist() == expected["culvert_id"].tolist()


@pytest.mark.parametrize("miles", [(1.0,), (1.0, 9.0), (1.0, 1.0)])
def test_road_whose_miles_do_not_fit_its_crossings_is_not_matched_by_mile(miles):
    crossings = made_crossings(30)
    known = [(f"2022-01-0{i + 1}", f"W{5 * i}", f"Wyke Rd mile {mile}", "open")
             for i, mile in enumerate(miles)]  # fmt: skip
    rows = match_rows(
        crossings, log_of([*known, ("2022-03-01", "", "Wyke Rd mile 1.4", "open")])
    )
    assert rows["culvert_id"].iloc[-1] == ""
    assert rows["match_confidence"].iloc[-1] == 0


def test_rows_placed_by_words_are_counted_and_their_confidence_told():
    crossings = made_crossings(10)
    log = log_of(
        [
            ("2022-01-05", "W3", "Wyke Rd mile 0.7", "open"),
            ("2022-01-06", "", "Wyke Rd mile 0.7, below the spruce", "open"),
            ("2022-01-07", "", "by the barn", "open"),
        ]
    )
    past = _hindcast(crossings, log)
    assert past.notes == (
        "1 of 3 rows of the log names no crossing clearly and is not counted.",
        "1 row of the log without a number was placed by words, road and mile, "
        "with a confidence of 0.67 on average.",
        "The log does not say which thaws somebody called for: where people live near "
        "is not told apart from where nobody does.",
    )
    assert past.logged_thaw_count[3] == 2


def test_fitted_fragility_is_that_of_the_day():
    crossings = made_crossings(200)
    log = drawn_log(np.full(200, 0.1))
    fit = fit_history(crossings, log, made_weather(), made_sun(200), TOWN, ON)
    fitted = freeze_coefficients(with_log(crossings, TOWN, fit)[1].freeze.defaults)
    usual = freeze_coefficients()
    ratio = {name: (fitted[name] / usual[name]).item() for name in FRAGILITY}
    assert_allclose(ratio["closing_median_ratio"], fit.median_factor)
    assert_allclose(ratio["closing_spread"], fit.spread_factor)
    assert_allclose(ratio["seep_closing_spread"], fit.spread_factor)
    assert_allclose(ratio["at_work_level"], fit.level_factor)
    assert usual["level_spread"] > 0 == fitted["level_spread"]  # the log has told it
    # chances of the hindcast read between the trials are those of a run with them
    past = hindcast(crossings, log, made_weather(), made_sun(200), TOWN, ON)
    read = winter_chances(past.record, fit_record(past.record, past.coefficients).model)
    inputs = freeze_inputs(crossings, made_sun(200), usual)
    span = date(2020, 10, 1), date(2021, 5, 31)
    guessed, recorded = most_chances(inputs, made_weather(), *span, fitted)[:, 2, 2]
    run = recorded + (1 - recorded) * guessed
    assert_allclose(read[:, 4], run, atol=0.01)


def test_town_may_set_the_defaults_of_history_and_name_lost_pages():
    crossings = made_crossings(40)
    log = drawn_log(np.full(40, 0.2))
    days = [[date(2021, 1, 1), date(2021, 1, 31)]]
    own = History(defaults={"logged_fraction": 0.8}, lost_days=days)
    town = TOWN.model_copy(update={"history": own})
    weather, sun = made_weather(), made_sun(40)
    usual = hindcast(crossings, log, weather, sun, TOWN, ON)
    past = hindcast(crossings, log, weather, sun, town, ON)
    assert past.coefficients["logged_fraction"] == 0.8
    winter = past.winters.index(2020)
    assert past.record.kept_fraction[winter] < usual.record.kept_fraction[winter]
    fit = fit_history(crossings, log, weather, sun, town, ON)
    assert any("level (0.80 where crews go) is assumed" in note for note in fit.notes)


def test_unknown_name_among_the_towns_defaults_of_history_is_refused():
    with pytest.raises(InputError) as refused:
        history_defaults({"logged_fracton": 0.8})
    assert refused.value.problems == (
        "town file: history.defaults.logged_fracton must be a name of the "
        "history_defaults table, got 0.8. Correct the spelling.",
    )
