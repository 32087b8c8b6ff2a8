"""Streams matched with crossings, one to one, on a made-up valley."""

import numpy as np
import pandas as pd
from numpy.testing import assert_array_equal

from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.streams import NO_STREAM, STREAM_M2, nearest_each, road_mask
from tests.terrain_made import COLS, crossings, road, valley


def _rows(**east_m):
    """Copies of the point on the road, each moved east by so many metres."""
    point = crossings().loc[["point"]].assign(crossing_kind="cross")
    parts = [
        point.set_geometry(point.translate(xoff=moved)) for moved in east_m.values()
    ]
    table = pd.concat(parts)
    table.index = pd.Index([*east_m], name="culvert_id", dtype=object)
    return table


def _site(table):
    return add_site(table, valley(), site_flow(table, valley(), road()))


def test_stream_belongs_to_the_nearest_crossing_alone():
    done = _site(_rows(relief=33.0, brook=3.0, far=75.0))
    area_m2 = done["catchment_m2"]
    assert area_m2["brook"] > STREAM_M2
    assert (area_m2[["relief", "far"]] < STREAM_M2).all()
    assert done["stream_note"].to_dict() == {
        "brook": "",
        "relief": "the stream near is that of brook: a relief pipe or a wrong place",
        "far": NO_STREAM,
    }


def test_barrels_side_by_side_share_their_stream():
    area_m2 = _site(_rows(left=-2.0, right=2.0))["catchment_m2"]
    assert area_m2["left"] == area_m2["right"] > STREAM_M2


def test_pipe_under_a_driveway_takes_no_stream_from_the_road():
    table = _rows(drive=0.0, brook=20.0)
    table.loc["drive", "crossing_kind"] = "driveway"
    done = _site(table)
    assert done.loc["brook", "stream_note"] == ""
    assert done.loc["drive", "stream_note"] == ""


def test_point_far_from_a_stream_says_so_and_outside_says_nothing():
    table = crossings().assign(crossing_kind="cross")
    assert _site(table).loc["far", "stream_note"] == ""


def test_first_to_choose_takes_the_nearest_free_place():
    places = np.array([[0.0, 0.0], [0.0, 3.0], [np.nan, 0.0]])
    wanting = np.array([[0.0, 1.0], [0.0, 0.0], [0.0, 9.0]])
    assert_array_equal(nearest_each(wanting, places, 4.0), [0, 1, -1])
    assert_array_equal(nearest_each(wanting[:0], places, 4.0), [-1, -1, -1])


def test_road_lets_no_diagonal_through():
    mask = road_mask(valley(), road())
    assert mask[60].all()
    assert mask.sum(axis=0).min() >= 5  # 2 x (6 + 3) m on cells of 3 m
    assert not mask[50].any()
    assert mask.shape[1] == COLS
    assert not road_mask(valley(), road().iloc[:0]).any()
