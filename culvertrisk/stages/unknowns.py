"""What stands in for unknown inputs: a few balanced combinations of usual values."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVELS = 3  # values that stand in for each unknown: the middles of its thirds


@dataclass(frozen=True)
class Spread:
    """Crossings spread over what is unknown: rows with owner, weight and values."""

    owner: NDArray[np.intp]
    weight: Floats
    values: dict[str, Floats]


def unknown_points(
    values: Mapping[str, Floats], points: Mapping[str, Floats]
) -> Spread:
    """Spread each crossing over equally likely combinations of what is unknown.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
        Fields of n crossings; NaN is unknown.
    points : mapping of str to ndarray, shape (n, 3)
        Values that stand in, by the same names.

    Returns
    -------
    spread : Spread
        One row a combination; the weights of one owner add up to 1.

    Notes
    -----
    One unknown takes its three values, two take all nine pairs. Three or four take the
    nine rows of an orthogonal array, more take 27 rows (see ``orthogonal_array``), in
    which each value of each unknown comes equally often with each of every other. The
    mean is that of all combinations where unknowns act alone or in pairs; what only
    three at once bring is sampled.

    Examples
    --------
    >>> spread = unknown_points({"rise_m": np.array([0.5, np.nan])},
    ...                         {"rise_m": np.array([[1.0, 2.0, 3.0]] * 2)})
    >>> spread.owner, spread.values["rise_m"]
    (array([0, 1, 1, 1]), array([0.5, 1. , 2. , 3. ]))
    """
    missing = np.stack([np.isnan(column) for column in values.values()], axis=1)
    count = missing.sum(axis=1)
    table, sizes = _designs()
    rows = sizes[count]
    owner = np.repeat(np.arange(len(count)), rows)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(rows) - rows, rows)
    turn = np.cumsum(missing, axis=1) - 1
    spread = {}
    for which, (name, column) in enumerate(values.items()):
        spread[name] = column[owner]
        if missing[:, which].any():
            level = table[count[owner], place, turn[owner, which]]
            gap = missing[owner, which]
            spread[name] = np.where(gap, points[name][owner, level], spread[name])
    return Spread(owner, 1.0 / rows[owner], spread)


def each_once(
    spread: Spread, label: NDArray[np.intp]
) -> tuple[Spread, NDArray[np.intp]]:
    """Keep the rows of one crossing for all that bear the same label.

    Parameters
    ----------
    spread : Spread
        Of ``unknown_points``, of n crossings.
    label : ndarray, shape (n,)
        Crossings of one label are alike in every field of the spread; one of -1 is
        kept for itself.

    Returns
    -------
    few : Spread
        Fewer rows, with the first of the owners.
    row : ndarray
        For each row of ``spread`` its place in ``few``.

    Raises
    ------
    ValueError
        If crossings of one label are not alike.
    """
    own = label.max(initial=0) + 1 + np.arange(len(label))
    label, owner = np.where(label < 0, own, label), spread.owner
    place = np.arange(len(owner)) - np.searchsorted(owner, owner)
    alike = label[owner] * (place.max(initial=0) + 1) + place
    _, first, row = np.unique(alike, return_index=True, return_inverse=True)
    values = {name: column[first] for name, column in spread.values.items()}
    for name, column in spread.values.items():
        if not np.array_equal(values[name][row], column, equal_nan=True):
            raise ValueError(f"crossings of one label differ in {name}")
    return Spread(owner[first], spread.weight[first], values), row


def orthogonal_array(power: int) -> NDArray[np.intp]:
    """Return the three-level orthogonal array of strength 2 with 3**power rows.

    Parameters
    ----------
    power : int
        1, 2 or 3: the array of 3, 9 or 27 rows and 1, 4 or 13 columns.

    Returns
    -------
    levels : ndarray, shape (3**power, (3**power - 1) / 2)
        0, 1 or 2. Columns are the linear forms over the field of three elements, one
        of each two that differ by a factor: each pair of columns holds every pair of
        levels equally often.

    Examples
    --------
    >>> orthogonal_array(2).shape
    (9, 4)
    """
    rows = np.array([*product(range(LEVELS), repeat=power)])
    forms = [
        form
        for form in product(range(LEVELS), repeat=power)
        if next((c for c in form if c), 0) == 1
    ]
    forms.sort(key=lambda form: sum(c > 0 for c in form))
    return np.asarray(rows @ np.array(forms).T % LEVELS, dtype=np.intp)


def _designs() -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Levels by count of unknowns, row and turn, and how many rows each has."""
    largest = orthogonal_array(3)
    width = largest.shape[1]
    table = np.zeros((width + 1, *largest.shape), dtype=np.intp)
    sizes = np.ones(width + 1, dtype=np.intp)
    for count in range(1, width + 1):
        power = 1 if count == 1 else 2 if count <= 4 else 3
        design = orthogonal_array(power)
        sizes[count] = len(design)
        used = min(design.shape[1], width)
        table[count, : len(design), :used] = design[:, :used]
    return table, sizes
