"""Chances of all coalitions: the quick way gives what the plain one gives."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.stages import coalitions as stage
from culvertrisk.stages.coalitions import GROUPS, coalition_chances, coalitions
from culvertrisk.stages.freeze import modelled_chance
from tests.history_made import TOWN, made_crossings, made_sun, made_weather

ON = date(2024, 2, 10)
FIELDS = {
    "shading": ("sun_j_m2", "outlet_sun_j_m2"),
    "slope": (
        *("barrel_slope_m_per_m", "outlet_drop_m"),
        *("pond_chance", "drained_chance", "tail_chance"),
    ),
    "size": ("rise_m", "length_m", "cover_m"),
    "history": (),
    "water": ("seep_chance", "silt_fraction", "plug_chance", "open_chance"),
    "weather": ("elevation_offset_m",),
}


def _given(crossings, weather=None):
    weather = made_weather(first="2021-10-01") if weather is None else weather
    return coalitions(crossings, made_sun(len(crossings)), weather, TOWN, ON)


def _plain(given, coalition):
    """Every crossing run for itself, nothing shared, nothing kept."""
    own = {name for bit, name in enumerate(GROUPS) if coalition >> bit & 1}
    fields = [field for name in own for field in FIELDS[name]]
    mixed = replace(given.usual, **{f: getattr(given.own, f) for f in fields})
    weather = given.own_weather if "weather" in own else given.usual_weather
    c = given.coefficients
    chance = modelled_chance(mixed, weather, ON, first_day=given.first_day,
                             coefficients=c)  # fmt: skip
    return corrected_chance(chance, given.history_factor if "history" in own else 1.0)


@pytest.fixture(scope="module")
def some_known():
    """Alike but for length, bearing and the last digit of a slope; some unknown."""
    return made_crossings(6).assign(
        barrel_slope_m_per_m=[0.004, 0.004 + 1e-10, 0.02, np.nan, 0.004, 0.01],
        length_m=[12.0, 12.0, 15.0, 12.0, 12.0, 9.0],
        barrel_bearing_deg=[0.0, 45.0, 90.0, 10.0, 20.0, 30.0],
        silt_fraction=[0.1, 0.1, np.nan, 0.1, 0.1, 0.2],
        history_factor=[1.0, 2.0, 0.5, 1.0, np.nan, 3.0],
    )


@pytest.mark.parametrize("coalition", [0, 1, 7, 20, 42, 55, 63])
def test_coalitions_give_what_each_crossing_run_for_itself_gives(coalition, some_known):
    given = _given(some_known)
    expected = np.where(np.isnan(given.history_factor), np.nan,
                        _plain(given, coalition))  # fmt: skip
    assert_allclose(coalition_chances(given)[coalition], expected, rtol=0, atol=1e-12)


def test_bearings_count_where_the_wind_is_known(some_known):
    weather = made_weather(first="2021-10-01").assign(wind_from_deg=45.0)
    given = _given(some_known, weather)
    expected = np.where(np.isnan(given.history_factor), np.nan, _plain(given, 63))
    assert_allclose(coalition_chances(given)[63], expected, rtol=0, atol=1e-12)


def test_a_group_that_is_unknown_everywhere_is_not_run_again(some_known, monkeypatch):
    unknown = some_known.assign(
        **dict.fromkeys(("barrel_slope_m_per_m", "outlet_drop_m", "rise_m"), np.nan),
        **dict.fromkeys(("length_m", "cover_m", "silt_fraction", "has_seep"), np.nan),
        crossing_kind="cross",
    )
    runs = []

    def counted(inputs, *args, **options):
        runs.append(len(inputs.rise_m))
        return modelled_chance(inputs, *args, **options)

    monkeypatch.setattr(stage, "modelled_chance", counted)
    chances = coalition_chances(_given(unknown))
    # only the weather differs from the usual, and all crossings of a road are alike
    assert len(runs) == 2
    assert max(runs) <= unknown["road_class"].nunique()
    assert chances.shape == (64, 6)
