"""Geometry of circle, ellipse and box, and a bed of ice, against Chow's tables."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import ellipe

from culvertrisk.formulas import ice_section, sections
from culvertrisk.formulas.sections import Barrel
from tests.published import published


def _with_barrel(inputs):
    """Gather the fields of a barrel among the inputs of a check row."""
    barrel = Barrel(*(inputs[name] for name in Barrel._fields))
    others = {key: value for key, value in inputs.items() if key not in Barrel._fields}
    return {"barrel": barrel, **others}


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("circle_area"))
def test_circle_area_meets_source(inputs, expected, atol):
    assert_allclose(sections.circle_area(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("circle_perimeter"))
def test_circle_perimeter_meets_source(inputs, expected, atol):
    assert_allclose(sections.circle_perimeter(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("circle_top_width"))
def test_circle_top_width_meets_source(inputs, expected, atol):
    assert_allclose(sections.circle_top_width(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("open_area"))
def test_open_area_meets_source(inputs, expected, atol):
    ours = sections.open_area(**_with_barrel(inputs))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("wetted_perimeter"))
def test_wetted_perimeter_meets_source(inputs, expected, atol):
    ours = sections.wetted_perimeter(**_with_barrel(inputs))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("surface_width"))
def test_surface_width_meets_source(inputs, expected, atol):
    ours = sections.surface_width(**_with_barrel(inputs))
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("composite_roughness")
)
def test_composite_roughness_meets_source(inputs, expected, atol):
    ours = ice_section.composite_roughness(**inputs)
    assert_allclose(ours, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("iced_barrel"))
def test_iced_barrel_meets_source(inputs, expected, atol):
    ours = ice_section.iced_barrel(**_with_barrel(inputs)).bed_fraction
    assert_allclose(ours, expected, rtol=0, atol=atol)


def test_perimeter_of_an_ellipse_is_the_elliptic_integral():
    """scipy.special.ellipe as reference; widest pipe arches are 1.5 as wide as high."""
    span_m = np.linspace(0.5, 3.0, 11)
    long_m, short_m = np.maximum(span_m, 1.0) / 2, np.minimum(span_m, 1.0) / 2
    exact_m = 4 * long_m * ellipe(1 - (short_m / long_m) ** 2)
    ours = sections.wetted_perimeter(Barrel(1.0, span_m, False), 1.0)
    assert_allclose(ours, exact_m, rtol=1e-4)


def test_an_ellipse_holds_what_a_pipe_arch_does():
    """Pipe-arch table (public): full area 0.788 of span x rise; within 0.4 %."""
    area_m2 = sections.open_area(Barrel(0.9144, 1.1, False), 0.9144)
    assert_allclose(area_m2 / (0.9144 * 1.1), 0.788, rtol=0.004)


PIPE_ARCHES_IN = (  # ncspa2008, from memory: span, rise, B, Rc, Rt, Rb
    (17, 13, 4.125, 3.5, 8.625, 25.625),
    (28, 20, 6.5, 5.5, 14.0, 42.25),
    (42, 29, 9.75, 8.25, 21.5, 66.125),
    (57, 38, 13.0, 11.0, 28.625, 88.25),
    (71, 47, 16.25, 13.75, 35.75, 110.25),
    (83, 57, 19.5, 16.5, 43.0, 132.25),
)


def _three_arcs(span, rise, height, corner, top, bottom):
    """Depths of a pipe arch, area and wetted perimeter up to them, by its arcs."""
    y = np.linspace(0, rise, 20_001)
    x, over = span / 2 - corner, height - (rise - top)
    low = bottom - bottom * (bottom - height) / (bottom - corner)
    high = rise - top + top * over / (top - corner)
    arcs = [(bottom, bottom, 0.0), (corner, height, x), (top, rise - top, 0.0)]
    halves = [
        at + np.sqrt(np.maximum(radius**2 - (y - centre) ** 2, 0))
        for radius, centre, at in arcs
    ]
    width = 2 * np.where(y < low, halves[0], np.where(y < high, halves[1], halves[2]))
    area = np.append(0, np.cumsum((width[1:] + width[:-1]) / 2 * np.diff(y)))
    around = np.append(0, np.cumsum(2 * np.hypot(np.diff(width) / 2, np.diff(y))))
    return y, area, around


@pytest.mark.parametrize("size", PIPE_ARCHES_IN, ids=lambda s: f"{s[0]} x {s[1]}")
def test_an_ellipse_is_as_near_a_pipe_arch_as_its_docstring_says(size):
    span, rise = size[:2]
    depth, area, around = _three_arcs(*size)
    asked = np.array([0.2, 0.5, 1.0]) * rise
    ellipse = Barrel(rise, span, False)
    areas = sections.open_area(ellipse, asked) / np.interp(asked, depth, area)
    assert (areas > [0.73, 0.87, 0.96]).all() and (areas < [0.755, 0.89, 1.0]).all()
    perimeters = sections.wetted_perimeter(ellipse, rise) / around[-1]
    assert 0.95 <= perimeters < 0.99
    above_bed = sections.open_area(ellipse._replace(bed_fraction=0.5), rise)
    assert above_bed < 1.15 * (area[-1] - np.interp(rise / 2, depth, area))


def test_missing_values_stay_missing():
    nan = np.nan
    barrel = Barrel(
        [nan, 1.0, 1.0], [1.0, nan, 1.0], [True, True, False], [0.0, 0.0, nan]
    )
    for function in (sections.open_area, sections.wetted_perimeter):
        assert np.isnan(function(barrel, 0.5)).all()
    assert np.isnan(sections.circle_area([nan], 1.0)).all()
    assert np.isnan(ice_section.iced_barrel(barrel, 0.5).bed_fraction[[0, 2]]).all()
    known = Barrel(1.0, 1.0, False)
    assert np.isnan(ice_section.iced_barrel(known, [nan]).bed_fraction).all()


@settings(max_examples=60, deadline=None)
@given(
    span_m=st.floats(0.2, 6),
    is_box=st.booleans(),
    bed=st.floats(0, 0.98),
    depths=st.tuples(st.floats(0, 1.2), st.floats(0, 1.2)),
)
def test_area_and_perimeter_grow_with_depth(span_m, is_box, bed, depths):
    barrel = Barrel(1.0, span_m, is_box, bed)
    depth_m = np.sort(depths)
    for function in (sections.open_area, sections.wetted_perimeter):
        low, high = function(barrel, depth_m)
        assert 0 <= low <= high + 1e-9


@settings(max_examples=20, deadline=None)
@given(
    silt=st.floats(0, 0.95),
    closed=st.floats(0, 1),
    is_box=st.booleans(),
    span_m=st.floats(0.2, 6),
)
def test_ice_takes_its_share_of_the_clear_area(silt, closed, is_box, span_m):
    clear = Barrel(1.0, span_m, is_box, silt)
    iced = ice_section.iced_barrel(clear, closed)
    left = sections.open_area(iced, 1.0)
    expected = (1 - closed) * sections.open_area(clear, 1.0)
    assert_allclose(left, expected, rtol=1e-6, atol=1e-6)


def test_a_full_box_wets_its_crown_whatever_the_bed():
    """Bed plus open height may fall short of the rise by rounding."""
    barrel = Barrel(np.linspace(0.3, 3.0, 997), 1.0, True, np.linspace(0, 0.95, 997))
    height_m = sections.open_height(barrel)
    wetted_m = sections.wetted_perimeter(barrel, height_m)
    assert_allclose(wetted_m, 2 + 2 * height_m, rtol=1e-12)
