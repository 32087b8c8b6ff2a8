"""The day the ice closes a crossing, the day it opens by itself, and the advice."""

from datetime import date

import numpy as np
import pandas as pd

from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.outlook import outlook, outlook_weather
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


def _seen(inputs, weather, on=ON, cause="sag"):
    icing = np.full(len(inputs.rise_m), cause, dtype=object)
    return outlook(inputs, weather, (FIRST, on), icing, COEFFICIENTS)


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
    assert seen["freeze_advice"][0] == ""


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
        outlook_weather(weather, FIRST, ON)[0],
        outlook_weather(_cold(until="2024-02-25"), FIRST, ON)[0],
        check_freq=False,
    )
    weather.loc[later, "is_forecast"] = 1.0
    warm = _seen(_inputs(), weather)
    assert warm["self_opening_day"][0] < seen["self_opening_day"][0]


def test_near_its_opening_day_the_advice_is_to_wait():
    opens = _seen(_inputs(), _cold())["self_opening_day"][0]
    near = date.fromisoformat(opens) - pd.Timedelta(days=3)
    weather = _cold(until="2024-05-31")
    seen = _seen(_inputs(), weather, on=near)
    told = seen["self_opening_day"][0]
    assert abs((date.fromisoformat(told) - date.fromisoformat(opens)).days) <= 2
    expected = f"wait for the sun: opens by itself about {told}"
    assert seen["freeze_advice"][0] == expected


def test_a_seep_reaches_in_no_further_than_the_barrel_and_only_with_frost():
    seen = _seen(_inputs(), _cold(), cause="seep")
    assert 0 < seen["seep_ice_length_m"][0] <= _inputs().length_m[0]
    warm = _cold()
    warm[["air_min_c", "air_max_c"]] = 10.0
    assert _seen(_inputs(), warm)["seep_ice_length_m"][0] == 0


def test_add_freeze_gives_days_as_text_and_bridges_none():
    made = add_freeze(_crossings(), _cold(), _sun(), ON, TOWN)
    days = made[["closing_day", "self_opening_day", "freeze_advice", "cure"]]
    assert (days.iloc[2] == "").all()
    for text in made["self_opening_day"]:
        assert text == "" or date.fromisoformat(text) > ON
    assert np.isnan(made["seep_ice_length_m"].iloc[2])
