"""Flow over a DEM: analytic surfaces, a real DEM, and a second library."""

import matplotlib.cbook
import numpy as np
import pyflwdir
import pytest
import skimage.morphology
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.lib.stride_tricks import sliding_window_view
from numpy.testing import assert_allclose, assert_array_equal

from culvertrisk.terrain.downstream import path_heads
from culvertrisk.terrain.flow import (
    COL_STEP,
    NODATA,
    OUTLET,
    ROW_STEP,
    flow_field,
)
from tests.terrain_made import upstream

# Codes of the widely used D8 coding, in our order: E, SE, S, SW, W, NW, N, NE, outlet.
POWERS = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0], np.uint8)


@pytest.fixture(scope="module")
def real_m():
    """The DEM that comes with matplotlib: 344 x 403 cells of the Jacksboro fault."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.float32)


@pytest.fixture(scope="module")
def real_flow(real_m):
    return flow_field(real_m, 30.0)


def _powers(direction):
    codes = np.full(direction.shape, 247, np.uint8)  # no data in the D8 coding
    known = direction != NODATA
    codes[known] = POWERS[direction[known]]
    return codes


def _steepest(ground_m, row, col):
    """Fall to each neighbour over its distance; the code of the largest above 0."""
    falls = np.full(8, -np.inf)
    for code in range(8):
        r, c = row + ROW_STEP[code], col + COL_STEP[code]
        if 0 <= r < ground_m.shape[0] and 0 <= c < ground_m.shape[1]:
            distance = np.hypot(ROW_STEP[code], COL_STEP[code])
            falls[code] = (float(ground_m[row, col]) - float(ground_m[r, c])) / distance
    return falls


def test_plane_drains_straight_down():
    ramp_m = np.repeat(np.arange(20, 0, -1, dtype=np.float32)[:, None], 7, axis=1)
    flow = flow_field(ramp_m, 10.0)
    assert (flow.direction[:-1] == 2).all()
    assert_array_equal(flow.area_m2, np.outer(np.arange(1, 21), np.full(7, 100.0)))
    assert_allclose(flow.path_m[:, 3], np.arange(20) * 10.0)
    rows, cols = np.indices(ramp_m.shape).reshape(2, -1)
    head = path_heads(flow.direction, flow.path_m, 10.0, rows, cols)
    assert_array_equal(head[0], 0)
    assert_array_equal(head[1], cols)


def test_valley_gathers_both_sides():
    rows, cols = np.mgrid[0:12, -6:7]
    valley_m = (np.abs(cols) + 0.1 * (11 - rows)).astype(np.float32)
    flow = flow_field(valley_m, 5.0)
    assert_allclose(flow.area_m2[:, 6], 13 * 25.0 * np.arange(1, 13))
    # The longest path: down the top side (6 cells), then along the valley.
    assert_allclose(flow.path_m[-1, 6], (6 + 11) * 5.0)


def test_cone_drains_outwards_everywhere():
    rows, cols = np.mgrid[-15:16, -15:16]
    away = np.hypot(rows, cols)
    flow = flow_field((-away).astype(np.float32), 1.0)
    inner = flow.direction != OUTLET
    r, c = np.nonzero(inner)
    code = flow.direction[inner]
    assert (away[r + ROW_STEP[code], c + COL_STEP[code]] > away[inner]).all()
    assert_array_equal(flow.filled_m, (-away).astype(np.float32))


def test_bowl_fills_to_its_sill():
    bowl_m = np.full((9, 9), 10, np.float32)
    bowl_m[1:-1, 1:-1] = 2
    bowl_m[4, 8] = 7
    flow = flow_field(bowl_m, 1.0)
    assert_array_equal(flow.filled_m[1:-1, 1:-1], 7)
    mask = upstream(flow.direction, 4, 8)
    assert mask[1:-1, 1:-1].all()
    assert flow.area_m2[4, 8] == np.count_nonzero(mask)


def test_real_dem_loses_no_cell(real_m, real_flow):
    is_outlet = real_flow.direction == OUTLET
    assert_allclose(real_flow.area_m2[is_outlet].sum(), real_m.size * 900.0)
    # Every cell reaches exactly one outlet: the catchments of all outlets part the DEM.
    times = np.zeros(real_m.shape, np.int64)
    for row, col in np.argwhere(is_outlet):
        times += upstream(real_flow.direction, row, col)
    assert (times == 1).all()


def test_fill_equals_that_of_a_second_library(real_m, real_flow):
    filled_m, _ = pyflwdir.dem.fill_depressions(real_m, nodata=-9999.0, outlets="edge")
    assert_array_equal(real_flow.filled_m, filled_m)


def test_fill_equals_that_of_an_image_library(real_m, real_flow):
    """Filling is reconstruction by erosion from the edge (from memory)."""
    seed_m = np.full_like(real_m, real_m.max())
    seed_m[[0, -1]], seed_m[:, [0, -1]] = real_m[[0, -1]], real_m[:, [0, -1]]
    filled_m = skimage.morphology.reconstruction(
        seed_m, real_m, method="erosion", footprint=np.ones((3, 3))
    )
    assert_array_equal(real_flow.filled_m, filled_m)
    assert (real_flow.filled_m > real_m).any()


@given(arrays(np.float32, (8, 9), elements=st.integers(-3, 9).map(float)))
def test_fill_of_rough_ground_equals_that_of_an_image_library(ground_m):
    seed_m = np.full_like(ground_m, ground_m.max())
    seed_m[[0, -1]], seed_m[:, [0, -1]] = ground_m[[0, -1]], ground_m[:, [0, -1]]
    filled_m = skimage.morphology.reconstruction(
        seed_m, ground_m, method="erosion", footprint=np.ones((3, 3))
    )
    assert_array_equal(flow_field(ground_m, 1.0).filled_m, filled_m)


def test_directions_equal_those_of_a_third_library(real_m, real_flow):
    """Where no cell nearby is filled and one way down is the steepest."""
    sgrid = pytest.importorskip("pysheds.sgrid", reason="another D8, not installed")
    sview = pytest.importorskip("pysheds.sview")
    size_m = 30.0
    grid = Affine(size_m, 0, 0, 0, -size_m, size_m * len(real_m))
    view = sview.ViewFinder(affine=grid, shape=real_m.shape, nodata=np.float64(-9999))
    dem = sview.Raster(real_m.astype(np.float64), viewfinder=view)
    clockwise = (7, 8, 1, 2, 3, 4, 5, 6)  # from north; 1 is east, our 0
    found = sgrid.sGrid.from_raster(dem).flowdir(dem, dirmap=clockwise)
    inner = np.s_[1:-1, 1:-1]
    dry = sliding_window_view(real_flow.filled_m == real_m, (3, 3)).all(axis=(2, 3))
    around_m = sliding_window_view(real_m.astype(np.float64), (3, 3))[
        ..., 1 + ROW_STEP, 1 + COL_STEP
    ]
    away = np.hypot(ROW_STEP, COL_STEP)
    falls = np.sort((real_m[inner][..., None] - around_m) / away, axis=2)
    clear = dry & (falls[..., -1] > 0) & (falls[..., -1] > falls[..., -2] + 1e-9)
    assert np.count_nonzero(clear) > 100_000
    assert_array_equal(
        np.asarray(found)[inner][clear] - 1, real_flow.direction[inner][clear]
    )


def test_area_equals_that_of_a_second_library(real_flow):
    reference = pyflwdir.from_array(
        _powers(real_flow.direction), ftype="d8", check_ftype=False, latlon=False
    )
    assert_array_equal(reference.upstream_area(unit="cell"), real_flow.area_m2 / 900.0)


def test_direction_is_steepest_outside_fill(real_m, real_flow):
    generator = np.random.default_rng(1)
    lower = (real_flow.filled_m == real_m) & (real_flow.direction != OUTLET)
    cells = np.argwhere(lower)
    for row, col in generator.choice(cells, 2000, replace=False):
        falls = _steepest(real_flow.filled_m, row, col)
        if falls.max() > 0:
            chosen = falls[real_flow.direction[row, col]]
            assert chosen == pytest.approx(falls.max(), rel=1e-6)


@given(arrays(np.float32, (7, 9), elements=st.integers(-3, 9).map(float)))
def test_rough_ground_drains_without_a_loop(ground_m):
    flow = flow_field(ground_m, 1.0)
    assert (flow.filled_m >= ground_m).all()
    assert flow.area_m2[flow.direction == OUTLET].sum() == ground_m.size
    for row, col in np.ndindex(ground_m.shape):
        for _ in range(ground_m.size):
            code = flow.direction[row, col]
            if code == OUTLET:
                break
            below = row + ROW_STEP[code], col + COL_STEP[code]
            assert flow.filled_m[below] <= flow.filled_m[row, col]
            row, col = below
        assert flow.direction[row, col] == OUTLET


def test_unknown_ground_stays_unknown_and_lets_water_out():
    ground_m = np.full((9, 9), 5, np.float32)
    ground_m[4, 4] = np.nan
    ground_m[3, 4] = 1
    flow = flow_field(ground_m, 1.0)
    assert np.isnan(flow.area_m2[4, 4])
    assert flow.direction[4, 4] == NODATA
    assert flow.direction[3, 4] == OUTLET
    assert np.nansum(flow.area_m2[flow.direction == OUTLET]) == 80


def test_catchment_is_cut_only_where_it_touches_the_edge():
    rows, cols = np.mgrid[-20:21, -20:21]
    hill_m = (30 - np.hypot(rows, cols)).astype(np.float32)
    flow = flow_field(hill_m, 1.0)
    assert not flow.is_cut[20, 30]  # on the slope: its catchment is above it
    assert flow.is_cut[0].all()
    rising_m = np.repeat(np.arange(20, 0, -1, dtype=np.float32)[:, None], 7, axis=1)
    assert flow_field(rising_m, 1.0).is_cut.all()


def test_mask_holds_as_many_cells_as_the_area(real_flow):
    row, col = np.unravel_index(np.argmax(real_flow.area_m2), real_flow.area_m2.shape)
    mask = upstream(real_flow.direction, row, col)
    assert np.count_nonzero(mask) == real_flow.area_m2[row, col] / 900.0


def test_too_large_a_dem_is_refused():
    huge_m = np.broadcast_to(np.float32(0), (2**17, 2**16))
    with pytest.raises(ValueError, match=r"^a DEM of 8589934592 cells is too large"):
        flow_field(huge_m, 1.0)


def test_mean_slope_of_a_plane_is_its_fall_and_that_of_a_valley_the_mean():
    ramp_m = np.repeat(np.arange(20, 0, -1, dtype=np.float32)[:, None] * 2, 7, axis=1)
    flow = flow_field(ramp_m, 10.0)
    assert_allclose(flow.mean_slope[:-1], 0.2)
    # Last row: 19 cells fall by 0.2, the outlet itself has no fall.
    assert_allclose(flow.mean_slope[-1], 0.2 * 19 / 20, rtol=1e-6)


def test_mean_slope_is_the_mean_over_the_catchment(real_flow):
    code = np.minimum(real_flow.direction, 7)
    rows, cols = np.indices(code.shape)
    is_inner = real_flow.direction < OUTLET
    r, c = rows + ROW_STEP[code] * is_inner, cols + COL_STEP[code] * is_inner
    step_m = 30.0 * np.where(code % 2 == 1, np.sqrt(2.0), 1.0)
    own = (real_flow.filled_m - real_flow.filled_m[r, c]).astype(float) / step_m
    row, col = np.unravel_index(np.argmax(real_flow.area_m2), code.shape)
    mask = upstream(real_flow.direction, row, col)
    assert real_flow.mean_slope[row, col] == pytest.approx(own[mask].mean(), rel=1e-4)


def test_share_of_deep_fill_is_that_of_the_bowl():
    bowl_m = np.full((9, 9), 10, np.float32)
    bowl_m[1:-1, 1:-1] = 2
    bowl_m[4, 8] = 7
    flow = flow_field(bowl_m, 1.0)
    # 49 cells of the bowl lie 5 m under the sill; the sill's own cell is not filled.
    assert flow.deep_fraction[4, 8] == pytest.approx(49 / flow.area_m2[4, 8])
