"""Culverts cut through embankments, on a valley with a road dam across it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from culvertrisk.terrain.carve import carve
from culvertrisk.terrain.flow import flow_field

REACH = np.array([4.0])


@pytest.fixture
def dammed_m():
    """A valley falling down the rows, and a dam at 11 m over rows 18 to 22."""
    rows, cols = np.mgrid[0:40, -10:11]
    valley_m = 0.5 * np.abs(cols) + 0.3 * (40 - rows)
    valley_m[18:23] = np.maximum(valley_m[18:23], 11.0)
    return valley_m.astype(np.float32)


def test_dam_without_a_culvert_fills_the_valley(dammed_m):
    flow = flow_field(dammed_m, 3.0)
    assert flow.filled_m[17, 10] - dammed_m[17, 10] > 2


@pytest.mark.parametrize("ends", [(18, 10, 22, 10), (22, 10, 18, 10), (19, 11, 21, 9)])
def test_cut_lets_the_whole_valley_through(dammed_m, ends):
    cut = carve(dammed_m, np.array([ends], float), REACH)
    flow = flow_field(cut.elevation_m, 3.0)
    assert cut.is_carved.all()
    assert flow.filled_m[17, 10] - cut.elevation_m[17, 10] < 0.01
    # 18 rows of 21 cells above the dam, and what the dam itself sheds to the cut.
    assert flow.area_m2[23:26, 9:12].max() / 9.0 >= 18 * 21


def test_ends_are_pushed_off_the_embankment(dammed_m):
    cut = carve(dammed_m, np.array([[18.0, 10.0, 22.0, 10.0]]), REACH)
    assert not 18 <= cut.first_row[0] <= 22
    assert not 18 <= cut.second_row[0] <= 22


def test_input_stays_as_it_was(dammed_m):
    before_m = dammed_m.copy()
    carve(dammed_m, np.array([[18.0, 10.0, 22.0, 10.0]]), REACH)
    assert_array_equal(dammed_m, before_m)


def test_unknown_end_is_not_cut(dammed_m):
    ends = np.array([[np.nan, 10.0, 22.0, 10.0], [-90.0, 10.0, -80.0, 10.0]])
    cut = carve(dammed_m, ends, np.array([4.0, 4.0]))
    assert not cut.is_carved.any()
    assert_array_equal(cut.elevation_m, dammed_m)


@given(*[st.floats(-5, 45) for _ in range(4)], st.floats(0.5, 6))
def test_cut_never_raises_ground(row, col, far_row, far_col, reach):
    ground_m = np.random.default_rng(3).uniform(0, 9, (40, 40)).astype(np.float32)
    cut = carve(ground_m, np.array([[row, col, far_row, far_col]]), np.array([reach]))
    assert (cut.elevation_m <= ground_m).all()
    assert cut.elevation_m.min() >= ground_m.min() - 1e-5
