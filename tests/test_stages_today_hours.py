"""Clock times of today's water on a hand-made table."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Settings
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.today_hours import (
    add_today_hours,
    flooded_by_chance,
    hours_in_order,
)
from culvertrisk.tables import columns

NAN = np.nan
MADE = {
    "today_peak_s",
    "water_over_road_open_s",
    "water_over_road_iced_s",
    "water_over_road_blocked_s",
    "half_flooded_s",
}
HOUR_S = 3600.0
PIPE = {
    "crossing_kind": "cross",
    "catchment_m2": 100_000.0,
    "concentration_s": 600.0,
    "today_capacity_m3s": 1.0,
    "iced_capacity_m3s": 0.1,
    "pond_room_m3": 100.0,
}
RAIN = DayWater(0.036, 0.0, 8 * HOUR_S, 10 * HOUR_S, is_frozen=True)
MELT = DayWater(0.0, 0.020, 6 * HOUR_S, 10 * HOUR_S, is_frozen=True)


def _crossings(*changes):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def _settings(**forecast):
    return Settings(files={"culverts": "culverts.csv"}, forecast=forecast)


@pytest.fixture
def typed():
    return _settings(rain_start="08:00", rain_end="16:00")


def test_add_today_hours_adds_exactly_its_columns_and_leaves_its_input_alone(typed):
    before = _crossings({}, {"today_capacity_m3s": NAN}, {"catchment_m2": NAN})
    kept = before.copy()
    after = add_today_hours(before, RAIN, typed)
    assert set(after) - set(before) == MADE
    declared = columns().query("made_by == 'today_hours'").index
    assert set(declared) == MADE
    pd.testing.assert_frame_equal(before, kept)
    pd.testing.assert_frame_equal(after[before.columns], kept)


def test_the_peak_lags_the_middle_of_the_rain_by_half_the_concentration(typed):
    quick, slow = {}, {"concentration_s": 7200.0}
    peak_s = add_today_hours(
        _crossings(quick, slow).assign(pond_room_m3=0.0), RAIN, typed
    )["today_peak_s"]
    assert_allclose(peak_s, [12 * HOUR_S + 300, 12 * HOUR_S + 3600], atol=300)


def test_melt_alone_peaks_in_the_early_afternoon():
    peak_s = add_today_hours(
        _crossings({}).assign(pond_room_m3=0.0), MELT, _settings()
    )["today_peak_s"]
    assert_allclose(peak_s, [14 * HOUR_S + 300], atol=300)


def test_a_blocked_pipe_floods_when_its_pond_is_full(typed):
    """0.7 * 36 mm on 10 ha is 2520 m3 in all: half of it has fallen at 12:00, and
    has reached the inlet half the time of concentration later."""
    row = add_today_hours(_crossings({}).assign(pond_room_m3=1260.0), RAIN, typed).iloc[
        0
    ]
    assert_allclose(row["water_over_road_blocked_s"], 12 * HOUR_S + 300, atol=60)


def test_an_open_pipe_floods_when_the_flow_passes_its_capacity(typed):
    """The triangle rises to 2 * 0.036 m / 8 h, times 0.7 * 10 ha: 0.175 m3/s at
    12:00; half of that is there at 10:00, seen half the concentration later."""
    pipe = {"today_capacity_m3s": 0.0875, "iced_capacity_m3s": 0.0875}
    row = add_today_hours(_crossings(pipe).assign(pond_room_m3=50.0), RAIN, typed).iloc[
        0
    ]
    assert_allclose(row["water_over_road_open_s"], 10 * HOUR_S + 300, atol=300)
    assert row["water_over_road_iced_s"] == row["water_over_road_open_s"]


def test_the_less_a_pipe_passes_the_earlier_the_road_is_under_water(typed):
    pipe = {"iced_capacity_m3s": 0.05, "today_capacity_m3s": 0.12}
    row = add_today_hours(_crossings(pipe).assign(pond_room_m3=20.0), RAIN, typed).iloc[
        0
    ]
    hours = ["water_over_road_blocked_s", "water_over_road_iced_s"]
    assert row[hours].is_monotonic_increasing
    assert row["water_over_road_iced_s"] < row["water_over_road_open_s"]


def test_never_today_and_unknown_are_not_a_time(typed):
    dry = DayWater(0.0, 0.0, 6 * HOUR_S, 10 * HOUR_S, is_frozen=True)
    unknown = DayWater(NAN, 0.0, 6 * HOUR_S, 10 * HOUR_S, is_frozen=True)
    for water in (dry, unknown):
        after = add_today_hours(_crossings({}).assign(pond_room_m3=10.0), water, typed)
        assert after[sorted(MADE)].isna().all(axis=None)
    big_pond = add_today_hours(
        _crossings({}).assign(pond_room_m3=1e6), RAIN, typed
    ).iloc[0]
    assert np.isnan(big_pond["water_over_road_blocked_s"])


def test_bridges_have_a_peak_but_no_hour_of_flooding(typed):
    bridge = {
        "crossing_kind": "bridge",
        "today_capacity_m3s": NAN,
        "iced_capacity_m3s": NAN,
    }
    row = add_today_hours(
        _crossings(bridge).assign(pond_room_m3=10.0), RAIN, typed
    ).iloc[0]
    assert not np.isnan(row["today_peak_s"])
    assert row[sorted(MADE - {"today_peak_s"})].isna().all()


def test_a_blocked_pipe_of_unknown_size_floods_like_any_other(typed):
    unknown = {"today_capacity_m3s": NAN, "iced_capacity_m3s": NAN}
    after = add_today_hours(_crossings({}, unknown), RAIN, typed)
    for name in ("water_over_road_blocked_s", "half_flooded_s"):
        assert after[name].notna().all() and after[name].nunique() == 1
    open_hours = ["water_over_road_open_s", "water_over_road_iced_s"]
    assert after.loc["A1", open_hours].isna().all()


def test_no_pipe_floods_before_a_blocked_one_nor_before_the_flow_rises(typed):
    """An open pipe that passes nothing, backed up from below, still has its pond."""
    backed = {"today_capacity_m3s": 0.0, "iced_capacity_m3s": 0.0}
    # without its pond the open pipe is over its capacity before the iced one fills it
    slow = {"today_capacity_m3s": 0.12, "iced_capacity_m3s": 0.1, "pond_room_m3": 200.0}
    after = add_today_hours(_crossings(backed, slow), RAIN, typed)
    blocked_s, iced_s, open_s = (
        after[f"water_over_road_{state}_s"] for state in ("blocked", "iced", "open")
    )
    assert (blocked_s > 8 * HOUR_S).all()
    assert (blocked_s <= iced_s).all() and (iced_s <= open_s).all()


_HOURS = st.one_of(st.just(NAN), st.floats(0, 86_400))


@given(_HOURS, _HOURS, _HOURS)
def test_the_less_passes_the_sooner_the_water_whatever_the_method(
    open_s, iced_s, blocked_s
):
    told = {"open": open_s, "iced": iced_s, "blocked": blocked_s}
    hours = pd.DataFrame({f"water_over_road_{n}_s": [s] for n, s in told.items()})
    row = hours_in_order(hours).fillna(np.inf).iloc[0]  # blank is never
    in_order = row[[f"water_over_road_{n}_s" for n in ("blocked", "iced", "open")]]
    assert in_order.is_monotonic_increasing
    assert in_order.iloc[0] == (np.inf if np.isnan(blocked_s) else blocked_s)


def test_a_pond_that_leaves_over_lower_ground_floods_no_road(typed):
    """0.15 m3/s at the peak, twice that at the high end of its band."""
    flow = {"today_flow_m3s": 0.15}
    spills = [{**flow, "spill_capacity_m3s": m3s} for m3s in (1.0, 0.2, 0.0, NAN)]
    table = _crossings(*spills)
    after = add_today_hours(table, RAIN, typed)
    hours = [name for name in sorted(MADE) if name != "today_peak_s"]
    assert after.loc["A0", hours].isna().all()
    assert after.loc["A1":, "water_over_road_blocked_s"].notna().all()
    chance = flooded_by_chance(table, RAIN, typed, [24 * HOUR_S])[:, 0]
    assert chance[0] < 0.01
    assert_allclose(chance[1:], chance[3])


def test_chance_of_flooding_grows_with_the_hour_and_halves_at_its_own_hour(typed):
    table = _crossings({}, {"catchment_m2": 60_000.0})
    pond_m3 = [1500.0, 2500.0]
    half_s = add_today_hours(table.assign(pond_room_m3=pond_m3), RAIN, typed)[
        "half_flooded_s"
    ].to_numpy()
    clock_s = np.array([6, 9, 12, 15, 24]) * HOUR_S
    chance = flooded_by_chance(table.assign(pond_room_m3=pond_m3), RAIN, typed, clock_s)
    assert (np.diff(chance, axis=1) >= 0).all()
    assert (chance[:, 0] == 0).all()
    at_half = flooded_by_chance(table.assign(pond_room_m3=pond_m3), RAIN, typed, half_s)
    assert_allclose(np.diag(at_half), chance[:, -1] / 2, atol=0.02)


def test_a_later_rain_makes_every_hour_later():
    early = _settings(rain_start="06:00", rain_end="14:00")
    late = _settings(rain_start="09:00", rain_end="17:00")
    pipe = _crossings({"today_capacity_m3s": 0.05, "iced_capacity_m3s": 0.02})
    hours = [
        add_today_hours(pipe.assign(pond_room_m3=200.0), RAIN, typed)[sorted(MADE)]
        for typed in (early, late)
    ]
    assert_allclose(hours[1] - hours[0], 3 * HOUR_S)
