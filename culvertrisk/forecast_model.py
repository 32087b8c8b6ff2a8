"""Numbers typed for one morning: in the town file, or as options of the command."""

import re
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from culvertrisk.checks import refuse, value_problem
from culvertrisk.town_models import Clock, Model, Speed
from culvertrisk.units import to_unit

Day = date  # a key is called date too
_NUMBER = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))\s*(.*)", re.DOTALL)
# How people write a unit, in small letters: how the unit registry spells it.
_SPELLINGS = {
    **dict.fromkeys(("c", "°c", "degc", "deg c", "celsius"), "degC"),
    **dict.fromkeys(("f", "°f", "degf", "deg f", "fahrenheit"), "degF"),
    **dict.fromkeys(('"', "″", "”", "in.", "in", "inch", "inches"), "inch"),
    "mm": "mm",
    "cm": "cm",
    "m": "m",
}
_AIR_UNITS, _RAIN_UNITS = ("degC", "degF"), ("mm", "cm", "m", "inch")
# What a low, a high and a day's rain can be: wider than the world's records.
_LOWEST_C, _HIGHEST_C, _MOST_RAIN_M = -70.0, 60.0, 1.0


def in_words(text: str, unit: str, bare_unit: str, known: tuple[str, ...]) -> float:
    """Read a number with or without a unit, as people write it.

    Parameters
    ----------
    text : str
        Such as ``"16 F"``, ``"-4°C"``, ``'0.5"'`` or ``"18"``.
    unit : str
        The wanted unit, as the registry spells it.
    bare_unit : str
        Unit of a number that stands alone.
    known : tuple of str
        Units that are understood.

    Returns
    -------
    value : float
        The number in ``unit``.

    Raises
    ------
    ValueError
        If there is no number, or a unit that is not among ``known``.

    Examples
    --------
    >>> in_words("14 F", "degC", "degC", ("degC", "degF"))
    -10.0
    >>> in_words("14", "degC", "degF", ("degC", "degF"))
    -10.0
    """
    found = _NUMBER.fullmatch(text.strip().replace("−", "-"))
    word = found[2].strip().lower() if found else ""
    spelled = _SPELLINGS.get(word, "") if word else bare_unit
    if found is None or spelled not in known:
        raise ValueError(f"be a number with one of the units {', '.join(known)}")
    return round(to_unit(f"{found[1]} {spelled}", unit), 9)


def _read(unit: str, known: tuple[str, ...]) -> BeforeValidator:
    def convert(value: Any) -> Any:
        return in_words(value, unit, unit, known) if isinstance(value, str) else value

    return BeforeValidator(convert)


def _no_number(value: Any) -> Any:
    if isinstance(value, int | float):
        raise ValueError('be a date such as 2025-02-25 or "2025-02-25"')
    return value


_Air = Annotated[float, _read("degC", _AIR_UNITS), Field(ge=_LOWEST_C, le=_HIGHEST_C)]
_Rain = Annotated[float, _read("m", _RAIN_UNITS), Field(ge=0, le=_MOST_RAIN_M)]


class Forecast(Model):
    """Numbers typed for one morning; a bare number is in the unit in brackets."""

    date: Annotated[Day, BeforeValidator(_no_number)] | None = Field(
        None, description="the morning they are for; blank: the first forecast day"
    )
    air_min_c: _Air | None = Field(None, description='night low [°C], or as "16 F"')
    air_max_c: _Air | None = Field(None, description='day high [°C], or as "43 F"')
    rain_m: _Rain | None = Field(
        None, description='rain over the day [m], or as "18 mm", "0.5 in"'
    )
    rain_start: Clock | None = Field(None, description="rain begins [HH:MM]")
    rain_end: Clock | None = Field(None, description="rain ends [HH:MM]")
    snow_water_m: _Rain | None = Field(
        None, description='water in the snowpack [m], or as "140 mm"'
    )
    wind_m_s: Speed | None = Field(None, description="wind [m/s]")
    spread_fraction: float = Field(
        0.5, gt=0, description="log standard deviation of today's peak, every morning"
    )

    @model_validator(mode="after")
    def _low_below_high(self) -> "Forecast":
        low_c, high_c = self.air_min_c, self.air_max_c
        if low_c is not None and high_c is not None and low_c > high_c:
            raise ValueError(
                f"have a low that is not above the high: {low_c:g} °C is above "
                f"{high_c:g} °C"
            )
        return self


class _Option(NamedTuple):
    key: str
    rule: str
    unit: str
    known: tuple[str, ...]
    bare: Mapping[str, str]  # by the town's units
    limits: tuple[float, float]


_AIR_BARE = {"metric": "degC", "us": "degF"}
_AIR_RULE = 'be a temperature from -70 to 60 °C, such as "16 F" or "-9 C"'
_RAIN_RULE = 'be rain from 0 to 1000 mm, such as "0.5 in" or "18 mm"'
_OPTIONS = {
    option: _Option(
        key, _AIR_RULE, "degC", _AIR_UNITS, _AIR_BARE, (_LOWEST_C, _HIGHEST_C)
    )
    for option, key in (("--low", "air_min_c"), ("--high", "air_max_c"))
} | {
    "--rain": _Option(
        "rain_m",
        _RAIN_RULE,
        "m",
        _RAIN_UNITS,
        {"metric": "mm", "us": "inch"},
        (0.0, _MOST_RAIN_M),
    )
}
_PRINTED = {"degC": "°C", "degF": "°F", "mm": "mm", "inch": "inches"}
OPTION_OF = {option.key: name for name, option in _OPTIONS.items()}


def typed_numbers(words: Mapping[str, str | None], units: str) -> dict[str, float]:
    """Read what was typed as options of the command.

    Parameters
    ----------
    words : mapping of str to str or None
        By option, ``--low``, ``--high`` and ``--rain``; None where it is not given.
    units : str
        The town's: a number without a unit is in °C and mm (``"metric"``), or in °F
        and inches (``"us"``).

    Returns
    -------
    typed : dict of str to float
        By key of :class:`Forecast`, in its unit; only what was given.

    Raises
    ------
    InputError
        If a text is no such quantity, or the low is above the high; all at once.

    Examples
    --------
    >>> typed_numbers({"--low": "14", "--high": "5 C", "--rain": None}, "us")
    {'air_min_c': -10.0, 'air_max_c': 5.0}
    """
    typed: dict[str, float] = {}
    problems = []
    for name, text in words.items():
        if text is None:
            continue
        option = _OPTIONS[name]
        value = _number(text, option, units)
        if value is None:
            remedy = _remedy(option.bare[units])
            problems.append(_told(name, option.rule, text, remedy))
        else:
            typed[option.key] = value
    if typed.get("air_min_c", _LOWEST_C) > typed.get("air_max_c", _HIGHEST_C):
        rule = f"not be above --high, which is {words['--high']}"
        problems.append(_told("--low", rule, words["--low"], _remedy(_AIR_BARE[units])))
    refuse(problems)
    return typed


def _number(text: str, option: _Option, units: str) -> float | None:
    try:
        value = in_words(text, option.unit, option.bare[units], option.known)
    except ValueError:
        return None
    return value if option.limits[0] <= value <= option.limits[1] else None


def _told(option: str, rule: str, found: object, remedy: str) -> str:
    return value_problem("command line", option, rule, found, remedy)


def _remedy(bare: str) -> str:
    return f"A number without a unit is in {_PRINTED[bare]}, the town's units."
