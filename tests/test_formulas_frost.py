"""Frost in the ground against the manual's example, exact roots and a reference."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from scipy.special import erf, erfc

from culvertrisk.formulas import frost
from culvertrisk.tables import table
from tests.published import published

MU, ALPHA = st.floats(0.01, 3), st.floats(0, 4)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("soil_fusion_heat"))
def test_soil_fusion_heat_meets_source(inputs, expected, atol):
    assert_allclose(frost.soil_fusion_heat(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("soil_heat_capacity")
)
def test_soil_heat_capacity_meets_source(inputs, expected, atol):
    assert_allclose(frost.soil_heat_capacity(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("berggren_lambda"))
def test_berggren_lambda_meets_source(inputs, expected, atol):
    assert_allclose(frost.berggren_lambda(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("frost_depth"))
def test_frost_depth_meets_source(inputs, expected, atol):
    assert_allclose(frost.frost_depth(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("ground_temperature")
)
def test_ground_temperature_meets_source(inputs, expected, atol):
    assert_allclose(frost.ground_temperature(**inputs), expected, rtol=0, atol=atol)


def test_worked_example_holds_from_soil_to_depth():
    """Sandy silt of the manual's ch. 3, in its units: 15.6 °F, 0.33, 0.20, 5.8 ft."""
    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    density = units.Quantity(100, "lb/ft**3").to("kg/m**3").magnitude
    conductivity = units.Quantity(0.76, "Btu/(hour*ft*delta_degF)")
    fusion = frost.soil_fusion_heat(density, 0.15)
    capacity = frost.soil_heat_capacity(density, 0.15, 0.17 * 4186.8)
    below_k, above_k = 2500 / 1.8 / 160, (37.2 - 32) / 1.8
    assert below_k * 1.8 == pytest.approx(15.6, abs=0.05)
    assert above_k / below_k == pytest.approx(0.33, abs=0.005)
    mu = capacity * below_k / fusion
    assert mu == pytest.approx(0.20, abs=0.01)
    depth_m = frost.frost_depth(
        2500 / 1.8,
        conductivity_w_mk=conductivity.to("W/(m*K)").magnitude,
        fusion_heat_j_m3=fusion,
        berggren_lambda=frost.berggren_lambda(mu, above_k / below_k),
    )
    assert depth_m / 0.3048 == pytest.approx(5.8, abs=0.1)


@given(MU, ALPHA)
def test_berggren_lambda_is_the_root_that_another_solver_finds(mu, alpha):
    def gap(y):
        fall = np.exp(-(y**2))
        return fall / erf(y) - alpha * fall / erfc(y) - y * np.sqrt(np.pi) / mu

    root = brentq(gap, 1e-9, np.sqrt(mu / 2) * (1 + 1e-9), xtol=1e-14)
    assert_allclose(frost.berggren_lambda(mu, alpha), root / np.sqrt(mu / 2), rtol=1e-6)


@given(MU, ALPHA, st.floats(0.01, 1))
def test_warmer_ground_and_more_stored_heat_lessen_the_frost(mu, alpha, more):
    base = frost.berggren_lambda(mu, alpha)
    assert 0 < base <= 1
    assert frost.berggren_lambda(mu, alpha + more) < base
    assert frost.berggren_lambda(mu + more, alpha) < base


@given(st.floats(1, 3000), st.floats(0.2, 3), st.floats(1e7, 2e8))
def test_frost_depth_scales_with_the_root_of_its_index(index, conductivity, fusion):
    def depth(of_index, scale=1.0):
        return frost.frost_depth(
            of_index,
            conductivity_w_mk=conductivity * scale,
            fusion_heat_j_m3=fusion * scale,
        )

    assert_allclose(depth(4 * index), 2 * depth(index), rtol=1e-12)
    assert_allclose(depth(index, 1000.0), depth(index), rtol=1e-12)


def test_missing_stays_missing():
    assert np.isnan(frost.berggren_lambda([np.nan, 0.2], [0.1, np.nan])).all()
    assert np.isnan(frost.ground_temperature([np.nan, 1.0], -5.0, [1.0, np.nan])).all()
    one = frost.frost_depth([np.nan, 1.0], conductivity_w_mk=1.0, fusion_heat_j_m3=8e7)
    assert np.isnan(one).tolist() == [True, False]


def test_n_factor_of_the_road_is_that_of_the_manual():
    """UFC 3-130-04, table 4-1; 2000 °F·day of air are 1400 on a bituminous road."""
    row = table("freeze_defaults").set_index("name").loc["road_freezing_factor"]
    assert row["source"] == "ufc2004b"
    assert 2000 * float(row["value"]) == pytest.approx(1400)
