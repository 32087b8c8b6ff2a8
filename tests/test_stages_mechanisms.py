"""Each way ice gets in: what drives it, what bounds it, what it is called, its cure."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas.ice import standing_ice
from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.stages import mechanisms
from culvertrisk.stages.freeze import add_freeze, freeze_state
from culvertrisk.stages.freeze_inputs import freeze_inputs
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS, Barrel, ColdDay, Pool, Soaking
from culvertrisk.stages.winter import days_of_winter, run_winter, winter_by_day
from culvertrisk.tables import columns, sources, table
from tests.test_stages_freeze import (
    COEFFICIENTS,
    FIRST,
    ON,
    TOWN,
    _crossings,
    _inputs,
    _many,
    _run,
    _sun,
    _weather,
)

ZERO = np.zeros(1)


def _day(**changes):
    """A day of 10 °C·day of frost and nothing else, with fields changed."""
    base = {
        "frost_cday": np.array([10.0]),
        "melt_m": ZERO,
        "outlet_frost_cday": np.array([10.0]),
        "outlet_melt_m": ZERO,
        "ground_melt_m": ZERO,
        "ground_cold_cday": ZERO,
        "frost_depth_m": np.array([1.0]),
        "snow_depth_m": 0.0,
        "snow_m2k_w": 0.0,
        "bank_melt_m": 0.0,
        "thaw_water_m": 0.0,
    }
    return ColdDay(**{**base, **changes})


def _barrel(share):
    return Barrel(np.array([0.5]), np.array([12.0]), np.array([share]), ZERO)


def _state(inputs, weather=None):
    weather = _weather() if weather is None else weather
    return freeze_state(inputs, weather, FIRST, ON, COEFFICIENTS)


def test_draught_without_wall_is_bare_ice_in_the_open_and_with_it_is_less():
    open_air = mechanisms.draught_ice(ZERO, _day(), _barrel(1.0), COEFFICIENTS)
    surface = COEFFICIENTS["open_surface_w_m2k"]
    assert_allclose(open_air, standing_ice(0.0, 10.0, surface_w_m2k=surface))
    behind = mechanisms.draught_ice(ZERO, _day(), _barrel(0.5), COEFFICIENTS)
    assert_allclose(behind, standing_ice(0.0, 5.0, surface_w_m2k=surface))
    cold_ground = _day(ground_cold_cday=np.array([10.0]))
    frozen = mechanisms.draught_ice(ZERO, cold_ground, _barrel(0.5), COEFFICIENTS)
    assert_allclose(frozen, open_air)


def test_thaw_water_freezes_no_further_than_there_is_water():
    pool, frozen_m = Pool(ZERO, ZERO, ZERO), []
    supply = 0.01
    for day in range(60):
        pool = mechanisms.pool_ice(
            pool, Soaking(supply if day == 0 else 0.0, 1.0, 0.9), _day(), COEFFICIENTS
        )
        frozen_m.append(pool.ice_m.item())
    assert 0 < frozen_m[-1] <= supply * mechanisms.SWELLING
    assert frozen_m[-1] == pytest.approx(frozen_m[30])
    dry = mechanisms.pool_ice(
        Pool(ZERO, ZERO, ZERO), Soaking(0.0, 1.0, 0.9), _day(), COEFFICIENTS
    )
    assert dry.ice_m.item() == 0


def test_a_second_thaw_starts_a_new_layer_on_the_old_ice():
    old = Pool(np.array([0.2]), np.array([0.2]), ZERO)
    fed = mechanisms.pool_ice(old, Soaking(0.1, 1.0, 0.9), _day(), COEFFICIENTS)
    first = mechanisms.pool_ice(
        Pool(ZERO, ZERO, ZERO), Soaking(0.1, 1.0, 0.9), _day(), COEFFICIENTS
    )
    assert_allclose(fed.ice_m - 0.2, first.ice_m)
    assert_allclose(fed.layer_m, first.layer_m)


def _thawing(rain_m=0.0, thaws=("2023-12-20", "2024-01-08", "2024-01-24"), **weather):
    """A winter of -10 °C in snow with thaws of two days."""
    made = _weather(**weather)
    made["air_min_c"], made["air_max_c"] = -14.0, -6.0
    for first in pd.to_datetime([*thaws]):
        days = slice(first, first + pd.Timedelta(days=1))
        made.loc[days, ["air_min_c", "air_max_c"]] = 0.0, 6.0
        made.loc[days, "rain_m"] = rain_m
    return made


def test_a_recorded_plug_closes_small_pipes_in_a_winter_with_snow_and_thaws():
    rises = np.array([0.3, 0.45, 0.6, 0.9, 1.5])
    said = _many(rise_m=rises, plug_chance=np.ones(5))
    thaws = [f"2024-{day}" for day in ("01-02", "01-10", "01-18", "02-02", "02-14")]
    often = _thawing(rain_m=0.01, thaws=thaws, snow_m=0.6)
    chance = _state(said, often).chance["plug"]
    assert (np.diff(chance) < 0).all()
    assert chance[0] > 0.25  # 12 in, buried
    assert chance[-1] < 0.02  # 5 ft
    assert (chance > _state(said, _thawing(snow_m=0.6)).chance["plug"]).all()
    bare = _state(said, _thawing(rain_m=0.01, snow_m=0.0)).chance["plug"]
    assert bare.max() == 0  # nothing to plough
    cold = _state(said, _thawing(thaws=(), snow_m=0.6)).chance["plug"]
    assert cold.max() == 0  # dry snow, no water in it


@rules(deadline=None, max_examples=40)
@given(
    ice=st.floats(0, 0.5),
    water=st.floats(0, 0.1),
    snow=st.floats(0, 1),
    supply=st.floats(0, 0.05),
    frost=st.floats(0, 30),
    more=st.floats(0, 20),
)
def test_with_the_same_thaw_water_more_frost_never_makes_less_ice_of_it(
    ice, water, snow, supply, frost, more
):
    pool = Pool(*(np.array([depth]) for depth in (ice, ice, water)))
    barrel = _barrel(1.0)

    def grown(frost_cday):
        day = _day(
            frost_cday=np.array([frost_cday]),
            snow_depth_m=np.array([snow]),
            bank_melt_m=np.array([supply]),
            thaw_water_m=np.array([supply]),
        )
        plug = mechanisms.plug_ice(pool, day, COEFFICIENTS)
        again = mechanisms.refreeze_ice(pool, day, barrel, COEFFICIENTS)
        return np.array([plug.ice_m.item(), again.ice_m.item()])

    assert (grown(frost + more) >= grown(frost) - 1e-12).all()


@rules(deadline=None, max_examples=8)
@given(mean=st.floats(-15, 3), colder=st.floats(0, 6), snow=st.floats(0, 0.8))
def test_colder_or_higher_never_lowers_the_chance_but_by_thaws_that_stay_out(
    mean, colder, snow
):
    """Of all mechanisms only plug and refreeze want a thaw: without them, in any snow
    and with every other source at hand, cold only ever adds."""
    fed_by_thaws = {"plug_share": 0.0, "refreeze_chance": 0.0, "wet_share": 1.0}
    c = {**COEFFICIENTS, **{k: np.array([v]) for k, v in fed_by_thaws.items()}}
    sources = {"seep_chance": 0.5, "open_chance": 0.5, "tail_chance": 0.5}
    inputs = _inputs(outlet_drop_m=0.3, **sources)
    higher = replace(inputs, elevation_offset_m=np.array([colder / 0.0065]))
    base, up, cold = (
        freeze_state(one, _weather(air_c, snow_m=snow), FIRST, ON, c).modelled_chance
        for one, air_c in ((inputs, mean), (higher, mean), (inputs, mean - colder))
    )
    assert up >= base - 1e-9
    assert cold >= base - 1e-9


def test_shade_never_lowers_the_ice_that_thaws_feed():
    """It did, by 0.003: ice a little above the bank melted well below it."""
    lit = np.linspace(0, 1, 12)[:, None] * np.full(SEASON_DAYS, 1.2e7)
    sun = lit.astype(np.float32)
    often = _thawing(
        rain_m=0.005, thaws=pd.date_range("2024-01-02", periods=9, freq="6D")
    )
    often["snow_depth_m"] = np.linspace(0.5, 0.0, len(often))
    towns = [often, _thawing(rain_m=0.01, snow_m=0.06), _thawing(snow_m=0.6)]
    for weather in towns:
        plugs = _many(sun_j_m2=sun, outlet_sun_j_m2=sun)
        for last in (date(2024, 2, 1), date(2024, 2, 25), date(2024, 3, 20)):
            days = days_of_winter(weather, FIRST, last, COEFFICIENTS)
            ice = run_winter(plugs, days, COEFFICIENTS).ice_m
            for name in ("plug", "refreeze"):
                assert (np.diff(ice[name]) <= 1e-12).all(), name


def test_ice_of_a_plug_never_passes_the_bank():
    day = _day(snow_depth_m=np.array([0.1]), bank_melt_m=0.05, thaw_water_m=0.05)
    pool = Pool(ZERO, ZERO, ZERO)
    for _ in range(40):
        pool = mechanisms.plug_ice(pool, day, COEFFICIENTS)
    bank_m = 0.1 * COEFFICIENTS["plug_bank_ratio"].item()
    assert 0.5 * bank_m < pool.ice_m.item() <= bank_m + 1e-12


def test_more_rain_on_a_thaw_leaves_more_ice_up_to_what_the_barrel_holds():
    """A pool was full with 10 mm: 5 and 60 mm of rain gave the same ice."""
    known = _inputs(rise_m=0.46, barrel_slope_m_per_m=0.02)
    one = ("2024-01-10",)
    by_rain = [
        _run(known, _thawing(rain_m=rain, thaws=one)).ice_m["refreeze"].item()
        for rain in (0.0, 0.005, 0.02, 0.06)
    ]
    assert by_rain[0] < by_rain[1] < by_rain[2] <= by_rain[3]
    assert by_rain[3] > 1.3 * by_rain[1]
    large = _run(_inputs(rise_m=1.2), _thawing(rain_m=0.005, thaws=one))
    assert large.ice_m["refreeze"].item() < by_rain[1]  # the same water spreads out


def test_a_draught_can_lead_where_the_pipe_lies_along_the_wind_and_is_large():
    weather = _weather(snow_m=0.1).assign(wind_from_deg=180.0)
    large = _many(
        rise_m=np.full(3, 1.2),
        barrel_bearing_deg=np.array([0.0, 90.0, 0.0]),
        plug_chance=np.zeros(3),
        open_chance=np.array([0.8, 0.8, 0.05]),
    )
    state = _state(large, weather)
    along, across, shut = state.chance["draught"]
    assert along > 0.1 > 0.02 > shut
    assert across < 1e-12
    assert along > state.chance["sag"][0]
    assert state.modelled_chance[0] > state.modelled_chance[1] + 0.02


def test_snow_at_the_ends_stops_a_draught():
    """Field studies found that 0.65 m of snow in the ditch stops the cold."""
    barrel = _barrel(1.0)
    share = COEFFICIENTS["snow_share_fraction"].item()
    bare, drifted = (
        mechanisms.draught_ice(
            ZERO, _day(snow_depth_m=np.array([depth_m / share])), barrel, COEFFICIENTS
        ).item()
        for depth_m in (0.0, 0.65)
    )
    assert drifted < 0.06 * bare


def test_an_open_mouth_is_told_by_a_remark_and_shut_by_a_plug():
    blank = [np.nan] * 3
    notes = ["draught in winter", "no draught", ""]
    plugs = {"has_plough_plug": [0.0, 0.0, 1.0]}
    told = freeze_inputs(_crossings(note=notes, **plugs), None, COEFFICIENTS)
    usual = COEFFICIENTS["open_ends_chance"].item()
    word = COEFFICIENTS["word_chance"].item()
    assert_allclose(told.open_chance, [word, usual * (1 - word), 0])
    guessed = freeze_inputs(_crossings(has_plough_plug=blank), None, COEFFICIENTS)
    assert (guessed.open_chance > 0).all()
    assert (guessed.open_chance < usual).all()


def test_water_of_one_source_freezes_once():
    """Seep, shallow cover and draught in one pipe: never likelier than the seep runs,
    but for what a trickle nobody recorded adds."""
    seeps = _many(
        rise_m=np.full(2, 0.4),
        cover_m=np.array([0.15, 1.5]),
        seep_chance=np.ones(2),
        barrel_slope_m_per_m=np.full(2, 0.08),
        open_chance=np.ones(2),
        barrel_bearing_deg=np.zeros(2),
        tail_chance=np.zeros(2),
    )
    bitter = _weather(-20.0, snow_m=0.0).assign(wind_from_deg=0.0)
    runs = COEFFICIENTS["seep_runs_share"].item()
    rest = 1.6 * COEFFICIENTS["trickle_chance"].item()
    assert (_state(seeps, bitter).modelled_chance < runs + (1 - runs) * rest).all()


@pytest.mark.parametrize("level", [0.1, 0.35, 1.0])
@pytest.mark.parametrize(
    ("field", "cause"),
    [("pond_chance", "sag"), ("seep_chance", "seep"), ("tail_chance", "tailwater")],
)
def test_the_level_moves_no_recorded_fact(level, field, cause):
    """A pipe noted to hold water fell from 0.68 to 0.32 with the log's level."""
    word = COEFFICIENTS["word_chance"]
    noted = _many(**{field: np.array([word.item(), 0.05])}, rise_m=np.full(2, 0.4))
    given = {"at_work_level": np.array([level]), "level_spread": np.zeros(1)}
    told, guessed = freeze_state(
        noted, _weather(), FIRST, ON, {**COEFFICIENTS, **given}
    ).chance[cause]
    one = {"at_work_level": np.ones(1), "level_spread": np.zeros(1)}
    at_one = freeze_state(noted, _weather(), FIRST, ON, {**COEFFICIENTS, **one})
    assert told == pytest.approx(at_one.chance[cause][0])
    if level < 1 and at_one.chance[cause][1] > 0:
        assert guessed < at_one.chance[cause][1]


def test_frost_that_stays_above_the_crown_makes_no_ice():
    covers = {"cover_m": np.array([3.0, 0.6, 0.2]), "rise_m": np.full(3, 0.46)}
    shallow_m = _run(_many(**covers), _weather()).ice_m["shallow"]
    assert shallow_m[0] == 0
    assert 0 < shallow_m[1] < shallow_m[2]


def test_a_bed_under_frozen_ground_freezes_as_bare_ice_and_melts_from_the_ends():
    cold = _day(ground_cold_cday=np.array([5.0]))
    surface = COEFFICIENTS["open_surface_w_m2k"]
    grown = mechanisms.shallow_ice(ZERO, cold, COEFFICIENTS)
    assert_allclose(grown, standing_ice(0.0, 5.0, surface_w_m2k=surface))
    melting = _day(melt_m=np.array([0.02]))
    assert_allclose(
        mechanisms.shallow_ice(np.array([0.05]), melting, COEFFICIENTS), 0.03
    )


def test_a_winter_without_thaw_or_rain_refreezes_nothing():
    weather = _weather()
    weather["air_min_c"] = weather["air_max_c"] = -10.0
    ice = _run(_inputs(), weather)
    assert ice.ice_m["refreeze"].item() == ice.ice_m["plug"].item() == 0
    weather.loc["2024-01-10", ["air_min_c", "air_max_c"]] = 6.0
    weather.loc["2024-01-10", "rain_m"] = 0.02
    thawed = _run(_inputs(), weather)
    assert thawed.ice_m["refreeze"].item() > 0
    assert thawed.ice_m["plug"].item() > 0


def test_the_outlet_has_its_own_sun():
    sunny = _inputs().sun_j_m2 * np.float32(2)
    both = _run(_inputs(outlet_sun_j_m2=sunny), _weather())
    assert both.ice_m["perched"].item() < both.ice_m["seep"][1].item() * 2
    dark = _run(_inputs(outlet_sun_j_m2=sunny * 0), _weather())
    assert dark.ice_m["perched"] > both.ice_m["perched"]
    assert_allclose(dark.ice_m["sag"], both.ice_m["sag"])


def test_ice_from_below_is_that_of_the_outlet_alone_and_of_no_ground():
    known = _day(outlet_frost_cday=np.array([5.0]), ground_melt_m=np.array([9.0]))
    grown = mechanisms.tailwater_ice(np.array([0.1]), known, COEFFICIENTS)
    surface = COEFFICIENTS["open_surface_w_m2k"]
    assert_allclose(grown, standing_ice(0.1, 5.0, surface_w_m2k=surface))
    sunny = _day(
        outlet_frost_cday=ZERO, outlet_melt_m=np.array([0.03]), frost_cday=ZERO
    )
    melted = mechanisms.tailwater_ice(np.array([0.1]), sunny, COEFFICIENTS)
    assert_allclose(melted, 0.07)


def test_backwater_is_a_cause_of_its_own_and_no_sag():
    """A steep clean barrel that drains, its outlet in the ice of a lake."""
    steep = _crossings(
        barrel_slope_m_per_m=[0.05] * 3,
        silt_fraction=[0.0] * 3,
        note=["backwater of the lake", "", ""],
    )
    made = add_freeze(steep, _weather(), _sun(), ON, TOWN)
    assert made["freeze_cause"].iloc[0] == "tailwater"
    assert made["cure"].iloc[0].startswith("clean the outlet ditch")
    assert made["tailwater_blocked_chance"].iloc[0] > 0.2  # no log tells the level
    assert made["sag_blocked_chance"].iloc[0] < 0.01
    assert made["closing_day"].iloc[0] < ON.isoformat()


def test_each_mechanism_answers_to_what_it_needs():
    known = _many(rise_m=np.full(2, 0.46))
    pairs = {
        "sag": {"barrel_slope_m_per_m": [0.05, -0.01]},
        "seep": {"seep_chance": [0.0, 1.0]},
        "draught": {"barrel_bearing_deg": [90.0, 0.0]},
        "perched": {"outlet_drop_m": [0.0, 0.5]},
        "tailwater": {"tail_chance": [0.03, 0.8]},
        "plug": {"plug_chance": [0.0, 1.0]},
        "shallow": {"cover_m": [1.5, 0.2]},
    }
    weather = _weather(mean_c=-2.0).assign(wind_from_deg=180.0)
    weather.loc["2024-01-10":"2024-01-14", ["air_min_c", "air_max_c"]] = 4.0
    for name, change in pairs.items():
        fields = {field: np.array(values) for field, values in change.items()}
        low, high = _state(replace(known, **fields), weather).chance[name]
        assert low < high, name


def test_together_is_no_less_than_any_and_no_more_than_the_sum():
    inputs = freeze_inputs(_crossings(), _sun(), COEFFICIENTS)
    state = _state(inputs)
    alone = np.stack([state.chance[name] for name in MECHANISMS])
    assert (state.modelled_chance >= alone.max(axis=0) - 1e-12).all()
    assert (state.modelled_chance <= alone.sum(axis=0) + 1e-12).all()


def test_remarks_stand_in_for_blank_fields_but_not_for_recorded_ones():
    blank = [np.nan] * 3
    notes = ["Seep in the cut slope", "plow plug each storm", "belly, holds water"]
    crossings = _crossings(has_seep=blank, has_plough_plug=blank, note=notes)
    said = freeze_inputs(crossings, None, COEFFICIENTS)
    word = COEFFICIENTS["word_chance"].item()
    assert said.seep_chance[0] == said.plug_chance[1] == said.pond_chance[2] == word
    assert said.seep_chance[1] < word > said.plug_chance[2]
    recorded = _crossings(has_seep=[0.0] * 3, note=notes)
    assert freeze_inputs(recorded, None, COEFFICIENTS).seep_chance[0] == 0


def test_a_word_counts_only_whole():
    notes = ["Seepage Rd", "spring sagebrush", "nothing"]
    said = freeze_inputs(_crossings(note=notes), None, COEFFICIENTS)
    assert said.pond_chance.tolist() == [0, 0, 0]


def test_silt_leads_where_cleaning_would_take_off_most():
    silted = _crossings(
        silt_fraction=[0.9, 0.0, 0.0],
        barrel_slope_m_per_m=[0.05] * 3,
        rise_m=[0.6] * 3,
    )
    made = add_freeze(silted, _weather(), _sun(), ON, TOWN)
    assert made["freeze_cause"].iloc[0] == "silt"
    assert made["cure"].iloc[0].startswith("clean")
    assert made["silt_blocked_chance"].iloc[1] == 0


def test_every_cause_has_a_cure_and_a_larger_pipe_comes_last():
    cures = table("cures").sort_values("step").groupby("cause")["cure"].agg(list)
    assert set(cures.index) == {*MECHANISMS, "silt"}
    assert all(steps[-1] == "larger pipe" for steps in cures)
    assert all(len(steps) > 1 for steps in cures)
    made = columns().loc["freeze_cause", "meaning"]
    assert all(cause in made for cause in cures.index)


@pytest.mark.parametrize("name", ["cures", "freeze_words"])
def test_tables_name_their_sources(name):
    assert set(table(name)["source"]) <= set(sources().index)


def test_mean_of_the_year_needs_all_twelve_months():
    weather = _weather(mean_c=3.0, first="2021-01-01", last="2023-12-31")
    assert mean_annual_air(weather, COEFFICIENTS) == pytest.approx(3.0, abs=0.1)
    winter = weather[pd.DatetimeIndex(weather.index).month != 7]
    assert mean_annual_air(winter, COEFFICIENTS) == COEFFICIENTS["mean_annual_c"]


@rules(deadline=None, max_examples=15)
@given(
    rise=st.floats(0.2, 1.5),
    smaller=st.floats(0.3, 1),
    length=st.floats(4, 40),
    cover=st.floats(0, 3),
)
def test_smaller_is_never_safer_for_any_mechanism(rise, smaller, length, cover):
    rises = np.array([rise, rise * smaller])
    same = {"length_m": np.full(2, length), "cover_m": np.full(2, cover)}
    state = _state(_many(rise_m=rises, **same))
    for name in MECHANISMS:
        assert state.chance[name][1] >= state.chance[name][0] - 1e-12, name


def test_each_day_of_a_winter_can_be_looked_at():
    days = days_of_winter(_weather(mean_c=0.0), FIRST, ON, COEFFICIENTS)
    run = list(winter_by_day(_inputs(), days, COEFFICIENTS))
    assert len(run) == len(days.air_mean_c) == 148
    frost_m = np.array([ice.frost_depth_m.item() for ice in run])
    most = [ice.most_ice_m["sag"].item() for ice in run]
    assert frost_m[0] == 0
    assert 0.3 < frost_m.max() < 2
    assert (np.diff(most) >= 0).all()
