"""Jet, hose and heat of a thaw against their sources and reference libraries."""

import fluids
import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas import hose, jetting, thaw_heat
from tests.published import published

CHECKS = {
    jetting.jet_reaction: published("jet_reaction"),
    hose.friction_factor: published("friction_factor"),
    hose.hose_pressure_loss: published("hose_pressure_loss"),
    hose.push_reach: published("push_reach"),
    hose.hose_conductance: published("hose_conductance"),
    hose.hose_outlet: published("hose_outlet"),
    thaw_heat.water_heat: published("water_heat"),
    thaw_heat.burner_fuel: published("burner_fuel"),
    thaw_heat.steam_heat: published("steam_heat"),
    thaw_heat.ice_heat: published("ice_heat"),
    thaw_heat.pilot_ice: published("pilot_ice"),
    thaw_heat.pilot_time: published("pilot_time"),
}


def _cases():
    return [
        pytest.param(formula, *case.values, id=f"{formula.__name__} {case.id}")
        for formula, cases in CHECKS.items()
        for case in cases
    ]


@pytest.mark.parametrize(("formula", "inputs", "expected", "atol"), _cases())
def test_formula_meets_source(formula, inputs, expected, atol):
    assert_allclose(formula(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize("formula", CHECKS)
def test_formula_keeps_missing_values_missing_and_broadcasts(formula):
    case = next(c.values[0] for c in CHECKS[formula] if c.values[1] != 0)
    first, *rest = case
    two = {first: np.array([np.nan, case[first]]), **{k: case[k] for k in rest}}
    found = formula(**two)
    assert np.isnan(found).tolist() == [True, False]
    assert_allclose(found[1], formula(**case))


@given(st.floats(4000, 1e8), st.floats(1e-7, 0.05))
def test_friction_factor_equals_the_reference_library(reynolds_number, roughness):
    expected = fluids.friction.Colebrook(reynolds_number, roughness)
    assert_allclose(hose.friction_factor(reynolds_number, roughness), expected, 1e-9)


def test_hose_pressure_loss_of_the_narrow_hose_falls_when_the_water_is_hot():
    cold, hot = (
        hose.hose_pressure_loss(
            0.000315451, 0.009525, 30.48, roughness_m=1.5e-6, viscosity_m2s=viscosity
        )
        for viscosity in (1.1386e-6, 3.643e-7)
    )
    # 104 and 81 psi per 100 ft; the formula keeps the density of cold water (3 %)
    assert_allclose(hot / cold, 81 / 104, rtol=0.04)


@pytest.mark.parametrize("water_c", [20.0, 60.0, 99.0])
@pytest.mark.parametrize("ice_c", [-20.0, -10.0, -0.5])
def test_heat_of_water_over_that_of_ice_equals_the_reference_enthalpies(water_c, ice_c):
    pressure_mpa = 0.101325
    hot, cold = (
        iapws.IAPWS97(T=celsius + 273.15, P=pressure_mpa).h for celsius in (water_c, 5)
    )
    zero = iapws.IAPWS97(T=273.16, P=pressure_mpa).h
    ice = iapws._iapws._Ice(ice_c + 273.15, pressure_mpa)["h"]
    expected = (hot - cold) / (zero - ice)
    density_kg_m3 = 999.8
    given_j_kg = thaw_heat.water_heat(1 / density_kg_m3, water_c - 5.0)
    assert_allclose(given_j_kg / thaw_heat.ice_heat(1.0, ice_c), expected, rtol=0.006)


def test_steam_heat_equals_the_reference_enthalpies():
    steam = iapws.IAPWS97(P=0.101325, x=1)
    water = iapws.IAPWS97(T=278.15, P=0.101325)
    latent_j_kg = (steam.h - iapws.IAPWS97(P=0.101325, x=0).h) * 1000
    expected_w = 0.04 * (steam.h - water.h) * 1000
    found_w = thaw_heat.steam_heat(0.04 / 999.8, 5.0, latent_j_kg)
    assert_allclose(found_w, expected_w, rtol=0.002)


@given(st.floats(-40, 5), st.floats(1e-5, 1e-3), st.floats(0, 200))
def test_hose_outlet_lies_between_air_and_heater(air_c, flow_m3s, hose_m):
    nozzle_c = hose.hose_outlet(80.0, air_c, flow_m3s, hose_m, 0.9)
    assert air_c - 1e-9 <= nozzle_c <= 80.0


def test_pilot_time_never_falls_with_length_and_ice():
    length_m = np.linspace(1, 100, 40)
    heat_j = thaw_heat.ice_heat(thaw_heat.pilot_ice(0.1, length_m, 1.0), -5.0)
    times_s = thaw_heat.pilot_time(heat_j, 90e3, 0.5, length_m, 0.0023)
    assert (np.diff(times_s) > 0).all()
