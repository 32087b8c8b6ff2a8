"""Water surface in a part-full barrel: an independent integrator, handbooks, limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from culvertrisk.formulas import barrel_flow, outlet_control, uniform_flow
from culvertrisk.formulas.barrel_kernels import BOX, OPEN_ARCH, PIPE_ARCH, ROUND
from culvertrisk.formulas.hydraulics import critical_depth
from culvertrisk.formulas.ice_section import iced_barrel
from culvertrisk.formulas.inlet_control import (
    InletCoefficients,
    inlet_control_headwater,
)
from culvertrisk.formulas.sections import (
    Barrel,
    Conduit,
    open_area,
    open_height,
    surface_width,
    wetted_perimeter,
)
from culvertrisk.formulas.water_profile import (
    profile_depth,
    profile_flow,
    profile_headwater,
)
from tests.published import published

G_M_S2 = 9.80665
SHAPES = (ROUND, BOX, PIPE_ARCH, OPEN_ARCH)
THIN_EDGE = InletCoefficients(1, 0.034, 1.5, 0.0553, 0.54, -0.5)  # HDS-5 chart 2-3


def _grouped(inputs):
    inputs, made = dict(inputs), {}
    groups = {"barrel": Barrel, "conduit": Conduit}
    if "form" in inputs:
        groups["coefficients"] = InletCoefficients
        made["inlet_slope_m_per_m"] = inputs["slope_m_per_m"]
    for name, kind in groups.items():
        made[name] = kind(**{field: inputs[field] for field in kind._fields})
    return {"flow_m3s": inputs["flow_m3s"], **made}


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("profile_headwater"))
def test_profile_headwater_meets_source(inputs, expected, atol):
    ours = profile_headwater(**_grouped(inputs))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("barrel_headwater"))
def test_barrel_headwater_meets_source(inputs, expected, atol):
    ours = barrel_flow.barrel_headwater(**_grouped(inputs))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("normal_depth"))
def test_normal_depth_meets_source(inputs, expected, atol):
    names = ("flow_m3s", "slope_m_per_m", "roughness")
    barrel = Barrel(*(inputs[name] for name in Barrel._fields))
    ours = uniform_flow.normal_depth(barrel, *(inputs[name] for name in names))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("channel_depth"))
def test_channel_depth_meets_source(inputs, expected, atol):
    assert_allclose(uniform_flow.channel_depth(**inputs), expected, rtol=0, atol=atol)


def _friction(flow_m3s, barrel, depth_m, roughness):
    area_m2, perimeter_m = open_area(barrel, depth_m), wetted_perimeter(barrel, depth_m)
    return (roughness * flow_m3s / area_m2) ** 2 * (perimeter_m / area_m2) ** (4 / 3)


def _integrated(flow_m3s, barrel, conduit, start_m):
    """dy/dx = (S0 - Sf) / (1 - Fr^2) up the barrel, by scipy's general integrator."""

    def change(_, depths):
        y = depths[0]
        area_m2, width_m = open_area(barrel, y), surface_width(barrel, y)
        froude2 = flow_m3s**2 * width_m / (G_M_S2 * area_m2**3)
        friction = _friction(flow_m3s, barrel, y, conduit.roughness)
        return [(friction - conduit.slope_m_per_m) / (1 - froude2)]

    span = (0, conduit.length_m)
    return solve_ivp(change, span, [start_m], rtol=1e-10, atol=1e-12).y[0, -1]


PIPE, CELL = Barrel(1.2, 1.2), Barrel(1.0, 1.8, BOX)
ELLIPSE, SILTED = Barrel(0.9, 1.4), Barrel(1.2, 1.2, ROUND, 0.2)
ARCH = Barrel(0.97, 1.45, PIPE_ARCH, 0.1)


@pytest.mark.parametrize(
    ("barrel", "flow_m3s", "slope", "tailwater_m"),
    [
        (PIPE, 0.8, 0.002, 0.0),  # drawdown to critical depth (M2)
        (PIPE, 0.8, 0.002, 1.1),  # backwater of a high tailwater (M1)
        (CELL, 1.5, 0.001, 0.0),
        (CELL, 1.5, 0.0, 0.7),  # level
        (ELLIPSE, 0.6, -0.003, 0.0),  # rising to the outlet
        (SILTED, 0.5, 0.003, 0.95),
        (ARCH, 0.6, 0.002, 0.0),
        (ARCH, 0.6, 0.002, 0.8),
        (PIPE, 0.6, 0.03, 1.15),  # steep and drowned (S1)
    ],
)
def test_the_surface_is_that_of_a_general_integrator(
    barrel, flow_m3s, slope, tailwater_m
):
    length_m = 20.0 if slope < 0.01 else 12.0
    conduit = Conduit(length_m, slope, 0.5, 0.024, tailwater_m)
    bed_m = barrel.rise_m * barrel.bed_fraction
    critical_m = float(critical_depth(barrel, flow_m3s))
    start_m = max(critical_m, tailwater_m - bed_m)
    tolerance = 1e-6
    if start_m == critical_m:  # the slope of the surface is infinite there
        start_m, tolerance = critical_m * (1 + 1e-6), 1e-5
    expected_m = _integrated(flow_m3s, barrel, conduit, start_m)
    depth_m = profile_depth(flow_m3s, barrel, conduit)
    assert critical_m < depth_m < open_height(barrel)
    assert_allclose(depth_m, expected_m, atol=tolerance)


@pytest.mark.parametrize("barrel", [PIPE, CELL, ELLIPSE, SILTED, ARCH])
@pytest.mark.parametrize("tailwater_m", [0.0, 0.85])
def test_energy_is_kept_between_the_ends(barrel, tailwater_m):
    """Head at the inlet less head at the outlet is the friction between, to 1e-6."""
    flow_m3s, slope, roughness = 0.5, 0.001, 0.024
    places_m = 1.0 + np.polynomial.legendre.leggauss(40)[0] * 0.5 + 0.5
    weights_m = np.polynomial.legendre.leggauss(40)[1] * 0.5
    conduit = Conduit(places_m, slope, 0.5, roughness, tailwater_m)
    depth_m = profile_depth(flow_m3s, barrel, conduit)
    lost_m = (weights_m * _friction(flow_m3s, barrel, depth_m, roughness)).sum()
    ends = profile_depth(flow_m3s, barrel, conduit._replace(length_m=[1.0, 2.0]))
    heads = ends + (flow_m3s / open_area(barrel, ends)) ** 2 / (2 * G_M_S2)
    rise_m = slope * 1.0
    assert_allclose(heads[1] + rise_m - heads[0], lost_m, atol=1e-6)


@pytest.mark.parametrize("barrel", [PIPE, CELL, ELLIPSE, SILTED, ARCH])
@pytest.mark.parametrize("tailwater_m", [0.0, 1.05])
def test_far_from_the_ends_depth_is_normal(barrel, tailwater_m):
    conduit = Conduit(3000.0, 0.003, 0.5, 0.024, tailwater_m)
    normal_m = uniform_flow.normal_depth(barrel, 0.4, 0.003, 0.024)
    assert_allclose(profile_depth(0.4, barrel, conduit), normal_m, rtol=1e-6)


@pytest.mark.parametrize("barrel", [PIPE, CELL, ELLIPSE, SILTED, ARCH])
def test_a_full_barrel_loses_what_the_hand_method_says(barrel):
    """HDS-5 prints 19.63 and R^1.33 for 2 g and R^(4/3): 0.2 % at R 0.25 m."""
    conduit = Conduit(30.0, 0.005, 0.5, 0.024, 3.0)
    loss_m = outlet_control.full_flow_head_loss(1.5, barrel, conduit)
    ours_m = profile_headwater(1.5, barrel, conduit) - 3.0 + 0.005 * 30
    assert_allclose(ours_m, loss_m, rtol=3e-3)


def test_where_its_limits_hold_the_hand_method_is_near():
    """HDS-5: (dc + D)/2 approximates a barrel full over most of its length.

    The band is ours: 10 % of the rise, for full friction above the slope.
    """
    barrel = Barrel(np.array([0.6, 0.9, 1.2, 1.5]), [0.6, 0.9, 1.2, 1.5])
    conduit = Conduit(40.0, 0.002, 0.5, 0.024)
    flow_m3s = 1.3 * np.asarray(barrel.rise_m) ** 2.5
    hand_m = outlet_control.outlet_control_headwater(flow_m3s, barrel, conduit)
    ours_m = profile_headwater(flow_m3s, barrel, conduit)
    assert (np.abs(ours_m - hand_m) < 0.10 * np.asarray(barrel.rise_m)).all()


def test_in_a_steep_barrel_the_inlet_governs():
    conduit = Conduit(20.0, 0.04, 0.9, 0.024)
    flow_m3s = np.linspace(0.1, 2.0, 20)
    assert (uniform_flow.normal_depth(PIPE, flow_m3s[:10], 0.04, 0.024) < 0.9).all()
    outlet_m = profile_headwater(flow_m3s, PIPE, conduit)
    both_m = barrel_flow.barrel_headwater(flow_m3s, PIPE, conduit, THIN_EDGE, 0.04)
    assert (both_m > outlet_m)[both_m > 0.5 * PIPE.rise_m].all()
    # critical head is the least: the slope term puts the inlet's up to S D / 2 below it
    inlet_m = inlet_control_headwater(flow_m3s, PIPE, 0.04, THIN_EDGE)
    assert (both_m - inlet_m < 0.03).all()


def test_entrance_loss_is_whole_where_a_barrel_turns_from_mild_to_steep():
    """Critical slope by Manning's formula; there HW = dc + (1 + Ke) Vc2/2g."""
    flow_m3s, roughness = 0.6, 0.024
    for barrel in (PIPE, CELL, ELLIPSE, SILTED):
        depth_m = float(critical_depth(barrel, flow_m3s))
        slope = _friction(flow_m3s, barrel, depth_m, roughness)
        speed_m = (flow_m3s / open_area(barrel, depth_m)) ** 2 / (2 * G_M_S2)
        bed_m = barrel.rise_m * barrel.bed_fraction
        slopes = slope * np.array([1 - 1e-7, 1 + 1e-7, 2.0])
        found_m = profile_headwater(
            flow_m3s, barrel, Conduit(25.0, slopes, 0.5, roughness)
        )
        expected = bed_m + depth_m + speed_m * (1 + 0.5 * np.array([1, 1, 0.25]))
        assert_allclose(found_m, expected, atol=1e-4)


def test_flow_beyond_the_best_part_full_one_has_no_normal_depth():
    """chow1959: a circle carries at most 1.076 of the full flow, at y/D 0.938."""
    full_m3s = float(uniform_flow.manning_flow(PIPE, 1.2, 0.01, 0.012))
    depth_m = uniform_flow.normal_depth(
        PIPE, np.array([1.0, 1.075, 1.077]) * full_m3s, 0.01, 0.012
    )
    assert_allclose(depth_m[:2] / 1.2, [0.8196, 0.93], atol=0.01)
    assert depth_m[2] == np.inf
    assert uniform_flow.normal_depth(PIPE, 0.1, [0.0, -0.1], 0.012).tolist() == [
        np.inf,
        np.inf,
    ]


def test_flow_is_the_inverse_of_its_headwater():
    conduit = Conduit(15.0, [-0.01, 0.0, 0.01, 0.03], 0.9, 0.024, 0.3)
    for barrel in (PIPE, CELL, SILTED):
        headwater_m = profile_headwater(0.9, barrel, conduit)
        back_m3s = profile_flow(headwater_m + 1e-9, barrel, conduit, 9.0)
        assert_allclose(back_m3s, 0.9, rtol=1e-5)


def _many(count=400):
    rng = np.random.default_rng(17)
    rise_m = rng.uniform(0.3, 3, count)
    barrel = Barrel(rise_m, rise_m, rng.random(count) < 0.4, np.zeros(count))
    conduit = Conduit(
        rng.uniform(5, 40, count),
        rng.choice([-0.01, 0.0, 0.005, 0.01, 0.02, 0.05], count),
        0.9,
        0.024,
        rng.uniform(0, 1, count) * rise_m * (rng.random(count) < 0.5),
    )
    return barrel, conduit, rng.uniform(0.4, 3, count) * rise_m


def _capacity(barrel, conduit, headwater_m):
    slope = np.maximum(conduit.slope_m_per_m, 0)
    return barrel_flow.barrel_capacity(headwater_m, barrel, conduit, THIN_EDGE, slope)


def test_capacity_moves_the_right_way():
    barrel, conduit, headwater_m = _many()

    def grows(flows):
        change = np.diff(np.array(flows), axis=0)
        return (change >= -1e-9).all() and (change > 0).any()

    sizes = [1.0, 1.05, 1.2, 1.5]
    assert grows(
        [
            _capacity(
                barrel._replace(rise_m=barrel.rise_m * s, span_m=barrel.span_m * s),
                conduit,
                headwater_m,
            )
            for s in sizes
        ]
    )
    beds = [1.0, 0.8, 0.5, 0.2, 0.05, 0.0]
    assert grows(
        [
            _capacity(
                barrel._replace(bed_fraction=b + 0 * headwater_m), conduit, headwater_m
            )
            for b in beds
        ]
    )
    ices = [_capacity(iced_barrel(barrel, s), conduit, headwater_m) for s in beds]
    assert grows(ices)
    assert (ices[0] == 0).all()
    rough = [0.035, 0.024, 0.018, 0.012, 0.01]
    assert grows(
        [_capacity(barrel, conduit._replace(roughness=n), headwater_m) for n in rough]
    )
    lifts = [0.5, 0.8, 1.0, 1.5, 2.0]
    assert grows([_capacity(barrel, conduit, lift * headwater_m) for lift in lifts])
    tails = [1.5, 1.0, 0.5, 0.1, 0.0]
    assert grows(
        [
            _capacity(
                barrel, conduit._replace(tailwater_m=t * barrel.rise_m), headwater_m
            )
            for t in tails
        ]
    )


@settings(max_examples=150, deadline=None)
@given(
    rise_m=st.floats(0.25, 4),
    wide=st.floats(0.6, 2.5),
    shape=st.sampled_from(SHAPES),
    bed=st.floats(0, 0.8),
    conduit=st.builds(
        Conduit,
        length_m=st.floats(3, 90),
        slope_m_per_m=st.floats(-0.02, 0.1),
        entrance_loss=st.floats(0.2, 0.9),
        roughness=st.floats(0.01, 0.035),
        tailwater_m=st.one_of(st.just(0.0), st.floats(0, 5)),
    ),
)
def test_headwater_never_falls_with_flow(rise_m, wide, shape, bed, conduit):
    """Fell by up to 2 % of the rise where a barrel turned from mild to steep."""
    span_m = rise_m if shape == ROUND else wide * rise_m
    barrel = Barrel(rise_m, span_m, shape, bed)
    flow_m3s = np.geomspace(1e-3, 3, 120) * span_m * rise_m**1.5
    for function, more in (
        (profile_headwater, ()),
        (barrel_flow.barrel_headwater, (THIN_EDGE, max(conduit.slope_m_per_m, 0))),
    ):
        headwater_m = function(flow_m3s, barrel, conduit, *more)
        assert (np.diff(headwater_m) >= -1e-9 * rise_m).all()


@settings(max_examples=60, deadline=None)
@given(
    rise_m=st.floats(0.3, 3),
    wide=st.floats(0.8, 4),
    shape=st.sampled_from(SHAPES),
    length_m=st.floats(30, 60),
    slope=st.floats(-0.005, 0.03),
    roughness=st.floats(0.02, 0.035),
    tail=st.sampled_from([1.0, 1.0 - 1e-15, 1.0 - 1e-9, 0.97]),
    head=st.floats(1.05, 3),
)
def test_ice_never_helps_where_the_tailwater_is_at_the_crown(
    rise_m, wide, shape, length_m, slope, roughness, tail, head
):
    """Box 0.66 x 2.17 m: more ice gave 7.6 % more flow, as rounding chose full or open.

    The crown of a box is wetted when full, so that its friction jumps there.
    """
    ices = np.linspace(0, 1, 80)
    barrel = iced_barrel(Barrel(rise_m, wide * rise_m, shape), ices)
    conduit = Conduit(length_m, slope, 0.9, roughness, tail * rise_m)
    capacity_m3s = _capacity(barrel, conduit, head * rise_m)
    assert (np.diff(capacity_m3s) <= 1e-9 * capacity_m3s[0] + 1e-12).all()


def test_headwater_rises_with_flow():
    barrel, conduit, _ = _many()
    flow_m3s = np.linspace(0.01, 1.5, 60)[:, None] * np.asarray(barrel.rise_m) ** 2.5
    slope = np.maximum(conduit.slope_m_per_m, 0)
    headwater_m = barrel_flow.barrel_headwater(
        flow_m3s, barrel, conduit, THIN_EDGE, slope
    )
    change = np.diff(headwater_m, axis=0) / np.asarray(barrel.rise_m)
    assert (change > 0).all()


@settings(max_examples=25, deadline=None)
@given(
    rise_m=st.floats(0.25, 4),
    span_m=st.floats(0.25, 6),
    shape=st.sampled_from(SHAPES),
    bed=st.floats(0, 0.95),
    flow=st.floats(0, 3),
    slope=st.floats(-0.05, 0.2),
    tailwater_m=st.floats(0, 5),
)
def test_depth_and_headwater_are_finite_and_in_bounds(
    rise_m, span_m, shape, bed, flow, slope, tailwater_m
):
    barrel = Barrel(rise_m, span_m, shape, bed)
    flow_m3s = flow * span_m * rise_m**1.5
    conduit = Conduit([0.0, 7.0, 60.0], slope, 0.5, 0.024, tailwater_m)
    headwater_m = profile_headwater(flow_m3s, barrel, conduit)
    assert np.isfinite(headwater_m).all()
    assert (headwater_m >= rise_m * bed - 1e-9).all()


def test_missing_values_stay_missing_and_a_closed_barrel_dams():
    nan = np.nan
    conduit = Conduit([nan, 9.0, 9.0, 9.0, 9.0], [0.0, nan, 0, 0, 0], 0.5, 0.02)
    conduit = conduit._replace(roughness=[0.02, 0.02, nan, 0.02, 0.02])
    conduit = conduit._replace(tailwater_m=[0.0, 0.0, 0.0, nan, 0.0])
    barrel = Barrel([1.0, 1.0, 1.0, 1.0, nan], 1.0)
    assert np.isnan(profile_headwater(0.5, barrel, conduit)).all()
    assert np.isnan(profile_depth(0.5, barrel, conduit)).all()
    assert np.isnan(profile_headwater([nan], PIPE, Conduit(9.0, 0.0, 0.5, 0.02)))
    closed = Barrel(1.0, 1.0, bed_fraction=1.0)
    plain = Conduit(9.0, 0.0, 0.5, 0.02)
    assert profile_headwater([0.0, 0.1], closed, plain).tolist() == [1.0, np.inf]
    assert profile_flow(2.0, closed, plain, [5.0]).tolist() == [0.0]
