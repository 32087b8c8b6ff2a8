"""The proof: what it counts, when it says no, its misses and its drive-by list."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.plans.proof import BLOCKED, LISTS, OURS, REPEAT, prove
from culvertrisk.plans.proof_words import proof_lines
from tests.history_made import (
    TOWN,
    drawn_log,
    log_of,
    made_crossings,
    made_sun,
    made_weather,
)

pytestmark = pytest.mark.slow  # eight winters, fitted eight times

COUNT = 150


def _prove(log, crossings=None):
    crossings = made_crossings(COUNT) if crossings is None else crossings
    return prove(crossings, log, made_weather(), made_sun(len(crossings)), TOWN)


@pytest.fixture(scope="module")
def often():
    """Ten crossings thaw nearly every winter, whatever they look like."""
    chance = np.full(COUNT, 0.02)
    chance[::15] = 0.9
    return drawn_log(chance)


@pytest.fixture(scope="module")
def proof(often):
    return _prove(often)


def test_every_winter_is_hidden_once_and_every_list_counted(proof):
    assert proof.hits["winter"].nunique() == 8
    assert proof.hits.groupby("winter")["list"].apply(set).eq(set(LISTS)).all()
    assert (proof.hits["top_20"] <= proof.hits["top_50"] + 1e-9).all()
    assert (proof.hits["top_100"] <= proof.hits["thawed_count"] + 1e-9).all()
    assert (proof.hits["top_20"] <= 20).all()


def test_thaws_counted_are_those_of_the_log(proof, often):
    expected = often.drop_duplicates(["culvert_id", "winter"]).groupby("winter").size()
    counted = proof.hits.drop_duplicates("winter").set_index("winter")["thawed_count"]
    assert_allclose(counted.sort_index(), expected.sort_index())


def test_places_that_always_freeze_are_found_and_chance_does_not_find_them(proof):
    # ten crossings at 0.9 in eight winters: about 72 thaws within reach of a top 20
    assert proof.totals.loc[OURS, "top_20"] > 60
    assert proof.totals.loc[OURS, "top_20"] > proof.totals.loc["chance", "high_20"]
    chance = proof.totals.loc["chance"]
    assert chance["low_20"] <= chance["top_20"] <= chance["high_20"]
    share = proof.totals.loc[OURS, "thawed_count"] * 20 / COUNT
    assert_allclose(chance["top_20"], share)


def test_forecast_is_calibrated_and_better_than_the_usual_share(proof):
    assert proof.brier < proof.brier_usual
    total = proof.calibration["logged"].sum()
    assert total == proof.totals.loc[OURS, "thawed_count"]
    assert_allclose(proof.calibration["predicted"].sum(), total, rtol=0.25)


def test_hidden_winter_is_not_looked_at(often):
    # moving the last winter's rows elsewhere leaves the scores it is judged by
    last = often["winter"] == 2023
    moved = often.copy()
    moved.loc[last, "culvert_id"] = "W1"
    hits, other = _prove(often).hits, _prove(moved).hits
    row = (hits["winter"] == 2023) & (hits["list"] == OURS)
    thawed = other.loc[(other["winter"] == 2023) & (other["list"] == OURS)]
    assert hits.loc[row, "thawed_count"].item() > 1
    assert thawed["thawed_count"].item() == 1
    # W1 never froze before: no list that does not look can have it at the top
    assert thawed["top_20"].item() == 0


def test_misses_are_the_lowest_ranked_thaws_and_say_why(proof):
    assert len(proof.misses) == 10
    assert proof.misses["rank"].is_monotonic_decreasing
    assert proof.misses["rank"].min() > 20
    assert proof.misses["why"].str.contains("never logged in another winter").any()
    assert (proof.misses["why"] != "").all()


def test_surprises_were_never_logged_and_are_no_driveways(proof, often):
    crossings = made_crossings(COUNT)
    ids = proof.surprises["culvert_id"]
    assert not set(ids) & set(often["culvert_id"])
    assert (crossings.loc[ids, "crossing_kind"] == "cross").all()
    assert proof.surprises["blocked_chance"].is_monotonic_decreasing


def test_it_says_so_where_the_repeat_list_is_not_beaten():
    # each crossing is all or nothing: the repeat list cannot be beaten
    chance = np.zeros(COUNT)
    chance[:10] = 1.0
    proof = _prove(drawn_log(chance))
    assert proof.totals.loc[REPEAT, "top_20"] == 80
    assert proof.verdict.startswith(
        "In the top 20 the model does not beat the repeat list: 80 logged thaws "
        "against 80, ahead in 0 of 8 winters."
    )


def test_log_of_one_winter_is_refused():
    log = log_of([("2022-02-01", "W1", "", "open"), ("2022-02-09", "W2", "", "dug")])
    with pytest.raises(InputError) as refused:
        _prove(log)
    assert refused.value.problems == (
        "thaw log: file must have thaws of known crossings in at least 2 winters with "
        "weather to be proved on, got 1 such winters. Keep the log for another "
        "winter, or add the weather of the earlier ones.",
    )


def test_town_without_a_log_is_refused():
    with pytest.raises(InputError, match="0 such winters"):
        _prove(None)


def test_lines_give_the_verdict_first_and_every_list(proof):
    lines = proof_lines(proof)
    text = "\n".join(lines)
    assert lines[0] == proof.verdict
    for name in (*LISTS, "chance", "Brier score", "drive by and look"):
        assert name in text
    total = proof.totals.loc[BLOCKED, "top_50"]
    assert f"{total:.0f}" in next(line for line in lines if line.startswith(BLOCKED))
    assert max(map(len, pd.Series(lines).str.split(":").str[0])) < 200
