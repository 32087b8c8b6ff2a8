"""Who told the crews: what the log's words give, and what is withheld without them."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.stages.hindcast import hindcast
from culvertrisk.stages.history import fit_history
from culvertrisk.stages.log_callers import callers_of
from culvertrisk.stages.log_fit import fit_record, physics_alone, winter_chances
from culvertrisk.stages.log_matching import history_defaults
from tests.history_made import TOWN, log_of, made_crossings, made_sun, made_weather

C = history_defaults()
ON = date(2024, 6, 1)
WINTERS = [2021, 2022]


def _thaws(origins, culvert="W1"):
    rows = [(f"2022-01-{i + 1:02d}", culvert, "", "open") for i in range(len(origins))]
    return log_of(rows).assign(origin=origins)


def _crossings(count=4, homes=(0.0, 1.0, 10.0, np.nan)):
    return made_crossings(count).assign(near_dwelling_count=[*homes])


def test_log_without_words_has_no_callers_and_that_is_said():
    for log in (_thaws([""] * 30), _thaws([""] * 30).drop(columns="origin")):
        callers, notes = callers_of(_crossings(), log, WINTERS, C)
        assert callers is None
        assert notes == (
            "The log does not say which thaws somebody called for: where people live "
            "near is not told apart from where nobody does.",
        )


def test_too_few_words_are_counted_and_withheld():
    log = _thaws(["called"] * 3 + ["own round"] * 20)
    callers, notes = callers_of(_crossings(), log, WINTERS, C)
    assert callers is None
    assert notes == (
        "The log says of 3 thaws that somebody called and of 20 that crews found them; "
        "10 of each are needed to part places by who lives near.",
    )


def test_without_a_known_dwelling_nothing_is_parted():
    log = _thaws(["called", "own round"] * 12)
    nowhere = _crossings(homes=[np.nan] * 4)
    assert callers_of(nowhere, log, WINTERS, C)[0] is None
    assert callers_of(made_crossings(4), log, WINTERS, C)[0] is None


def test_first_word_of_a_winter_counts_and_none_is_unknown():
    log = pd.concat(
        [
            _thaws(["", "called", "own round"] + ["called"] * 9),
            _thaws(["own round"] * 10, "W2"),
            _thaws([""], "W3"),
        ],
        ignore_index=True,
    )
    callers, notes = callers_of(_crossings(), log, WINTERS, C)
    expected = [[np.nan] * 2, [1.0, np.nan], [0.0, np.nan], [np.nan] * 2]
    assert_allclose(callers.is_called, expected)
    near = np.log1p([0.0, 1.0, 10.0])
    assert_allclose(callers.near, [*(near - near.mean()), 0.0])
    assert notes == (
        "The log says who told of 21 of 23 thaws: somebody called for 10, crews found "
        "11.",
    )


def test_a_log_that_only_writes_calls_means_rounds_by_the_rest_of_such_a_winter():
    older = _thaws([""] * 5, "W2").assign(day=pd.to_datetime("2023-02-01"), winter=2022)
    log = pd.concat([_thaws(["called"] * 10), _thaws([""] * 12, "W2"), older])
    callers, _ = callers_of(_crossings(), log, WINTERS, C)
    assert_allclose(callers.is_called[:3], [[np.nan] * 2, [1, np.nan], [0, np.nan]])


def _called_log(crossings, chance, near_odds, seed=4):
    """A made log: rounds find a third, somebody near calls for some of the rest."""
    rng, rows = np.random.default_rng(seed), []
    near = np.log1p(crossings["near_dwelling_count"].to_numpy())
    called = 1 / (1 + np.exp(1.0 - near_odds * (near - near.mean())))
    for winter, year in enumerate(range(2016, 2024)):
        blocked = rng.random(len(near)) < chance[:, winter]
        by_round = rng.random(len(near)) < 1 / 3
        by_call = rng.random(len(near)) < called
        for i in np.flatnonzero(blocked & (by_round | by_call)):
            day = pd.Timestamp(year, 12, 10) + pd.Timedelta(days=int(rng.integers(90)))
            word = "own round" if by_round[i] else "called"
            rows.append((day, f"W{i}", "", "open", word))
    log = log_of([row[:4] for row in rows])
    return log.assign(origin=[row[4] for row in rows])


@pytest.mark.slow  # a town of 400, drawn and fitted three times
def test_places_with_people_near_are_found_to_be_logged_more_where_the_log_says_so():
    count = 400
    homes = np.random.default_rng(1).choice([0.0, 2.0, 20.0], count)
    crossings = _crossings(count, homes)
    world = made_weather(), made_sun(count), TOWN, ON
    usual = hindcast(crossings, log_of([("2016-12-01", "W0", "", "open")]), *world)
    chance = winter_chances(usual.record, physics_alone(usual.coefficients))
    log = _called_log(crossings, chance, 1.2)
    past = hindcast(crossings, log, *world)
    fit = fit_record(past.record, past.coefficients)
    assert_allclose(fit.model.near_odds, 1.2, atol=0.35)
    share = pd.Series(fit.logged_fraction).groupby(homes).mean()
    assert share[20.0] > share[2.0] > share[0.0]
    told = fit_history(crossings, log, *world)
    assert any("somebody calls for" in note for note in told.notes)
    # the same log without its words: nothing is parted by dwellings
    silent = fit_history(crossings, log.drop(columns="origin"), *world)
    groups = crossings["road_class"] + crossings["crossing_kind"]
    assert (pd.Series(silent.logged_fraction).groupby([*groups]).nunique() == 1).all()
    assert any("does not say which thaws" in note for note in silent.notes)
