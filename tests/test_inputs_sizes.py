"""Sizes written as text: the mess of real inventories, units found, never zero."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.inputs.size_units import find_unit, row_unit
from culvertrisk.inputs.sizes import UNKNOWN, parse_size
from culvertrisk.units import to_unit

INCH_M = 0.0254  # exact, international inch (NIST SP 811, B.8)
FOOT_M = 0.3048  # exact, international foot (NIST SP 811, B.8)


@pytest.mark.parametrize(
    ("text", "span_m", "rise_m", "barrels"),
    [
        ('18"', 18 * INCH_M, 18 * INCH_M, 1),
        ("18", 18 * INCH_M, 18 * INCH_M, 1),
        ("18.0", 18 * INCH_M, 18 * INCH_M, 1),
        ("24 in.", 24 * INCH_M, 24 * INCH_M, 1),
        ("48 Inch", 48 * INCH_M, 48 * INCH_M, 1),
        ("1.5 ft", 1.5 * FOOT_M, 1.5 * FOOT_M, 1),
        ("450mm", 0.45, 0.45, 1),
        ("0,6 m", 0.6, 0.6, 1),
        ("60cm", 0.6, 0.6, 1),
        ("4'-0\"", 4 * FOOT_M, 4 * FOOT_M, 1),
        ("4' 6\"", 4.5 * FOOT_M, 4.5 * FOOT_M, 1),
        ("4’", 4 * FOOT_M, 4 * FOOT_M, 1),
        ("twin 24", 24 * INCH_M, 24 * INCH_M, 2),
        ('triple 36"', 36 * INCH_M, 36 * INCH_M, 3),
        ("2-36", 36 * INCH_M, 36 * INCH_M, 2),
        ('2-24"', 24 * INCH_M, 24 * INCH_M, 2),
        ("2 @ 36", 36 * INCH_M, 36 * INCH_M, 2),
        ("12 (2)", 12 * INCH_M, 12 * INCH_M, 2),
        ("(2) 24", 24 * INCH_M, 24 * INCH_M, 2),
        ("2 x 600mm", 0.6, 0.6, 2),
        ("18x11", 18 * INCH_M, 11 * INCH_M, 1),
        ('18" x 11"', 18 * INCH_M, 11 * INCH_M, 1),
        ("6' x 4'", 6 * FOOT_M, 4 * FOOT_M, 1),
        ("3 @ 6' x 4'", 6 * FOOT_M, 4 * FOOT_M, 3),
        ('24" CMP', 24 * INCH_M, 24 * INCH_M, 1),
        ("dia. 24", 24 * INCH_M, 24 * INCH_M, 1),
        ("24\" x 40'", 24 * INCH_M, 24 * INCH_M, 1),
    ],
)
def test_parse_size_reads_what_people_write(text, span_m, rise_m, barrels):
    size = parse_size(text, "inch")
    assert_allclose([size.span_m, size.rise_m], [span_m, rise_m], rtol=1e-12)
    assert size.barrel_count == barrels


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "0.0",
        '0"',
        "UNK",
        "Unknown",
        "n/a",
        "?",
        "<Null>",
        "varies",
        "-99",
        "x",
    ],
)
def test_parse_size_keeps_unknown_unknown_and_never_zero(text):
    assert parse_size(text, "inch") is UNKNOWN


@pytest.mark.parametrize(
    ("text", "span_m"),
    [("36 to 48", 36 * INCH_M), ("240+", 240 * INCH_M), ("24-30", 24 * INCH_M)],
)
def test_parse_size_says_when_it_guesses(text, span_m):
    size = parse_size(text, "inch")
    assert_allclose(size.span_m, span_m, rtol=1e-12)
    assert size.is_guess


WRITTEN = {
    "meter": ("m", " m", "metre"),
    "millimeter": ("mm", " mm"),
    "centimeter": ("cm", " cm"),
    "inch": ('"', "in", " in.", " inches"),
    "foot": ("'", "ft", " ft", " feet"),
}


@settings(max_examples=60, deadline=None)
@given(
    size_m=st.floats(0.1, 9.9),
    unit=st.sampled_from(sorted(WRITTEN)),
    choice=st.integers(0, 3),
    default=st.sampled_from(sorted(WRITTEN)),
)
def test_a_size_written_in_any_unit_reads_as_the_same_metres(
    size_m, unit, choice, default
):
    words = WRITTEN[unit]
    number = size_m / to_unit(f"1 {unit}", "m")
    text = f"{number:.9f}{words[choice % len(words)]}"
    assert_allclose(parse_size(text, default).span_m, size_m, atol=1e-8)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=20), st.sampled_from(sorted(WRITTEN)))
def test_parse_size_takes_any_text_without_an_error_or_a_zero(text, unit):
    size = parse_size(text, unit)
    assert np.isnan(size.span_m) or size.span_m > 0


# A small town's sizes [in] by their share in percent, common practice, no source.
TOWN_INCHES = [12] * 5 + [15] * 17 + [18] * 36 + [24] * 21 + [30] * 7 + [36] * 7
TOWN_INCHES += [48] * 4 + [60] * 3


@pytest.mark.parametrize("unit", ["inch", "foot", "millimeter"])
def test_find_unit_knows_a_town_in_any_unit(unit):
    scale = to_unit("1 inch", unit)
    assert find_unit([round(value * scale, 3) for value in TOWN_INCHES]) == unit


@pytest.mark.parametrize(
    ("numbers", "unit"),
    [
        ([12, 18, 18, 24, 36], "inch"),
        ([300, 450, 600, 900], "millimeter"),
        ([0.3, 0.45, 0.6, 0.9, 1.2], "meter"),
        ([1.5, 1.5, 2, 2, 3], "foot"),
        ([1e6], ""),
        ([], ""),
    ],
)
def test_find_unit_reads_the_unit_from_the_values(numbers, unit):
    assert find_unit(numbers) == unit


@pytest.mark.parametrize(
    ("number", "unit", "median", "expected"),
    [
        (450, "inch", 18, "millimeter"),  # trade note: all four mean one size
        (1.5, "inch", 18, "foot"),
        (0.45, "inch", 18, "meter"),
        (18, "millimeter", 450, "inch"),
        (18, "foot", 1.5, "inch"),
        (240, "inch", 18, "inch"),
        (4, "inch", 18, "foot"),
        (0.1, "meter", 0.6, "meter"),
        (123456, "inch", 18, ""),
    ],
)
def test_row_unit_finds_the_row_in_another_unit(number, unit, median, expected):
    assert row_unit(number, unit, median) == expected
