"""Sentences of stages and plans for metric and for US readers."""

import math
import re
from functools import cache

from culvertrisk.reports.amounts import Amount, unit_words
from culvertrisk.units import UNIT_MARK, registry

# Metric unit as printed: the same and the US unit as pint spells them.
_US_UNITS = {
    "mm": ("mm", "inch"),
    "cm": ("cm", "inch"),
    "m": ("m", "ft"),
    "km": ("km", "mile"),
    "m²": ("m**2", "ft**2"),
    "ha": ("hectare", "acre"),
    "km²": ("km**2", "mile**2"),
    "m³": ("m**3", "ft**3"),
    "L": ("liter", "gallon"),
    "L/s": ("liter/s", "ft**3/s"),
    "m³/s": ("m**3/s", "ft**3/s"),
    "m/s": ("m/s", "ft/s"),
    "kPa": ("kPa", "psi"),
    "MPa": ("MPa", "psi"),
    "kg": ("kg", "lb"),
    "°C·days": ("delta_degC", "delta_degF"),  # days stay days
    "°C": ("degC", "degF"),
}
_US_WORDS = {
    "gallon": "gal",
    "mile**2": "mi²",
    "ft**2": "ft²",
    "ft**3": "ft³",
    "delta_degF": "°F·days",
    "degF": "°F",
}
_LEAST_DIGITS, _MOST_DIGITS = 2, 3
_MARKED = re.compile(
    rf"([-−]?\d[\d,]*(?:\.\d+)?){UNIT_MARK}"
    rf"({'|'.join(sorted(map(re.escape, _US_UNITS), key=len, reverse=True))})(?!\w)"
)


def in_units(sentence: str, units: str) -> str:
    """Return a sentence with its marked quantities for metric or for US readers.

    Parameters
    ----------
    sentence : str
        Quantities written by ``units.quantity``; any other text stays as it is.
    units : str
        ``"metric"`` or ``"us"``.

    Returns
    -------
    sentence : str
        A plain space stands between number and unit. A US number has as many
        significant digits as were written, but two at least and three at most;
        a temperature keeps its decimals, and millimetres that a whole number of
        inches rounds to are told as that.

    Examples
    --------
    >>> from culvertrisk.units import quantity
    >>> drop = f"Perched outlet: {quantity(0.7, 'm', 1)} drop"
    >>> in_units(drop, "metric"), in_units(drop, "us")
    ('Perched outlet: 0.7 m drop', 'Perched outlet: 2.3 ft drop')
    >>> in_units(f"above the {quantity(80, 'ha')} limit", "us")
    'above the 200 acre limit'
    >>> in_units(f"pipe of {quantity(152.4, 'mm')}", "us")
    'pipe of 6 in'
    """
    if UNIT_MARK not in sentence:
        return sentence
    return _MARKED.sub(_us_reading if units == "us" else r"\1 \2", sentence)


def both_units(sentence: str) -> Amount:
    """Return a sentence for metric and for US readers."""
    return Amount(in_units(sentence, "metric"), in_units(sentence, "us"))


@cache
def _us(number: str, unit: str) -> tuple[float, str]:
    metric, us = _US_UNITS[unit]
    value = float(number.replace(",", "").replace("−", "-"))
    return float(registry().Quantity(value, metric).to(us).magnitude), us


def _us_reading(found: re.Match[str]) -> str:
    number, unit = found[1], found[2]
    value, us = _us(number, unit)
    decimals = len(number.partition(".")[2])
    if us != "degF":
        decimals = _decimals(value, number)
    if unit == "mm" and _is_whole_inches(value, number):
        decimals = 0
    rounded = round(value, decimals) + 0.0  # no minus before a zero
    told = f"{rounded:,.{max(decimals, 0)}f}"
    if "." in told:
        told = told.rstrip("0").rstrip(".")
    return f"{told} {_US_WORDS.get(us) or unit_words(us)}"


def _is_whole_inches(inches: float, number: str) -> bool:
    """Tell whether a whole number of inches, in mm, rounds to the number written."""
    whole_mm = registry().Quantity(round(inches), "inch").to("mm").magnitude
    places = len(number.partition(".")[2])
    written_mm = float(number.replace(",", "").replace("−", "-"))
    return round(inches) != 0 and round(whole_mm, places) == written_mm


def _decimals(value: float, number: str) -> int:
    """Decimals that show as many significant digits as were written, two or three."""
    if value == 0:
        return 0
    written = len(re.sub(r"\D", "", number).lstrip("0"))
    digits = min(max(written, _LEAST_DIGITS), _MOST_DIGITS)
    return digits - 1 - math.floor(math.log10(abs(value)))
