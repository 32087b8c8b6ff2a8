"""Ice growth, melt, closing and the chance of a block."""

import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.stats import lognorm

from culvertrisk.formulas import closing, ice
from culvertrisk.units import (
    DAY_S,
    FUSION_HEAT_J_KG,
    ICE_CONDUCTIVITY_W_MK,
    ICE_DENSITY_KG_M3,
    ICE_HEAT_CAPACITY_J_KGK,
    WATER_DENSITY_KG_M3,
)
from tests.published import published

HEAT = ICE_DENSITY_KG_M3 * FUSION_HEAT_J_KG


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("ice_thickness"))
def test_ice_thickness_meets_source(inputs, expected, atol):
    assert_allclose(ice.ice_thickness(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("standing_ice"))
def test_standing_ice_meets_source(inputs, expected, atol):
    assert_allclose(ice.standing_ice(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("icing_length"))
def test_icing_length_meets_source(inputs, expected, atol):
    assert_allclose(ice.icing_length(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("seep_ice_growth"))
def test_seep_ice_growth_meets_source(inputs, expected, atol):
    assert_allclose(ice.seep_ice_growth(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("melt_depth"))
def test_melt_depth_meets_source(inputs, expected, atol):
    assert_allclose(ice.melt_depth(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("cylinder_freezing_time")
)
def test_cylinder_freezing_time_meets_source(inputs, expected, atol):
    assert_allclose(ice.cylinder_freezing_time(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("blocked_fraction"))
def test_blocked_fraction_meets_source(inputs, expected, atol):
    assert_allclose(closing.blocked_fraction(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("ice_blocked_chance")
)
def test_ice_blocked_chance_meets_source(inputs, expected, atol):
    assert_allclose(closing.ice_blocked_chance(**inputs), expected, rtol=0, atol=atol)


def test_twice_the_cold_for_half_the_time_grows_the_same_ice():
    assert ice.standing_ice(0.0, 20.0 * 5, surface_w_m2k=20.0) == ice.standing_ice(
        0.0, 10.0 * 10, surface_w_m2k=20.0
    )


@rules(deadline=None)
@given(
    start=st.floats(0, 1),
    frost=st.floats(0, 300),
    surface=st.floats(5, 40),
    snow=st.floats(0, 3),
)
def test_standing_ice_solves_its_differential_equation(start, frost, surface, snow):
    def growth(_, thickness):
        resistance = thickness / ICE_CONDUCTIVITY_W_MK + 1 / surface + snow
        return frost * DAY_S / (HEAT * resistance)

    solved = solve_ivp(growth, (0, 1), [start], rtol=1e-9, atol=1e-12).y[0, -1]
    grown = ice.standing_ice(start, frost, surface_w_m2k=surface, snow_m2k_w=snow)
    assert_allclose(grown, solved, rtol=1e-6, atol=1e-9)


@rules(deadline=None)
@given(start=st.floats(0, 1), first=st.floats(0, 100), second=st.floats(0, 100))
def test_standing_ice_in_two_steps_equals_one(start, first, second):
    once = ice.standing_ice(start, first + second, surface_w_m2k=10.0)
    half = ice.standing_ice(start, first, surface_w_m2k=10.0)
    twice = ice.standing_ice(half, second, surface_w_m2k=10.0)
    assert_allclose(twice, once, rtol=1e-9, atol=1e-12)


def test_standing_ice_tends_to_stefan_when_the_air_reaches_the_ice():
    bound = np.sqrt(2 * ICE_CONDUCTIVITY_W_MK * DAY_S / HEAT)
    stefan = ice.ice_thickness([10.0, 1000.0], bound)
    assert_allclose(
        ice.standing_ice(0.0, [10.0, 1000.0], surface_w_m2k=1e12), stefan, rtol=1e-6
    )


def test_cylinder_freezing_time_equals_plank_on_the_diameter():
    diameter, cold = 0.6, 10.0
    plank = (
        HEAT
        / cold
        * (diameter / (4 * 20.0) + diameter**2 / (16 * ICE_CONDUCTIVITY_W_MK))
    )
    ours = ice.cylinder_freezing_time(
        diameter / 2, 0.0, below_freezing_k=cold, surface_w_m2k=20.0
    )
    assert_allclose(ours, plank, rtol=1e-12)


@rules(deadline=None)
@given(
    thickness=st.floats(0, 3),
    more=st.floats(0, 1),
    rise=st.floats(0.1, 4),
    silt=st.floats(0, 0.95),
)
def test_blocked_fraction_lies_from_0_to_1_and_grows_with_ice(
    thickness, more, rise, silt
):
    closed = closing.blocked_fraction(thickness, rise, silt)
    assert 0 <= closed <= 1 + 1e-12
    assert closing.blocked_fraction(thickness + more, rise, silt) >= closed - 1e-12


@rules(deadline=None)
@given(ratio=st.floats(0.01, 5), median=st.floats(0.1, 2), spread=st.floats(0.1, 1))
def test_ice_blocked_chance_equals_the_library_lognormal(ratio, median, spread):
    ours = closing.ice_blocked_chance(ratio, median_ratio=median, spread=spread)
    assert_allclose(ours, lognorm.cdf(ratio, spread, scale=median), atol=1e-12)


def test_missing_values_stay_missing():
    values = [np.nan, 1.0]
    known = [False, True]
    for result in (
        ice.ice_thickness(values, 0.02),
        ice.standing_ice(values, 10.0, surface_w_m2k=10.0),
        ice.melt_depth(values, 0.003),
        ice.icing_length(1.0, values, 0.5, 12.0),
        ice.seep_ice_growth(
            values, surface_w_m2k=10.0, trickle_m3s=1.0, wet_area_m2=1.0
        ),
        ice.cylinder_freezing_time(
            values, 0.1, below_freezing_k=1.0, surface_w_m2k=1.0
        ),
        closing.blocked_fraction(values, 1.0, 0.0),
        closing.ice_blocked_chance(values, median_ratio=1.0, spread=0.4),
    ):
        assert np.isfinite(result).tolist() == known


def test_constants_of_ice_and_water_are_those_of_the_reference_library():
    """IAPWS-06 ice and IAPWS-95 water at 0 °C and 0.101325 MPa; the library takes
    273.153 K for the melting point, so that water is looked up a hair above it."""
    ice_state = iapws._iapws._Ice(273.15, 0.101325)
    water = iapws.IAPWS95(T=273.153, P=0.101325)
    assert_allclose(ice_state["rho"], ICE_DENSITY_KG_M3, rtol=1e-4)
    assert_allclose(ice_state["cp"] * 1000, ICE_HEAT_CAPACITY_J_KGK, rtol=2e-3)
    assert_allclose(water.rho, WATER_DENSITY_KG_M3, rtol=1e-4)
    fusion_j_kg = (water.h - ice_state["h"]) * 1000
    assert_allclose(fusion_j_kg, FUSION_HEAT_J_KG, rtol=1e-3)


@given(st.floats(0.1, 5), st.floats(0.05, 1), st.floats(0.2, 2), st.floats(1, 40))
def test_icing_reaches_as_far_as_its_water_and_no_further(supply, depth, width, length):
    reach = ice.icing_length(supply, depth, width, length)
    frozen_kg = reach * depth * width * ICE_DENSITY_KG_M3
    assert frozen_kg <= supply * WATER_DENSITY_KG_M3 * (1 + 1e-9)
    assert reach <= length


@given(st.floats(1, 6000), st.floats(0.2, 0.8))
def test_ice_thickness_is_the_same_in_inches_and_degrees_fahrenheit(index, alpha):
    """alpha_SI = 2.54 sqrt(1.8) alpha_US in cm; exact unit factors."""
    inches = ice.ice_thickness(index, alpha)
    metres = ice.ice_thickness(index / 1.8, alpha * 0.0254 * np.sqrt(1.8))
    assert_allclose(metres, inches * 0.0254, rtol=1e-12)
