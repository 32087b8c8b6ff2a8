"""Water over the road: the weir's coefficients, its segments, and the balance."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from culvertrisk.formulas.barrel_flow import barrel_headwater
from culvertrisk.formulas.inlet_control import InletCoefficients
from culvertrisk.formulas.road_flow import (
    Road,
    balanced_headwater,
    road_flow,
    roadway_overtopping_flow,
    weir_coefficient,
)
from culvertrisk.formulas.sections import Barrel, Conduit
from culvertrisk.stages.rating import weir_curves
from tests.published import published

THIN_EDGE = InletCoefficients(1, 0.034, 1.5, 0.0553, 0.54, -0.5)  # HDS-5 chart 2-3
SAG = Road([[1.2, 1.25, 1.4]], [[8.0, 6.0, 10.0]], 9.0, True)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("weir_coefficient"))
def test_weir_coefficient_meets_source(inputs, expected, atol):
    ours = weir_coefficient(**inputs, curves=weir_curves())
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("roadway_overtopping_flow")
)
def test_roadway_overtopping_flow_meets_source(inputs, expected, atol):
    assert_allclose(roadway_overtopping_flow(**inputs), expected, rtol=0, atol=atol)


def _barrels(flow_m3s, rows):
    pipe, conduit = Barrel(0.8, 0.8, False), Conduit(12.0, 0.01, 0.9, 0.024)
    return barrel_headwater(flow_m3s, pipe, conduit, THIN_EDGE, 0.01)


def test_segments_of_a_sag_add_up():
    """1.5 m: heads 0.30, 0.25, 0.10 m; Cr 2.5 + 0.6 HWr / 4 ft, in SI x 0.5521."""
    head_m = np.array([0.3, 0.25, 0.1])
    coefficient = np.sqrt(0.3048) * (2.5 + 0.6 * head_m / 1.2192)
    expected = (coefficient * [8.0, 6.0, 10.0] * head_m**1.5).sum()
    assert_allclose(road_flow([1.5, 1.2, 0.4], SAG, weir_curves()), [expected, 0, 0])


def test_high_water_below_the_road_drowns_it():
    levels = [-np.inf, 1.42, 1.46, 1.5]
    drowned = [
        road_flow([1.5], SAG._replace(tailwater_m=level), weir_curves())[0]
        for level in levels
    ]
    assert (np.diff(drowned) < 0).all()
    assert_allclose(drowned[-1] / drowned[0], 0.5)


def test_barrel_and_road_carry_the_flow_at_one_headwater():
    flow_m3s = np.array([0.2, 0.8, 1.5, 4.0, 12.0])
    level_m, over_m3s = balanced_headwater(flow_m3s, _barrels, SAG, weir_curves())
    assert_allclose(_barrels(flow_m3s - over_m3s, None), level_m, atol=1e-6)
    assert_allclose(road_flow(level_m, SAG, weir_curves()), over_m3s, atol=1e-6)
    assert over_m3s[0] == 0 < over_m3s[-1]
    assert (np.diff(level_m) > 0).all()


def test_the_balance_meets_a_scalar_root_finder():
    """scipy.optimize.brentq on the headwater as reference."""

    def gap(level_m):
        through = brentq(lambda q: float(_barrels(q, None)) - level_m, 1e-6, 9.0)
        return through + float(road_flow(level_m, SAG, weir_curves())[0]) - 3.0

    level_m, _ = balanced_headwater([3.0], _barrels, SAG, weir_curves())
    assert_allclose(level_m, brentq(gap, 1.0, 3.0), atol=1e-6)


def test_over_a_closed_barrel_all_goes_over_the_road():
    def closed(flow_m3s, rows):
        return np.where(flow_m3s > 0, np.inf, 0.8)

    level_m, over_m3s = balanced_headwater([0.0, 2.0], closed, SAG, weir_curves())
    assert_allclose(over_m3s, [0.0, 2.0], atol=1e-6)
    assert_allclose(road_flow(level_m, SAG, weir_curves()), [0.0, 2.0], atol=1e-6)


def test_the_flow_given_is_left_alone_and_missing_stays_missing():
    flow_m3s = np.array([5.0, np.nan])
    level_m, over_m3s = balanced_headwater(
        flow_m3s, lambda part, rows: part, SAG, weir_curves()
    )
    assert flow_m3s[0] == 5.0
    assert np.isnan([level_m[1], over_m3s[1]]).all()
    assert np.isfinite([level_m[0], over_m3s[0]]).all()


def test_a_height_at_which_no_road_lies_counts_for_nothing():
    gap = Road([[1.0, 1.2, 1.25, 1.4]], [[0.0, 8.0, 6.0, 10.0]], 9.0, True)
    flow_m3s = np.array([0.2, 1.0, 3.0])
    ours = balanced_headwater(flow_m3s, _barrels, gap, weir_curves())
    assert_allclose(ours, balanced_headwater(flow_m3s, _barrels, SAG, weir_curves()))
