"""Shapley shares against games whose answer is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose

from culvertrisk.formulas import shares
from tests.published import published


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("shapley_shares"))
def test_shapley_shares_meets_source(inputs, expected, atol):
    answer = shares.shapley_shares(inputs["coalition_values"])
    share = answer[int(inputs["group"])]
    assert_allclose(share, expected, rtol=0, atol=atol)


@given(arrays(float, (16, 3), elements=st.floats(-100, 100)))
def test_shapley_shares_add_up_to_the_whole_difference(values):
    total = shares.shapley_shares(values).sum(axis=0)
    assert_allclose(total, values[-1] - values[0], atol=1e-9)


def test_shapley_shares_keeps_missing_values_missing():
    values = np.array([[0.0, np.nan], [1.0, 1.0], [1.0, 1.0], [2.0, 2.0]])
    assert np.isnan(shares.shapley_shares(values)[:, 1]).all()
