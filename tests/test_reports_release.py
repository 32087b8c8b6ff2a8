"""What the sheets say of the next crossing where it is unknown or itself shut."""

import numpy as np
import pandas as pd
import pytest

from culvertrisk.reports.release import release_dangers
from culvertrisk.tables import table
from tests import report_fixture, water_fixture


def _shut_from():
    """The chance from which on the crossing below is told as likely shut."""
    rows = table("flood_defaults").set_index("name")
    return float(rows.loc["likely_shut_chance", "value"])


def _pair(**other):
    """A1 drains to B2, which is open and has room for what A1 lets go."""
    columns = {
        "downstream_id": ["B2", ""],
        "road_name": ["Harn Hill", "Norrick Lane"],
        "blocked_chance": [0.9, 0.1],
        "pond_depth_m": [0.0, 0.0],
        "held_release_m3s": [0.41, np.nan],
        "held_release_flooded_chance": [0.1, np.nan],
    }
    return pd.DataFrame(columns | other, index=["A1", "B2"])


def _told(**other):
    return release_dangers(_pair(**other))[0].metric


def test_nothing_is_told_of_an_open_crossing_with_room_below():
    assert _told() == ""


def test_where_the_one_below_is_unknown_the_crew_takes_it_that_its_road_floods():
    assert _told(held_release_flooded_chance=np.nan) == (
        "Opened it may send up to 0.4 m³/s to B2. Whether B2 passes that is not known: "
        "take it that the road at B2 (Norrick Lane) floods; make sure nobody is on it."
    )


def test_where_this_pipe_is_unknown_the_one_below_is_not_called_so():
    told = _told(held_release_flooded_chance=np.nan, held_release_m3s=np.nan)
    assert told == (
        "Opened it may send water to B2. How much is not known: take it that the road "
        "at B2 (Norrick Lane) floods; make sure nobody is on it."
    )


def test_a_shallow_pond_is_told_with_an_unknown_release():
    told = _told(held_release_flooded_chance=np.nan, pond_depth_m=0.31)
    assert told.startswith("Pond above: up to 0.3 m deep; opened it may send up to")


@pytest.mark.parametrize("chance", [0.1, np.nan])
@pytest.mark.parametrize(
    "nothing",
    [
        {"held_release_m3s": 0.0},
        {"held_release_m3s": np.nan, "today_runoff_m3": 0.0},
        {"crossing_kind": ["bridge", "cross"]},
        {"crossing_kind": ["ford", "cross"]},
        {"downstream_id": ""},
        {"downstream_id": "not listed"},
    ],
)
def test_nothing_is_told_where_nothing_is_let_go(nothing, chance):
    shut = {"blocked_chance": 0.9, "held_release_flooded_chance": chance}
    assert _told(**(shut | nothing)) == ""


def test_a_bridge_below_has_no_size_that_could_be_unknown():
    kinds = ["cross", "bridge"]
    assert _told(held_release_flooded_chance=np.nan, crossing_kind=kinds) == ""
    kinds = ["cross", "ford"]
    assert _told(held_release_flooded_chance=np.nan, crossing_kind=kinds) != ""


def test_a_shut_pipe_below_is_opened_first_although_open_it_would_have_room():
    assert _told(blocked_chance=[0.9, 0.71]) == (
        "B2 (Norrick Lane) below is likely shut: open it first or its road may flood."
    )


def test_a_pipe_below_is_told_as_shut_from_the_named_chance_on():
    assert _told(blocked_chance=[0.9, _shut_from()]) != ""
    assert _told(blocked_chance=[0.9, np.nextafter(_shut_from(), 0)]) == ""
    assert _told(blocked_chance=np.nan) == ""


@pytest.mark.parametrize(
    ("chance", "end"),
    [
        (0.7, "nobody is on the road there. B2 below is likely shut."),
        (
            np.nan,
            "nobody is on it. B2 below is likely shut: open it first or its road may "
            "flood.",
        ),
    ],
)
def test_a_shut_pipe_is_told_with_a_flood_below_and_its_place_once(chance, end):
    told = _told(blocked_chance=0.9, held_release_flooded_chance=chance)
    assert told.endswith(end)
    assert told.count("Norrick Lane") == 1


def test_a_small_release_is_not_told_as_none():
    small_m3s = 0.003
    (told, _) = release_dangers(
        _pair(held_release_m3s=small_m3s, held_release_flooded_chance=np.nan)
    )
    assert "up to 0.1 m³/s" in told.metric
    assert "up to 4 ft³/s" in told.us


def test_an_unknown_release_is_told_on_a_map_with_places():
    crossings = water_fixture.with_water(report_fixture.crossings())
    crossings["held_release_flooded_chance"] = np.nan
    told = dict(zip(crossings.index, release_dangers(crossings), strict=True))
    assert "take it that the road at O5 (Ossel Mill Road, 47." in told["H1"].us
    assert "0.8 mi E of here) floods" in told["H1"].us
