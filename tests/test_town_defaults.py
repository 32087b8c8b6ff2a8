"""Defaults of the tables: their limits, and the town's own values in their place."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.settings import Freeze, read_settings
from culvertrisk.stages.freeze import add_freeze, modelled_chance
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.log_matching import history_defaults
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.tables import sources, table
from culvertrisk.town_defaults import default_values, within_limits
from tests.test_stages_freeze import COEFFICIENTS, FIRST, TOWN, _crossings, _sun
from tests.test_stages_freeze import _weather as cold_weather

KINDS = ("freeze", "history", "flood", "storm")
ROWS = {kind: table(f"{kind}_defaults").set_index("name") for kind in KINDS}
ON = date(2023, 12, 5)


def _limits(kind, name):
    """Lowest and highest value allowed, the others as they are in the table."""
    usual, row = default_values(kind), ROWS[kind].loc[name]
    ends = []
    for side in ("least", "greatest"):
        text = str(row[side])
        plain = text.lstrip("<>")
        end = usual[plain].item() if plain in usual else float(plain)
        ends.append(end if plain == text else np.nextafter(end, usual[name].item()))
    return ends


def _as_given(name, value, kind="freeze"):
    count = len(default_values(kind)[name])
    return [value] * count if count > 1 else value


def _chances(own):
    c = freeze_coefficients(own)
    inputs = freeze_inputs(_crossings().iloc[:2], _sun(count=2), c)
    return modelled_chance(inputs, cold_weather(), ON, first_day=FIRST, coefficients=c)


def _problems(read, own):
    with pytest.raises(InputError) as caught:
        read(own)
    return caught.value.problems


@pytest.mark.parametrize("kind", KINDS)
def test_every_default_has_unit_limits_and_source_and_lies_within_its_limits(kind):
    rows = ROWS[kind]
    assert rows[["least", "greatest", "source"]].notna().all().all()
    assert rows.index.is_unique and set(rows["source"]) <= set(sources().index)
    usual = default_values(kind)
    default_values(kind, {name: [*value] for name, value in usual.items()})


@pytest.mark.parametrize("kind", KINDS)
def test_shares_and_chances_are_from_0_to_1(kind):
    endings = ("_fraction", "_share", "_chance")
    # water over dry soil by mass: peat holds several times its own
    shares = [n for n in ROWS[kind].index if n.endswith(endings)]
    for name in {*shares} - {"soil_water_fraction"}:
        low, high = _limits(kind, name)
        assert 0 <= low < high <= 1, name


@rules(deadline=None, max_examples=25)
@given(st.data())
def test_any_values_within_the_limits_give_chances_from_0_to_1(data):
    """Warnings are errors here: none of numpy's either."""
    names = data.draw(st.sets(st.sampled_from([*ROWS["freeze"].index]), max_size=6))
    own = {
        name: _as_given(name, data.draw(st.floats(*_limits("freeze", name))))
        for name in names - {n for n in names if n.startswith("class_")}
    }
    chance = _chances(own)
    assert ((chance >= 0) & (chance <= 1)).all()


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("name", ROWS["freeze"].index)
def test_the_limits_themselves_give_chances_from_0_to_1(name, side):
    chance = _chances({name: _as_given(name, _limits("freeze", name)[side])})
    assert ((chance >= 0) & (chance <= 1)).all()


@rules(deadline=None, max_examples=100)
@given(st.data())
def test_any_value_outside_the_limits_is_refused(data):
    kind = data.draw(st.sampled_from(KINDS))
    name = data.draw(st.sampled_from([*ROWS[kind].index]))
    low, high = _limits(kind, name)
    below = st.floats(max_value=np.nextafter(low, -np.inf), allow_infinity=True)
    above = st.floats(min_value=np.nextafter(high, np.inf), allow_infinity=True)
    value = data.draw(st.one_of(below, above))
    (problem,) = _problems(
        lambda own: default_values(kind, own), {name: _as_given(name, value, kind)}
    )
    assert problem.startswith(f"town file: {kind}.defaults.{name} must be ")


def test_a_value_that_is_no_number_is_refused_but_where_the_table_knows_none():
    assert np.isnan(freeze_coefficients({"wind_from_deg": np.nan})["wind_from_deg"])
    (problem,) = _problems(freeze_coefficients, {"seep_closing_spread": np.nan})
    assert problem == (
        "town file: freeze.defaults.seep_closing_spread must be from 0.05 to 5, got "
        "nan. Correct it, or leave it out: it is then 0.8."
    )


def test_all_problems_are_told_at_once_with_the_rule_and_what_to_do():
    own = {
        "wet_share": 70,
        "ice_surface_w_m2k": 0,
        "class_high_chance": 0.9,
        "wait_days": [1, 2],
        "snow_air_c": "cold",
        "trickle_chance": "30 %",
        "stanton": True,
    }
    told = _problems(freeze_coefficients, own)
    assert sorted(told) == sorted(
        f"town file: freeze.defaults.{words}"
        for words in (
            "wet_share must be from 0 to 1, got 70. A share is written 0.7 for 70 %. "
            "Correct it, or leave it out: it is then 0.7.",
            "ice_surface_w_m2k must be from 0.5 to 100 W/(m2·K), got 0. Correct it, or "
            "leave it out: it is then 4 W/(m2·K).",
            "class_high_chance must be above class_some_chance, which is 0.15, and "
            "below class_severe_chance, which is 0.6, got 0.9. Correct it, or leave it "
            "out: it is then 0.35.",
            "wait_days must have one value, as in the freeze_defaults table, got "
            "[1, 2]. Give one value.",
            "snow_air_c must be a number in °C, or a text with its unit such as "
            "\"1 °C\", got 'cold'. Correct it, or leave it out: it is then 1 °C.",
            "trickle_chance must be a plain number, got '30 %'. Correct it, or leave "
            "it out: it is then 0.1.",
            "stanton must be a plain number, got True. Correct it, or leave it out: "
            "it is then 0.005.",
        )
    )
    (problem,) = _problems(history_defaults, {"logged_fraction": 50})
    assert "history.defaults.logged_fraction must be above 0 and below 1" in problem


def test_class_limits_may_move_together_as_long_as_they_rise():
    own = {"class_some_chance": 0.4, "class_high_chance": 0.7}
    (problem,) = _problems(freeze_coefficients, own)
    assert "class_high_chance must be above class_some_chance, which is 0.4" in problem
    own["class_severe_chance"] = 0.9
    assert freeze_coefficients(own)["class_high_chance"] == 0.7


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [  # by the definitions of the inch, the British thermal unit and the degree
        ("assumed_snow_depth_m", "8 inch", 0.2032),
        ("ice_surface_w_m2k", "1 Btu/(h·ft²·°F)", 5.678263),
        ("mean_annual_c", "41 °F", 5.0),
        ("snow_air_c", "34 F", 10 / 9),
        ("lapse_c_per_m", "0.001 °F/ft", 0.001 / 1.8 / 0.3048),
        ("snow_melt_coefficient", "0.06 in/(°F·day)", 0.06 * 0.0254 * 1.8),
        ("wait_days", "48 h", 2.0),
        ("wait_days", "2", 2.0),
        ("trickle_points_m3s", ["0.3 mL/s", 3e-6, "30 mL/s"], [3e-7, 3e-6, 3e-5]),
    ],
)
def test_a_text_with_its_unit_is_converted_in_the_town_file(
    tmp_path, name, text, expected
):
    path = tmp_path / "town.toml"
    shown = repr(text).replace("'", '"')
    path.write_text(
        f'[files]\nculverts = "c.csv"\n[freeze.defaults]\n{name} = {shown}\n', "utf-8"
    )
    own = read_settings(path).freeze.defaults
    assert_allclose(freeze_coefficients(own)[name], expected, rtol=1e-6)


def test_a_unit_of_another_kind_is_refused():
    (problem,) = _problems(freeze_coefficients, {"assumed_snow_depth_m": "8 kg"})
    assert "must be a number in m, or a text with its unit" in problem


def test_what_the_log_fits_is_held_to_the_limits_of_the_table():
    held = within_limits("freeze", {"closing_median_ratio": 99, "level_spread": 0.0})
    assert held == {"closing_median_ratio": 10.0, "level_spread": 0.0}


def test_lapse_and_frost_of_the_road_may_be_set_by_the_town():
    own = {"lapse_c_per_m": 0.0, "road_freezing_factor": 0.35}
    town = TOWN.model_copy(update={"freeze": Freeze(defaults=own)})
    usual, changed = (
        add_freeze(_crossings(), cold_weather(), _sun(), ON, settings)
        for settings in (TOWN, town)
    )
    assert np.ptp(changed["afdd_cday"].iloc[:2]) < 1e-9
    assert np.ptp(usual["afdd_cday"].iloc[:2]) > 1
    assert (changed["frost_depth_m"] < 0.8 * usual["frost_depth_m"]).iloc[:2].all()
    assert COEFFICIENTS["lapse_c_per_m"] == 0.0065  # of the standard atmosphere
