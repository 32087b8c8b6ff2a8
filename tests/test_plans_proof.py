"""The proof: what it counts, when it says no, its misses and its drive-by list."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.plans.proof import BLOCKED, LISTS, OURS, REPEAT, prove
from culvertrisk.plans.proof_verdict import verdict
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


def test_never_logged_crossings_are_likely_and_no_driveways(proof, often):
    crossings = made_crossings(COUNT)
    for table in (proof.surprises, proof.blind_spots):
        ids = table["culvert_id"]
        assert not set(ids) & set(often["culvert_id"])
        assert (crossings.loc[ids, "crossing_kind"] == "cross").all()
        assert table["blocked_chance"].is_monotonic_decreasing
        assert (table["blocked_chance"] >= 0.15).all()
    assert (proof.surprises["empty_log_chance"] <= 0.5).all()
    assert (proof.blind_spots["empty_log_chance"] > 0.5).all()


def test_silence_is_a_surprise_where_crews_log_and_a_blind_spot_where_they_do_not():
    """Two alike classes of road; crews write down half of the one, none of the other.
    One pipe of the first class never froze, whatever it looks like."""
    crossings = made_crossings(COUNT).assign(
        crossing_kind="cross",
        road_class=["B", "C"] * (COUNT // 2),
        road_name=["Wyke Rd", "Hendle Dead End Rd"] * (COUNT // 2),
        rise_m=0.3,
        has_seep=1.0,
    )
    chance = np.where(crossings["road_class"] == "B", 0.5, 0.0)
    chance[0], chance[1] = 0.0, 0.5
    found = _prove(drawn_log(chance), crossings)
    assert found.surprises["culvert_id"].tolist()[:1] == ["W0"]
    assert (found.surprises["road_name"] == "Wyke Rd").all()
    assert (found.blind_spots["road_name"] == "Hendle Dead End Rd").all()
    assert len(found.blind_spots) == 20
    first = found.surprises.iloc[0]
    assert first["expected_log_count"] > 1 > found.blind_spots["expected_log_count"][0]
    lines = proof_lines(found)
    line = next(line for line in lines if "W0, Wyke Rd" in line)
    assert "the log should hold" in line
    roads = [line for line in lines if line.strip().startswith("Hendle Dead End Rd: ")]
    assert len(roads) == 1


def test_new_pipe_is_a_blind_spot_on_a_road_where_crews_log():
    crossings = made_crossings(COUNT).assign(crossing_kind="cross", road_class="B")
    crossings = crossings.assign(rise_m=0.3, has_seep=1.0)
    crossings.loc["W0", "install_year"] = 2023
    chance = np.full(COUNT, 0.4)
    chance[0] = 0.0
    found = _prove(drawn_log(chance), crossings)
    row = found.blind_spots.set_index("culvert_id").loc["W0"]
    assert row["winter_count"] == 1


def test_it_says_so_where_the_repeat_list_is_not_beaten():
    # each crossing is all or nothing: the repeat list cannot be beaten
    chance = np.zeros(COUNT)
    chance[:10] = 1.0
    proof = _prove(drawn_log(chance))
    assert proof.totals.loc[REPEAT, "top_20"] == 80
    assert proof.verdict.startswith(
        "In the top 20 the model is about as good as the repeat list and does not beat "
        "it: 80 logged thaws against 80; of 8 winters ahead in 0, level in 8, behind "
        "in 0."
    )


def _tops(*found):
    return pd.DataFrame({"top_20": found}, dtype=float)


def test_a_lead_that_may_be_luck_is_not_called_beating():
    """One thaw more in all, ahead in 2 winters, yet behind in 3."""
    ours, theirs = _tops(7, 7, 5, 5, 5, 6, 6, 6), _tops(5, 5, 6, 6, 6, 6, 6, 6.4)
    assert verdict(ours, theirs, 0.9) == (
        "In the top 20 the model is about as good as the repeat list and does not "
        "beat it: 47 logged thaws against 46; of 8 winters ahead in 2, level in 3, "
        'behind in 3. "Beats" and "behind" are said only where luck alone would bring '
        "such a difference between winters in fewer than 10% of cases."
    )


def test_two_winters_never_show_that_one_list_beats_the_other():
    told = verdict(_tops(2, 2), _tops(1, 1), 0.9)
    assert told == (
        "In the top 20 the model is about as good as the repeat list and does not "
        "beat it: 4 logged thaws against 2; of 2 winters ahead in 2, level in 0, "
        "behind in 0. 2 winters are too few to tell the two lists apart: whatever the "
        "difference, it may be luck."
    )


def test_a_lead_in_nearly_every_winter_is_beating_and_the_reverse_is_behind():
    more, less = _tops(9, 9, 9, 8, 9, 9, 9, 5), _tops(7, 7, 8, 6, 7, 7, 7, 5)
    assert verdict(more, less, 0.9).startswith(
        "In the top 20 the model beats the repeat list: 67 logged thaws against 54; of "
        "8 winters ahead in 7, level in 1, behind in 0."
    )
    assert verdict(less, more, 0.9).startswith(
        "In the top 20 the model is behind the repeat list: 54 logged thaws against 67;"
    )


def test_a_short_log_is_said_to_be_not_yet_calibrated():
    chance = np.full(COUNT, 0.02)
    chance[::15] = 0.9
    lines = proof_lines(_prove(drawn_log(chance, winters=(2021, 2022))))
    told = "\n".join(lines)
    assert "The freeze model is not yet calibrated: this log has" in told
    assert "in 2 winters, each crossing counted once a winter" in told
    assert "crossings had a thaw" not in told


def test_a_log_just_long_enough_is_not_so_with_a_winter_hidden():
    chance = np.full(COUNT, 0.02)
    chance[::15] = 0.9
    lines = proof_lines(_prove(drawn_log(chance, winters=(2020, 2021, 2022))))
    assert lines[2].startswith("The freeze model is calibrated by this log")
    assert lines[3] == (
        "With one winter hidden the rest of the log is too short for that in 3 of 3 "
        "winters: there the model is not yet calibrated."
    )


def test_thaws_and_crossings_are_counted_apart(proof, often):
    thaws = len(often.drop_duplicates(["culvert_id", "winter"]))
    crossings = often["culvert_id"].nunique()
    assert thaws > crossings
    line = next(line for line in proof_lines(proof) if line.startswith("Each of 8"))
    assert line == (
        "Each of 8 winters was hidden in turn and ranked by the others. The log has "
        f"{thaws} thaws of {crossings} crossings in them, each crossing counted once a "
        "winter."
    )


def test_log_of_one_winter_is_refused():
    log = log_of([("2022-02-01", "W1", "", "open"), ("2022-02-09", "W2", "", "dug")])
    with pytest.raises(InputError) as refused:
        _prove(log)
    assert refused.value.problems == (
        "thaw log: file must have thaws of known crossings in at least 2 winters with "
        "weather to be proved on, got 1 such winter. Keep the log for another "
        "winter, or add the weather of the earlier ones.",
    )


def test_town_without_a_log_is_refused():
    with pytest.raises(InputError, match="0 such winters"):
        _prove(None)


def test_lines_give_the_verdict_first_and_every_list(proof):
    lines = proof_lines(proof)
    text = "\n".join(lines)
    assert lines[0] == proof.verdict
    for name in (*LISTS, "chance", "Brier score", "urprise", "lind spot"):
        assert name in text
    total = proof.totals.loc[BLOCKED, "top_50"]
    assert f"{total:.0f}" in next(line for line in lines if line.startswith(BLOCKED))
    assert max(map(len, pd.Series(lines).str.split(":").str[0])) < 200
