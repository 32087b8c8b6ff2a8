"""Rise, span and barrels of an inventory: the unit of each column, then each row."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from culvertrisk.inputs.columns import Found, unit_in_name
from culvertrisk.inputs.culvert_notes import Kind, Note, note_whole, notes_where
from culvertrisk.inputs.culvert_words import is_missing
from culvertrisk.inputs.layers import numbers_of
from culvertrisk.inputs.size_units import (
    find_unit,
    is_mistaken,
    is_usual,
    row_unit,
)
from culvertrisk.inputs.sizes import (
    UNKNOWN,
    Size,
    parse_size,
    plain_length,
    short_unit,
)

_SMALLEST_BOX_M = 0.25  # a smaller rise by span is in feet, common practice
_NOT_ROUND = ("box", "arch", "open arch", "ellipse")
_MADE = ("rise_m", "span_m", "barrel_count")
_SIZE_COLUMNS = ("diameter_m", "rise_m", "span_m")


def add_sizes(
    cells: pd.DataFrame, found: Mapping[str, list[Found]], words: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, str], list[Note]]:
    """Read rise, span and barrels.

    Parameters
    ----------
    cells : DataFrame
        Text as in the file, indexed by row.
    found : mapping
        Columns of the file by our name.
    words : DataFrame
        ``shape`` and ``crossing_kind`` of the same rows.

    Returns
    -------
    sizes : DataFrame
        ``rise_m``, ``span_m`` [m] and ``barrel_count``; NaN where unknown.
    units : dict of str to str
        Unit used for the bare numbers of each of our columns.
    notes : list of Note
        What was found, row by row.
    """
    notes: list[Note] = []
    units: dict[str, str] = {}
    read: dict[str, pd.DataFrame] = {}
    is_wide = words["shape"].isin(_NOT_ROUND)
    is_wide |= words["crossing_kind"].isin(["bridge", "ford"])
    for ours in _SIZE_COLUMNS:
        if ours in found:
            first = found[ours][0]
            text, known = cells[first.column], next(iter(units.values()), "")
            read[ours], unit = _read_column(text, ours, first, known, is_wide, notes)
            units |= {ours: unit} if unit else {}
    sizes = _combined(read, cells.index)
    blank = int(sizes[["rise_m", "span_m"]].isna().all(axis=1).sum())
    if blank:
        said = f"{blank} of {len(cells)} rows without a size"
        notes.append(note_whole("span_m", said, "unknown, never zero", "refused"))
    if "diameter_m" in found:
        name = unit_in_name(found["diameter_m"][0].column)[0]
        if "span" in name.split("_"):
            sizes = _span_only(sizes, words, notes)
    sizes = _round_ones(sizes, words)
    return _with_barrels(sizes, cells, found, notes), units, notes


def _read_column(
    text: pd.Series,
    ours: str,
    found: Found,
    known: str,
    is_wide: pd.Series,
    notes: list[Note],
) -> tuple[pd.DataFrame, str]:
    """Read one column of sizes.

    ``known`` is the unit of a column read before; ``is_wide`` marks bridges, boxes
    and arches, which may be of any size in the column's own unit.
    """
    pipes = text[~is_wide].unique()
    bare = {word: number for word in pipes if (number := _bare_number(word))}
    numbers = [bare[word] for word in text[~is_wide] if word in bare]
    unit = _column_unit(numbers, ours, found, known, notes)
    median = float(np.median(numbers)) if numbers else np.nan
    sizes = text.map(
        {word: parse_size(word, unit or "meter") for word in text.unique()}
    )
    is_unread = sizes.map(lambda size: size == UNKNOWN) & ~text.map(is_missing)
    notes += notes_where(is_unread, ours, text, "unknown", "refused")
    for word in pipes:
        size, kind = _row_size(word, unit, bare.get(word), median)
        if kind:
            chosen = (text == word) & ~is_wide
            sizes[chosen] = [size] * int(chosen.sum())
            notes += notes_where(chosen, ours, text, size.understood, kind)
    values = [(s.rise_m, s.span_m, s.barrel_count) for s in sizes]
    table = pd.DataFrame(values, index=text.index, columns=[*_MADE], dtype=float)
    return table, unit


def _bare_number(word: str) -> float | None:
    """Return the first number of a size without a unit, None if it has one."""
    in_metres, in_feet = parse_size(word, "meter"), parse_size(word, "foot")
    is_bare = in_metres.span_m > 0 and in_metres.span_m != in_feet.span_m
    return in_metres.span_m if is_bare else None


def _column_unit(
    numbers: list[float], ours: str, found: Found, known: str, notes: list[Note]
) -> str:
    """Return the unit told, named and fitting, or found by the values."""
    if found.is_unit_told or not numbers:
        return found.unit or known
    guess = find_unit(numbers)
    named = found.unit
    if named and (is_usual(numbers, named) or not guess):
        return named
    unit = guess or known
    told = f"{short_unit(unit)}, by its values" if unit else "unknown; no unit fits"
    said = f"header with {short_unit(named)}" if named else "without a unit"
    kind: Kind = "changed" if named else "assumed" if unit else "refused"
    notes.append(note_whole(ours, f"{found.column!r} {said}", told, kind))
    return unit


def _row_size(
    word: str, unit: str, bare: float | None, median: float
) -> tuple[Size, Kind | None]:
    """Return the size of one text and the kind of note it deserves."""
    own = parse_size(word, unit or "meter")
    guessed: Kind | None = "assumed" if own.is_guess else None
    if bare is None:
        number, written = plain_length(word)
        if written and is_mistaken(number, written):
            return parse_size(f"{number:g}", "millimeter"), "changed"
        return own, guessed
    if not unit:
        return UNKNOWN, "refused"
    other = row_unit(bare, unit, median)
    if unit == "inch" and own.span_m != own.rise_m and own.rise_m < _SMALLEST_BOX_M:
        other = "foot"
    if not other:
        return UNKNOWN, "refused"
    return (parse_size(word, other), "changed") if other != unit else (own, guessed)


def _combined(read: Mapping[str, pd.DataFrame], index: pd.Index) -> pd.DataFrame:
    """Put the size columns together: rise and span win over the diameter."""
    blank = pd.DataFrame(np.nan, index=index, columns=[*_MADE])
    sizes = read.get("diameter_m", blank)
    if "rise_m" in read:
        rise = read["rise_m"]
        sizes = sizes.assign(rise_m=rise["rise_m"].fillna(sizes["rise_m"]))
        sizes["barrel_count"] = sizes["barrel_count"].fillna(rise["barrel_count"])
    if "span_m" in read:
        span = read["span_m"]
        sizes = sizes.assign(span_m=span["span_m"].fillna(sizes["span_m"]))
        sizes["barrel_count"] = sizes["barrel_count"].fillna(span["barrel_count"])
    return sizes


def _span_only(
    sizes: pd.DataFrame, words: pd.DataFrame, notes: list[Note]
) -> pd.DataFrame:
    """Drop the rise where a column of 'diameter or span' can hold only a span."""
    is_span = words["shape"].isin(_NOT_ROUND)
    is_span |= words["crossing_kind"].isin(["bridge", "ford"])
    is_span &= sizes["rise_m"] == sizes["span_m"]
    if is_span.any():
        said = f"{int(is_span.sum())} rows that are not round"
        notes.append(note_whole("rise_m", said, "a span; rise unknown", "assumed"))
    return sizes.assign(rise_m=sizes["rise_m"].mask(is_span))


def _round_ones(sizes: pd.DataFrame, words: pd.DataFrame) -> pd.DataFrame:
    """Give a round pipe its rise as span and its span as rise."""
    is_round = words["shape"] == "round"
    rise, span = sizes["rise_m"], sizes["span_m"]
    return sizes.assign(
        rise_m=rise.mask(is_round & rise.isna(), span),
        span_m=span.mask(is_round & span.isna(), rise),
    )


def _with_barrels(
    sizes: pd.DataFrame,
    cells: pd.DataFrame,
    found: Mapping[str, list[Found]],
    notes: list[Note],
) -> pd.DataFrame:
    """Add the barrel count: its own column, unless the size names more than one."""
    in_text = sizes["barrel_count"]
    if "barrel_count" not in found:
        single = int((in_text == 1).sum())
        if single:
            said = f"{single} sizes that name no barrels"
            notes.append(note_whole("barrel_count", said, "one barrel", "assumed"))
        return sizes
    text = cells[found["barrel_count"][0].column]
    recorded = numbers_of(text).where(lambda n: n > 0)
    worded = text.map(lambda word: parse_size(f"{word} 1", "meter").barrel_count)
    recorded = recorded.fillna(worded.where(worded > 1))
    is_more = (in_text > 1) & (in_text != recorded)
    notes += notes_where(
        is_more & recorded.notna(), "barrel_count", text, "as the size says", "changed"
    )
    return sizes.assign(barrel_count=in_text.where(is_more, recorded.fillna(in_text)))
