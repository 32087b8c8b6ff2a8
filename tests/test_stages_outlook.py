"""The day the ice closes a crossing, the day it opens by itself, and the advice."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from culvertrisk.checks import InputError
from culvertrisk.stages.causes import Causes
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.outlook import outlook, outlook_weather
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_diary import winter_diary
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


def _seen(inputs, weather, on=ON, cause="sag", blocked=0.3):
    word = np.full(len(inputs.rise_m), cause, dtype=object)
    chance = {name: np.full(len(word), 0.5) for name in MECHANISMS}
    chance |= {"draught": np.zeros(len(word))}
    blocked_chance = np.full(len(word), blocked)
    causes = Causes(word, word, word, word, chance, chance, blocked_chance)
    return outlook(inputs, weather, (FIRST, on), causes, COEFFICIENTS)


def _cold(until="2024-03-31", first="2021-10-01"):
    """Winters of -14 °C at the bottom and springs of +10 °C at the end of May."""
    weather = _weather(mean_c=2.0, last=until, snow_m=0.1, first=first)
    days = pd.DatetimeIndex(weather.index).day_of_year.to_numpy()
    more = 6 * np.cos(2 * np.pi * (days - 200) / 365.25)
    weather[["air_min_c", "air_max_c"]] += more[:, None]
    return weather


def test_ice_closes_in_the_winter_and_opens_in_a_usual_spring():
    seen = _seen(_inputs(), _cold())
    closes, opens = (seen[k][0] for k in ("closing_day", "self_opening_day"))
    assert FIRST.isoformat() < closes < ON.isoformat() < opens < "2024-05-31"


def test_each_mechanism_has_its_day_and_one_too_unlikely_none():
    seen = _seen(_inputs(), _cold(), cause="tailwater")
    days = {name: seen[f"{name}_closing_day"][0] for name in MECHANISMS}
    assert days["tailwater"] == seen["closing_day"][0]
    # under the open sky and without the ground's heat it is first
    assert FIRST.isoformat() < days["tailwater"] < days["sag"]
    assert days["draught"] == ""


def test_what_makes_no_ice_neither_closes_nor_opens():
    seen = _seen(_inputs(), _cold(), cause="none")
    assert seen["closing_day"][0] == seen["self_opening_day"][0] == ""


def test_a_winter_that_does_not_end_opens_nothing():
    cold = _cold()
    cold["air_min_c"], cold["air_max_c"] = -20.0, -10.0
    assert _seen(_inputs(), cold)["self_opening_day"][0] == ""


def test_without_earlier_winters_no_day_is_promised():
    weather = _cold(until=ON.isoformat(), first=FIRST.isoformat())
    seen = _seen(_inputs(), weather)
    assert seen["self_opening_day"][0] == ""
    assert seen["closing_day"][0] != ""


def test_days_after_the_day_asked_count_only_where_forecast():
    weather = _cold()
    later = slice("2024-02-26", None)
    weather.loc[later, ["air_min_c", "air_max_c"]] = 25.0
    seen = _seen(_inputs(), weather)
    pd.testing.assert_frame_equal(
        outlook_weather(weather, FIRST, ON, COEFFICIENTS)[0],
        outlook_weather(_cold(until="2024-02-25"), FIRST, ON, COEFFICIENTS)[0],
        check_freq=False,
    )
    weather.loc[later, "is_forecast"] = 1.0
    warm = _seen(_inputs(), weather)
    assert warm["self_opening_day"][0] < seen["self_opening_day"][0]


def test_a_crossing_below_class_some_has_no_days():
    seen = _seen(_inputs(), _cold(), blocked=0.14)
    days = [name for name in seen if name.endswith("_day")]
    assert len(days) == 2 + len(MECHANISMS)
    assert all(seen[name][0] == "" for name in days)


def test_a_crossing_likely_shut_today_does_not_close_in_the_future():
    early = date(2023, 11, 20)
    some = _seen(_inputs(), _cold(), on=early, blocked=0.34)
    assert some["closing_day"][0] > early.isoformat()
    assert some["sag_closing_day"][0] == some["closing_day"][0]
    high = _seen(_inputs(), _cold(), on=early, blocked=0.35)
    assert high["closing_day"][0] == high["sag_closing_day"][0] == ""


def test_nothing_opens_that_has_not_closed_before():
    # ice past the ratio that opens, short of the one that closes
    closed = _seen(_inputs(), _cold())["closing_day"][0]
    before = date.fromisoformat(closed) - pd.Timedelta(days=8)
    seen = _seen(_inputs(), _cold(), on=before)
    assert seen["closing_day"][0] >= before.isoformat()
    assert seen["self_opening_day"][0] == ""


def test_a_seep_reaches_in_no_further_than_the_barrel_and_only_with_frost():
    seeps = _inputs(seep_chance=1.0)
    seen = _seen(seeps, _cold(), cause="seep")["seep_ice_length_m"]
    assert 0 < seen[0] <= seeps.length_m[0]
    wide = _seen(replace(seeps, rise_m=3 * seeps.rise_m), _cold(), cause="seep")
    assert wide["seep_ice_length_m"][0] < seen[0]  # the least trickle lasts less far
    warm = _cold()
    warm[["air_min_c", "air_max_c"]] = 10.0
    assert _seen(seeps, warm)["seep_ice_length_m"][0] == 0
    assert np.isnan(_seen(_inputs(), _cold())["seep_ice_length_m"][0])  # no seep


def test_add_freeze_gives_days_as_text_and_bridges_none():
    made = add_freeze(_crossings(), _cold(), _sun(), ON, TOWN)
    days = made[["closing_day", "self_opening_day", "cause_sureness", "cure"]]
    assert (days.iloc[2] == "").all()
    for text in made["self_opening_day"]:
        assert text == "" or date.fromisoformat(text) > ON
    assert np.isnan(made["seep_ice_length_m"].iloc[2])


def test_diary_of_a_crossing_agrees_with_its_days():
    made = add_freeze(_crossings(), _cold(), _sun(), ON, TOWN)
    diary = winter_diary(_crossings(), "12", _cold(), _sun(), ON, TOWN)
    assert diary.index[0] == pd.Timestamp(FIRST)
    assert diary.index[-1] == pd.Timestamp("2024-05-31")
    assert np.isfinite(diary.to_numpy(float)).all()
    assert diary["is_usual"].sum() == (diary.index > pd.Timestamp(ON)).sum()
    row = made.loc["12"]
    today = diary.loc[pd.Timestamp(ON)]
    assert today["afdd_cday"] == pytest.approx(row["afdd_cday"])
    assert today["frost_depth_m"] == pytest.approx(row["frost_depth_m"])
    clear_m = 0.457 * 0.9
    ratio = diary[f"{row['freeze_cause']}_ice_m"] / clear_m
    closed = ratio.index[ratio >= COEFFICIENTS["closing_median_ratio"].item()]
    assert row["closing_day"] == f"{closed[0]:%Y-%m-%d}"
    opened = ratio.index[(ratio < 0.5) & (ratio.index > pd.Timestamp(ON))]
    assert row["self_opening_day"] == f"{opened[0]:%Y-%m-%d}"


def test_diary_sets_plain_formulas_beside_the_model():
    diary = winter_diary(_crossings(), "12", _cold(), _sun(), ON, TOWN)
    frost = diary["afdd_cday"]
    alpha = COEFFICIENTS["stefan_coefficient"].item()
    np.testing.assert_allclose(diary["stefan_ice_m"], alpha * np.sqrt(frost))
    share = diary["full_barrel_frost_fraction"]
    assert share.iloc[0] < share.max() == 1
    # Plank: rho L (R²/4k + R/2h) of a barrel of 0.457 m, in degree-days
    needed = 916.7 * 333.5e3 * (0.2285**2 / (4 * 2.24) + 0.2285 / 20) / 86_400
    half = diary[frost.between(1, needed)]
    np.testing.assert_allclose(
        half["full_barrel_frost_fraction"], half["afdd_cday"] / needed, rtol=2e-3
    )


def test_the_town_may_set_any_default_and_no_other_name():
    own = freeze_coefficients(
        {"trickle_chance": 0.3, "slope_points_m_per_m": [0, 0.1, 0.2]}
    )
    assert own["trickle_chance"].tolist() == [0.3]
    assert own["slope_points_m_per_m"].tolist() == [0, 0.1, 0.2]
    assert own.keys() == COEFFICIENTS.keys()
    with pytest.raises(InputError) as caught:
        freeze_coefficients({"trickle": 0.3, "sun_points_fraction": 0.5})
    assert caught.value.problems == (
        "town file: freeze.defaults.trickle must be a name of the freeze_defaults "
        "table, got 0.3. Correct the spelling.",
        "town file: freeze.defaults.sun_points_fraction must have 3 values, as in the "
        "freeze_defaults table, got 0.5. Give 3 values.",
    )
