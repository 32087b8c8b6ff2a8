"""Calls are read as they stand and matched with a word of confidence."""

import geopandas as gpd
import pandas as pd
import pytest

from culvertrisk.checks import InputError
from culvertrisk.inputs.calls import read_calls
from culvertrisk.inputs.culverts import read_culverts
from culvertrisk.inputs.road_names import road_key
from culvertrisk.pipeline import demo_folder
from culvertrisk.plans.call_list import match_calls
from culvertrisk.settings import Reading, read_settings
from culvertrisk.units import clock


@pytest.fixture
def crossings():
    return gpd.GeoDataFrame(
        {
            "road_name": ["Norrick Lane", "Norrick Ln", "Hendle Dead End Rd"],
            "crossing_kind": "cross",
            "loss_avoided_person_h": [1.0, 5.0, 2.0],
        },
        index=["N4", "N7", "H1"],
        geometry=gpd.points_from_xy([0, 1, 2], [0, 0, 0]),
    )


def _file(tmp_path, text):
    path = tmp_path / "calls.csv"
    path.write_text(text, encoding="utf-8")
    return path


def _matched(tmp_path, crossings, text, log=None):
    reading = read_calls(_file(tmp_path, text), Reading())
    return match_calls(reading.table, crossings, log), reading.notes


def test_calls_are_matched_to_the_pipe_they_name_else_the_road_is_asked_back(
    tmp_path, crossings
):
    matched, notes = _matched(
        tmp_path,
        crossings,
        "time,road,place,caller,seen\n"
        "07:25,Norrick Lane,,resident,ice on road in shade\n"
        "08:00,Norrick Lane,by N4,resident,water\n"
        "08:10,,hendle dead end road,resident,pond\n"
        "late,Elsewhere Rd,,driver,slush\n",
    )
    assert matched["culvert_id"].tolist() == ["", "N4", "H1", ""]
    assert matched["match"].tolist() == ["road", "named", "only one", "unknown road"]
    assert matched["likeliest"].tolist() == ["N7, N4", "", "", ""]
    assert notes["found"].tolist() == ["late"]


def test_a_place_in_the_remarks_goes_before_the_costliest_pipe_of_the_road(
    tmp_path, crossings
):
    noted = crossings.assign(note=["old mill pond", "holds water", "red barn"])
    matched, _ = _matched(
        tmp_path,
        noted,
        "time,road,place,seen\n"
        "04:10,Norrick Lane,by the old mill pond,water over the road\n"
        "05:00,Norrick Lane,at the pond,it holds water\n"
        "06:00,Norrick Lane,by the red barn,slush\n",
    )
    # "pond" alone is one word of three, and the barn stands on another road
    assert matched["culvert_id"].tolist() == ["N4", "", ""]
    assert matched["match"].tolist() == ["note", "road", "road"]


def test_a_mile_is_placed_where_the_log_counts_it(tmp_path):
    along = gpd.GeoDataFrame(
        {
            "road_name": "Pellard Trunk 11",
            "crossing_kind": "cross",
            "loss_avoided_person_h": [90.0, 3.0, 2.0, 1.0],
        },
        index=["P1", "P2", "P3", "P4"],
        geometry=gpd.points_from_xy([1609, 3219, 4828, 6437], [0, 0, 0, 0]),
    )
    log = pd.DataFrame(
        {
            "culvert_id": ["P1", "P4", "P2"],
            "place": [f"Pellard Trunk 11 {w}" for w in ("mile 1", "mile 4", "the elm")],
        }
    )
    matched, _ = _matched(
        tmp_path,
        along,
        "time,road,place,seen\n"
        '08:15,Pellard Trunk 11,mile about 3.0,"shoulder soft, crack seen"\n'
        "08:20,Pellard Trunk 11,by the elm,slush\n",
        log,
    )
    assert matched["culvert_id"].tolist() == ["P3", "P2"]
    assert matched["match"].tolist() == ["mile", "note"]
    assert matched["is_danger"].tolist() == [True, False]


@pytest.mark.parametrize(
    ("seen", "is_danger"),
    [
        ("cracks in the edge", True),
        ("soft shoulder", True),
        ("road has sunk a foot", True),
        ("hollow under the edge", True),
        ("water is running over the road", True),
        ("ditch full both sides", False),
        ("asks whether the road is open", False),
    ],
)
def test_words_of_a_failing_road_are_told_from_others(
    tmp_path, crossings, seen, is_danger
):
    matched, _ = _matched(
        tmp_path, crossings, f"road,place,seen\nNorrick Lane,,{seen}\n"
    )
    assert matched["is_danger"].tolist() == [is_danger]


@pytest.mark.slow
def test_calls_of_the_demo_go_to_the_pipes_their_places_are_noted_at():
    settings = read_settings(demo_folder() / "town.toml")
    crossings = read_culverts(
        settings.path("culverts"), settings.culverts, settings.town.crs
    ).table.assign(loss_avoided_person_h=1.0)
    calls = read_calls(settings.path("calls"), settings.calls).table
    matched = match_calls(calls, crossings).set_index("call_s")["culvert_id"]
    pinned = {clock(at): name for at, name in matched.items() if name}
    assert pinned == {
        "04:10": "O5",
        "04:55": "TT32",
        "05:05": "H1",
        "06:45": "HHd6",
        "07:02": "HHd6",
        "08:05": "B11",
        "08:15": "P3.4",
        "08:55": "Sd1",
    }


def test_calls_without_a_place_are_refused_with_a_remedy(tmp_path):
    with pytest.raises(InputError) as caught:
        read_calls(_file(tmp_path, "a,b\n1,2\n"), Reading())
    assert caught.value.problems == (
        "calls.csv: file must have a column 'road' or 'place', got columns a, b. "
        "Rename the column or set calls.columns.road_name.",
    )


def test_a_header_without_a_row_is_a_morning_without_calls(tmp_path):
    reading = read_calls(_file(tmp_path, "time,road,place,seen\n"), Reading())
    assert reading.table.empty
    assert [*reading.table.columns] == [
        "call_s",
        "caller",
        "road_name",
        "place",
        "seen",
    ]
    assert reading.notes.empty


def test_calls_of_an_office_sheet_are_read_with_its_clock_titles_and_total(tmp_path):
    text = (
        "Calls of 25 February\n\ntime;road;seen;count\n7:25 AM;Norrick Lane;slush;1\n"
        "0805;Norrick Lane;water, rising;2\n2024-02-25 13:05:00;Norrick Lane;pond;1\n"
        "7.30;Norrick Lane;ice;1\nTotal;;;5\n"
    )
    reading = read_calls(_file(tmp_path, text), Reading())
    hours = (reading.table["call_s"] / 3600).round(3).tolist()
    assert hours[:3] == [7.417, 8.083, 13.083]
    assert len(reading.table) == 4
    told = reading.notes.loc[reading.notes["row"] > 0, ["found", "understood"]]
    assert told.to_numpy().tolist() == [
        ["only time, count", "left out: no road, place or words"],
        ["7.30", "time unknown"],
    ]


def test_missing_calls_are_refused(tmp_path):
    with pytest.raises(
        InputError, match=r"calls\.csv: file must exist, got no such file"
    ):
        read_calls(tmp_path / "calls.csv", Reading())


def test_road_key_keeps_different_roads_apart():
    assert road_key("Hill Rd") != road_key("Mill Rd")
