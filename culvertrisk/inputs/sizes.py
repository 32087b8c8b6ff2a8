"""Sizes of pipes written as text: rise, span, barrels and what was understood."""

import re
from dataclasses import dataclass
from functools import cache

import numpy as np

from culvertrisk.units import to_unit

_MOST_BARRELS = 12
_BARRELS_RATIO = 5.0  # in "2 x 36" the first number counts barrels, not a span
_SHORT = {"inch": "in", "millimeter": "mm", "meter": "m", "foot": "ft"}
_SHORT["centimeter"] = "cm"
_LONG = {"in": "inch", "ft": "foot", "inches": "inch", "feet": "foot"}
_WORDS = {"single": 1, "twin": 2, "double": 2, "dual": 2, "twins": 2, "triple": 3}
_WORDS |= {"three": 3, "quad": 4, "quadruple": 4}
_UNIT = (
    r"(?:inches|inch|in|feet|foot|ft|millimet(?:er|re)s?|mm|centimet(?:er|re)s?|cm"
    r"|met(?:er|re)s?|m|\"|')"
)
_NUMBER = r"(?:\d+\.?\d*|\.\d+)"
_FEET_INCHES = re.compile(
    rf"({_NUMBER})\s*(?:'|ft|feet|foot)\s*-?\s*({_NUMBER})\s*(?:\"|in|inches|inch)?"
)
_LENGTH = re.compile(rf"({_NUMBER})\s*({_UNIT})?")
_PREFIX = re.compile(
    rf"^(?P<n>\d{{1,2}})\s*(?:-|/|@|ea\b|no\b|pcs\b)\s*(?P<rest>{_NUMBER}.*)$"
)
_SUFFIX = re.compile(r"^(?P<rest>.+?)\s*(?:\((?P<n>\d{1,2})\)|[x*]\s*(?P<m>\d))$")
_RANGE = re.compile(rf"^({_NUMBER}\s*{_UNIT}?)\s*(?:to|-|–)\s*({_NUMBER}\s*{_UNIT}?)$")
_LEADING_COUNT = re.compile(rf"^\((?P<n>\d{{1,2}})\)\s*(?P<rest>{_NUMBER}.*)$")
_NOISE = re.compile(
    r"\b(?:diameter|diam|dia|round|pipes?|culverts?|cmp|csp|rcp|hdpe|pvc|box|barrels?"
    r"|approx|approximately|about|est|wide|high|span|rise|w|h|d)\b\.?|[~±øØ+≈]"
)


@dataclass(frozen=True)
class Size:
    """A size read from text; unknown numbers are NaN.

    ``is_guess`` tells that the text allowed more than one reading.
    """

    rise_m: float
    span_m: float
    barrel_count: float
    understood: str
    is_guess: bool = False


UNKNOWN = Size(np.nan, np.nan, np.nan, "unknown")


@cache
def parse_size(text: str, default_unit: str) -> Size:
    """Read a size as people write it.

    Parameters
    ----------
    text : str
        Such as ``18"``, ``1.5 ft``, ``450mm``, ``twin 24``, ``2-36``, ``18x11``
        (span by rise), ``4'-6"``, ``12 (2)`` or ``36 to 48`` (the smaller one).
    default_unit : str
        Unit of a number without one, as pint spells it.

    Returns
    -------
    size : Size
        Inside sizes [m] and barrels; NaN where the text tells none. Zero and
        words such as ``UNK`` are unknown, never zero. A size that names
        no barrels has one.

    Examples
    --------
    >>> parse_size('2-24"', "inch").understood
    '2 barrels of 24 in'
    >>> size = parse_size("18x11", "inch")
    >>> round(size.span_m, 4), round(size.rise_m, 4)
    (0.4572, 0.2794)
    >>> parse_size("UNK", "inch").understood
    'unknown'
    """
    plain = _plain(text)
    barrels, rest = _barrels(plain)
    is_feet_inches = _FEET_INCHES.fullmatch(rest.strip())
    ends = None if is_feet_inches else _RANGE.match(rest)
    if ends:
        unit = _unit_of(ends[2]) or default_unit
        chosen = min((_length_m(part, unit), part) for part in ends.groups())
        return _size([chosen[0]], barrels, f"the smaller of {rest}", is_guess=True)
    parts = [part.strip() for part in re.split(r"\s*(?:x|×|\*|\bby\b)\s*", rest)]
    if len(parts) > 2:
        return UNKNOWN
    unit = _unit_of(parts[-1]) or default_unit
    if len(parts) == 2 and _counts_barrels(parts, unit):
        barrels, parts = int(parts[0]), parts[1:]
    is_length = len(parts) == 2 and _is_length(parts)
    parts = parts[:1] if is_length else parts
    unit = _unit_of(parts[-1]) or default_unit
    return _size(
        [_length_m(part, unit) for part in parts],
        barrels,
        " x ".join(_said(part, unit) for part in parts),
        is_guess="+" in text or "~" in text or is_length,
    )


def _plain(text: str) -> str:
    plain = text.strip().lower()
    for mark in ("''", "“", "”", "″", "’’"):
        plain = plain.replace(mark, '"')
    for mark in ("’", "′", "‘", "`"):
        plain = plain.replace(mark, "'")
    plain = re.sub(r"(?<=\d),(?=\d{1,2}(?!\d))", ".", plain)  # decimal comma
    plain = re.sub(r"(?<=[a-z])\.(?=\s|$|x)", "", plain)
    plain = re.sub(rf"(?<=\d)({_UNIT})\b", r" \1", plain)
    return re.sub(r"\s+", " ", _NOISE.sub(" ", plain)).strip()


def plain_length(text: str) -> tuple[float, str]:
    """Return number and unit of a text that is one length with its unit.

    Examples
    --------
    >>> plain_length("450 in"), plain_length("2-24"), plain_length("18")
    ((450.0, 'inch'), (nan, ''), (nan, ''))
    """
    found = _LENGTH.fullmatch(_plain(text))
    if not found or not found[2]:
        return np.nan, ""
    unit = _unit_of(found[0])
    return float(found[1]), _LONG.get(unit, unit)


def _barrels(plain: str) -> tuple[int, str]:
    words = plain.split()
    for place, word in enumerate(words):
        if word in _WORDS:
            rest = words[:place] + words[place + 1 :]
            return _WORDS[word], " ".join(rest).strip(" -@")
    prefix = _PREFIX.match(plain) or _LEADING_COUNT.match(plain)
    if prefix and 1 <= int(prefix["n"]) <= _MOST_BARRELS and "'" not in plain[:4]:
        return int(prefix["n"]), prefix["rest"].strip()
    suffix = _SUFFIX.match(plain)
    if suffix and (suffix["n"] or not re.search("[x*]", suffix["rest"])):
        number = int(suffix["n"] or suffix["m"])
        is_count = bool(suffix["n"]) or _is_bigger(suffix["rest"], number)
        if is_count and 1 <= number <= _MOST_BARRELS:
            return number, suffix["rest"].strip()
    return 1, plain


def _is_bigger(rest: str, number: int) -> bool:
    found = _LENGTH.match(rest)
    return bool(found) and float(found[1]) > _BARRELS_RATIO * number  # type: ignore[index]


def _counts_barrels(parts: list[str], unit: str) -> bool:
    first = parts[0]
    if not first.isdigit() or not 1 < int(first) <= _MOST_BARRELS:
        return False
    other = _length_m(parts[1], unit)
    return other > _BARRELS_RATIO * to_unit(f"{first} {unit}", "m")


def _is_length(parts: list[str]) -> bool:
    """Tell whether the second number is the pipe's length, as in 24" x 40'."""
    units = [_unit_of(part) for part in parts]
    if not all(units) or units[0] == units[1]:
        return False
    return _length_m(parts[1], "") > _BARRELS_RATIO * _length_m(parts[0], "")


def _unit_of(part: str) -> str:
    found = _LENGTH.fullmatch(part.strip())
    word = found[2] if found else ""
    return {"'": "foot", '"': "inch"}.get(word or "", word or "")


def _length_m(part: str, unit: str) -> float:
    """Return one length in metres; NaN if the text is none."""
    both = _FEET_INCHES.fullmatch(part.strip())
    if both:
        return to_unit(f"{both[1]} foot", "m") + to_unit(f"{both[2]} inch", "m")
    if not _LENGTH.fullmatch(part.strip()):
        return np.nan
    number = re.match(_NUMBER, part.strip())
    return to_unit(f"{number[0] if number else 0} {_unit_of(part) or unit}", "m")


def _said(part: str, unit: str) -> str:
    number = re.match(_NUMBER, part)
    if not number or _FEET_INCHES.fullmatch(part):
        return part
    name = _unit_of(part) or unit
    return f"{number[0]} {short_unit(name)}"


def _size(
    lengths_m: list[float], barrels: int, understood: str, *, is_guess: bool
) -> Size:
    """Return a size from one length, or from span and rise."""
    if not all(length > 0 for length in lengths_m):  # NaN and zero alike
        return UNKNOWN
    words = f"{barrels} barrels of {understood}" if barrels > 1 else understood
    return Size(lengths_m[-1], lengths_m[0], float(barrels), words, is_guess)


def short_unit(unit: str) -> str:
    """Return the short form of a unit of length, such as ``in``."""
    return _SHORT.get(unit, unit)
