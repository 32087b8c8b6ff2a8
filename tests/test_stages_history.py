"""Matching the log, the hindcast, empirical Bayes and the freeze score."""

from datetime import date
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import Point

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.settings import Files, Settings
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.history import fit_history, with_history, with_log
from culvertrisk.stages.log_matching import match_log, plain_id
from culvertrisk.stages.log_remarks import with_log_note
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.tables import columns

TOWN = Settings(files=Files(culverts="c.csv"))
FREEZE = freeze_coefficients()
ON = date(2024, 2, 25)
IDS = ["12", "12A", "N4", "H1", "P1", "P2", "B1"]
ROADS = [
    "Norrick Lane",
    "Norrick Lane",
    "Norrick Lane",
    "Hendle Dead End Rd",
    "Pender Flats Rd",
    "Pender Flats Rd",
    "Wyke Rd",
]


def _crossings(**changes):
    count = len(IDS)
    frame = {
        "road_name": ROADS,
        "road_class": ["C"] * count,
        "crossing_kind": [*["cross"] * (count - 1), "bridge"],
        "rise_m": 0.457,
        "silt_fraction": 0.1,
        "barrel_slope_m_per_m": 0.004,
        "cover_m": 0.7,
        "outlet_drop_m": 0.0,
        "has_seep": 0.0,
        "length_m": 12.0,
        "install_year": np.nan,
        **changes,
    }
    points = [Point(10 * i, 0) for i in range(count)]
    index = pd.Index(IDS, name="culvert_id")
    return gpd.GeoDataFrame(frame, geometry=points, crs=32616, index=index)


def _weather(first="2019-10-01"):
    days = pd.date_range(first, "2024-03-31", name="day")
    season = 10 * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 200) / 365.25)
    frame = pd.DataFrame(index=days)
    frame["air_min_c"], frame["air_max_c"] = season - 12, season - 2
    frame["rain_m"], frame["snowfall_water_m"] = 0.0, 0.0
    frame["snow_depth_m"], frame["wind_m_s"], frame["is_forecast"] = 0.3, 2.0, 0.0
    return frame


def _log(rows):
    """Rows of (day, culvert, place, result)."""
    log = pd.DataFrame(rows, columns=["day", "culvert_id", "place", "result"])
    log["day"] = pd.to_datetime(log["day"])
    log["winter"] = log["day"].dt.year - (log["day"].dt.month < 7)
    return log


def _thaws(culvert_id, days, result="open"):
    return [(day, culvert_id, "", result) for day in days]


OFTEN = [f"{year}-0{month}-10" for year in (2021, 2022, 2023) for month in (1, 2, 3)]
LOG = _log(_thaws("N4", OFTEN) + _thaws("H1", ["2022-02-01"]))


def _fit(log=LOG, crossings=None, weather=None, on=ON):
    crossings = _crossings() if crossings is None else crossings
    weather = _weather() if weather is None else weather
    return fit_history(crossings, log, weather, None, TOWN, on)


@pytest.mark.parametrize(
    ("culvert_id", "place", "expected"),
    [
        ("N4", "", "N4"),
        ("n-04", "", "N4"),
        ("012", "", "12"),
        ("12.0", "", "12"),
        ("12a", "", "12A"),
        ("99", "", ""),
        ("N4", "Pender Flats, first pipe", ""),
        ("", "Norrick Lane N4", "N4"),
        ("", "Hendle H1", "H1"),
        ("", "culvert #12 by the barn", "12"),
        ("", "mile 12", ""),
        ("", "Norrick Lane", ""),
        ("", "Hendle dead end, last house", "H1"),
        ("", "12A Pender Flats", ""),
        ("", "N4 or H1", ""),
        ("", "", ""),
    ],
)
def test_row_of_the_log_goes_to_the_crossing_it_names_clearly(
    culvert_id, place, expected
):
    log = _log([("2022-02-01", culvert_id, place, "open")])
    assert match_log(_crossings(), log).tolist() == [expected]


def test_place_by_mile_goes_where_the_log_itself_says_that_mile_is():
    rows = [
        ("2022-01-05", "N4", "Norrick Lane mile 0.7", "open"),
        ("2022-01-06", "", "Norrick Lane 0.7 mi, below the spruce", "open"),
        ("2022-01-07", "", "Norrick Lane mile 0.9", "open"),
        ("2022-01-08", "77", "Norrick Lane mile 0.7", "open"),
        ("2022-01-09", "12", "Norrick Lane mile 1.3", "open"),
        ("2022-01-10", "12A", "Norrick Lane mile 1.3", "open"),
        ("2022-01-11", "", "Norrick Lane mile 1.3", "open"),
        ("2022-01-12", "", "Pender Flats mile 0.7", "open"),
    ]
    expected = ["N4", "N4", "", "", "12", "12A", "", ""]
    assert match_log(_crossings(), _log(rows)).tolist() == expected


def test_number_borne_by_two_crossings_names_none():
    crossings = _crossings()
    crossings.index = pd.Index(["12", "012", *IDS[2:]], name="culvert_id")
    assert plain_id("012") == plain_id("12")
    assert match_log(crossings, _log(_thaws("12", ["2022-02-01"]))).tolist() == [""]


def test_history_adds_exactly_its_columns_and_leaves_its_input_alone():
    crossings = add_freeze(_crossings(), _weather(), None, ON, TOWN)
    before = crossings.copy()
    noted, _ = with_log(crossings, TOWN, _fit())
    result = with_history(noted, _fit(), TOWN)
    made = columns().query("made_by == 'history'")
    assert set(result.columns) - set(crossings.columns) == set(made.index)
    pd.testing.assert_frame_equal(crossings, before)
    for name, row in made.dropna(subset=["low"]).iterrows():
        assert result[name].dropna().between(row["low"], row["high"]).all(), name
    assert_allclose(
        result["blocked_chance"],
        corrected_chance(result["modelled_chance"], result["history_factor"]),
    )
    bridge = result.loc["B1"]
    assert np.isnan(bridge["blocked_chance"])
    assert bridge["freeze_class"] == ""


def test_often_thawed_pipe_rises_and_the_never_thawed_one_falls():
    fit = dict(zip(IDS, _fit().history_factor, strict=True))
    assert fit["N4"] > 1 > fit["12"] > 0
    assert fit["12"] < fit["H1"] < fit["N4"]


def test_expected_thaws_add_up_to_those_logged():
    fit = _fit()
    assert_allclose(np.nansum(fit.expected_thaw_count), 10)
    assert np.nansum(fit.logged_thaw_count) == 10


def test_only_distinct_days_that_found_ice_count():
    rows = [*_thaws("N4", ["2022-02-01 06:00", "2022-02-01 18:00", "2022-02-03 07:00"])]
    rows += _thaws("H1", ["2022-02-01 07:00"], "not frozen")
    rows += _thaws("P1", ["2022-02-01 07:00"], "gave up")
    rows += _thaws("P2", ["2022-02-01 07:00"], "other")
    counts = dict(zip(IDS, _fit(_log(rows)).logged_thaw_count, strict=True))
    assert {k: counts[k] for k in ("N4", "H1", "P1", "P2")} == {
        "N4": 2,
        "H1": 0,
        "P1": 1,
        "P2": 0,
    }


def test_rows_of_the_day_asked_and_later_are_never_looked_at():
    later = _log(_thaws("12", ["2024-02-25", "2024-03-10"]))
    with_later = pd.concat([LOG, later], ignore_index=True)
    known, hidden = _fit(), _fit(with_later)
    for name in ("logged_thaw_count", "expected_thaw_count", "history_factor"):
        assert_allclose(getattr(hidden, name), getattr(known, name))


def test_weather_of_the_day_asked_and_later_does_not_reach_the_history():
    weather = _weather()
    weather.loc["2024-02-25":, ["air_min_c", "air_max_c"]] = -40.0
    assert_allclose(_fit(weather=weather).history_factor, _fit().history_factor)


def test_history_of_a_replaced_pipe_is_cut():
    years = [np.nan, np.nan, 2022.0, *[np.nan] * 4]
    fit = _fit(crossings=_crossings(install_year=years))
    old = _fit()
    place = IDS.index("N4")
    # laid in 2022: only the winter that began in 2022 is left of its nine thaws
    assert fit.logged_thaw_count[place] == 3
    ratio = fit.expected_thaw_count[place] / fit.expected_thaw_count[0]
    assert 0 < ratio < old.expected_thaw_count[place] / old.expected_thaw_count[0]


def test_rows_of_a_replaced_pipe_are_told_by_crossing_and_row():
    years = [np.nan, np.nan, 2022.0, *[np.nan] * 3, 2024.0]
    log = LOG.assign(source_row=range(11, 11 + len(LOG)))
    fit = _fit(log, crossings=_crossings(install_year=years))
    assert (
        "6 rows of the log are older than the pipe that lies there now and not "
        "counted: N4 (6)." in fit.notes
    )
    rows = fit.row_notes[fit.row_notes["column"] == "install_year"]
    assert rows["row"].tolist() == [11, 12, 13, 14, 15, 16]
    assert (rows["culvert_id"] == "N4").all()
    assert (rows["understood"] == "not counted: N4 was laid in 2022").all()
    assert rows["found"].iloc[0] == "2021-01-10 N4"
    assert not any("older than the pipe" in note for note in _fit().notes)


def test_remarks_of_a_replaced_pipe_are_cut():
    years = [np.nan, np.nan, 2022.0, *[np.nan] * 4]
    log = LOG.assign(note="")
    log.loc[[0, 7], "note"] = ["ice from the bottom up", "glaze on road"]
    crossings = _crossings(install_year=years, has_seep=np.nan)
    noted = with_log_note(crossings, log, TOWN, ON)
    assert noted["log_note"]["N4"] == "2023-02-10: glaze on road"
    old = with_log_note(_crossings(), log, TOWN, ON)["log_note"]["N4"]
    assert old.endswith("; 2021-01-10: ice from the bottom up")
    first = with_log_note(crossings, log.iloc[:1], TOWN, ON)
    seep = freeze_inputs(first, None, FREEZE).seep_chance
    assert seep[IDS.index("N4")] == seep[0] < FREEZE["word_chance"]


@pytest.mark.parametrize(
    ("culvert_id", "place", "why"),
    [
        ("99", "", "the inventory has no crossing 99"),
        ("N4", "Pender Flats, first pipe", "N4 lies on Norrick Lane, the row names "
         "another road"),
        ("", "", "neither a number nor a place"),
        ("", "past the barn", "names no road of the inventory"),
        ("", "Norrick Lane or Pender Flats", "names more than one road"),
        ("", "Pender Flats at the gate", "Pender Flats Rd has 2 crossings, and neither "
         "number nor mile tells which"),
        ("", "Pender Flats mile 0.4", "Pender Flats Rd has 2 crossings, and the mile "
         "does not tell clearly which"),
    ],
)  # fmt: skip
def test_each_row_without_a_crossing_is_listed_and_says_why(culvert_id, place, why):
    log = _log([*_thaws("H1", ["2022-02-01"]), ("2022-02-03", culvert_id, place, "")])
    notes = _fit(log.assign(source_row=[5, 6])).row_notes
    assert notes["row"].tolist() == [6]
    assert notes["column"].tolist() == ["place"]
    assert notes["understood"].tolist() == [f"not counted: {why}"]
    assert notes["found"].item().startswith("2022-02-03")


def test_pipe_laid_after_the_log_has_no_history():
    years = [2024.0, *[np.nan] * 6]
    fit = _fit(crossings=_crossings(install_year=years))
    assert fit.history_factor[0] == 1.0
    assert fit.expected_thaw_count[0] == 0.0


@pytest.mark.parametrize("log", [None, LOG.iloc[:0], LOG[LOG["day"] > "2030"]])
def test_without_a_log_the_factor_is_one_and_it_is_said(log):
    fit = _fit(log)
    assert_allclose(fit.history_factor[:-1], 1.0)
    assert np.isnan(fit.logged_thaw_count).all()
    assert fit.notes == (
        "No thaw log: the freeze model is not yet calibrated, physics alone.",
        "How often pipes block in this town is not known to a factor of 2.5 either "
        "way: chances are averages over that.",
    )


def test_log_that_matches_nothing_leaves_the_factor_at_one_and_says_so():
    fit = _fit(_log([("2022-02-01", "", "somewhere", "open")]))
    assert_allclose(fit.history_factor[:-1], 1.0)
    assert fit.notes == (
        "1 of 1 rows of the log names no crossing clearly and is not counted.",
        "The freeze model is not yet calibrated: the log names no thaw that it could "
        "be fitted to.",
    )


def test_winter_without_weather_is_left_out_and_said_to_be():
    fit = _fit(weather=_weather(first="2021-10-01"))
    assert "Winters without enough weather are left out of the fit: 2020-2021." in (
        fit.notes
    )
    assert_allclose(np.nansum(fit.expected_thaw_count), 7)


def test_uncalibrated_log_leaves_the_settings_as_they_are():
    assert with_log(_crossings(), TOWN, _fit())[1] == TOWN


def test_log_note_has_the_newest_remarks_once_and_none_of_later_days():
    log = LOG.assign(note="")
    log.loc[:3, "note"] = ["stakes gone", "seep", "stakes gone", "could not find end"]
    log.loc[len(log)] = {**LOG.iloc[0], "day": pd.Timestamp("2024-03-01"), "note": "x"}
    noted, _ = with_log(_crossings(), TOWN, _fit(log))
    assert noted["log_note"].to_dict() == dict.fromkeys(IDS, "") | {
        "N4": "2022-01-10: could not find end; 2021-03-10: stakes gone; "
        "2021-02-10: seep"
    }
    blank = _crossings(has_seep=np.nan)
    chance = freeze_inputs(blank.assign(log_note=noted["log_note"]), None, FREEZE)
    assert chance.seep_chance[IDS.index("N4")] == FREEZE["word_chance"]
    assert chance.seep_chance[0] < FREEZE["word_chance"]


def test_class_words_follow_their_limits():
    crossings = _crossings().assign(
        modelled_chance=[0.6, 0.59, 0.35, 0.34, 0.15, 0.14, np.nan]
    )
    result = with_history(crossings, _fit(None), TOWN)
    assert result["freeze_class"].tolist() == [
        *("severe", "high", "high", "some", "some", "low", ""),
    ]
    assert_allclose(result["freeze_index"].iloc[0], 60.0)


def test_hindcast_over_a_town_and_eight_winters(benchmark):
    count = 850
    crossings = gpd.GeoDataFrame(
        {
            name: np.resize(_crossings()[name].to_numpy(), count)
            for name in _crossings().columns
            if name != "geometry"
        },
        geometry=[Point(i, 0) for i in range(count)],
        index=[f"X{i}" for i in range(count)],
    ).assign(silt_fraction=np.nan, cover_m=np.nan, barrel_slope_m_per_m=np.nan)
    sun = np.full((count, 243), 5e6, dtype=np.float32)
    light = SimpleNamespace(inlet_j_m2=sun, outlet_j_m2=sun, open_j_m2=sun)
    log = _log(_thaws("X1", ["2016-12-10", "2024-01-01"]))
    weather = _weather("2016-10-01")
    benchmark(fit_history, crossings, log, weather, light, TOWN, ON)
