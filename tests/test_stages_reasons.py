"""Sentences of one crossing: a cause is only likely where its input is not recorded."""

import pandas as pd
import pytest

from culvertrisk.stages.reasons import reasons_of
from culvertrisk.stages.unknown_notes import unknowns_of
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.units import quantity

NAN = float("nan")
ROW = {
    **dict.fromkeys(
        [
            "share_shading_index",
            "share_slope_index",
            "share_size_index",
            "share_history_index",
            "share_water_index",
            "share_weather_index",
            "has_seep",
            "barrel_slope_m_per_m",
            "outlet_drop_m",
            "silt_fraction",
            "is_only_way",
            "detour_s",
            "flooded_blocked_chance",
        ],
        NAN,
    ),
    "cure": "drain; heat cable",
    "freeze_advice": "",
}


@pytest.mark.parametrize(
    ("cause", "column", "value"),
    [
        ("seep", "has_seep", 1.0),
        ("sag", "barrel_slope_m_per_m", 0.001),
        ("perched", "outlet_drop_m", 0.5),
        ("silt", "silt_fraction", 0.4),
    ],
)
def test_a_cause_is_likely_until_its_input_is_recorded(cause, column, value):
    row = pd.Series({**ROW, "freeze_cause": cause}, dtype=object)
    assert reasons_of(row).startswith("Likely cause: ")
    row[column] = value
    assert reasons_of(row).startswith("Cause: ")
    assert reasons_of(row).endswith(", cure: drain")


def test_both_ends_of_a_contradiction_along_the_chain_are_unknowns():
    known = ("rise_m", "catchment_m2", "winter_shade_fraction", "consequence_person_h")
    known += ("has_seep", "silt_fraction", "barrel_slope_m_per_m", "fill_depth_m")
    row = pd.Series({**ROW, **dict.fromkeys(known, 0.5)}, dtype=object)
    row["is_catchment_cut"], row["cover_source"] = 0.0, "recorded"
    row["outlet_drop_m"] = 0.0
    assert unknowns_of(row) == ""
    row["has_larger_above"], row["has_smaller_below"] = 1.0, 0.0
    assert unknowns_of(row) == (
        "catchment doubtful: the crossing above it in the chain has far more, and that "
        "counts"
    )
    row["has_larger_above"], row["has_smaller_below"] = 0.0, 1.0
    assert unknowns_of(row) == (
        "catchment doubtful: the crossing below it in the chain has far less"
    )


@pytest.mark.parametrize(
    ("cause", "column", "value"),
    [
        ("sag", "barrel_slope_m_per_m", 0.02),
        ("plug", "has_plough_plug", NAN),
        ("shallow", "cover_m", NAN),
        ("refreeze", "rise_m", 0.5),
        ("tailwater", "rise_m", 0.5),
        ("draught", "rise_m", 0.5),
    ],
)
def test_what_nobody_recorded_is_a_likely_cause(cause, column, value):
    row = pd.Series({**ROW, "freeze_cause": cause, column: value}, dtype=object)
    assert reasons_of(row).startswith("Likely cause: ")


def test_a_cause_that_does_not_stand_out_is_told_as_such():
    weak = {"freeze_cause": "perched", "cause_sureness": "weak", "outlet_drop_m": 0.3}
    row = pd.Series({**ROW, **weak}, dtype=object)
    assert reasons_of(row) == (
        "Most likely cause: ice under a perched outlet, but none stands out, "
        "cure if so: drain"
    )


@pytest.mark.parametrize(
    ("share", "column", "value", "said"),
    [
        ("shading", "today_shade_fraction", 0.054, ""),
        ("shading", "today_shade_fraction", 0.06, "gets 6 % less sun"),
        ("water", "silt_fraction", 0.02, ""),
        ("water", "silt_fraction", 0.03, "silt fills 3 %"),
        ("slope", "barrel_slope_m_per_m", 0.002, "water may stand in the barrel"),
    ],
)
def test_what_is_too_little_is_no_reason_and_what_is_not_seen_may_be(
    share, column, value, said
):
    row = {**ROW, "freeze_cause": "none", f"share_{share}_index": 5.0, column: value}
    told = reasons_of(pd.Series(row, dtype=object))
    assert said in told if said else told == ""


def test_the_town_sets_what_is_worth_telling():
    row = {**ROW, "freeze_cause": "none", "share_shading_index": 5.0}
    row["today_shade_fraction"] = 0.3
    own = freeze_coefficients({"shade_told_fraction": 0.4})
    assert reasons_of(pd.Series(row, dtype=object), own) == ""


def test_a_remark_on_standing_water_is_told_as_a_remark():
    row = {**ROW, "freeze_cause": "none", "share_slope_index": 5.0, "says_pond": 0.8}
    row["barrel_slope_m_per_m"] = 0.002
    assert reasons_of(pd.Series(row, dtype=object)) == (
        "Flat: slope 0.2 %, a remark says that water stands in it"
    )


KNOWN = {
    **ROW,
    **dict.fromkeys(
        [
            *("rise_m", "length_m", "barrel_slope_m_per_m", "outlet_drop_m"),
            *("has_seep", "has_plough_plug", "silt_fraction", "winter_shade_fraction"),
            *("catchment_m2", "consequence_person_h", "fill_depth_m"),
        ],
        0.5,
    ),
    "is_catchment_cut": 0.0,
    "cover_source": "recorded",
}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, ""),
        ({"outlet_drop_m": NAN}, "drop at the outlet unknown: usual drops weighed"),
        ({"length_m": NAN}, "length unknown: usual lengths weighed"),
        (
            {"has_plough_plug": NAN},
            "plough's bank at the ends not recorded: a usual share assumed",
        ),
        (
            {"has_plough_plug": NAN, "says_plug": 0.8},
            "plough's bank at the ends not recorded: taken from a remark",
        ),
        (
            {"has_seep": NAN, "says_seep": 0.8},
            "seep not recorded: taken from a remark",
        ),
        ({"says_seep": 0.8, "says_plug": 0.8}, ""),
        ({"says_pond": 0.8}, "standing water not measured: taken from a remark"),
        ({"says_draught": 0.8}, "wind in the barrel not measured: taken from a remark"),
        ({"says_tail": 0.8}, "water at the outlet not measured: taken from a remark"),
    ],
)
def test_what_the_score_takes_for_granted_is_told(changes, said):
    assert unknowns_of(pd.Series({**KNOWN, **changes}, dtype=object)) == said


def test_a_road_that_floods_with_the_pipe_open_is_told_as_that_and_never_left_out():
    """Before, it read as if opening helped, or four reasons left it out."""
    row = {**ROW, "freeze_cause": "none", "share_water_index": 9.0, "has_seep": 1.0}
    row |= {"share_size_index": 8.0, "rise_m": 0.3, "share_weather_index": 7.0}
    row |= {"afdd_cday": 900.0, "is_only_way": 1.0, "cut_off_dwelling_count": 1.0}
    row |= {"cut_off_places": "", "flooded_blocked_chance": 1.0, "today_flow_m3s": 2.0}
    wet = {**row, "flooded_open_chance": 0.5, "water_over_road_open_s": 42_900.0}
    told = reasons_of(pd.Series(wet, dtype=object)).split("; ")
    flow = quantity(2000, "L/s")
    flooded = (
        f"Today's water ({flow} at its peak) likely reaches the road even if the pipe "
        "is open, from about 11:55"
    )
    assert told[1:] == ["Only way to 1 dwelling", flooded]
    wet["water_over_road_open_s"] = NAN
    assert reasons_of(pd.Series(wet, dtype=object)).endswith("even if the pipe is open")
    dry = {**row, "flooded_open_chance": 0.49, "is_only_way": 0.0}
    assert reasons_of(pd.Series(dry, dtype=object)).endswith("the road if it is shut")
