"""Pipes that a crew opened this winter: ice starts again, what feeds it does not."""

from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.stages.coalitions import coalition_chances, coalitions
from culvertrisk.stages.cold import under_cold
from culvertrisk.stages.freeze import add_freeze, freeze_state
from culvertrisk.stages.hindcast import hindcast
from culvertrisk.stages.history import fit_history
from culvertrisk.stages.log_fit import fit_record, place_factors
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.opened_history import factor_of_day
from culvertrisk.stages.openings import opening_inputs, with_openings
from culvertrisk.stages.rank_band import add_rank_band
from culvertrisk.stages.reasons import reasons_of
from culvertrisk.stages.winter import days_of_winter, winter_by_day
from culvertrisk.stages.winter_diary import winter_diary
from culvertrisk.stages.winter_months import add_winter_months, monthly_blocked_chance
from tests.history_made import log_of, made_crossings, made_sun, made_weather
from tests.test_stages_freeze import (
    COEFFICIENTS,
    FIRST,
    ON,
    TOWN,
    _crossings,
    _inputs,
    _sun,
    _weather,
)
from tests.test_stages_reasons import ROW

OPENED = date(2024, 1, 12)
DAY = (OPENED - FIRST).days
LASTS = COEFFICIENTS["lasting_fraction"].item()


def _told(*rows, on=ON):
    """The column made from rows of (day, culvert, result) on crossings W0 and W1."""
    log = log_of([(day, culvert, "", result) for day, culvert, result in rows])
    return [*with_openings(made_crossings(2), log, TOWN, on)["opened_days"]]


def _opened(share=0.2, day=DAY, **changes):
    inputs = _inputs(**changes)
    return replace(
        inputs,
        opened_day=np.array([[float(day), np.nan]]),
        left_fraction=np.array([[share, np.nan]]),
    )


def _ice(inputs, weather=None):
    weather = _weather() if weather is None else weather
    days = days_of_winter(weather, FIRST, ON, COEFFICIENTS)
    return [ice.ice_m for ice in winter_by_day(inputs, days, COEFFICIENTS)]


def test_openings_of_this_winter_are_told_by_day_with_the_share_left():
    told = _told(
        ("2023-03-20", "W0", "open"),  # another winter
        ("2024-02-03", "W0", "partial"),
        ("2024-01-12", "W0", "open"),
        ("2024-01-12", "W0", "partial"),  # and open on the same day
        ("2024-01-15", "W0", "not frozen"),
        ("2024-01-16", "W0", "gave up"),
        ("2024-01-05", "W1", "dug"),
    )
    assert told[0] == "2024-01-12 open 0.20; 2024-02-03 partial 0.50"
    assert told[1] == "2024-01-05 dug 0.40"


def test_rows_of_the_day_asked_and_later_are_not_looked_at():
    rows = (ON.isoformat(), "W0", "open"), ("2024-03-01", "W1", "open")
    assert _told(*rows) == ["", ""]
    assert _told(*rows, on=date(2024, 3, 2)) == [
        "2024-02-25 open 0.20",
        "2024-03-01 open 0.20",
    ]
    later = made_crossings(2).assign(opened_days=["2024-02-25 open 0.20", ""])
    asked = opening_inputs(later, None, (FIRST, ON), COEFFICIENTS)
    assert asked.opened_day.shape == (2, 0)


def test_a_row_that_is_not_surely_this_pipes_takes_out_less():
    crossings = made_crossings(2).assign(road_name=["Wyke Rd", "Marl Pit Rd"])
    log = log_of([("2024-01-12", "", "Marl Pit Rd by the bend", "open")])
    told = with_openings(crossings, log, TOWN, ON)["opened_days"]
    # the only crossing of the road: confidence 0.9, so 1 - 0.9 * (1 - 0.2) is left
    assert [*told] == ["", "2024-01-12 open 0.28"]


def test_without_a_log_nothing_was_opened():
    crossings = made_crossings(2)
    assert [*with_openings(crossings, None, TOWN, ON)["opened_days"]] == ["", ""]
    empty = log_of([]).astype({"day": "datetime64[ns]", "winter": int})
    assert [*with_openings(crossings, empty, TOWN, ON)["opened_days"]] == ["", ""]
    assert "opened_days" not in crossings


def test_ice_starts_again_from_the_day_a_crew_opened_the_pipe():
    never, opened = _ice(_inputs()), _ice(_opened())
    rise_m = _inputs().rise_m
    for name in MECHANISMS:
        before, after = (np.stack([i[name] for i in run]) for run in (never, opened))
        assert_array_equal(before[:DAY], after[:DAY])
        assert_allclose(after[DAY], 0.2 * np.minimum(before[DAY], rise_m))
    assert (opened[-1]["sag"] > opened[DAY]["sag"]).all()
    assert (opened[-1]["sag"] < never[-1]["sag"]).all()


@given(
    day=st.integers(0, 147),
    share=st.floats(0, 1),
    swing=st.floats(0, 15),
    mean_c=st.floats(-15, 0),
)
@rules(max_examples=15, deadline=None)
def test_a_thaw_logged_never_raises_the_ice_from_that_day_on(day, share, swing, mean_c):
    weather = _weather(mean_c=mean_c)
    # spells of cold and thaw, a fortnight long
    spell = swing * np.sin(np.arange(len(weather)) * 2 * np.pi / 14)
    weather[["air_min_c", "air_max_c"]] += spell[:, None]
    never, opened = _ice(_inputs(), weather), _ice(_opened(share, day), weather)
    for name in MECHANISMS:
        least = [after[name] <= before[name] + 1e-9 for before, after in
                 zip(never[day:], opened[day:], strict=True)]  # fmt: skip
        assert np.all(least)


def test_opened_the_day_before_all_but_the_rest_is_gone():
    column = f"{ON - timedelta(days=1)} open 0.20"
    plain = add_freeze(_crossings(opened_days=""), _weather(), _sun(), ON, TOWN)
    opened = _crossings(opened_days=[column, column, ""])
    made = add_freeze(opened, _weather(), _sun(), ON, TOWN)
    for name in ("modelled_chance", "blocked_fraction", "standing_ice_m"):
        assert (made[name][:2] < plain[name][:2]).all()
    # it is open now; by the usual case it closes another day, or not this spring
    days = [day for day in made["closing_day"][:2] if day]
    assert all(day > column[:10] for day in days)
    assert plain["closing_day"].iloc[0] < column[:10]


def test_what_closed_after_the_opening_has_that_day():
    cold = _weather(mean_c=-20.0)
    opened = _crossings(opened_days=["2023-12-10 open 0.20", "", ""])
    plain = add_freeze(_crossings(), cold, _sun(), ON, TOWN)["closing_day"].iloc[0]
    again = add_freeze(opened, cold, _sun(), ON, TOWN)["closing_day"].iloc[0]
    assert plain < "2023-12-10" < again < ON.isoformat()


def _chances(inputs, on=ON, **changes):
    c = COEFFICIENTS | {name: np.array([v]) for name, v in changes.items()}
    return freeze_state(inputs, _weather(), FIRST, on, c)


def test_chance_today_is_that_without_the_log_over_that_of_the_crews_day():
    """Worked by Bayes with all unknowns lasting: P(today | then) = P(today) / P(then),
    as what blocks with today's ice had blocked with more of it."""
    today = _chances(_opened(), lasting_fraction=0.0).modelled_chance
    then = _chances(_inputs(), on=OPENED).modelled_chance
    assert today < then
    told = _chances(_opened(), lasting_fraction=1.0)
    assert_allclose(told.modelled_chance, today / then)
    default = _chances(_opened())
    assert_allclose(default.modelled_chance, LASTS * today / then + (1 - LASTS) * today)
    for name in MECHANISMS:
        alone = _chances(_opened(), lasting_fraction=0.0).chance[name]
        assert_allclose(told.chance[name], np.minimum(alone / then, 1))


def test_ice_that_has_come_back_blocks_again_where_its_cause_lasts():
    # nothing was taken out: what had blocked still does
    told = _chances(_opened(share=1.0, rise_m=1.5), lasting_fraction=1.0)
    assert_allclose(told.modelled_chance, 1)
    assert _chances(_inputs(rise_m=1.5)).modelled_chance < 0.5


def test_where_the_cause_lasts_the_ice_is_that_of_a_pipe_with_a_cause():
    """Ice and closed share are weighted by the chance that there is any: by that which
    a pipe has, found blocked, of a mechanism at work."""
    told = _chances(_opened(), lasting_fraction=1.0)
    plain = _chances(_opened(), lasting_fraction=0.0)
    for name in MECHANISMS:
        assert (told.ice_m[name] >= plain.ice_m[name]).all()
        assert (told.ice_m[name] <= _ice(_opened())[-1][name].max() + 1e-12).all()
    assert plain.blocked_fraction < told.blocked_fraction < 1


def test_hindcast_and_months_know_no_opening():
    crossings, weather, sun = made_crossings(3), made_weather(), made_sun(3)
    opened = crossings.assign(opened_days="2024-01-12 open 0.20")
    log = log_of([("2024-01-12", "W0", "", "open"), ("2023-02-01", "W1", "", "open")])
    given = weather, sun, TOWN, ON
    assert_array_equal(
        hindcast(opened, log, *given).record.deviate,
        hindcast(crossings, log, *given).record.deviate,
    )
    assert_array_equal(
        monthly_blocked_chance(opened, *given),
        monthly_blocked_chance(crossings, *given),
    )


def test_shares_and_bands_stand_on_the_same_chance_as_the_score():
    crossings, weather, sun = made_crossings(6), made_weather(), made_sun(6)
    days = ["", "2024-02-12 open 0.20", "", "2023-12-20 dug 0.40; 2024-02-20 open 0.20"]
    crossings = crossings.assign(opened_days=[*days, "", ""], history_factor=1.0)
    scored = add_freeze(crossings, weather, sun, ON, TOWN)
    chances = coalition_chances(coalitions(crossings, sun, weather, TOWN, ON))
    assert_allclose(chances[-1], scored["modelled_chance"], rtol=1e-12)
    never = add_freeze(crossings.assign(opened_days=""), weather, sun, ON, TOWN)
    assert (chances[-1] != never["modelled_chance"].to_numpy())[[1, 3]].all()
    # without its own weather nothing of this winter is known, nor who was opened
    blank = crossings.assign(opened_days="")
    usual = coalition_chances(coalitions(blank, sun, weather, TOWN, ON))
    assert_allclose(chances[:32], usual[:32], rtol=1e-12)
    scored = scored.assign(
        blocked_chance=scored["modelled_chance"],
        loss_avoided_person_h=scored["modelled_chance"],
        priority_rank=scored["modelled_chance"].rank(ascending=False),
    )
    band = add_rank_band(scored, weather, sun, TOWN, ON)
    assert (band["rank_low"] <= band["rank_high"]).all()


def test_under_cold_takes_the_openings_from_the_log():
    crossings = made_crossings(3)
    log = log_of([("2024-02-24", "W0", "", "open"), ("2024-02-25", "W1", "", "open")])
    given = made_weather(), made_sun(3), TOWN, ON
    scored, _, _ = under_cold(crossings, log, *given)
    assert [*scored["opened_days"]] == ["2024-02-24 open 0.20", "", ""]
    before = add_freeze(crossings, *given[:2], ON, TOWN)
    assert (scored["blocked_fraction"] < before["blocked_fraction"]).iloc[0]
    assert_array_equal(scored["modelled_chance"][1:], before["modelled_chance"][1:])


def _three_winters(*rows):
    """W0 thawed in three winters, W2 in one; and what this winter has."""
    old = [(f"{y}-02-10", "W0", "", "open") for y in (2021, 2022, 2023)]
    return log_of([*old, ("2022-02-11", "W2", "", "open"), *rows])


def test_a_thaw_of_this_winter_is_counted_by_the_opening_and_not_by_history_too():
    given = made_weather(), made_sun(6), TOWN, ON
    log = _three_winters(("2024-01-12", "W0", "", "open"))
    crossings = with_openings(made_crossings(6), log, TOWN, ON)
    past = hindcast(crossings, log, *given)
    model = fit_record(past.record, past.coefficients).model
    before = replace(
        past.record,
        deviate=past.record.deviate[..., :-1],
        is_thawed=past.record.is_thawed[:, :-1],
        is_exposed=past.record.is_exposed[:, :-1],
        kept_fraction=past.record.kept_fraction[:-1],
    )
    assert past.winters[-1] == 2023
    fit = fit_history(crossings, log, *given)
    assert_allclose(fit.history_factor[0], place_factors(before, model)[0], rtol=1e-9)
    assert fit.history_factor[0] < fit.usual_factor[0]
    # whom no crew opened: this winter's silence still speaks
    assert_array_equal(fit.history_factor[1:], fit.usual_factor[1:])
    assert (fit.history_factor[1:] != place_factors(before, model)[1:]).all()
    scored, _, _ = under_cold(made_crossings(6), log, *given)
    assert_array_equal(scored["history_factor"][1:], fit.history_factor[1:])


def test_history_and_opening_together_are_bayes_rule_with_each_row_once():
    """Worked by hand: the crew's day and today are corrected by the winters before and
    their ratio taken; in the share that does not last all winters speak."""
    crossings, weather, sun = made_crossings(3), made_weather(), made_sun(3)
    crossings = crossings.assign(opened_days=["2024-01-12 open 0.20", "", ""])
    before, every = np.array([4.0, 1.0, np.nan]), np.array([9.0, 1.0, np.nan])
    fit = SimpleNamespace(history_factor=before, usual_factor=every)
    given = weather, sun, ON, TOWN
    factor = factor_of_day(crossings, *given, fit)
    assert_array_equal(factor[1:], before[1:])
    inputs = opening_inputs(crossings, sun, (TOWN.winter_of(ON), ON), COEFFICIENTS)
    run = partial(freeze_state, weather=weather, first_day=TOWN.winter_of(ON))
    plain = COEFFICIENTS | {"lasting_fraction": np.zeros(1)}
    today = run(inputs, last_day=ON, coefficients=plain).modelled_chance[0]
    closed = replace(inputs, opened_day=np.full_like(inputs.opened_day, np.nan))
    then = run(closed, last_day=OPENED, coefficients=plain).modelled_chance[0]
    told = run(inputs, last_day=ON, coefficients=COEFFICIENTS).modelled_chance[0]
    by_odds = [f * p / (1 + (f - 1) * p) for f, p in
               ((4, today), (4, then), (9, today))]  # fmt: skip
    expected = LASTS * by_odds[0] / by_odds[1] + (1 - LASTS) * by_odds[2]
    # opened_state takes all but the ice of the crew's day from the day asked
    assert_allclose(corrected_chance(told, factor[0]), expected, rtol=0.02)
    # counted twice, the thaw would weigh more; without it in the rest, less
    assert expected < corrected_chance(told, 9.0)


def test_without_a_history_the_opening_stands_as_it_is():
    crossings = made_crossings(2).assign(opened_days=["2024-01-12 open 0.20", ""])
    fit = SimpleNamespace(history_factor=np.ones(2), usual_factor=np.ones(2))
    factor = factor_of_day(crossings, made_weather(), made_sun(2), ON, TOWN, fit)
    assert_allclose(factor, 1.0, rtol=1e-6)


def test_a_visit_that_opened_nothing_stays_in_the_history():
    given = made_weather(), made_sun(6), TOWN, ON
    log = _three_winters(("2024-01-12", "W0", "", "gave up"))
    fit = fit_history(with_openings(made_crossings(6), log, TOWN, ON), log, *given)
    assert_array_equal(fit.history_factor, fit.usual_factor)


def test_months_of_a_usual_winter_know_every_winter_of_the_log():
    given = made_weather(), made_sun(6), TOWN, ON
    log = _three_winters(("2024-01-12", "W0", "", "open"))
    scored, settings, fit = under_cold(made_crossings(6), log, *given)
    made = [
        add_winter_months(
            scored.assign(history_factor=f), given[0], given[1], ON, settings
        )["winter_blocked_chance"]
        for f in (fit.usual_factor, fit.history_factor)
    ]
    assert_array_equal(scored["winter_blocked_chance"], made[0])
    assert made[1].iloc[0] < made[0].iloc[0]


def test_diary_drops_on_the_day_of_the_crew():
    opened = _crossings(opened_days=["2024-01-12 open 0.20", "", ""])
    weather = _weather()
    plain = winter_diary(_crossings(), "12", weather, _sun(), ON, TOWN)
    diary = winter_diary(opened, "12", weather, _sun(), ON, TOWN)
    day = pd.Timestamp(OPENED)
    pd.testing.assert_frame_equal(diary[diary.index < day], plain[plain.index < day])
    full_m = min(plain.at[day, "sag_ice_m"], 0.457)
    assert diary.at[day, "sag_ice_m"] == pytest.approx(0.2 * full_m)
    assert (
        diary["sag_ice_m"].loc[: pd.Timestamp(ON)].iloc[-1] > diary.at[day, "sag_ice_m"]
    )


@pytest.mark.parametrize(
    ("column", "sentence"),
    [
        ("2024-01-12 open 0.20", "Opened on 12 January, ice counted from then"),
        (
            "2023-12-20 open 0.20; 2024-02-03 partial 0.50",
            "Partly opened on 3 February, ice counted from then",
        ),
        ("2024-02-03 dug 0.40", "Dug out on 3 February, ice counted from then"),
    ],
)
def test_reasons_tell_the_day_of_the_crew(column, sentence):
    row = pd.Series(
        {**ROW, "freeze_cause": "seep", "opened_days": column}, dtype=object
    )
    assert reasons_of(row).split("; ")[1] == sentence
    row["opened_days"] = ""
    assert "pened" not in reasons_of(row)
