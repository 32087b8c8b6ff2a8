"""Routing through a pond: a printed example, mass, bounds and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas.level_pool import (
    level_pool,
    outflow_of_storage,
    overtopping_factor,
)

FOOT3_M3 = 0.028316846592
# Chow, Maidment and Mays, Applied Hydrology, 1988, examples 8.2.1 and 8.2.2, from
# memory: a pond of one acre with upright sides, drained by a 5 ft pipe; cfs, 10 min
RATING_CFS = "0 3 8 17 30 43 60 78 97 117 137 156 173 190 205 218 231 242 253 264 275"
INFLOW_CFS = "0 60 120 180 240 300 360 320 280 240 200 160 120 80 40 0"
OUTFLOW_CFS = (
    "0 2.4 17.1 61.1 123.2 182.2 230.3 259.3 270.0 "
    "267.4 254.9 235.2 206.9 168.5 124.1 79.8"
)
STEP_S = 300.0


def _numbers(words):
    return np.array(words.split(), float) * FOOT3_M3


def _pond(levels=9, room_m3=500.0, capacity_m3s=1.0):
    height = np.linspace(0, 1, levels)
    return room_m3 * height[None] ** 2, capacity_m3s * height[None] ** 1.5


def _wave(peak_m3s=1.0, count=120):
    """A wave that begins and ends at nothing, with a long dry tail."""
    wave = np.zeros((1, count))
    wave[0, 5:26] = peak_m3s * np.sin(np.linspace(0, np.pi, 21))
    return wave


def test_level_pool_meets_the_printed_example():
    storage_ft3 = 43_560 * 0.5 * np.arange(21.0)
    out_m3s, over_m3s, _ = level_pool(
        _numbers(INFLOW_CFS)[None],
        600.0,
        storage_ft3[None] * FOOT3_M3,
        _numbers(RATING_CFS)[None],
    )
    assert_allclose(out_m3s[0], _numbers(OUTFLOW_CFS), rtol=0, atol=0.15 * FOOT3_M3)
    assert (over_m3s == 0).all()


@given(
    peak_m3s=st.floats(0.01, 20), room_m3=st.floats(0, 1e5), capacity=st.floats(0.01, 5)
)
def test_no_water_is_made_or_lost(peak_m3s, room_m3, capacity):
    storage_m3, rating_m3s = _pond(room_m3=room_m3, capacity_m3s=capacity)
    inflow = _wave(peak_m3s)
    out, over, held = level_pool(inflow, STEP_S, storage_m3, rating_m3s)
    came_m3 = np.trapezoid(inflow[0], dx=STEP_S)
    # The last outflow counts by the weight of the step, which is from 1/2 to 1
    left_m3 = np.trapezoid(out[0], dx=STEP_S) + over[0].sum() * STEP_S + held[0, -1]
    slack_m3 = out[0, -1] * STEP_S / 2
    assert -1e-6 * came_m3 <= came_m3 - left_m3 <= slack_m3 + 1e-6 * came_m3


@given(
    peak_m3s=st.floats(0.01, 20), room_m3=st.floats(0, 1e5), capacity=st.floats(0.01, 5)
)
def test_the_routed_peak_is_never_above_the_inflow_peak(peak_m3s, room_m3, capacity):
    storage_m3, rating_m3s = _pond(room_m3=room_m3, capacity_m3s=capacity)
    out, over, held = level_pool(_wave(peak_m3s), STEP_S, storage_m3, rating_m3s)
    assert (out + over).max() <= peak_m3s * (1 + 1e-9)
    assert (held >= 0).all()
    assert (held <= room_m3).all()


def test_without_room_what_comes_goes():
    storage_m3, rating_m3s = _pond(room_m3=0.0, capacity_m3s=2.0)
    out, over, _ = level_pool(_wave(1.0), STEP_S, storage_m3, rating_m3s)
    assert (over == 0).all()
    means = (_wave(1.0)[0, 1:] + _wave(1.0)[0, :-1]) / 2
    assert_allclose(out[0, 1:], means, atol=1e-12)


def test_a_closed_pipe_fills_its_pond_and_then_all_goes_over():
    """1 m3/s into 450 m3 at steps of 300 s: half the second step goes over."""
    out, over, held = level_pool(
        [[1.0, 1.0, 1.0, 1.0]], 300.0, [[0.0, 450.0]], [[0.0, 0.0]]
    )
    assert (out == 0).all()
    assert_allclose(held, [[0, 300, 450, 450]])
    assert_allclose(over, [[0, 0, 0.5, 1]])


def test_a_straight_reservoir_empties_along_the_exact_curve():
    """S = K O: O = I (1 - exp(-t / K)) under a steady inflow."""
    steps = np.arange(0, 7200, 10.0)
    out, _, _ = level_pool(np.ones((1, 720)), 10.0, [[0.0, 3600.0]], [[0.0, 2.0]])
    assert_allclose(out[0], 1 - np.exp(-steps / 1800), atol=1e-4)


@given(room_m3=st.floats(0, 5000), capacity=st.floats(0.1, 5))
def test_the_factor_is_where_water_just_goes_over(room_m3, capacity):
    pond, inflow = _pond(room_m3=room_m3, capacity_m3s=capacity), _wave(1.0)
    factor = overtopping_factor(inflow, STEP_S, *pond, 100.0)
    assert factor < 100
    for times, goes_over in ((0.999, False), (1.001, True)):
        over = level_pool(inflow * factor * times, STEP_S, *pond)[1]
        assert (over > 1e-9).any() == goes_over
    means = (inflow[0, 1:] + inflow[0, :-1]) / 2
    assert factor >= capacity / means.max() * (1 - 1e-6)


def test_more_room_and_more_outflow_bear_a_larger_factor():
    factors = [
        overtopping_factor(_wave(1.0), STEP_S, *_pond(9, room, capacity), 100.0)[0]
        for room, capacity in ((100.0, 1.0), (1000.0, 1.0), (1000.0, 2.0))
    ]
    assert (np.diff(factors) > 0).all()


def test_a_pond_that_holds_all_has_the_highest_factor_asked():
    factor = overtopping_factor(_wave(1e-6), STEP_S, *_pond(), 8.0)
    assert_allclose(factor, 8.0)


def test_outflow_of_storage_reads_the_table_between_its_levels():
    storage, rating = [[0.0, 0.0, 10.0, 10.0]] * 4, [[0.0, 1.0, 2.0, 3.0]] * 4
    held_m3 = [0.0, 5.0, 10.0, 99.0]
    assert_allclose(outflow_of_storage(held_m3, storage, rating), [1, 1.5, 3, 3])
    assert np.isnan(outflow_of_storage([np.nan], [[0.0, 1.0]], [[0.0, 1.0]])).all()


@pytest.mark.parametrize("which", range(3))
def test_missing_values_stay_missing_in_their_row(which):
    fields = [np.tile(f, (2, 1)) for f in (_wave(), *_pond())]
    fields[which][0, 1] = np.nan
    routed = np.array(level_pool(fields[0], STEP_S, *fields[1:]))
    assert np.isnan(routed[:, 0]).all()
    assert not np.isnan(routed[:, 1]).any()
    factor = overtopping_factor(fields[0], STEP_S, *fields[1:], 8.0)
    assert np.isnan(factor).tolist() == [True, False]
