"""The demo's morning from files to plan: ranges, promises and the answer key."""

import re
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from culvertrisk import pipeline
from culvertrisk.reports.sentence_units import in_units
from culvertrisk.settings import read_settings
from culvertrisk.tables import columns
from culvertrisk.units import UNIT_MARK

ANSWERS = Path(__file__).parent.parent / "data_demo" / "answer_key"
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def assessment():
    return pipeline.assess(read_settings(pipeline.demo_folder() / "town.toml"))


@pytest.fixture(scope="module")
def morning(assessment):
    return pipeline.plan_morning(assessment)


@pytest.fixture(scope="module")
def truth(assessment):
    """The truth of each crossing read, by the row it came from."""
    pipes = pd.read_csv(ANSWERS / "pipes.csv").set_index("pipe")
    rows = pd.read_csv(ANSWERS / "inventory_rows.csv").set_index("row")["pipe"]
    of_row = rows.reindex(assessment.crossings["source_row"].astype(int))
    return pipes.reindex(of_row).set_index(assessment.crossings.index)


def test_the_demo_asks_the_first_forecast_day(assessment):
    assert assessment.on == date(2025, 2, 25)


def test_crossings_have_every_column_in_its_range(assessment):
    crossings, dictionary = assessment.crossings, columns()
    assert set(crossings.columns) - {"geometry"} == set(dictionary.index)
    for name, row in dictionary.dropna(subset=["low", "high"]).iterrows():
        known = crossings[name].dropna()
        assert known.between(float(row["low"]), float(row["high"])).all(), name


def test_no_crossing_is_lost_between_the_stages(assessment):
    assert assessment.crossings.index.equals(assessment.data.crossings.index)


def test_every_pipe_gets_a_freeze_score_and_says_what_is_unknown(assessment):
    crossings = assessment.crossings
    assert crossings["freeze_index"].notna().all()
    unknown_size = crossings["rise_m"].isna()
    assert crossings.loc[unknown_size, "unknowns"].str.contains("size unknown").all()


def test_freeze_score_orders_the_crossings_as_the_hidden_truth_does(assessment, truth):
    """Rank correlation with the truth's chance: well above chance and above size."""
    crossings = assessment.crossings
    known = truth["chance_2024"].notna()
    chance = truth.loc[known, "chance_2024"]
    ours = spearmanr(crossings.loc[known, "freeze_index"], chance).statistic
    size = spearmanr(-crossings.loc[known, "rise_m"].fillna(0.45), chance).statistic
    assert ours > 0.4
    assert ours > size


def test_catchments_agree_with_those_the_town_was_made_with(assessment, truth):
    ratio = assessment.crossings["catchment_m2"] / truth["area_m2"]
    assert 0.8 < ratio.median() < 1.25


def test_design_peaks_of_several_methods_are_shown_as_a_band(assessment):
    """Rain table, land covers, a regional equation: two methods nearly everywhere."""
    crossings = assessment.crossings
    low, high = crossings["design_flow_low_m3s"], crossings["design_flow_high_m3s"]
    assert (high > low).mean() > 0.9
    told = crossings["design_flow_methods"]
    assert (
        told.str.contains("rational") & told.str.contains("curve number")
    ).mean() > 0.8
    assert (told.str.count(r"\bused\b") == 1).all()
    assert {*crossings["peak_method"]} == {"rational", "regional equation"}


def test_plan_holds_all_constraints_and_beats_worst_first(morning):
    assert morning.plan.problems == ()
    assert morning.plan.comparison["plan"] >= morning.plan.comparison["worst_first"]
    assert morning.plan.comparison["plan"] <= morning.plan.comparison["possible"]


def test_nothing_worth_opening_is_forgotten(assessment, morning):
    stops = morning.plan.stops
    opened = set(stops.loc[stops["kind"] == "thaw", "culvert_id"])
    left = set(morning.plan.not_reached["culvert_id"])
    assert not opened & left
    worth = assessment.crossings["loss_avoided_person_h"] > 1
    assert set(assessment.crossings.index[worth]) <= opened | left


def test_routes_follow_the_plan(assessment, morning):
    driven = morning.plan.stops[morning.plan.stops["drive_m"] > 0]
    assert len(morning.routes) == len(driven)
    lengths = morning.routes.length.to_numpy()
    assert np.allclose(lengths, driven["drive_m"], rtol=0.01, atol=2.0)


def test_same_inputs_give_the_same_plan(assessment, morning):
    again = pipeline.plan_morning(assessment)
    pd.testing.assert_frame_equal(again.plan.stops, morning.plan.stops)


def test_reports_are_written_whole(assessment, morning, tmp_path):
    paths = pipeline.write_reports(tmp_path / "out", assessment, morning)
    assert all(path.stat().st_size > 0 for path in paths)
    assert paths[0].name == "map.html"
    table = pd.read_csv(tmp_path / "out" / "crossings.csv", dtype=str)
    assert len(table) == len(assessment.crossings)


def test_shares_add_up_to_the_score_over_that_of_the_usual_crossing(assessment):
    crossings = assessment.crossings
    shares = crossings.filter(regex="^share_").sum(axis=1, skipna=False)
    usual = crossings["freeze_index"] - shares
    assert usual.between(0, 100).all()
    # one value for the whole town: float32 where alike crossings were told apart
    assert np.ptp(usual) < 1e-4


# A digit, a plain space and a unit that US readers do not use.
BARE_QUANTITY = re.compile(
    r"\d (?:mm|cm|m|km|ha|m²|km²|m³|m³/s|m3/s|L|L/s|kg|kPa|MPa|°C|°C·days)(?![\w/])"
)
WRITTEN_BY_PEOPLE = {"note", "log_note", "road_name", "owner", "cut_off_places"}


def test_every_quantity_in_a_sentence_can_be_told_in_us_units(assessment, morning):
    crossings, plan = assessment.crossings, morning.plan
    tables = [crossings.drop(columns="geometry"), morning.jobs, plan.not_reached]
    if assessment.unmapped is not None:
        tables.append(assessment.unmapped.drop(columns="geometry"))
    said = {
        text
        for table in tables
        for name in set(table.select_dtypes(["object", "string"])) - WRITTEN_BY_PEOPLE
        for text in table[name]
        if isinstance(text, str)
    }
    assert not sorted(text for text in said if BARE_QUANTITY.search(text))
    assert any(UNIT_MARK in text for text in said)
    left = {text for text in said if UNIT_MARK in in_units(text, "us")}
    assert not left


def test_files_for_other_programs_hold_plain_spaces(assessment, morning, tmp_path):
    pipeline.write_reports(tmp_path / "out", assessment, morning)
    for name in ("crossings.csv", "assumptions.csv", "crossings.geojson"):
        assert UNIT_MARK not in (tmp_path / "out" / name).read_text(encoding="utf-8")
    table = pd.read_csv(tmp_path / "out" / "crossings.csv", dtype=str)
    assert table["reasons"].str.contains(r"\d °C·days|\d mm|\d m drop").any()
