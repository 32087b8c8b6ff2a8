"""Ponds that hold back, releases and backwater, on hand-made chains of crossings."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Settings
from culvertrisk.stages.chain_area import add_chain_area
from culvertrisk.stages.chain_water import add_chain_water
from culvertrisk.stages.flood import with_open_chance
from culvertrisk.stages.flood_capacity import open_capacity, openings
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.pond_room import storage_at
from culvertrisk.stages.road_over_bed import headwater_limit
from culvertrisk.stages.tailwater import (
    backed_up,
    beds,
    capacity_under_tailwater,
    depth_from_below,
)
from culvertrisk.stages.today_hours import add_today_hours
from culvertrisk.tables import columns
from culvertrisk.terrain.rising import AT_ROAD
from tests.pond_made import upright_ponds

NAN = np.nan
HOUR_S = 3600.0
PIPE = {
    "crossing_kind": "cross",
    "shape": "round",
    "material": "concrete",
    "entrance": "headwall",
    "rise_m": 0.6,
    "span_m": 0.6,
    "barrel_count": 1.0,
    "length_m": 12.0,
    "silt_fraction": 0.0,
    "barrel_slope_m_per_m": 0.005,
    "cover_m": 0.6,
    "road_elevation_m": 100.0,
    "upstream_invert_m": NAN,
    "outlet_drop_m": 0.0,
    "catchment_m2": 100_000.0,
    "concentration_s": 1800.0,
    "blocked_fraction": 0.5,
    "blocked_chance": 0.5,
    "headwater_limit_m": 1.2,
    "pond_room_m3": 500.0,
    "pond_source": "assumed",
    "today_flow_m3s": 0.16,
    "today_runoff_m3": 2520.0,
    "tailwater_m": 0.0,
    "today_capacity_m3s": 0.6,
    "iced_capacity_m3s": 0.1,
    "flooded_open_chance": 0.3,
    "flooded_blocked_chance": 0.9,
    "downstream_id": "",
}
RAIN = DayWater(0.036, 0.0, 8 * HOUR_S, 10 * HOUR_S, is_frozen=True)
TOWN = Settings(
    files={"culverts": "culverts.csv"},
    forecast={"rain_start": "08:00", "rain_end": "16:00"},
)


def _table(*changes):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def _crossings(*changes):
    table = _table(*changes)
    chance = table["flooded_open_chance"].to_numpy()
    return add_today_hours(with_open_chance(table, chance), RAIN, TOWN)


def _with_water(*changes, pond=None):
    return add_chain_water(_crossings(*changes), RAIN, TOWN, pond)


def _pond(*rooms_m3, depth_m=1.2, end=AT_ROAD):
    return upright_ponds(*rooms_m3, depth_m=depth_m, end=end)


def test_add_chain_water_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = _crossings({"downstream_id": "A1"}, {}, {"crossing_kind": "bridge"})
    kept = before.copy()
    after = add_chain_water(before, RAIN, TOWN)
    declared = columns().query("made_by == 'chain_water'")
    assert set(after) - set(before) == set(declared.index)
    assert after.index.equals(before.index)
    pd.testing.assert_frame_equal(before, kept)
    for name, row in declared.iterrows():
        assert after[name].dropna().between(float(row["low"]), float(row["high"])).all()


def test_an_empty_table_stays_empty():
    after = add_chain_water(_crossings({}).iloc[:0], RAIN, TOWN)
    assert after.empty
    assert "routed_open_m3s" in after


def test_bridges_and_what_is_not_known_stay_blank_never_zero():
    result = _with_water({"crossing_kind": "bridge"}, {}, {"catchment_m2": NAN})
    made = columns().query("made_by == 'chain_water'").index
    assert result.loc["A0", made].isna().all()
    chained = ["release_flow_m3s", "release_flooded_chance"]
    chained += ["held_release_flooded_chance"]
    chained += ["backwater_m", "backwater_capacity_m3s"]
    assert result.loc["A1", chained].isna().all()
    assert np.isnan(result.loc["A2", "routed_open_m3s"])


def test_without_the_column_of_chains_nothing_is_handed_on():
    crossings = _crossings({}).drop(columns="downstream_id")
    row = add_chain_water(crossings, RAIN, TOWN).iloc[0]
    assert np.isnan(row["release_flow_m3s"])
    assert np.isnan(row["backwater_m"])


@given(
    room_m3=st.floats(0, 1e5),
    capacity=st.floats(0, 2),
    depth_m=st.floats(0.1, 4),
    source=st.sampled_from(["dem", "assumed"]),
)
@settings(max_examples=25, deadline=None)
def test_what_leaves_is_never_more_than_what_comes(room_m3, capacity, depth_m, source):
    row = {"pond_room_m3": room_m3, "today_capacity_m3s": capacity}
    row |= {"iced_capacity_m3s": capacity / 2, "pond_source": source}
    pond = _pond(room_m3, depth_m=depth_m)
    result = _with_water(row, pond=pond).iloc[0]
    # 0.7 * 36 mm on 10 ha rises to 2 / 8 h of it at the middle of the rain
    peak_m3s = 2 * 0.7 * 0.036 * 100_000 / (8 * HOUR_S)
    for name in ("routed_open_m3s", "routed_iced_m3s"):
        assert 0 <= result[name] <= peak_m3s
    assert result["flooded_open_chance"] <= result["flooded_blocked_chance"]


def test_a_pond_that_holds_the_day_lets_a_closed_pipe_pass_nothing():
    """0.7 * 36 mm on 10 ha is 2520 m3; 2520 (1 - (15/16)^2) / 1800 s is the peak."""
    closed = {"blocked_fraction": 1.0, "iced_capacity_m3s": 0.0}
    rooms = [{**closed, "pond_room_m3": room} for room in (2600.0, 0.0)]
    held, none = _with_water(*rooms)["routed_iced_m3s"]
    assert held == 0
    assert_allclose(none, 0.1695, rtol=0.005)


def test_a_larger_pond_flattens_the_peak_more():
    peaks = _with_water(*({"pond_room_m3": room} for room in (0, 500, 5000, 50_000)))
    assert (np.diff(peaks["routed_open_m3s"]) < 0).all()


def test_water_that_stands_over_silt_is_not_filled_by_the_day_again():
    """Silt to 0.3 m of 1.2 m: a sixteenth of the wedge's 1 000 000 m3."""
    rows = [{"silt_fraction": share, "pond_room_m3": 1e6} for share in (0.0, 0.5)]
    peaks = _with_water(*rows)["routed_open_m3s"]
    assert (peaks > 0).all()


def test_the_elevation_rasters_pond_is_taken_into_the_chance_the_wedge_is_not():
    small = {"today_capacity_m3s": 0.1, "pond_source": "dem"}
    pond = _pond(0.0, 300.0, 1e5, 1e5)
    rooms = pond.ponds.volume_m3[:, -1]
    rows = [{**small, "pond_room_m3": room} for room in rooms]
    rows[3]["pond_source"] = "assumed"
    result = _with_water(*rows, pond=pond)
    none, some, sea, wedge = result["flooded_open_chance"]
    assert none > some > sea
    assert sea < 1e-3
    assert wedge == 0.3
    hours = result["water_over_road_open_s"]
    assert hours["A1"] > hours["A0"]
    assert np.isnan(hours["A2"])
    assert_allclose(
        result["flooded_chance"], 0.5 * 0.9 + 0.5 * result["flooded_open_chance"]
    )


def test_without_the_ponds_stages_no_chance_moves():
    result = _with_water({"pond_source": "dem"})
    assert result["flooded_open_chance"].iloc[0] == 0.3


def test_storage_hangs_from_the_road_and_stands_on_the_bed_where_it_spills():
    """1.2 m to the road over the bed; ponds of 100 m3 with upright sides."""
    level_m = np.array([[0.0, 0.6, 1.2]])
    rows = {"pond_source": "dem", "pond_room_m3": 100.0}
    cases = ((0.6, 0, [0, 0, 100]), (2.4, 0, [0, 25, 50]), (0.6, 1, [0, 100, 100]))
    for depth_m, spills, expected in cases:
        crossings = _table({**rows, "pond_spills_first": float(spills)})
        found, is_dem = storage_at(crossings, level_m, _pond(100.0, depth_m=depth_m))
        assert is_dem.all()
        assert_allclose(found[0], expected, atol=1e-9)
    wedge, is_dem = storage_at(_table({}), level_m, None)
    assert not is_dem.any()
    assert_allclose(wedge[0], [0, 125, 500])


def test_the_release_is_the_outflow_under_the_full_pond_of_the_largest_upstream():
    """Its 2520 m3 of the day fill 500 m3: what passes at the road's height."""
    result = _with_water(
        {"downstream_id": "A2", "today_capacity_m3s": 0.5},
        {"downstream_id": "A2", "today_capacity_m3s": 0.4},
        {"today_capacity_m3s": 0.6},
    )
    assert_allclose(result.loc["A2", "release_flow_m3s"], 0.5)
    chance = result.loc["A2", "release_flooded_chance"]
    assert chance > 0.5  # 0.16 of the day and 0.5 let go, against 0.6
    assert result.loc[["A0", "A1"], "release_flow_m3s"].isna().all()


def test_each_pipe_keeps_the_release_of_its_own_pond():
    """A flood of 0.5 m3/s and one of 0.02 m3/s into a pipe that carries 0.6 m3/s."""
    result = _with_water(
        {"downstream_id": "A2", "today_capacity_m3s": 0.5},
        {"downstream_id": "A2", "today_capacity_m3s": 0.02, "pond_room_m3": 10.0},
        {"flooded_open_chance": 0.0},
    )
    assert_allclose(result["held_release_m3s"].iloc[:2], [0.5, 0.02])
    large, small, none = result["held_release_flooded_chance"]
    assert large > 0.5 > small
    assert np.isnan(none)
    assert result.loc["A2", "release_flooded_chance"] == large


def test_less_water_held_is_a_lesser_release_and_none_is_no_harm():
    def released(runoff_m3):
        upstream = {"downstream_id": "A1", "today_runoff_m3": runoff_m3}
        return _with_water(upstream, {}).loc["A1"]

    flows = [released(held)["release_flow_m3s"] for held in (0.0, 50.0, 200.0, 1e4)]
    assert flows[0] == 0
    assert (np.diff(flows) > 0).all()
    assert released(0.0)["release_flooded_chance"] == 0.3


def test_a_release_that_the_pond_here_holds_floods_nothing():
    """500 m3 let go and 2520 m3 of the day, against room for 1 000 000 m3."""
    upstream = {"downstream_id": "A1", "today_capacity_m3s": 5.0}
    sea = {"pond_room_m3": 1e6, "flooded_open_chance": 0.0}
    row = _with_water(upstream, sea).loc["A1"]
    assert row["release_flow_m3s"] == 5
    assert row["release_flooded_chance"] < 1e-6


def test_backwater_is_the_level_pond_below_over_this_outlet():
    """Outlet bed 100 - 1.2 - 0.06 m; the bed below at 97.8, its road at 99.0 m."""
    result = _with_water(
        {"downstream_id": "A1"},
        {"road_elevation_m": 99.0, "downstream_id": "A2"},
        {"road_elevation_m": 90.0},
    )
    assert_allclose(result.loc["A0", "backwater_m"], 99.0 - 98.74)
    assert result.loc["A1", "backwater_m"] == 0
    capacity = result["backwater_capacity_m3s"]
    assert capacity["A0"] <= capacity["A1"]
    assert np.isnan(capacity["A2"])


def test_a_spill_that_is_not_sure_takes_nothing_off_what_backs_up():
    spilling = {
        "road_elevation_m": 99.8,
        "pond_spills_first": 1.0,
        "pond_level_m": 99.2,
    }
    result = _with_water({"downstream_id": "A1"}, spilling)
    assert_allclose(result.loc["A0", "backwater_m"], 99.8 - 98.74)


def test_water_below_as_high_as_the_road_leaves_no_capacity():
    result = _with_water({"downstream_id": "A1"}, {"road_elevation_m": 103.0})
    assert_allclose(result.loc["A0", "backwater_m"], 1.2)  # its bed is no higher
    # only the fall of the barrel, 0.06 m, is left to drive water
    assert result.loc["A0", "backwater_capacity_m3s"] < 0.6 * np.sqrt(0.06 / 0.4)


@pytest.mark.parametrize("slope", [0.0, 0.02, NAN])
@pytest.mark.parametrize("closed", [0.0, 0.4])
def test_capacity_never_rises_with_tailwater(slope, closed):
    depths_m = np.linspace(0, 2.0, 21)
    row = {"barrel_slope_m_per_m": slope, "silt_fraction": closed}
    crossings = _table(*[row] * len(depths_m))
    limit_m, _ = headwater_limit(crossings)
    found = openings(crossings)
    free_m3s = open_capacity(found, limit_m)
    capacity, tail_m = capacity_under_tailwater(
        crossings, found, limit_m, depths_m, free_m3s
    )
    assert (np.diff(capacity) <= 1e-9).all()
    assert (capacity <= free_m3s).all()
    assert capacity[-1] < 1e-6
    assert (tail_m >= depths_m).all()


def test_at_the_capacity_the_headwater_is_the_limit_and_the_ditch_carries_it():
    """Low long boxes under a high road: the ditch stands over their crown. Flow,
    tailwater and headwater fit each other; two barrels have a ditch twice as wide."""
    box = {"shape": "box", "rise_m": 0.5, "span_m": 2.0, "cover_m": 3.0}
    box |= {"length_m": 60.0, "barrel_slope_m_per_m": 0.0}
    crossings = _table(box, {**box, "barrel_count": 2.0})
    limit_m, _ = headwater_limit(crossings)
    found = openings(crossings)
    free_m3s = open_capacity(found, limit_m)
    capacity, tail_m = capacity_under_tailwater(
        crossings, found, limit_m, np.full(2, NAN), free_m3s
    )
    assert (capacity < free_m3s).all()
    assert (tail_m > 0.5).all()
    assert 1.8 < capacity[1] / capacity[0] < 2
    fixed = replace(found, conduit=found.conduit._replace(tailwater_m=tail_m))
    assert_allclose(open_capacity(fixed, limit_m), capacity, rtol=1e-6)


def test_an_open_crossing_below_backs_up_its_headwater_of_today():
    crossings = _table(
        {"downstream_id": "A1", "road_elevation_m": 100.0},
        {"downstream_id": "A2", "road_elevation_m": 99.9, "today_flow_m3s": 0.4},
        {"road_elevation_m": 99.8, "today_flow_m3s": 0.8},
    )
    limit_m, _ = headwater_limit(crossings)
    flow_m3s = crossings["today_flow_m3s"].to_numpy()
    backed_m = backed_up(crossings, openings(crossings), limit_m, flow_m3s)
    more_m = backed_up(crossings, openings(crossings), limit_m, 2 * flow_m3s)
    assert np.isnan(backed_m[2])
    assert (more_m[:2] >= backed_m[:2]).all()
    assert backed_m[1] > 0.5
    assert (backed_m[:2] <= limit_m[1:]).all()


def test_a_bed_hangs_from_the_road_at_the_crossing_or_is_surveyed():
    """Rise and cover 1.2 m; on a grade the road is far lower farther on."""
    grade = {"overflow_m": 93.0, "overflow_drop_m": 7.0, "pond_spills_first": 1.0}
    surveyed = {**grade, "upstream_invert_m": 98.9}
    buried = {**grade, "upstream_invert_m": 99.9}  # its crown would lie above the road
    inlet_m, outlet_m = beds(_table(grade, surveyed, buried))
    assert_allclose(inlet_m, [98.8, 98.9, 98.8])
    assert_allclose(outlet_m, inlet_m - 0.06)


@given(
    flow_m3s=st.floats(0, 3),
    level_m=st.floats(97, 103),
    road_m=st.floats(98, 102),
    slope=st.floats(-0.02, 0.1),
    spills=st.sampled_from([0.0, 1.0, NAN]),
)
@settings(max_examples=40, deadline=None)
def test_a_blocked_crossing_below_backs_up_no_less_than_an_open_one(
    flow_m3s, level_m, road_m, slope, spills
):
    below = {"road_elevation_m": road_m, "pond_level_m": level_m}
    below |= {"pond_spills_first": spills, "today_flow_m3s": flow_m3s}
    above = {"downstream_id": "A1", "barrel_slope_m_per_m": slope}
    crossings = _crossings(above, below)
    limit_m, _ = headwater_limit(crossings)
    flows = crossings["today_flow_m3s"].to_numpy()
    is_open_m = backed_up(crossings, openings(crossings), limit_m, flows)[0]
    crossings = crossings.assign(headwater_limit_m=limit_m)
    row = add_chain_water(crossings, RAIN, TOWN).iloc[0]
    assert row["backwater_m"] >= is_open_m
    assert row["backwater_capacity_m3s"] <= row["today_capacity_m3s"]


def test_unknown_elevations_and_the_last_of_a_chain_back_up_nothing_known():
    crossings = _table({"downstream_id": "A1"}, {"road_elevation_m": NAN})
    depth_m = depth_from_below(crossings, np.full(2, 1.0))
    assert np.isnan(depth_m).all()


CATCHMENT = {
    "flow_path_m": 300.0,
    "flow_path_slope_m_per_m": 0.05,
    "catchment_source": "dem",
    "catchment_note": "",
}


def _with_area(*changes):
    return add_chain_area(_table(*({**CATCHMENT, **change} for change in changes)))


def test_a_crossing_with_far_less_catchment_than_the_one_above_takes_its():
    """366 ha, 6.3 ha and 7 ha in a row, then 400 ha that contradict nothing."""
    large = {"catchment_m2": 3.664e6, "flow_path_m": 4000.0}
    result = _with_area(
        {**large, "downstream_id": "A1"},
        {"catchment_m2": 6.3e4, "downstream_id": "A2", "catchment_note": "as told"},
        {"catchment_m2": 7e4, "downstream_id": "A3"},
        {"catchment_m2": 4e6},
    )
    assert_allclose(result["catchment_m2"], [3.664e6, 3.664e6, 3.664e6, 4e6])
    assert_allclose(result["flow_path_m"], [4000, 4000, 4000, 300])
    assert [*result["catchment_source"]] == ["dem", "above", "above", "dem"]
    assert [*result["has_larger_above"]] == [0, 1, 1, 0]
    assert [*result["has_smaller_below"]] == [1, 1, 0, 0]
    first, second, _, last = result["catchment_note"]
    assert first == (
        "A1, next below in the chain, has a catchment of 6.3\u202fha by its own data: "
        "one of the two is wrong"
    )
    assert second == (
        "as told; catchment 6.3\u202fha by its own data, but A0, next above in the "
        "chain, has 366.4\u202fha: one of the two is wrong, the larger counts; A2, "
        "next below in the chain, has a catchment of 7.0\u202fha by its own data: one "
        "of the two is wrong"
    )
    assert last == ""


def test_a_little_less_or_an_unknown_catchment_contradicts_nothing():
    above = {"catchment_m2": 1e5, "downstream_id": "A1"}
    for below_m2 in (5.1e4, NAN):
        before = {**CATCHMENT, "catchment_m2": below_m2}
        after = _with_area(above, before).iloc[1]
        assert after["has_larger_above"] != 1
        assert after["catchment_note"] == ""
        np.testing.assert_equal(after["catchment_m2"], below_m2)


def test_add_chain_area_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = _table({**CATCHMENT, "downstream_id": "A1"}, {**CATCHMENT})
    kept = before.copy()
    after = add_chain_area(before)
    declared = columns().query("made_by == 'chain_area'").index
    assert set(after) - set(before) == set(declared)
    pd.testing.assert_frame_equal(before, kept)
    assert add_chain_area(before.iloc[:0]).empty
    without = add_chain_area(before.drop(columns="downstream_id"))
    assert (without["has_larger_above"] == 0).all()


def test_the_slope_of_the_ground_stays_that_of_the_crossing_itself():
    """Seeps and the pond's wedge hang on it, wherever the water comes from."""
    below = {"catchment_m2": 1e3, "flow_path_slope_m_per_m": 0.2}
    after = _with_area({"downstream_id": "A1"}, below).iloc[1]
    assert after["has_larger_above"] == 1
    assert after["flow_path_slope_m_per_m"] == 0.2
