"""The unit of bare sizes: of a column by its values, of a row that fits no other."""

from collections.abc import Iterable
from functools import cache

import numpy as np

from culvertrisk import tables
from culvertrisk.units import to_unit

UNITS = ("inch", "millimeter", "meter", "foot", "centimeter")
SMALLEST_M = 0.1  # rise of the smallest pipe met in inventories, common practice
_DOUBTFUL_M = 0.15  # smaller ones are written by mistake more often than laid
LARGEST_M = 6.2  # a longer span is a bridge in the US inventory (20 ft, 6.1 m)
_USUAL_M = (0.15, 3.7)  # range of the median size of an inventory, common practice
_MIDDLE_M = 0.55  # median of most inventories, 18 to 24 in, common practice
_FAR_COST = 0.25  # share of nominal sizes that a median e times off must make up for
_OFF_RATIO = 5.0  # a number this many medians away may be in another unit
_SAME_SIZE = 0.005  # share by which a number may miss a nominal size
_OTHER_UNITS = {
    "inch": ("foot", "millimeter", "meter", "centimeter"),
    "foot": ("inch", "millimeter", "meter", "centimeter"),
    "millimeter": ("meter", "inch", "centimeter", "foot"),
    "meter": ("millimeter", "centimeter", "inch", "foot"),
    "centimeter": ("meter", "millimeter", "inch", "foot"),
}


@cache
def _nominal_m(unit: str) -> np.ndarray:
    """Return nominal sizes [m] of the family of units that ``unit`` belongs to."""
    rows = tables.table("nominal_sizes")
    family = "in" if unit in ("inch", "foot") else "mm"
    sizes = rows.loc[rows["unit"] == family, "size"].to_numpy(dtype=float)
    return sizes * to_unit(f"1 {family}", "m")


def is_nominal(size_m: float, unit: str) -> bool:
    """Tell whether a pipe of this size is sold by a unit's family, inch or metric.

    Examples
    --------
    >>> is_nominal(0.4572, "foot"), is_nominal(0.4572, "meter")
    (True, False)
    """
    return bool(np.any(np.abs(_nominal_m(unit) / size_m - 1) < _SAME_SIZE))


def find_unit(numbers: Iterable[float]) -> str:
    """Find the unit of a column of bare sizes by its values.

    The median must be a usual size. Among the units that make it one, that wins
    whose nominal sizes the numbers meet most often, and whose median is nearer to
    that of most inventories: 2 and 3 are feet rather than metres.

    Returns
    -------
    unit : str
        As pint spells it; "" if no unit fits.

    Examples
    --------
    >>> find_unit([18, 24, 24, 36]), find_unit([450, 600, 1200])
    ('inch', 'millimeter')
    >>> find_unit([0.45, 0.6, 0.9]), find_unit([1.5, 2, 2.5, 3])
    ('meter', 'foot')
    """
    values = np.array([number for number in numbers if number > 0])
    if not len(values):
        return ""
    scores: dict[str, float] = {}
    for unit in UNITS:
        sizes_m = values * to_unit(f"1 {unit}", "m")
        median_m = float(np.median(sizes_m))
        if _USUAL_M[0] <= median_m <= _USUAL_M[1]:
            share = np.mean([is_nominal(size_m, unit) for size_m in sizes_m])
            scores[unit] = share - _FAR_COST * abs(np.log(median_m / _MIDDLE_M))
    return max(scores, key=lambda unit: scores[unit]) if scores else ""


def is_usual(numbers: Iterable[float], unit: str) -> bool:
    """Tell whether the median of a column is a usual size in a unit."""
    values = [number for number in numbers if number > 0]
    median_m = np.median(values) * to_unit(f"1 {unit}", "m") if values else 1.0
    return bool(_USUAL_M[0] <= median_m <= _USUAL_M[1])


def row_unit(number: float, unit: str, median: float) -> str:
    """Return the unit of one bare number in a column of another unit.

    Parameters
    ----------
    number, median : float
        The number and the median of its column, both as written.
    unit : str
        The column's unit.

    Returns
    -------
    unit : str
        The column's unit where it gives a possible pipe; else the first unit in
        which the number is a nominal size; "" if there is none.

    Examples
    --------
    >>> row_unit(450, "inch", 24), row_unit(1.5, "inch", 24), row_unit(0.45, "inch", 24)
    ('millimeter', 'foot', 'meter')
    >>> row_unit(18, "foot", 2), row_unit(1e6, "inch", 24)
    ('inch', '')
    """
    size_m = number * to_unit(f"1 {unit}", "m")
    is_far = number > _OFF_RATIO * median and unit in ("foot", "meter")
    is_possible = SMALLEST_M <= size_m <= LARGEST_M
    if is_possible and size_m >= _DOUBTFUL_M and not is_far:
        return unit
    for other in _OTHER_UNITS.get(unit, UNITS):
        other_m = number * to_unit(f"1 {other}", "m")
        if _DOUBTFUL_M <= other_m <= LARGEST_M and is_nominal(other_m, other):
            return other
    return unit if is_possible else ""


def is_mistaken(number: float, unit: str) -> bool:
    """Tell whether millimetres carry another unit by mistake, as in ``450 in``.

    Examples
    --------
    >>> is_mistaken(450, "inch"), is_mistaken(240, "inch"), is_mistaken(8, "meter")
    (True, False, False)
    """
    is_huge = number * to_unit(f"1 {unit}", "m") > LARGEST_M
    return is_huge and is_nominal(number * to_unit("1 millimeter", "m"), "millimeter")
