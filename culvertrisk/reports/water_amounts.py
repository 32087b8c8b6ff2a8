"""Water of tanks and ponds in words, so that what is printed adds up."""

import math
from collections.abc import Sequence

import pandas as pd

from culvertrisk.reports.amounts import Amount, factor, volume


def volume_used(tanks_m3: Sequence[tuple[float, float]]) -> Amount:
    """Return what left a tank, as the printed contents before and after tell it.

    Parameters
    ----------
    tanks_m3 : sequence of (float, float)
        Contents before and after each use [m3].

    Returns
    -------
    used : Amount
        Differences of contents rounded as ``volume`` does, added up; unknown if one
        of them is.

    Examples
    --------
    >>> volume(3.028).us, volume(2.38).us, volume_used([(3.028, 2.38)]).us
    ('800 gal', '630 gal', '170 gal')
    """
    told = [[volume(value) for value in pair] for pair in tanks_m3]
    if any(pd.isna(value) for pair in tanks_m3 for value in pair):
        return Amount("unknown", "unknown")
    litres, gallons = (
        sum(_printed(before[unit]) - _printed(after[unit]) for before, after in told)
        for unit in (0, 1)
    )
    return Amount(f"{litres:,d} L", f"{gallons:,d} gal")


def _printed(told: str) -> int:
    return int(told.partition(" ")[0].replace(",", ""))


def pond_volume(value_m3: float) -> Amount:
    """Return the water of a pond to two digits; nothing where it is unknown [m3].

    Examples
    --------
    >>> pond_volume(3218.0)
    Amount(metric='3,200 m³', us='850,000 gal')
    """
    if not value_m3 > 0:
        return Amount("", "")
    gallons = value_m3 * factor("m3", "gallon")
    return Amount(f"{_two_digits(value_m3)} m³", f"{_two_digits(gallons)} gal")


def _two_digits(value: float) -> str:
    step = 10 ** max(math.floor(math.log10(value)) - 1, 0)
    return f"{round(value / step) * step:,d}"
