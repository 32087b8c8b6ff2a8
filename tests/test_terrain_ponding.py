"""Ponds against exact bodies, a second library's fill, and what must always hold."""

import numpy as np
import pyflwdir
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.testing import assert_allclose

from culvertrisk.terrain.ponding import fill_ponds, lowest_starts, pond_cells
from culvertrisk.terrain.rising import (
    AT_EDGE,
    AT_ROAD,
    EXIT,
    SPILLS,
    TOO_LARGE,
    UNKNOWN,
    WALL,
    PondMarks,
    PondStarts,
)
from culvertrisk.terrain.sag import road_sags

CELL_M = 1.0


def _start(row, col, full_m):
    return PondStarts(np.array([row]), np.array([col]), np.array([float(full_m)]))


def _marks(*cells):
    """One pond's marks, each (row, column, kind, road elevation)."""
    row, col, kind, road_m = np.array(cells, float).reshape(-1, 4).T
    first = np.array([0, len(row)])
    return PondMarks(
        first, row.astype(np.int64), col.astype(np.int64),
        kind.astype(np.uint8), road_m.astype(np.float32),
    )  # fmt: skip


def _fill(ground_m, start, marks=None, cell_m=CELL_M, stage_count=9):
    return fill_ponds(
        ground_m.astype(np.float32), start, marks or _marks(),
        cell_m=cell_m, stage_count=stage_count,
    )  # fmt: skip


def _box(depth_m=3.0):
    """A pit of 4 by 6 cells with upright sides, in ground at its depth."""
    ground_m = np.full((20, 20), depth_m)
    ground_m[8:12, 5:11] = 0
    return ground_m


def test_a_box_holds_its_area_times_the_stage():
    ponds = _fill(_box(), _start(9, 7, 2), cell_m=5.0)
    assert ponds.end[0] == AT_ROAD
    assert_allclose(ponds.stage_m[0], np.linspace(0, 2, 9))
    assert_allclose(ponds.area_m2[0, 1:], 24 * 25)
    assert_allclose(ponds.volume_m3[0], 24 * 25 * np.linspace(0, 2, 9))
    assert ponds.box[0].tolist() == [8, 11, 5, 10]


def test_a_cone_holds_a_third_of_base_times_depth():
    """V = pi r^2 h / 3, with r = h / 0.1: exact to the ring of cells at the shore."""
    rows, cols = np.mgrid[-150:151, -150:151]
    ponds = _fill(0.1 * np.hypot(rows, cols), _start(150, 150, 12.0))
    stage_m = ponds.stage_m[0, 1:]
    assert_allclose(ponds.volume_m3[0, 1:], np.pi * 100 * stage_m**3 / 3, rtol=0.01)
    # A circle on cells is off by a share of the cells on its shore.
    shore_m2 = 2 * np.pi * 10 * stage_m * CELL_M
    area_m2 = np.pi * (10 * stage_m) ** 2
    assert (np.abs(ponds.area_m2[0, 1:] - area_m2) <= shore_m2 / 2).all()


def test_a_v_valley_behind_a_dam_holds_a_tetrahedron():
    """Sides 1 : 5, bed 2 %, dam upright: V = h^3 / (3 * 0.2 * 0.02), A = h^2 / (ms)."""
    rows, cols = np.mgrid[0:300, 0:101]
    dam = 280
    # The bed's zero lies on the dam's upstream face, half a cell below row 279.
    ground_m = 0.2 * np.abs(cols - 50) + 0.02 * (dam - 0.5 - rows)
    ground_m[dam] = 9
    ponds = _fill(ground_m, _start(dam - 1, 50, 4.0), stage_count=5)
    assert ponds.end[0] == AT_ROAD
    depth_m = ponds.stage_m[0]
    assert_allclose(depth_m[-1], 4.0)
    expected_m3 = depth_m**3 / (3 * 0.2 * 0.02)
    assert_allclose(ponds.volume_m3[0, 2:], expected_m3[2:], rtol=0.01)
    assert_allclose(ponds.area_m2[0, 2:], depth_m[2:] ** 2 / (0.2 * 0.02), rtol=0.03)


def test_the_flood_is_as_wide_as_a_second_librarys_fill():
    rows, cols = np.mgrid[0:61, 0:61]
    ground_m = (0.02 * ((rows - 30) ** 2 + (cols - 30) ** 2)).astype(np.float32)
    ground_m[30, 31:] = np.linspace(0.02, 5.0, 30)  # the one way out, at 5 m
    ground_m[29:32, 58:] = 5.0
    filled_m, _ = pyflwdir.dem.fill_depressions(ground_m, nodata=-9999.0)
    ground_m = np.pad(ground_m, ((3, 3), (3, 40)), constant_values=99)
    ground_m[33, 64:100] = -1  # below the inlet: elsewhere
    ponds = _fill(ground_m, _start(33, 33, 50.0))
    assert ponds.end[0] == SPILLS
    wet = filled_m > ground_m[3:64, 3:64]
    assert_allclose(ponds.level_m[0], filled_m[wet].max())
    assert ponds.area_m2[0, -1] == wet.sum() * CELL_M**2
    depth_m = (filled_m - ground_m[3:64, 3:64]).astype(float)
    assert_allclose(ponds.volume_m3[0, -1], depth_m.sum(), rtol=1e-6)
    found = pond_cells(ground_m, _start(33, 33, 50.0), _marks(), CELL_M, 0)
    assert set(zip(*found, strict=True)) == set(
        zip(*(np.nonzero(wet)[k] + 3 for k in (0, 1)), strict=True)
    )


def test_water_stops_at_a_road_the_dem_does_not_show():
    ground_m = np.full((20, 40), 9.0)
    ground_m[10, 2:38] = np.linspace(2, 0, 36)
    road = [(row, 20, WALL, 3.0 if row == 10 else 9.0) for row in range(20)]
    ponds = _fill(ground_m, _start(10, 19, 50), _marks(*road))
    assert ponds.end[0] == AT_ROAD
    assert ponds.level_m[0] == 3.0
    assert ponds.over[0].tolist() == [10, 20]
    assert ponds.area_m2[0, -1] == 18


def test_another_pipe_takes_what_reaches_it():
    ground_m = _box(9.0)
    ground_m[9, 10:15] = 1.5  # a ditch to the other pipe
    ponds = _fill(ground_m, _start(9, 7, 5), _marks((9, 14, EXIT, np.nan)))
    assert ponds.end[0] == SPILLS
    assert ponds.level_m[0] == 1.5
    assert ponds.area_m2[0, -1] == 23  # one of the box's cells is the ditch's


def test_a_hollow_behind_a_saddle_fills_and_is_no_spill():
    ground_m = _box(9.0)
    ground_m[9, 11] = 2.0  # saddle
    ground_m[9, 12:14] = 1.0  # hollow, not below the inlet
    ponds = _fill(ground_m, _start(9, 7, 4), stage_count=5)
    assert ponds.end[0] == AT_ROAD
    # 24 cells to 2 m, then the saddle and both cells of the hollow as well.
    assert_allclose(ponds.volume_m3[0], [0, 24, 48, 72 + 1 + 4, 96 + 2 + 6])


@pytest.mark.parametrize(
    ("row", "full_m", "end"),
    [(9, np.nan, UNKNOWN), (-1, 2.0, UNKNOWN), (9, 4.0, AT_EDGE)],
)
def test_what_is_not_known_stays_unknown(row, full_m, end):
    ponds = _fill(_box(), _start(row, 7, full_m))
    assert ponds.end[0] == end
    assert np.isnan(ponds.volume_m3).all()
    assert len(pond_cells(_box().astype(np.float32), _start(row, 7, full_m), _marks(),
                          CELL_M, 0)[0]) == 0  # fmt: skip


def test_a_lake_is_told_from_a_pond():
    assert _fill(np.zeros((300, 300)), _start(150, 150, 1.0), cell_m=10).end[0] == (
        TOO_LARGE
    )


def test_ponds_do_not_see_the_marks_of_others():
    starts = PondStarts(np.array([9, 9]), np.array([7, 7]), np.array([2.0, 2.0]))
    one = _marks((9, 8, WALL, 1.0))
    marks = one._replace(first=np.array([0, 1, 1]))
    ponds = _fill(_box(), starts, marks)
    assert ponds.level_m.tolist() == [1.0, 2.0]


@settings(max_examples=25, deadline=None)
@given(
    arrays.arrays(np.float32, (9, 9), elements=st.integers(0, 40)),
    st.floats(0.5, 60),
)
def test_more_stage_never_means_less_water(ground_m, full_m):
    ponds = _fill(np.pad(ground_m, 2, constant_values=99), _start(6, 6, full_m))
    if ponds.end[0] in (AT_ROAD, SPILLS):
        assert (np.diff(ponds.area_m2[0]) >= 0).all()
        assert (np.diff(ponds.volume_m3[0]) >= 0).all()
        top, bottom, left, right = ponds.box[0]
        assert ponds.area_m2[0, -1] <= (bottom - top + 1) * (right - left + 1)


def test_a_pond_begins_at_the_low_place_beside_the_mapped_inlet():
    ground_m = np.full((20, 40), 9.0, np.float32)
    ground_m[10, 2:38] = np.linspace(2, 0, 36)  # falls east, under the road
    road = [(row, 20, WALL, 9.0) for row in range(20)]
    start = _start(10, 12, 9.0)
    for reach_cells, col in ((30.0, 19), (4.0, 16), (0.0, 12)):
        found = lowest_starts(ground_m, start, _marks(*road), reach_cells)
        assert [*map(int, found[0]), *map(int, found[1])] == [10, col]
    ground_m[10, 14] = 5.0  # a climb in between
    assert lowest_starts(ground_m, start, _marks(*road), 30.0)[1] == 13
    assert lowest_starts(ground_m, _start(-1, -1, 9.0), _marks(), 30.0)[0] == -1
    ground_m[:, 13] = np.nan  # the data ends
    assert lowest_starts(ground_m, start, _marks(*road), 30.0)[1] == 12


def test_road_sag_lies_between_the_next_crests():
    road_m = np.array(
        [
            [1.0, 8, 6, 5, 5.2, 5.1, 7, 9, 2],  # in a dip: the low place beside it
            [1.0, 3, 9, 8, 7, 6, 5, 8, 4],  # on a grade: down it, not over the crest
            [5.0, 6, 7, 8, 9, 8.9, 8.8, 9, 9],  # on a hump, falling to the road's end
            [np.nan, 4, 5, 6, 7, 8, np.nan, 1, 1],  # no farther than it is known
            [7.0, 7, 7, 7, np.nan, 1, 1, 1, 1],
        ]
    )
    sag, crests = road_sags(road_m, 0.3)
    assert sag.tolist() == [3, 6, 0, 1, -1]
    assert crests.tolist() == [[1, 7], [2, 7], [-1, -1], [-1, -1], [-1, -1]]
