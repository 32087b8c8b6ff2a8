"""Culvert hydraulics against HDS-5, its examples and charts, and a general library."""

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from culvertrisk.formulas import (
    barrel_flow,
    barrel_kernels,
    hydraulics,
    inlet_control,
    outlet_control,
    uniform_flow,
)
from culvertrisk.formulas.barrel_kernels import BOX, OPEN_ARCH, PIPE_ARCH, ROUND
from culvertrisk.formulas.ice_section import iced_barrel
from culvertrisk.formulas.inlet_control import InletCoefficients
from culvertrisk.formulas.sections import (
    Barrel,
    Conduit,
    open_area,
    open_height,
    surface_width,
    wetted_perimeter,
)
from culvertrisk.tables import table
from tests.published import published

GROUPS = {
    "barrel": Barrel,
    "conduit": Conduit,
    "coefficients": InletCoefficients,
}
SHAPES = (ROUND, BOX, PIPE_ARCH, OPEN_ARCH)
FOOT_M = 0.3048
CFS_M3S = 0.3048**3
ROWS = table("culvert_inlets")
_KINDS = {"box": BOX, "pipe arch": PIPE_ARCH, "arch": OPEN_ARCH}
ROW_SHAPES = ROWS["shape"].str.partition(",")[0].map(_KINDS).fillna(ROUND).to_numpy()
SLOPE_TERMS = np.where(ROWS["is_mitred"] == 1, 0.7, -0.5)


def _inlet(row):
    words = [float(ROWS[name].iloc[row]) for name in ("form", "k", "m", "c", "y")]
    return InletCoefficients(*words, float(SLOPE_TERMS[row]))


def _grouped(inputs, *groups):
    """Gather the fields of named tuples among the inputs of a check row."""
    inputs = dict(inputs)
    slope = inputs.get("slope_m_per_m")
    made = {}
    for group in groups:
        kind = GROUPS[group]
        fields = {n: inputs[n] for n in kind._fields}
        made[group] = kind(**fields)
    taken = {name for group in groups for name in GROUPS[group]._fields}
    rest = {key: value for key, value in inputs.items() if key not in taken}
    if "coefficients" in groups:
        rest["slope_m_per_m"] = slope
    return {**rest, **made}


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("critical_depth"))
def test_critical_depth_meets_source(inputs, expected, atol):
    ours = hydraulics.critical_depth(**_grouped(inputs, "barrel"))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("critical_head"))
def test_critical_head_meets_source(inputs, expected, atol):
    ours = hydraulics.critical_head(**_grouped(inputs, "barrel"))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("critical_flow"))
def test_critical_flow_meets_source(inputs, expected, atol):
    ours = hydraulics.critical_flow(**_grouped(inputs, "barrel"))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("manning_flow"))
def test_manning_flow_meets_source(inputs, expected, atol):
    ours = uniform_flow.manning_flow(**_grouped(inputs, "barrel"))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("inlet_control_headwater")
)
def test_inlet_control_headwater_meets_source(inputs, expected, atol):
    grouped = _grouped(inputs, "barrel", "coefficients")
    ours = inlet_control.inlet_control_headwater(**grouped)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("full_flow_head_loss")
)
def test_full_flow_head_loss_meets_source(inputs, expected, atol):
    ours = outlet_control.full_flow_head_loss(**_grouped(inputs, "barrel", "conduit"))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("outlet_control_headwater")
)
def test_outlet_control_headwater_meets_source(inputs, expected, atol):
    grouped = _grouped(inputs, "barrel", "conduit")
    ours = outlet_control.outlet_control_headwater(**grouped)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.938, 1.0])
def test_manning_velocity_is_that_of_fluids(share):
    """fluids.V_Manning as reference, from area and perimeter of its own circle."""
    angle = 2 * np.arccos(1 - 2 * share)
    area_m2, radius_m = (angle - np.sin(angle)) / 8, (1 - np.sin(angle) / angle) / 4
    expected = area_m2 * fluids.V_Manning(radius_m, 0.01, 0.012)
    ours = uniform_flow.manning_flow(Barrel(1.0, 1.0), share, 0.01, 0.012)
    assert_allclose(ours, expected, rtol=1e-9)


def test_part_full_flow_over_full_flow_is_that_of_the_handbook():
    """chow1959: 0.500, 0.977, 1.000, 1.076 at y/D 0.5, 0.8, 0.8196, 0.938."""
    depth_m = np.array([0.5, 0.8, 0.8196, 0.938, 1.0])
    flow = uniform_flow.manning_flow(Barrel(1.0, 1.0), depth_m, 0.01, 0.012)
    assert_allclose(flow[:4] / flow[4], [0.5, 0.977, 1.0, 1.076], atol=0.001)


def test_critical_depth_of_a_box_is_that_of_fluids_froude_number():
    """fluids.Froude is 1 where the flow is critical."""
    depth_m = hydraulics.critical_depth(Barrel(2.0, 1.5, BOX), [0.5, 2.0, 6.0])
    velocity_m_s = np.array([0.5, 2.0, 6.0]) / (1.5 * depth_m)
    froude = [fluids.Froude(v, y) for v, y in zip(velocity_m_s, depth_m, strict=True)]
    assert_allclose(froude, 1.0, rtol=1e-4)


def test_critical_depth_of_a_circle_has_froude_number_one():
    flow_m3s = np.array([0.05, 0.4, 1.2])
    barrel = Barrel(1.0, 1.0)
    depth_m = hydraulics.critical_depth(barrel, flow_m3s)
    area_m2 = open_area(barrel, depth_m)
    mean_m = area_m2 / surface_width(barrel, depth_m)
    pairs = zip(flow_m3s / area_m2, mean_m, strict=True)
    assert_allclose([fluids.Froude(v, y) for v, y in pairs], 1.0, rtol=1e-4)


def test_ice_bed_conveyance_is_that_of_the_segment():
    """Segment over a bed of 0.25, 0.5, 0.75 D: 0.724, 0.360, 0.092 of the full pipe."""
    bed = [0.0, 0.25, 0.5, 0.75]
    flow = uniform_flow.manning_flow(Barrel(1.0, 1.0, ROUND, bed), 1.0, 0.01, 0.012)
    assert_allclose(flow[1:] / flow[0], [0.724, 0.360, 0.092], atol=0.0006)


def test_inlet_table_has_the_rows_used_by_name():
    choices = table("inlet_choices")
    assert set(choices["chart"]) <= set(ROWS["chart"])
    assert set(choices["entrance_loss_key"]) <= set(table("entrance_losses")["key"])
    assert not choices.duplicated(["shape", "wall", "entrance"]).any()


@pytest.mark.parametrize("row", range(len(ROWS)), ids=ROWS["chart"])
def test_no_inlet_needs_its_transition_lifted(row):
    """The submerged form at q* 4.0 lies above the unsubmerged one at 3.5."""
    barrel = Barrel(1.0, 1.0, ROW_SHAPES[row])
    unit_m3s = open_area(barrel, 1.0) / inlet_control.INLET_KU
    ratio = np.array([3.5, 4.0])
    headwater_m = inlet_control.inlet_control_headwater(
        ratio * unit_m3s, barrel, 0.0, _inlet(row)
    )
    submerged = ROWS["c"].iloc[row] * 16 + ROWS["y"].iloc[row]
    assert_allclose(headwater_m[1], submerged, rtol=1e-9)
    assert headwater_m[0] < headwater_m[1]


barrels = st.builds(
    Barrel,
    rise_m=st.floats(0.25, 4),
    span_m=st.floats(0.25, 6),
    shape=st.sampled_from(SHAPES),
    bed_fraction=st.floats(0, 0.9),
)
rows = st.integers(0, len(ROWS) - 1)
slopes = st.floats(0, 0.2)


@settings(max_examples=10, deadline=None)
@given(barrel=barrels, row=rows, slope=slopes, heads=st.tuples(*[st.floats(0, 4)] * 2))
def test_inlet_flow_grows_with_headwater(barrel, row, slope, heads):
    headwater_m = np.sort(heads) * barrel.rise_m
    low, high = inlet_control.inlet_control_flow(
        headwater_m, barrel, slope, _inlet(row)
    )
    assert 0 <= low <= high * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(barrel=barrels, row=rows, slope=slopes, ratio=st.floats(0.05, 12))
def test_inlet_flow_is_the_inverse_of_its_headwater(barrel, row, slope, ratio):
    height_m = barrel.rise_m * (1 - barrel.bed_fraction)
    full_m2 = open_area(barrel, barrel.rise_m)
    flow_m3s = ratio * full_m2 * np.sqrt(height_m) / inlet_control.INLET_KU
    arguments = (barrel, slope, _inlet(row))
    headwater_m = inlet_control.inlet_control_headwater(flow_m3s, *arguments)
    is_over_bed = headwater_m > barrel.rise_m * barrel.bed_fraction + 1e-6
    back_m3s = inlet_control.inlet_control_flow(headwater_m, *arguments)
    assert_allclose(back_m3s, np.where(is_over_bed, flow_m3s, back_m3s), rtol=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    barrel=barrels,
    row=rows,
    slope=slopes,
    ratio=st.floats(0.05, 12),
    rise_ft=st.floats(1, 12),
)
def test_inlet_headwater_over_rise_is_the_same_in_feet_and_metres(
    barrel, row, slope, ratio, rise_ft
):
    """fhwa2012 appendix A: q* = Q / (A D^0.5) in feet, 1.811 Q / (A D^0.5) in metres.

    1.811 is printed for sqrt(1 / 0.3048) = 1.8113; the same q* gives the same HW/D.
    """
    inlet = _inlet(row)
    ours = []
    for unit_m in (FOOT_M, 1.0):
        scale = rise_ft * unit_m / barrel.rise_m
        sized = barrel._replace(rise_m=rise_ft * unit_m, span_m=barrel.span_m * scale)
        height = rise_ft * (1 - barrel.bed_fraction)
        area = open_area(sized, rise_ft * unit_m) / unit_m**2
        ku = 1.0 if unit_m == FOOT_M else 1.811
        flow_m3s = ratio * area * np.sqrt(height) / ku * unit_m**3
        headwater_m = inlet_control.inlet_control_headwater(
            flow_m3s, sized, slope, inlet
        )
        ours.append(headwater_m / sized.rise_m)
    assert_allclose(ours[0], ours[1], rtol=2e-3, atol=1e-6)


@pytest.mark.parametrize("row", range(len(ROWS)), ids=ROWS["chart"])
def test_slope_raises_the_headwater_of_a_mitred_inlet_and_lowers_the_others(row):
    """fhwa2012 appendix A: Ks is +0.7 for mitred inlets, else -0.5, times S D."""
    barrel = Barrel(1.0, 1.0, ROW_SHAPES[row])
    unit_m3s = open_area(barrel, 1.0) / inlet_control.INLET_KU
    ratio = np.array([2.0, 3.75, 6.0])  # unsubmerged, transition, submerged
    level_m, sloping_m = (
        inlet_control.inlet_control_headwater(ratio * unit_m3s, barrel, s, _inlet(row))
        for s in (0.0, 0.02)
    )
    is_mitred = "mitred" in ROWS["inlet"].iloc[row]
    expected_m = (0.7 if is_mitred else -0.5) * 0.02
    assert_allclose(sloping_m - level_m, expected_m, atol=1e-9)


def test_inlet_flow_meets_a_scalar_root_finder():
    """scipy.optimize.brentq on the headwater equation as reference."""
    barrel = Barrel(0.6, 0.6)
    for row in (0, 4, 5):
        for headwater_m in (0.3, 0.7, 1.1):

            def gap(flow_m3s, row=row, headwater_m=headwater_m):
                head_m = inlet_control.inlet_control_headwater(
                    flow_m3s, barrel, 0.02, _inlet(row)
                )
                return float(head_m) - headwater_m

            expected = brentq(gap, 1e-6, 5.0)
            ours = inlet_control.inlet_control_flow(
                headwater_m, barrel, 0.02, _inlet(row)
            )
            assert_allclose(ours, expected, rtol=1e-6)


@settings(max_examples=10, deadline=None)
@given(
    rise_m=st.floats(0.25, 4),
    wide=st.floats(0.8, 3),
    shape=st.sampled_from(SHAPES),
    silt=st.floats(0, 0.9),
    row=rows,
    slope=slopes,
    head=st.floats(0.2, 4),
    ices=st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
def test_capacity_never_grows_with_ice(
    rise_m, wide, shape, silt, row, slope, head, ices
):
    """A slit much higher than wide may gain: its tip has more wall than room."""
    clear = Barrel(rise_m, wide * rise_m, shape, silt)
    barrel = iced_barrel(clear, np.sort([*ices, 1.0]))
    capacity_m3s = barrel_flow.barrel_capacity(
        head * rise_m, barrel, Conduit(15.0, slope, 0.9, 0.024), _inlet(row), slope
    )
    assert capacity_m3s[-1] == 0
    assert (capacity_m3s >= 0).all()
    fall = -np.diff(capacity_m3s)
    assert (fall >= -1e-6 * capacity_m3s.max()).all()


def test_headwater_and_ice_move_capacity_the_right_way_over_the_whole_table():
    rng = np.random.default_rng(11)
    count = 300
    rise_m, span_m = rng.uniform(0.25, 4, count), rng.uniform(0.25, 6, count)
    shape = np.repeat(ROW_SHAPES, count)
    inlets = InletCoefficients(
        *(
            np.repeat(ROWS[name].to_numpy(float), count)
            for name in ["form", "k", "m", "c", "y"]
        ),
        np.repeat(SLOPE_TERMS, count),
    )
    rise_m, span_m = np.tile(rise_m, len(ROWS)), np.tile(span_m, len(ROWS))
    slope, silt = rng.uniform(0, 0.2, shape.size), rng.uniform(0, 0.9, shape.size)
    head_m = rng.uniform(0.2, 4, shape.size) * rise_m
    clear = Barrel(rise_m, span_m, shape, silt)
    conduit = Conduit(15.0, slope, 0.9, 0.024)

    def capacity(closed, lift):
        return barrel_flow.barrel_capacity(
            head_m * lift, iced_barrel(clear, closed), conduit, inlets, slope
        )

    base_m3s = capacity(0.3, 1.0)
    assert (capacity(0.31, 1.0) <= base_m3s + 1e-9).all()
    assert (capacity(0.0, 1.0) >= base_m3s - 1e-9).all()
    assert (capacity(1.0, 1.0) == 0).all()
    inlet_m3s = inlet_control.inlet_control_flow
    low_m3s = inlet_m3s(head_m, clear, slope, inlets)
    assert (inlet_m3s(1.01 * head_m, clear, slope, inlets) >= low_m3s).all()


def test_outlet_control_counts_only_where_its_inputs_are_known():
    barrel, inlet = Barrel(0.9144, 0.9144), _inlet(5)
    conduit = Conduit([36.6, np.nan], 0.0, 0.9, 0.024)
    known, unknown = barrel_flow.barrel_capacity(1.5, barrel, conduit, inlet, 0.0)
    alone = inlet_control.inlet_control_flow(1.5, barrel, 0.0, inlet)
    assert known < unknown == alone


def test_closed_barrel_dams_water_and_passes_none():
    closed = Barrel(1.0, 1.0, ROUND, 1.0)
    head_m = inlet_control.inlet_control_headwater([0.0, 0.1], closed, 0.02, _inlet(0))
    assert head_m.tolist() == [1.0, np.inf]
    flow = inlet_control.inlet_control_flow([0.5, 9.0], closed, 0.02, _inlet(0))
    assert flow.tolist() == [0.0, 0.0]


def test_missing_values_stay_missing():
    nan = np.nan
    barrel = Barrel([nan, 1.0, 1.0], [1.0, nan, 1.0], ROUND, [0.0, 0.0, nan])
    inlet, conduit = _inlet(0), Conduit(15.0, 0.01, 0.5, 0.024)
    assert np.isnan(hydraulics.critical_depth(barrel, 0.5)).all()
    assert np.isnan(
        inlet_control.inlet_control_headwater(0.5, barrel, 0.0, inlet)
    ).all()
    assert np.isnan(inlet_control.inlet_control_flow(1.5, barrel, 0.0, inlet)).all()
    outlet_m = outlet_control.outlet_control_headwater(0.5, barrel, conduit)
    assert np.isnan(outlet_m).all()
    known = Barrel(1.0, 1.0)
    assert np.isnan(
        inlet_control.inlet_control_headwater([nan], known, 0.0, inlet)
    ).all()
    assert np.isnan(inlet_control.inlet_control_flow([nan], known, 0.0, inlet)).all()


def test_the_inlet_table_holds_every_chart_of_table_a_1():
    """fhwa2012, table A.1: charts and the number of inlets of each."""
    counts = {
        "1": 3, "2": 3, "3": 2, "8": 3, "9": 2, "10": 3, "11": 4, "12": 3, "13": 3,
        "16": 3, "29": 3, "30": 3, "34": 3, "35": 3, "41": 3, "55": 2, "56": 3,
        "57": 1, "58": 2, "59": 2,
    }  # fmt: skip
    chart = ROWS["chart"].str.partition("-")[0]
    assert chart.value_counts().to_dict() == counts
    assert ROWS["source"].notna().all()
    assert not ROWS["chart"].duplicated().any()


@pytest.mark.parametrize("row", range(len(ROWS)), ids=ROWS["chart"])
def test_inlet_headwater_in_feet_is_that_of_the_us_equation(row):
    """fhwa2012 appendix A with Ku 1 and feet: HW/D = c q*^2 + Y + Ks S at q* 6."""
    rise_ft, shape = 4.0, BOX if ROW_SHAPES[row] == BOX else ROUND
    area_ft2 = 16.0 if shape == BOX else np.pi * 4
    flow_cfs = 6.0 * area_ft2 * np.sqrt(rise_ft)
    expected_ft = rise_ft * (
        ROWS["c"].iloc[row] * 36 + ROWS["y"].iloc[row] + SLOPE_TERMS[row] * 0.02
    )
    barrel = Barrel(rise_ft * FOOT_M, rise_ft * FOOT_M, shape)
    ours_m = inlet_control.inlet_control_headwater(
        flow_cfs * CFS_M3S, barrel, 0.02, _inlet(row)
    )
    assert_allclose(ours_m / FOOT_M, expected_ft, rtol=1e-3)


def test_full_flow_loss_in_feet_is_that_of_the_us_equation():
    """fhwa2012: H = (1 + Ke + 29 n^2 L / R^1.33) V^2 / 2g in feet; 29 for 29.14."""
    rise_ft, flow_cfs, length_ft = 4.0, 90.0, 120.0
    velocity = flow_cfs / (np.pi * 4)
    factor = 1.5 + 29 * 0.024**2 * length_ft / 1.0**1.33
    expected_ft = factor * velocity**2 / (2 * 32.174)
    barrel = Barrel(rise_ft * FOOT_M, rise_ft * FOOT_M)
    conduit = Conduit(length_ft * FOOT_M, 0.0, 0.5, 0.024)
    ours_m = outlet_control.full_flow_head_loss(flow_cfs * CFS_M3S, barrel, conduit)
    assert_allclose(ours_m / FOOT_M, expected_ft, rtol=5e-3)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_normal_depth_is_that_of_fluids(share):
    """fluids.V_Manning at the depth found gives back the flow."""
    angle = 2 * np.arccos(1 - 2 * share)
    area_m2, radius_m = (angle - np.sin(angle)) / 8, (1 - np.sin(angle) / angle) / 4
    flow_m3s = area_m2 * fluids.V_Manning(radius_m, 0.01, 0.012)
    ours = uniform_flow.normal_depth(Barrel(1.0, 1.0), flow_m3s, 0.01, 0.012)
    assert_allclose(ours, share, rtol=1e-9)


def test_compiled_sections_are_those_of_the_formulas():
    rng = np.random.default_rng(3)
    rise_m, span_m = rng.uniform(0.3, 3, 50), rng.uniform(0.3, 4, 50)
    for shape in SHAPES:
        for bed in (0.0, 0.3, 0.9):
            barrel = Barrel(rise_m, span_m, shape, bed)
            depth_m = rng.uniform(0, 0.99, 50) * open_height(barrel)
            ours = [
                barrel_kernels.geometry(
                    depth, barrel_kernels.section_of(rise, span, shape, bed)
                )
                for depth, rise, span in zip(depth_m, rise_m, span_m, strict=True)
            ]
            formulas = (open_area, surface_width, wetted_perimeter)
            expected = [formula(barrel, depth_m) for formula in formulas]
            assert_allclose(np.transpose(ours), expected, atol=1e-12)
