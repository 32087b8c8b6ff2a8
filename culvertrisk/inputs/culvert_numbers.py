"""Lengths, slopes, cover, levels and counts of an inventory, in our units."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from culvertrisk import tables
from culvertrisk.checks import SHOWN_ROWS
from culvertrisk.inputs.columns import Found, factor
from culvertrisk.inputs.culvert_notes import Note, note_whole, notes_where
from culvertrisk.inputs.layers import numbers_of
from culvertrisk.inputs.sizes import parse_size, short_unit

LENGTH_COLUMNS = (
    *("length_m", "recorded_cover_m", "inlet_invert_m", "outlet_invert_m"),
    "outlet_drop_m",
)
_ZERO_IS_BLANK = ("length_m", "recorded_cover_m", "recorded_catchment_m2")
_BLANKS = (-9.0, -99.0, -999.0, -9999.0, -99999.0, 9999.0, 99999.0, -9.99)
_UNKNOWN_WORDS = (
    *("", "-", "--", "?", "na", "n/a", "nan", "none", "null", "unk", "unknown", "tbd"),
    *("not known", "not measured", "no data"),
)
_FEET_UNITS = ("inch", "foot")
_PERCENT_MEDIAN = 0.1  # a median slope above it is in percent, common practice
_SLOPE_WORDS = {"flat": 0.0, "level": 0.0}


def add_numbers(
    cells: pd.DataFrame,
    found: Mapping[str, Sequence[Found]],
    size_unit: str,
    mapped_m: pd.Series,
) -> tuple[pd.DataFrame, dict[str, str], list[Note]]:
    """Read lengths, cover, levels, drop and slope.

    Parameters
    ----------
    cells : DataFrame
        Text as in the file, indexed by row.
    found : mapping
        Columns of the file by our name.
    size_unit : str
        Unit of the pipe sizes; it tells feet from metres where nothing else does.
    mapped_m : Series of float
        Distance between the mapped ends [m], NaN unknown.

    Returns
    -------
    numbers : DataFrame
        Columns of ``LENGTH_COLUMNS``, slope and catchment as recorded.
    units : dict of str to str
        Unit used for each.
    notes : list of Note
        What was assumed, column by column.
    """
    notes: list[Note] = []
    units: dict[str, str] = {}
    table = pd.DataFrame(np.nan, index=cells.index, columns=[*LENGTH_COLUMNS])
    for ours in LENGTH_COLUMNS:
        if ours not in found:
            continue
        first = found[ours][0]
        numbers = read_numbers(cells[first.column], ours, notes)
        units[ours] = first.unit or _length_unit(numbers, ours, mapped_m, size_unit)
        if not first.unit:
            said = f"{first.column!r} without a unit"
            notes.append(note_whole(ours, said, short_unit(units[ours]), "assumed"))
        table[ours] = numbers * factor(units[ours], ours)
        table[ours] = table[ours].fillna(_worded(cells[first.column], units[ours]))
        notes += _unread(cells[first.column], table[ours], ours)
    table["length_m"] = _filled_length(table["length_m"], cells, found, mapped_m, notes)
    slope, unit = _slope(cells, found, notes)
    units |= {"recorded_slope_m_per_m": unit} if unit else {}
    area_m2, area_unit = _area(cells, found, notes)
    units |= {"recorded_catchment_m2": area_unit} if area_unit else {}
    made = {"recorded_slope_m_per_m": slope, "recorded_catchment_m2": area_m2}
    return table.assign(**made), units, notes


def read_numbers(text: pd.Series, ours: str, notes: list[Note]) -> pd.Series:
    """Return numbers; -99 and its like are blank, zero too where nobody measures it."""
    numbers = numbers_of(text)
    is_blank = numbers.isin(_BLANKS)
    if is_blank.any():
        said = f"{int(is_blank.sum())} rows of {numbers[is_blank].iloc[0]:g}"
        notes.append(note_whole(ours, said, "blank", "refused"))
    is_zero = (numbers == 0) & (ours in _ZERO_IS_BLANK)
    if is_zero.any():
        said = f"{int(is_zero.sum())} rows of 0"
        notes.append(note_whole(ours, said, "not measured", "refused"))
    return numbers.mask(is_blank | is_zero)


def _unread(text: pd.Series, values: pd.Series, ours: str) -> list[Note]:
    """Return a note for each cell of words that are neither a number nor "unknown".

    Where there are many, one note tells how many and the first of them.
    """
    plain = text.str.lower().str.strip(" .")
    is_told = numbers_of(text).notna() | plain.isin(_UNKNOWN_WORDS) | values.notna()
    told, wrong = "unknown: no number", text[~is_told]
    if len(wrong) <= SHOWN_ROWS:
        return notes_where(~is_told, ours, text, told, "refused")
    first = ", ".join(f"{row} ({cell})" for row, cell in wrong[:SHOWN_ROWS].items())
    said = f"{len(wrong)} of {len(text)} rows, such as {first}"
    return [note_whole(ours, said, told, "refused")]


def _worded(text: pd.Series, unit: str) -> pd.Series:
    """Return lengths [m] of the texts that carry a unit of their own."""
    is_worded = numbers_of(text).isna() & (text != "")
    words = text[is_worded].unique()
    lengths = {word: parse_size(word, unit).span_m for word in words}
    return text.map(lambda word: lengths.get(word, np.nan)).astype(float)


def _length_unit(
    numbers: pd.Series, ours: str, mapped_m: pd.Series, size_unit: str
) -> str:
    """Return foot or meter: by the mapped length, else by the sizes' family."""
    if ours == "length_m":
        proven = _unit_by_map(numbers, mapped_m)
        if proven:
            return proven
    return "foot" if size_unit in _FEET_UNITS else "meter"


def _unit_by_map(numbers: pd.Series, mapped_m: pd.Series) -> str:
    """Return the unit in which recorded lengths meet the mapped ones, or ""."""
    ratio = (numbers / mapped_m).replace([np.inf, -np.inf], np.nan).median()
    if not ratio > 0:
        return ""
    misses = {
        unit: abs(np.log(ratio * factor(unit, "length_m")))
        for unit in ("meter", "foot")
    }
    return min(misses, key=lambda unit: misses[unit])


def _filled_length(
    length_m: pd.Series,
    cells: pd.DataFrame,
    found: Mapping[str, Sequence[Found]],
    mapped_m: pd.Series,
    notes: list[Note],
) -> pd.Series:
    """Fill blank lengths from the length a GIS wrote, then from the mapped ends."""
    if "mapped_length_m" in found:
        first = found["mapped_length_m"][0]
        numbers = numbers_of(cells[first.column])
        unit = first.unit or _unit_by_map(numbers, mapped_m)
        if unit and length_m.isna().any():
            said = f"{int(length_m.isna().sum())} blank rows"
            told = f"length of the drawn line, {first.column!r} in {short_unit(unit)}"
            notes.append(note_whole("length_m", said, told, "assumed"))
            length_m = length_m.fillna(numbers * factor(unit, "length_m"))
    is_filled = length_m.isna() & (mapped_m >= 1)
    if is_filled.any():
        said = f"{int(is_filled.sum())} blank rows"
        told = "distance between the mapped ends"
        notes.append(note_whole("length_m", said, told, "assumed"))
    return length_m.where(~is_filled, mapped_m)


def _slope(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]], notes: list[Note]
) -> tuple[pd.Series, str]:
    ours = "recorded_slope_m_per_m"
    if ours not in found:
        return pd.Series(np.nan, index=cells.index), ""
    first = found[ours][0]
    text = cells[first.column]
    numbers = read_numbers(text, ours, notes)
    unit = first.unit
    if not unit:
        median = numbers[numbers != 0].abs().median()
        unit = "percent" if median > _PERCENT_MEDIAN else "dimensionless"
        said = f"{first.column!r} without a unit"
        told = "percent" if unit == "percent" else "metres per metre"
        notes.append(note_whole(ours, said, told, "assumed"))
    slope = numbers * factor(unit, ours)
    worded = text.map({word: _slope_word(word) for word in text.unique()})
    notes += _unread(text, worded, ours)
    is_worded = slope.isna() & worded.notna()
    notes += notes_where(is_worded & (worded == 0), ours, text, "0", "assumed")
    return slope.where(~is_worded, worded.astype(float)), unit


def _area(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]], notes: list[Note]
) -> tuple[pd.Series, str]:
    """Return catchments [m2]; without a unit they would be anybody's guess."""
    ours = "recorded_catchment_m2"
    unknown = pd.Series(np.nan, index=cells.index)
    if ours not in found:
        return unknown, ""
    first = found[ours][0]
    numbers = read_numbers(cells[first.column], ours, notes)
    notes += _unread(cells[first.column], numbers, ours)
    if first.unit:
        return numbers * factor(first.unit, ours), first.unit
    if numbers.notna().any():
        said = f"{first.column!r} without a unit"
        told = f"not used: tell culverts.units.{ours}, such as acre, ha or mi2"
        notes.append(note_whole(ours, said, told, "refused"))
    return unknown, ""


def _slope_word(word: str) -> float:
    """Return the slope of a text such as ``2 %``, ``1:50`` or ``flat``."""
    plain = word.lower().strip()
    if plain in _SLOPE_WORDS:
        return _SLOPE_WORDS[plain]
    rise, colon, run = plain.partition(":")
    number = plain.removesuffix("%").strip()
    try:
        if colon and float(run):
            return float(rise) / float(run)
        return float(number) * factor("percent", "") if "%" in plain else np.nan
    except ValueError:
        return np.nan


def bounded(table: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    """Set what lies outside the range of the columns dictionary to unknown."""
    limits = tables.columns()
    low, high = limits["low"].astype(float), limits["high"].astype(float)
    checked = {}
    for name in table.columns:
        if np.isnan(low[name]) and np.isnan(high[name]):
            continue
        values = table[name]
        is_out = (values < low[name]) | (values > high[name])
        unit = limits["unit"][name]
        rule = f"unknown; must be from {low[name]:g} to {high[name]:g} {unit}"
        notes += notes_where(is_out, name, values.map("{:g}".format), rule, "refused")
        checked[name] = values.mask(is_out)
    return table.assign(**checked)
