"""Conversions and physical constants; the only home of either."""

import math
from functools import cache

import pint

GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
ICE_DENSITY_KG_M3 = 916.7  # at 0 °C, IAPWS-06
ICE_CONDUCTIVITY_W_MK = 2.24  # at 0 °C, from memory (2.2 to 2.3 in handbooks)
ICE_HEAT_CAPACITY_J_KGK = 2100.0  # at 0 °C, IAPWS-06 (2 097)
FUSION_HEAT_J_KG = 333_500.0  # of ice at 0 °C, IAPWS-06
WATER_DENSITY_KG_M3 = 999.8  # at 0 °C, IAPWS-95
WATER_HEAT_CAPACITY_J_KGK = 4190.0  # mean from 0 to 99 °C, IAPWS-95
DIESEL_HEAT_J_M3 = 38.29e9  # higher heating value, EIA unit table (137 381 Btu/gal)
DAY_S = 86_400.0
HOUR_S = 3_600.0
EARTH_RADIUS_M = 6_371_000.0

UNIT_MARK = "\u202f"  # NARROW NO-BREAK SPACE: only ``quantity`` writes it
_PLACES = 6  # decimals of a number that is to be as short as it can
_EXTRA_UNITS = ("gpm = gallon / minute", "gph = gallon / hour")


@cache
def registry() -> pint.UnitRegistry:
    """Return the one unit registry, with the pump trade's short forms."""
    units: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for line in _EXTRA_UNITS:
        units.define(line)
    return units


def to_unit(text: str, unit: str) -> float:
    """Convert a quantity in words to a number in a unit.

    Parameters
    ----------
    text : str
        A number with its unit, such as ``"5 gpm"`` or ``"80 degC"``.
    unit : str
        The wanted unit, as pint spells it.

    Returns
    -------
    value : float
        The number in ``unit``.

    Raises
    ------
    ValueError
        If the text has no number, an unknown unit, or a unit of another kind.

    Examples
    --------
    >>> round(to_unit("5 gpm", "m**3/s"), 9)
    0.000315451
    >>> to_unit("9.5 h", "s")
    34200.0
    >>> round(to_unit("175 degF", "degC"), 2)
    79.44
    """
    number, _, word = text.strip().partition(" ")
    try:
        quantity = registry().Quantity(float(number), word.strip() or unit)
        value = float(quantity.to(unit).magnitude)
    except Exception as error:  # pint raises many kinds; all mean the same here
        raise ValueError(f"{text!r} is not a quantity in {unit}") from error
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is not a finite number")
    return value


def clock(seconds: float) -> str:
    """Seconds after midnight as a clock time, rounded to the minute.

    Examples
    --------
    >>> clock(5 * 3600 + 40 * 60)
    '05:40'
    """
    minutes = round(seconds / 60)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def seconds_of_day(text: str) -> float:
    """A clock time ``HH:MM`` as seconds after midnight.

    Raises
    ------
    ValueError
        If the text is not a time of day.

    Examples
    --------
    >>> seconds_of_day("07:30")
    27000.0
    """
    hours, separator, minutes = text.strip().partition(":")
    if not separator or not (hours.isdigit() and minutes.isdigit()):
        raise ValueError(f"{text!r} is not a time such as 05:40")
    if int(hours) > 24 or int(minutes) > 59:
        raise ValueError(f"{text!r} is not a time such as 05:40")
    return int(hours) * HOUR_S + int(minutes) * 60.0


def quantity(value: float, unit: str, decimals: int | None = 0) -> str:
    """Write a quantity into a sentence, so that reports can find and convert it.

    Parameters
    ----------
    value : float
        The number, in ``unit``.
    unit : str
        Metric unit as printed: ``m``, ``mm``, ``km``, ``ha``, ``km²``, ``L/s``,
        ``MPa``, ``°C``, ``°C·days``.
    decimals : int, optional
        Digits after the point; without it as few as the number needs.

    Returns
    -------
    words : str
        Number and unit with a narrow no-break space between them, the mark that
        ``reports.sentence_units`` reads.

    Examples
    --------
    >>> quantity(0.66, "m", 1)
    '0.7\\u202fm'
    >>> quantity(80.0, "ha", None)
    '80\\u202fha'
    """
    number = f"{value:.{_PLACES if decimals is None else decimals}f}"
    if decimals is None:
        number = number.rstrip("0").rstrip(".")
    return f"{number}{UNIT_MARK}{unit}"
