"""Amounts in words, for metric and for US readers, rounded to what can be relied on."""

import math
from functools import cache
from typing import NamedTuple

import pandas as pd

from culvertrisk.units import HOUR_S, clock, registry

_UNIT_WORDS = {
    "delta_degC * day": "°C·days",
    "delta_degF * day": "°F·days",
    "m**3": "m³",
    "acre_foot": "acre-ft",
    "hour": "h",
    "1/year": "a year",
    "m**3/s": "m³/s",
    "ft**3/s": "ft³/s",
    "inch": "in",
    "hectare": "ha",
    "mile": "mi",
    "person-h": "person-hours",
    "percent": "%",
    "index": "of 100",
    "ratio": "times",
    "number": "",
    "count": "",
}
_BASE_UNITS = {
    "m": "m",
    "m2": "m**2",
    "m3": "m**3",
    "m3/s": "m**3/s",
    "s": "s",
    "°C·day": "delta_degC * day",
    "m/m": "dimensionless",
    "fraction": "dimensionless",
    "chance": "dimensionless",
}
CLOCK = "clock"  # a unit of the map only: seconds of the day shown as 14:30
_COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_FULL_TURN_DEG = 360.0
_STEP_MINUTES = 5
_WALK_M = 300.0  # farther ways are told as km and miles


class Amount(NamedTuple):
    """One quantity in words, for metric and for US readers."""

    metric: str
    us: str


@cache
def factor(from_unit: str, to_unit: str) -> float:
    """Return what a number in the first unit is multiplied by to get the second.

    ``from_unit`` is a unit of the columns dictionary, ``to_unit`` one pint knows;
    1 where nothing is to be converted, such as an index or a time of the day.

    Examples
    --------
    >>> round(factor("m", "ft"), 4)
    3.2808
    >>> factor("fraction", "percent"), factor("yes/no", "yes/no")
    (100.0, 1.0)
    >>> factor("chance", "index"), factor("index", "index")
    (100.0, 1.0)
    """
    if from_unit not in _BASE_UNITS or to_unit == CLOCK:
        return 1.0
    to_unit = "percent" if to_unit == "index" else to_unit  # a score is of a hundred
    return float(registry().Quantity(1.0, _BASE_UNITS[from_unit]).to(to_unit).magnitude)


def unit_words(unit: str) -> str:
    """Return how a unit is printed; yes/no and counts have none."""
    return _UNIT_WORDS.get(unit, "" if unit == "yes/no" else unit)


def _in(value: float, unit: str, to_unit: str, step: float) -> str:
    amount = float(registry().Quantity(value, unit).to(to_unit).magnitude)
    rounded = round(amount / step) * step
    word = {"gallon": "gal", "liter": "L"}.get(to_unit, unit_words(to_unit))
    return f"{rounded:,.0f} {word}" if step >= 1 else f"{rounded:,.1f} {word}"


def volume(value_m3: float) -> Amount:
    """Return a volume in litres and gallons, rounded to tens above a hundred.

    Examples
    --------
    >>> volume(0.437)
    Amount(metric='440 L', us='120 gal')
    >>> volume(0.0076).us, volume(float("nan")).us
    ('2 gal', 'unknown')
    """
    if pd.isna(value_m3):
        return Amount("unknown", "unknown")
    litres = value_m3 * 1_000
    litre_step, gallon_step = (10, 10) if litres > 100 else (1, 1)
    return Amount(
        _in(value_m3, "m**3", "liter", litre_step),
        _in(value_m3, "m**3", "gallon", gallon_step),
    )


def near_distance(value_m: float) -> Amount:
    """Return a distance on foot in metres and feet, a longer one as ``distance``.

    Examples
    --------
    >>> near_distance(123.0), near_distance(640.0)
    (Amount(metric='120 m', us='400 ft'), Amount(metric='0.6 km', us='0.4 mi'))
    """
    if value_m >= _WALK_M:
        return distance(value_m)
    return Amount(_in(value_m, "m", "m", 10), _in(value_m, "m", "ft", 50))


def distance(value_m: float) -> Amount:
    """Return a road distance in km and miles.

    Examples
    --------
    >>> distance(4230.0)
    Amount(metric='4.2 km', us='2.6 mi')
    """
    if pd.isna(value_m):
        return Amount("unknown", "unknown")
    return Amount(_in(value_m, "m", "km", 0.1), _in(value_m, "m", "mile", 0.1))


def size(value_m: float) -> Amount:
    """Return the size of a pipe in millimetres and inches.

    Examples
    --------
    >>> size(0.4572)
    Amount(metric='460 mm', us='18 in')
    """
    if pd.isna(value_m):
        return Amount("size unknown", "size unknown")
    return Amount(_in(value_m, "m", "mm", 10), _in(value_m, "m", "inch", 1))


def length(value_m: float) -> Amount:
    """Return a short length in metres and feet.

    Examples
    --------
    >>> length(12.2)
    Amount(metric='12 m', us='40 ft')
    """
    if pd.isna(value_m):
        return Amount("length unknown", "length unknown")
    return Amount(_in(value_m, "m", "m", 1), _in(value_m, "m", "ft", 1))


def depth(value_m: float) -> Amount:
    """Return a depth of water in metres and feet.

    Examples
    --------
    >>> depth(2.13)
    Amount(metric='2.1 m', us='7.0 ft')
    """
    if pd.isna(value_m):
        return Amount("unknown", "unknown")
    return Amount(_in(value_m, "m", "m", 0.1), _in(value_m, "m", "ft", 0.1))


def flow(value_m3s: float) -> Amount:
    """Return a flow in cubic metres and cubic feet a second.

    Examples
    --------
    >>> flow(0.84)
    Amount(metric='0.8 m³/s', us='30 ft³/s')
    """
    if pd.isna(value_m3s):
        return Amount("an unknown flow", "an unknown flow")
    small = 1.0  # m3/s: below it a tenth counts
    step = 0.1 if value_m3s < small else 1
    return Amount(
        _in(value_m3s, "m**3/s", "m**3/s", step), _in(value_m3s, "m**3/s", "ft**3/s", 1)
    )


def force(value_n: float) -> Amount:
    """Return a force in newtons and pounds.

    Examples
    --------
    >>> force(58.5), force(float("nan")).us
    (Amount(metric='58 N', us='13 lbf'), 'unknown')
    """
    if pd.isna(value_n):
        return Amount("unknown", "unknown")
    return Amount(_in(value_n, "N", "N", 1), _in(value_n, "N", "lbf", 1))


def minutes(seconds: float) -> str:
    """Return a time as hours and minutes, to five minutes above half an hour.

    Examples
    --------
    >>> minutes(2280.0), minutes(5400.0), minutes(500.0), minutes(float("nan"))
    ('40 min', '1 h 30 min', '8 min', 'unknown')
    """
    if pd.isna(seconds):
        return "unknown"
    whole = round(seconds / 60)
    if seconds > HOUR_S / 2:
        whole = round(whole / _STEP_MINUTES) * _STEP_MINUTES
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def minute_range(low_s: float, high_s: float) -> str:
    """Return a range of times, or nothing when an end is unknown.

    Examples
    --------
    >>> minute_range(1500.0, 4200.0)
    '25 min to 1 h 10 min'
    """
    if pd.isna(low_s) or pd.isna(high_s):
        return ""
    return f"{minutes(low_s)} to {minutes(high_s)}"


def time_of_day(seconds: float) -> str:
    """Return a clock time, or a dash when it is unknown."""
    return "–" if pd.isna(seconds) else clock(seconds)


def compass(bearing_deg: float) -> str:
    """Return the nearest of eight compass points, or nothing when unknown.

    Examples
    --------
    >>> compass(40.0), compass(350.0)
    ('NE', 'N')
    """
    if pd.isna(bearing_deg):
        return ""
    part = _FULL_TURN_DEG / len(_COMPASS)
    return _COMPASS[round(bearing_deg / part) % len(_COMPASS)]


def person_hours(value: float) -> str:
    """Return person-hours in round numbers.

    Examples
    --------
    >>> person_hours(1234.0), person_hours(3.4)
    ('about 1,200 person-hours', 'about 3 person-hours')
    >>> person_hours(0.04), person_hours(float("nan"))
    ('under 1 person-hour', 'unknown')
    """
    if pd.isna(value):
        return "unknown"
    if value < 1:
        return "under 1 person-hour"
    places = 1 - math.floor(math.log10(value))
    rounded = round(value, min(places, 0))
    return f"about {rounded:,.0f} person-hour{'' if rounded == 1 else 's'}"
