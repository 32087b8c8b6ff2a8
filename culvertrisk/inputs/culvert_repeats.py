"""One row a culvert: names of the rows, and rows that map one culvert twice."""

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from culvertrisk.inputs.columns import Found, names_culverts
from culvertrisk.inputs.culvert_notes import Kind, Note, note
from culvertrisk.inputs.culvert_words import is_missing

SAME_PLACE_M = 12.0  # two surveys by hand-held GPS differ by 5 to 15 m, common practice
_SAME_POINT_M = 0.05  # rounding of coordinates that were copied
_FILLED_SHARE = 0.9  # a column that names rows has few blanks and few repeats
_WHOLE = re.compile(r"^(-?\d+)\.0+$")


def written_ids(cells: pd.DataFrame, columns: Sequence[Found]) -> pd.Series:
    """Return each row's name as written, "" where it has none.

    Columns that name culverts are read one after the other until no row is blank.
    Where there is none, the first other id that tells nearly all rows apart does.
    ``12.0`` from a spreadsheet is ``12``.
    """
    names = pd.Series("", index=cells.index, dtype=object)
    for found in columns:
        text = _plain_ids(cells[found.column])
        if names_culverts(found.column) or len(columns) == 1:
            names = names.where(names != "", text)
        elif text[text != ""].nunique() >= _FILLED_SHARE * len(text):
            return text
        if (names != "").all():
            break
    return names


def _plain_ids(text: pd.Series) -> pd.Series:
    ids = text.str.replace(_WHOLE, r"\1", regex=True)
    is_zero_id = (ids == "0") & ((ids == "0").sum() == 1)
    is_blank = ids.map(is_missing).astype(bool) & ~is_zero_id
    return ids.mask(is_blank, "").astype(object)


def unique_ids(written: pd.Series) -> tuple[pd.Series, list[Note]]:
    """Give every row a name of its own.

    Returns
    -------
    ids : Series of str
        ``row-17`` where the file has none; a repeated name gets ``-2``, ``-3``.
    notes : list of Note
        One for each name that was made.

    Examples
    --------
    >>> unique_ids(pd.Series(["12", "", "12"], index=[1, 2, 3]))[0].tolist()
    ['12', 'row-2', '12-2']
    """
    notes: list[Note] = []
    used: set[str] = set()
    counts: dict[str, int] = {}
    all_written = set(written)
    ids = []
    for row, name in written.items():
        base = own = name or f"row-{row}"
        while own in used or (own != name and own in all_written):
            counts[base] = counts.get(base, 1) + 1
            own = f"{base}-{counts[base]}"
        used.add(own)
        if own != name:
            kind: Kind = "changed" if name else "assumed"
            notes.append(note(row, "culvert_id", name, own, kind))
        ids.append(own)
    return pd.Series(ids, index=written.index, dtype=object), notes


def repeated_rows(
    places_m: NDArray[np.float64], table: pd.DataFrame, ids: pd.Series
) -> tuple[NDArray[np.bool_], list[Note]]:
    """Find rows that map a culvert of an earlier row again.

    Parameters
    ----------
    places_m : ndarray, shape (n, 2)
        Places in the work CRS [m].
    table : DataFrame
        ``span_m``, ``rise_m``, ``road_name`` and ``crossing_kind`` of the rows.
    ids : Series of str
        Names as written, for the notes.

    Returns
    -------
    is_repeat : ndarray of bool, shape (n,)
        True where an earlier row lies at the same coordinates, or within 12 m
        with the same known size, the same road and the same kind.
    notes : list of Note
        One for each such row.
    """
    is_repeat = np.zeros(len(places_m), dtype=bool)
    notes: list[Note] = []
    pairs = cKDTree(places_m).query_pairs(SAME_PLACE_M, output_type="ndarray")
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    apart_m = np.linalg.norm(places_m[pairs[:, 0]] - places_m[pairs[:, 1]], axis=1)
    is_twin = (apart_m < _SAME_POINT_M) | _is_alike(table, pairs)
    for (first, second), distance_m in zip(
        pairs[is_twin], apart_m[is_twin], strict=True
    ):
        if is_repeat[first] or is_repeat[second]:
            continue
        is_repeat[second] = True
        row, kept = table.index[second], table.index[first]
        name = ids[kept] or f"row-{kept}"
        told = f"left out: second survey or twin of {name} (row {kept})"
        notes.append(note(row, "", f"{distance_m:.1f} m apart", told, "assumed"))
    return is_repeat, notes


def _is_alike(table: pd.DataFrame, pairs: NDArray[np.int64]) -> NDArray[np.bool_]:
    alike = np.ones(len(pairs), dtype=bool)
    for name in ("span_m", "rise_m"):
        sizes = table[name].to_numpy(dtype=float)[pairs]
        alike &= np.isclose(sizes[:, 0], sizes[:, 1])
    for name in ("road_name", "crossing_kind"):
        words = table[name].str.lower().to_numpy(dtype=object)[pairs]
        alike &= words[:, 0] == words[:, 1]
    return alike
