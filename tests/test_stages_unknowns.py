"""Unknowns are spread over balanced combinations of their usual values."""

from itertools import combinations, product

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from culvertrisk.stages.unknowns import each_once, orthogonal_array, unknown_points

POINTS = np.array([[1.0, 2.0, 5.0]])


@pytest.mark.parametrize(("power", "columns"), [(1, 1), (2, 4), (3, 13)])
def test_every_pair_of_columns_holds_every_pair_of_levels_equally_often(power, columns):
    array = orthogonal_array(power)
    assert array.shape == (3**power, columns)
    for one, other in combinations(range(columns), 2):
        pairs = array[:, one] * 3 + array[:, other]
        assert (np.bincount(pairs, minlength=9) == 3**power // 9).all()


@pytest.mark.parametrize("count", range(1, 9))
def test_mean_is_that_of_all_combinations_where_unknowns_act_in_pairs(count):
    names = [f"x{number}" for number in range(count)]

    def effect(x):
        alone = sum((k + 1) * x[k] ** 2 for k in range(count))
        return alone + sum(x[i] * x[j] for i, j in combinations(range(count), 2))

    spread = unknown_points(
        {name: np.array([np.nan]) for name in names}, dict.fromkeys(names, POINTS)
    )
    ours = np.sum(spread.weight * effect([spread.values[name] for name in names]))
    every = np.array([*product(POINTS[0], repeat=count)]).T
    assert_allclose(ours, np.mean(effect([*every])))


def test_known_values_stay_and_each_crossing_keeps_its_own_count():
    nan = np.nan
    values = {"a": np.array([7.0, nan, nan]), "b": np.array([8.0, 9.0, nan])}
    points = {name: np.repeat(POINTS, 3, axis=0) for name in values}
    spread = unknown_points(values, points)
    assert np.bincount(spread.owner).tolist() == [1, 3, 9]
    assert_allclose(np.bincount(spread.owner, weights=spread.weight), 1)
    assert spread.values["b"][spread.owner == 1].tolist() == [9.0, 9.0, 9.0]


def test_alike_crossings_are_run_once_and_each_finds_its_row():
    values = {"a": np.array([1.0, np.nan, 1.0, np.nan, 1.0])}
    points = {"a": np.array([[1.0, 2.0, 3.0]] * 5)}
    spread = unknown_points(values, points)
    few, row = each_once(spread, np.array([4, 7, 4, 7, -1]))
    assert len(few.owner) == 1 + 3 + 1
    assert_array_equal(few.values["a"][row], spread.values["a"])
    apart, row = each_once(spread, np.full(5, -1))
    assert_array_equal(apart.owner, spread.owner)
    assert_array_equal(row, np.arange(len(spread.owner)))


def test_crossings_of_one_label_that_differ_are_refused():
    points = {"a": np.array([[1.0, 2.0, 3.0]] * 2)}
    spread = unknown_points({"a": np.array([1.0, 2.0])}, points)
    with pytest.raises(ValueError, match=r"^crossings of one label differ in a$"):
        each_once(spread, np.zeros(2, dtype=np.intp))
