"""Sentences with quantities: the US number is the metric one, the rest stays."""

import ast
import math
import re
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import culvertrisk
from culvertrisk.reports.packing import coded_lists
from culvertrisk.reports.sentence_units import both_units, in_units
from culvertrisk.units import UNIT_MARK, quantity

# How many of the US unit one metric unit is: NIST SP 811 (2008), appendix B.8, exact
# but for acre and psi (to the digits printed there).
PER_METRIC_UNIT = {
    "mm": (1 / 25.4, "in"),
    "cm": (1 / 2.54, "in"),
    "m": (1 / 0.3048, "ft"),
    "km": (1 / 1.609344, "mi"),
    "m²": (1 / 0.3048**2, "ft²"),
    "ha": (1 / 0.4046873, "acre"),
    "km²": (1 / 1.609344**2, "mi²"),
    "m³": (1 / 0.3048**3, "ft³"),
    "L": (1 / 3.785412, "gal"),
    "L/s": (1 / 28.316846592, "ft³/s"),
    "m³/s": (1 / 0.3048**3, "ft³/s"),
    "m/s": (1 / 0.3048, "ft/s"),
    "kPa": (1 / 6.894757, "psi"),
    "MPa": (1 / 0.006894757, "psi"),
    "kg": (1 / 0.45359237, "lb"),
    "°C·days": (1.8, "°F·days"),
}
TOLD = re.compile(r"^About (-?[\d,.]+) (\S+) of it\.$")


@given(
    value=st.floats(-1e6, 1e6),
    unit=st.sampled_from([*PER_METRIC_UNIT]),
    decimals=st.integers(0, 3),
)
def test_us_number_is_the_metric_one_to_the_digits_shown(value, unit, decimals):
    written = quantity(value, unit, decimals)
    number = written.partition(UNIT_MARK)[0]
    times, us_unit = PER_METRIC_UNIT[unit]
    told, told_unit = TOLD.match(in_units(f"About {written} of it.", "us")).groups()
    expected = float(number) * times
    digits = min(max(len(Decimal(number).as_tuple().digits), 2), 3)
    place = math.floor(math.log10(abs(expected))) - digits + 1 if expected else 0
    assert told_unit == us_unit
    # 1e-5: acre, gallon and psi are rounded in the source
    half_step = 0.5 * 10.0**place + 1e-5 * abs(expected)
    if unit == "mm" and float(told.replace(",", "")).is_integer():
        # a whole inch within what the millimetres as written leave open
        half_step = max(half_step, 0.5 * 10.0**-decimals / 25.4)
    assert abs(float(told.replace(",", "")) - expected) <= half_step


@given(celsius=st.floats(-60, 60), decimals=st.integers(0, 1))
def test_temperature_is_converted_with_its_zero(celsius, decimals):
    written = quantity(celsius, "°C", decimals)
    number = float(written.partition(UNIT_MARK)[0])
    told = in_units(f"About {written} of it.", "us")
    shown = float(TOLD.match(told).group(1))
    assert abs(shown - (number * 1.8 + 32)) <= 0.5 * 10.0**-decimals + 1e-9


@given(value=st.floats(0, 1e6), unit=st.sampled_from([*PER_METRIC_UNIT, "°C"]))
def test_metric_reading_is_the_sentence_with_a_plain_space(value, unit):
    written = quantity(value, unit, 1)
    assert in_units(written, "metric") == written.replace(UNIT_MARK, " ")


@given(st.text())
def test_sentence_without_a_mark_stays_as_it_is(text):
    plain = text.replace(UNIT_MARK, " ")
    assert both_units(plain) == (plain, plain)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_words_that_only_look_like_a_quantity_stay(units):
    for text in (
        "Route\u202fm",
        "3\u202fmice",
        "12\u202fh on site",
        "5 m",
        "50\u202f%",
    ):
        assert in_units(text, units) == text


def test_each_quantity_of_a_sentence_is_converted():
    reach, barrel = quantity(30.48, "m", 2), quantity(61, "m")
    sentence = f"hose too short: {reach} from both ends, barrel {barrel}"
    assert in_units(sentence, "us") == (
        "hose too short: 100 ft from both ends, barrel 200 ft"
    )


@pytest.mark.parametrize("inches", [4, 6, 8, 10, 12, 18, 24])
def test_a_pipe_of_whole_inches_is_told_in_whole_inches(inches):
    small = f"Small pipe: {quantity(inches * 25.4, 'mm')} closes early"
    assert in_units(small, "us") == f"Small pipe: {inches} in closes early"


def test_quantity_without_decimals_is_as_short_as_it_can():
    whole, half = quantity(80.0, "ha", None), quantity(2.5, "km²", None)
    assert (whole, half) == ("80\u202fha", "2.5\u202fkm²")


def test_page_carries_a_sentence_twice_only_where_units_differ():
    drop = f"perched: {quantity(0.6, 'm', 1)} drop"
    told = coded_lists(["a seep; " + drop, drop])
    assert told == {
        "words": ["A seep", "Perched: 0.6 m drop"],
        "us": {1: "Perched: 2 ft drop"},
        "codes": [[0, 1], [1]],
    }


BARE = re.compile(rf"^ ?(?:{'|'.join(map(re.escape, [*PER_METRIC_UNIT, 'm3']))})(?!\w)")
# A refusal on the terminal names the unit of the file, whoever reads it.
REFUSALS = {("dem_fit", " m)")}


@pytest.mark.parametrize("folder", ["stages", "plans"])
def test_stages_and_plans_write_quantities_with_the_mark(folder):
    bare = {
        (path.stem, part.value)
        for path in (Path(culvertrisk.__file__).parent / folder).glob("*.py")
        for text in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(text, ast.JoinedStr)
        for before, part in pairwise(text.values)
        if isinstance(before, ast.FormattedValue) and isinstance(part, ast.Constant)
        if BARE.match(part.value)
    }
    assert bare <= REFUSALS
