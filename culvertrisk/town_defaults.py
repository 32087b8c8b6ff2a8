"""The tables of defaults, and the town's own values in their place."""

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from culvertrisk.checks import refuse, value_problem
from culvertrisk.tables import table
from culvertrisk.units import to_unit

Floats = NDArray[np.float64]
Row = Mapping[str, str]  # of a table of defaults, as printed

_NUMBER = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*)", re.DOTALL)
_UNITLESS = ("1", "chance", "fraction", "count", "number", "ratio", "index")
_DEGREE = re.compile(r"(?<![A-Za-z_])(?:°|deg)?([CF])\b")


class _Limit(NamedTuple):
    value: float
    is_within: bool  # the limit itself is allowed
    words: str


def default_values(
    kind: str, town: Mapping[str, Any] | None = None
) -> dict[str, Floats]:
    """Return a table of defaults by name, the town's own values in their place.

    Parameters
    ----------
    kind : str
        Name of the table without ``_defaults``, such as ``"freeze"``.
    town : mapping, optional
        The town's own, by the names of the table: a number in the table's unit, a text
        with its own unit, or a list of them where the table has several.

    Returns
    -------
    values : dict of str to ndarray, shape (k,)
        In the units of the table.

    Raises
    ------
    InputError
        If a name is not in the table, a value cannot be read, or it lies outside the
        limits of the table; all at once.

    Examples
    --------
    >>> default_values("freeze", {"assumed_snow_depth_m": "8 inch"})[
    ...     "assumed_snow_depth_m"
    ... ]
    array([0.2032])
    """
    rows = _rows(kind)
    known = {name: _printed(row) for name, row in rows.items()}
    own: dict[str, Floats] = {}
    problems = []
    for name, given in (town or {}).items():
        try:
            own[name] = _read(f"{kind}_defaults", rows, known, name, given)
        except ValueError as error:
            rule, remedy = error.args
            problems.append(_told(kind, name, rule, given, remedy))
    values = known | own
    for name, found in own.items():
        rule = _broken_rule(rows[name], known[name], found, values)
        if rule:
            remedy = _remedy(rows[name], found)
            problems.append(_told(kind, name, rule, (town or {})[name], remedy))
    refuse(problems)
    return values


def within_limits(kind: str, values: Mapping[str, float]) -> dict[str, float]:
    """Hold values that the log has fitted to the limits of their table."""
    rows, known = _rows(kind), default_values(kind)
    return {
        name: float(
            np.clip(
                value,
                _limit(rows[name], "least", known).value,
                _limit(rows[name], "greatest", known).value,
            )
        )
        for name, value in values.items()
    }


def _rows(kind: str) -> dict[str, Row]:
    printed = table(f"{kind}_defaults").astype(str).to_dict("records")
    return {row["name"]: {str(k): v for k, v in row.items()} for row in printed}


def _printed(row: Row) -> Floats:
    return np.array([float(text) for text in row["value"].split()])


def _told(kind: str, name: str, rule: str, found: object, remedy: str) -> str:
    return value_problem("town file", f"{kind}.defaults.{name}", rule, found, remedy)


def _read(
    file: str,
    rows: Mapping[str, Row],
    known: Mapping[str, Floats],
    name: str,
    given: Any,
) -> Floats:
    """Read what the town wrote; a ValueError holds the rule and what to do."""
    if name not in known:
        raise ValueError(f"be a name of the {file} table", "Correct the spelling.")
    is_list = isinstance(given, list | tuple | np.ndarray)
    listed, count = [*given] if is_list else [given], len(known[name])
    if len(listed) != count:
        has = "one value" if count == 1 else f"{count} values"
        raise ValueError(f"have {has}, as in the {file} table", f"Give {has}.")
    return np.array([_number(item, rows[name]) for item in listed])


def _number(given: Any, row: Row) -> float:
    if isinstance(given, int | float | np.number) and not isinstance(given, bool):
        return float(given)
    unit = _unit(row)
    first = f"{_printed(row)[0]:g}"
    rule = f'be a number in {unit}, or a text with its unit such as "{first} {unit}"'
    rule = rule if unit else "be a plain number"
    found = _NUMBER.fullmatch(given.strip()) if isinstance(given, str) else None
    if found is None or (found[2] and not unit):
        raise ValueError(rule, _correct(row))
    if not found[2]:
        return float(found[1])
    try:
        return to_unit(f"{found[1]} {_spelled(found[2])}", _spelled(unit))
    except ValueError as error:
        raise ValueError(rule, _correct(row)) from error


def _unit(row: Row) -> str:
    return "" if row["unit"] in _UNITLESS else row["unit"]


def _spelled(unit: str) -> str:
    """Spell a unit as the registry does; degrees within a longer one are steps.

    Examples
    --------
    >>> _spelled("W/(m2·K)"), _spelled("°F"), _spelled("in/(°F·day)")
    ('W/(m**2*K)', 'degF', 'in/(delta_degF*day)')
    """
    plain = unit.strip().replace("·", "*").replace("²", "2").replace("³", "3")
    plain = re.sub(r"(?<=[A-Za-z])([23])\b", r"**\1", plain).replace("^-1/2", "**-0.5")
    if alone := _DEGREE.fullmatch(plain):
        return f"deg{alone[1]}"
    return _DEGREE.sub(r"delta_deg\1", plain)


def _limit(row: Row, side: str, values: Mapping[str, Floats]) -> _Limit:
    """Read a limit: a number or another name, with < or > if it is not allowed."""
    text = row[side]
    plain = text.lstrip("<>")
    value = float(values[plain].item()) if plain in values else float(plain)
    words = f"{plain}, which is {value:g}" if plain in values else f"{value:g}"
    return _Limit(value, plain == text, words)


def _broken_rule(
    row: Row, usual: Floats, found: Floats, values: Mapping[str, Floats]
) -> str:
    """Say the rule that values break, "" if they keep it."""
    least, most = (_limit(row, side, values) for side in ("least", "greatest"))
    above = found >= least.value if least.is_within else found > least.value
    below = found <= most.value if most.is_within else found < most.value
    is_blank = np.isnan(found) & np.isnan(usual)  # unknown, as in the table
    if (above & below | is_blank).all():
        return ""
    unit = f" {_unit(row)}".rstrip()
    if least.is_within and most.is_within:
        return f"be from {least.words} to {most.words}{unit}"
    low = "at least" if least.is_within else "above"
    high = "at most" if most.is_within else "below"
    comma = "," if "," in least.words else ""
    return f"be {low} {least.words}{comma} and {high} {most.words}{unit}"


def _remedy(row: Row, found: Floats) -> str:
    is_share = row["greatest"] == "1" and not _unit(row)
    percent = "A share is written 0.7 for 70 %. " if is_share else ""
    return percent * bool((found > 1).any()) + _correct(row)


def _correct(row: Row) -> str:
    usual = ", ".join(f"{value:g}" for value in _printed(row))
    usual = f"{usual} {_unit(row)}".strip()
    return f"Correct it, or leave it out: it is then {usual}."
