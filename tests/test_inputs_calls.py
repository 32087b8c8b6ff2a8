"""Calls are read as they stand and matched with a word of confidence."""

import geopandas as gpd
import pytest

from culvertrisk.checks import InputError
from culvertrisk.inputs.calls import read_calls
from culvertrisk.inputs.road_names import road_key
from culvertrisk.plans.call_list import match_calls
from culvertrisk.settings import Reading


@pytest.fixture
def crossings():
    return gpd.GeoDataFrame(
        {
            "road_name": ["Norrick Lane", "Norrick Ln", "Hendle Dead End Rd"],
            "loss_avoided_person_h": [1.0, 5.0, 2.0],
        },
        index=["N4", "N7", "H1"],
        geometry=gpd.points_from_xy([0, 1, 2], [0, 0, 0]),
    )


def _file(tmp_path, text):
    path = tmp_path / "calls.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_calls_are_matched_to_the_pipe_they_name_or_the_worst_of_the_road(
    tmp_path, crossings
):
    path = _file(
        tmp_path,
        "time,road,place,caller,seen\n"
        "07:25,Norrick Lane,,resident,ice on road in shade\n"
        "08:00,Norrick Lane,by N4,resident,water\n"
        "08:10,,hendle dead end road,resident,pond\n"
        "late,Elsewhere Rd,,driver,slush\n",
    )
    reading = read_calls(path, Reading())
    matched = match_calls(reading.table, crossings)
    assert matched["culvert_id"].tolist() == ["N7", "N4", "H1", ""]
    assert matched["match"].tolist() == ["likely", "named", "likely", "unknown road"]
    assert reading.notes["found"].tolist() == ["late"]


def test_calls_without_a_place_are_refused_with_a_remedy(tmp_path):
    with pytest.raises(InputError) as caught:
        read_calls(_file(tmp_path, "a,b\n1,2\n"), Reading())
    assert caught.value.problems == (
        "calls.csv: file must have a column 'road' or 'place', got columns a, b. "
        "Rename the column or set calls.columns.road_name.",
    )


def test_missing_calls_are_refused(tmp_path):
    with pytest.raises(InputError, match=r"calls\.csv: file must be a readable CSV"):
        read_calls(tmp_path / "calls.csv", Reading())


def test_road_key_keeps_different_roads_apart():
    assert road_key("Hill Rd") != road_key("Mill Rd")
