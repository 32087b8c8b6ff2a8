"""Rain and melt by the clock and the filling of a pond, against exact sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import hydrograph, runoff
from tests.published import published

CLOCK_S = np.arange(0, 86_401.0, 300.0)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("rain_fallen_fraction")
)
def test_rain_fallen_fraction_meets_source(inputs, expected, atol):
    ours = hydrograph.rain_fallen_fraction(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("melt_released_fraction")
)
def test_melt_released_fraction_meets_source(inputs, expected, atol):
    ours = hydrograph.melt_released_fraction(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("fallen", "peak"),
    [
        (hydrograph.rain_fallen_fraction, runoff.burst_intensity),
        (hydrograph.melt_released_fraction, runoff.melt_intensity),
    ],
)
@pytest.mark.parametrize("window_s", [600.0, 7200.0, 36_000.0, 60_000.0])
def test_the_highest_mean_of_the_course_is_the_peak_intensity(fallen, peak, window_s):
    """The two forms of one storm: by the clock, and its highest mean alone."""
    end_s = np.arange(0, 120_001.0, 60.0)
    within = fallen(end_s, 36_000.0) - fallen(end_s - window_s, 36_000.0)
    highest_m_s = 0.02 * within.max() / window_s
    assert_allclose(highest_m_s, peak(0.02, 36_000.0, window_s), rtol=1e-4)


@given(
    flow_m3s=st.floats(0.01, 10),
    outflow_m3s=st.floats(0, 10),
    room_m3=st.floats(1, 1e5),
)
def test_fill_time_of_a_steady_flow_is_room_over_excess(flow_m3s, outflow_m3s, room_m3):
    flow = np.full((1, len(CLOCK_S)), flow_m3s)
    time_s = hydrograph.fill_time(flow, CLOCK_S, outflow_m3s, room_m3)[0]
    excess_m3s = flow_m3s - outflow_m3s
    if excess_m3s <= 0 or room_m3 / excess_m3s > CLOCK_S[-1]:
        assert np.isnan(time_s)
    elif room_m3 / excess_m3s < CLOCK_S[-1] * (1 - 1e-9):
        assert_allclose(time_s, room_m3 / excess_m3s, rtol=1e-6)


def test_a_pond_that_drains_is_not_filled_by_an_older_flow():
    """100 m3 come, drain away, and 100 m3 come again: room for 150 m3 is enough."""
    flow_m3s = [[0.0, 2.0, 0.0, 0.0, 0.0, 2.0, 0.0]]
    clock_s = np.arange(7) * 50.0
    assert np.isnan(hydrograph.fill_time(flow_m3s, clock_s, 1.0, 150.0)[0])
    assert not np.isnan(hydrograph.fill_time(flow_m3s, clock_s, 0.0, 150.0)[0])


def test_more_room_and_more_outflow_make_it_later():
    flow_m3s = np.tile(np.minimum(CLOCK_S / 40_000, 1.0), (3, 1))
    by_room_s = hydrograph.fill_time(flow_m3s, CLOCK_S, 0.2, [10.0, 1e3, 1e4])
    by_outflow_s = hydrograph.fill_time(flow_m3s, CLOCK_S, [0.0, 0.3, 0.6], 1e3)
    assert (np.diff(by_room_s) > 0).all()
    assert (np.diff(by_outflow_s) > 0).all()


def test_missing_values_stay_missing():
    nan = np.nan
    assert np.isnan(hydrograph.rain_fallen_fraction([nan], 60.0)).all()
    assert np.isnan(hydrograph.melt_released_fraction([nan], 60.0)).all()
    flow_m3s = np.ones((3, len(CLOCK_S)))
    flow_m3s[0] = nan
    time_s = hydrograph.fill_time(flow_m3s, CLOCK_S, [0, nan, 0], [1, 1, nan])
    assert np.isnan(time_s).all()
