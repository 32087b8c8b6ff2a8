"""Barrel air, wind along a barrel, cooling of a full pipe, water out of snow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import draught
from culvertrisk.formulas.snowpack import released_water
from tests.published import published


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("outside_air_share"))
def test_outside_air_share_meets_source(inputs, expected, atol):
    assert_allclose(draught.outside_air_share(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("wind_alignment"))
def test_wind_alignment_meets_source(inputs, expected, atol):
    assert_allclose(draught.wind_alignment(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("pipe_cooling_time"))
def test_pipe_cooling_time_meets_source(inputs, expected, atol):
    assert_allclose(draught.pipe_cooling_time(**inputs), expected, rtol=0, atol=atol)


@given(st.floats(1, 60), st.floats(0.2, 3), st.floats(0.001, 0.02), st.floats(1.01, 3))
def test_short_and_large_barrels_draw_more_but_not_by_more_than_their_size(
    length, rise, stanton, larger
):
    base = draught.outside_air_share(length, rise, stanton)
    assert base < draught.outside_air_share(length, rise * larger, stanton)
    assert base > draught.outside_air_share(length * larger, rise, stanton)
    assert draught.outside_air_share(length, rise * larger, stanton) / larger < base


@given(st.floats(0, 360), st.floats(0, 360))
def test_wind_alignment_is_the_same_whichever_end_is_called_inlet(bearing, wind):
    one = draught.wind_alignment(bearing, wind)
    assert_allclose(draught.wind_alignment(bearing + 180, wind), one, atol=1e-9)
    assert 0 <= one <= 1


def test_unknown_wind_is_the_mean_over_all_directions():
    around = draught.wind_alignment(np.arange(0, 360, 0.1), 0.0)
    assert_allclose(draught.wind_alignment(np.nan, 0.0), around.mean(), atol=1e-6)


def test_prevailing_wind_adds_up_opposite_winds_and_tells_when_it_knows_none():
    assert draught.prevailing_wind([90.0, 270.0, 0.0], [2.0, 2.0, 1.0]) == 90.0
    assert np.isnan(draught.prevailing_wind([np.nan, 90.0], [1.0, np.nan]))
    assert draught.prevailing_wind([30.0, np.nan], [4.0, 4.0]) == pytest.approx(30.0)


def test_a_pack_holds_its_share_and_lets_the_rest_go():
    """200 mm of water hold 3 %, 6 mm (nws, snow model training page: 2 to 5 %)."""
    let_go = released_water([1.0] * 4, [0.004] * 4, [0.2] * 4, 0.03)
    assert_allclose(let_go, [0, 0.002, 0.004, 0.004], atol=1e-12)
    assert_allclose(released_water([1.0], [0.02], [0.0], 0.03), [0.02])


DEPTHS = st.lists(st.floats(0, 0.05), min_size=1, max_size=20)


@given(DEPTHS, st.floats(0, 0.5), st.floats(0.02, 0.05))
def test_a_pack_never_lets_go_more_than_it_got(inflow, pack, held):
    days = len(inflow)
    let_go = released_water([1.0] * days, inflow, [pack] * days, held)
    assert (let_go >= 0).all()
    assert let_go.sum() <= sum(inflow) + 1e-12
    assert sum(inflow) - let_go.sum() <= held * pack + 1e-12
