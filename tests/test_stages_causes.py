"""Cause, days and class of a crossing agree, also where the log corrects them."""

from datetime import date

import numpy as np
import pytest

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.stages.blockage import FreezeState
from culvertrisk.stages.causes import leading_causes, weak_where_log_outweighs
from culvertrisk.stages.cold import under_cold
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.mechanisms import MECHANISMS
from tests.test_stages_freeze import COEFFICIENTS, ON, TOWN, _crossings, _sun, _weather
from tests.test_stages_history import LOG
from tests.test_stages_history import ON as LOG_ON
from tests.test_stages_history import _crossings as _logged
from tests.test_stages_history import _weather as _winters


def _dry(**changes):
    """Steep, clean and high: no mechanism gets anywhere by the physics alone."""
    known = {
        "rise_m": [0.9] * 3,
        "silt_fraction": [0.0] * 3,
        "barrel_slope_m_per_m": [0.05] * 3,
        "outlet_drop_m": [0.05] * 3,
        "has_seep": [0.0] * 3,
        "cover_m": [1.0] * 3,
        "length_m": [12.0] * 3,
    }
    return _crossings(**known, **changes)


def _state(**chance):
    none = np.zeros(1)
    given = {name: none + chance.get(name, 0.0) for name in MECHANISMS}
    whole = 1 - np.prod([1 - value for value in given.values()], axis=0)
    return FreezeState(none, none, none, none, whole, {}, given)


def test_the_log_raises_a_crossing_and_its_leading_cause_with_it():
    alone = add_freeze(_dry(), _weather(), _sun(), ON, TOWN)
    assert alone["freeze_cause"].iloc[0] == "none"
    made = add_freeze(
        _dry(history_factor=[60.0, 1.0, np.nan]), _weather(), _sun(), ON, TOWN
    )
    chance = corrected_chance(made["modelled_chance"].iloc[0], 60.0)
    assert chance >= COEFFICIENTS["class_some_chance"].item()
    assert made["freeze_cause"].iloc[0] in MECHANISMS
    assert made["cure"].iloc[0] != ""
    # what the physics say alone stays as it was
    chances = [f"{name}_blocked_chance" for name in MECHANISMS]
    assert made["modelled_chance"].iloc[0] == alone["modelled_chance"].iloc[0]
    assert (made[chances].iloc[0] == alone[chances].iloc[0]).all()


def test_a_log_without_thaws_takes_the_cause_away():
    state = _state(seep=0.08)
    clean = state.modelled_chance
    assert leading_causes(state, clean, COEFFICIENTS).first[0] == "seep"
    assert leading_causes(state, clean, COEFFICIENTS, 0.2).first[0] == "none"


def test_given_a_block_each_cause_is_as_likely_with_the_log_as_without():
    state = _state(seep=0.08, sag=0.05)
    causes = leading_causes(state, state.modelled_chance, COEFFICIENTS, 9.0)
    share = causes.believed["sag"] / causes.blocked_chance
    assert share == pytest.approx(0.05 / state.modelled_chance)
    assert causes.chance["sag"] == pytest.approx(0.05)
    assert max(v.item() for v in causes.believed.values()) <= causes.blocked_chance


@pytest.mark.parametrize(
    ("chance", "factor", "expected"),
    [
        ({"seep": 0.3, "sag": 0.02}, 1.0, "clear"),
        ({"sag": 0.03, "refreeze": 0.03, "perched": 0.04}, 9.0, "weak"),
        ({"sag": 0.03}, 1.0, ""),
    ],
)
def test_a_cause_that_does_not_stand_out_is_weak(chance, factor, expected):
    state = _state(**chance)
    causes = leading_causes(state, state.modelled_chance, COEFFICIENTS, factor)
    assert causes.sureness[0] == expected


@pytest.mark.parametrize("on", [LOG_ON, date(2023, 12, 20), date(2024, 3, 20)])
def test_no_class_contradicts_its_cause_or_its_days(on):
    crossings = _logged(
        rise_m=[0.457, 0.9, 0.9, 0.3, 0.6, 0.457, 1.0],
        barrel_slope_m_per_m=[0.004, 0.03, 0.03, 0.004, 0.002, 0.02, 0.0],
    )
    made, _, _ = under_cold(crossings, LOG, _winters(), None, TOWN, on)
    made = made[made["crossing_kind"] != "bridge"]
    is_high = made["freeze_class"].isin(["high", "severe"])
    is_some = is_high | (made["freeze_class"] == "some")
    assert is_some.any()
    assert (~is_some).any()
    assert (made.loc[is_some, "freeze_cause"] != "none").all()
    assert (made.loc[is_some, "cure"] != "").all()
    today = on.isoformat()
    days = [name for name in made if name.endswith("_day") and name != "first_sun_day"]
    assert len(days) == 2 + len(MECHANISMS)
    assert (made.loc[~is_some, days] == "").all(axis=None)
    closing = [name for name in days if name != "self_opening_day"]
    assert (made.loc[is_high, closing] <= today).all(axis=None)
    opens = made["self_opening_day"] != ""
    assert (made.loc[opens, "closing_day"] != "").all()
    assert (made.loc[opens, "closing_day"] <= today).all()


def test_cause_is_weak_where_the_log_outweighs_the_physics():
    told = np.array(["clear", "clear", "weak", "", "clear"], dtype=object)
    factor = np.array([9.0, 1.2, 9.0, 9.0, np.nan])
    made = weak_where_log_outweighs(told, factor, COEFFICIENTS)
    assert [*made] == ["weak", "clear", "weak", "", "clear"]
