"""Cells counted by class in catchments, against the masks of the catchments."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from culvertrisk.terrain.flow import flow_field
from culvertrisk.terrain.weighted import catchment_counts
from tests.terrain_made import upstream


@pytest.mark.parametrize("seed", range(5))
def test_counts_are_those_of_each_catchments_mask(seed):
    """Nested, repeated and missing outlets on rough ground with a hole in it."""
    random = np.random.default_rng(seed)
    ground_m = random.uniform(0, 30, (40, 50)).astype(np.float32)
    ground_m[:5, :7] = np.nan
    flow = flow_field(ground_m, 10.0)
    largest = np.argsort(-np.nan_to_num(flow.area_m2).ravel())[:12]
    row, col = np.unravel_index(largest, ground_m.shape)
    row, col = np.append(row, [row[0], -1]), np.append(col, [col[0], -1])
    classes = random.integers(0, 5, ground_m.shape).astype(np.uint8)
    counts = catchment_counts(flow.direction, row, col, classes, 4)
    for found, r, c in zip(counts[:-1], row, col, strict=False):
        inside = classes[upstream(flow.direction, r, c)]
        assert_array_equal(found, np.bincount(inside, minlength=5)[:4])
    assert_array_equal(counts[-1], 0)
    assert counts[0].sum() > 10


def test_no_outlets_give_no_counts():
    none = np.empty(0, np.int64)
    flow = flow_field(np.ones((3, 3), np.float32), 10.0)
    classes = np.zeros((3, 3), np.uint8)
    assert catchment_counts(flow.direction, none, none, classes, 2).shape == (0, 2)
