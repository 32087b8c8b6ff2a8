"""Words of an inventory: kind, shape, material, ends, yes and no, silt, years."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cache

import numpy as np
import pandas as pd

from culvertrisk import tables
from culvertrisk.inputs.columns import Found
from culvertrisk.inputs.culvert_notes import Note, note
from culvertrisk.inputs.layers import numbers_of

UNKNOWN_WORD = "unknown"
WORD_COLUMNS = ("crossing_kind", "shape", "material", "entrance")
YES_NO_COLUMNS = ("has_seep", "has_plough_plug", "is_staked")
_FROM_TYPE = ("crossing_kind", "shape", "material")
_BLANK_NUMBERS = ("0", "-9", "-99", "-999", "-9999", "9999", "99999")
_YEAR = re.compile(r"(?<!\d)(1[89]\d\d|20\d\d)(?!\d)")
_NO_DATE = re.compile(r"^(1900-01-0[01]|1899-12-3[01]|0?1/0[01]?/1900|0+$)")
_SHORT_YEAR = re.compile(r"(?:^|[/.\-'’\s])(\d\d)$")
_SERIAL_DAYS = (20_000.0, 60_000.0)  # spreadsheet days of the years 1954 to 2064
_SERIAL_START = date(1899, 12, 30)  # day 0 of a spreadsheet's calendar
_CENTURY_TURN = 40  # a two-digit year above it is of the 20th century
_CENTURIES = (1900, 2000)
_PERCENT = 100.0


@cache
def _words(column: str) -> dict[str, str]:
    rows = tables.table("word_aliases")
    rows = rows[rows["column"] == column]
    pairs = zip(rows["alias"], rows["word"], strict=True)
    return {str(alias): str(word) for alias, word in pairs}


@cache
def _pattern(column: str) -> re.Pattern[str]:
    aliases = [a for a, word in _words(column).items() if word != UNKNOWN_WORD]
    longest = sorted(aliases, key=lambda alias: -len(alias))
    return re.compile(r"\b(" + "|".join(map(re.escape, longest)) + r")\b")


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9.?<>]+", " ", text.lower()).strip(" .")


@cache
def find_word(text: str, column: str) -> str:
    """Return our word for a text of the inventory; "" if none is in it.

    The longest known phrase wins; ``unknown`` counts only on its own.

    Examples
    --------
    >>> find_word("Corrugated Plastic Pipe", "material"), find_word("CMP", "material")
    ('plastic', 'steel')
    >>> find_word("Pipe Arch", "shape"), find_word("Wood Box", "shape")
    ('arch', 'box')
    >>> find_word("Open Bottom Structure Bridge", "crossing_kind")
    'bridge'
    """
    plain = _plain(text)
    words = _words(column)
    if plain in words:
        return words[plain]
    hits = _pattern(column).findall(plain)
    return words[max(hits, key=len)] if hits else ""


@cache
def is_missing(text: str) -> bool:
    """Tell whether a text says that nothing is known: blank, UNK, 0, -99.

    Examples
    --------
    >>> [is_missing(text) for text in ("", "UNK", "<Null>", "-99", "12")]
    [True, True, True, True, False]
    """
    plain = _plain(text)
    if text.strip() in _BLANK_NUMBERS or not plain or plain == "?":
        return True
    return plain.strip("<>") in _words("missing")


def add_words(
    cells: pd.DataFrame, found: Mapping[str, Sequence[Found]]
) -> tuple[pd.DataFrame, list[Note]]:
    """Read kind, shape, material and entrance.

    A column that only says 'type' is searched for all of them, after their own.

    Returns
    -------
    words : DataFrame
        Columns of ``WORD_COLUMNS``, ``unknown`` where nothing is known.
    notes : list of Note
        One for each text that says nothing known.
    """
    notes: list[Note] = []
    types = _joined(cells, found.get("type_text", ()))
    table = {}
    for column in WORD_COLUMNS:
        own = _joined(cells, found.get(column, ()))
        words = own.map({text: find_word(text, column) for text in own.unique()})
        notes += _unread(own, words, column)
        if column in _FROM_TYPE:
            typed = types.map({t: find_word(t, column) for t in types.unique()})
            words = words.where(~words.isin(["", UNKNOWN_WORD]), typed)
        table[column] = words.replace("", UNKNOWN_WORD).astype(object)
    return pd.DataFrame(table, index=cells.index), notes


def _joined(cells: pd.DataFrame, columns: Sequence[Found]) -> pd.Series:
    joined = pd.Series("", index=cells.index, dtype=object)
    for found in columns:
        joined = joined + " " + cells[found.column]
    return joined.str.strip().astype(object)


def _unread(text: pd.Series, words: pd.Series, column: str) -> list[Note]:
    """Return one note for each text without a word, on its first row."""
    missed = text[(words == "") & ~text.map(is_missing).astype(bool)]
    counts = missed.value_counts(sort=False)
    return [
        note(
            missed.index[missed == word][0],
            column,
            word,
            f"{UNKNOWN_WORD} in {count} rows; the word is not known",
            "refused",
        )
        for word, count in counts.items()
    ]


def yes_no(text: pd.Series, column: str) -> tuple[pd.Series, list[Note]]:
    """Read yes and no as 1.0, 0.0 and NaN."""
    words = text.map({t: _words("yes_no").get(_plain(t), "") for t in text.unique()})
    numbers = words.map({"yes": 1.0, "no": 0.0}).astype(float)
    return numbers, _unread(text, words, column)


@cache
def _silt(text: str) -> float:
    """Return a number of percent or a fraction in words; NaN if it is none."""
    plain = text.lower().replace("%", "").strip()
    bound = re.fullmatch(r"([<>])\s*(\d+\.?\d*)", plain)
    if bound:
        edge = 0.0 if bound[1] == "<" else _PERCENT
        return (float(bound[2]) + edge) / 2
    between = re.fullmatch(r"(\d+\.?\d*)\s*(?:-|to)\s*(\d+\.?\d*)", plain)
    if between:
        return (float(between[1]) + float(between[2])) / 2
    parts = re.fullmatch(r"(\d)\s*/\s*(\d)", plain)
    if parts and int(parts[2]):
        return _PERCENT * int(parts[1]) / int(parts[2])
    if "%" in text and re.fullmatch(r"\d+\.?\d*", plain):
        return float(plain)
    words = re.sub(r"\b(silted|silt|sediment|blocked|full of)\b", " ", _plain(plain))
    word = find_word(" ".join(words.split()), "silt") or find_word(plain, "silt")
    return _PERCENT * float(word) if word else np.nan


def silt_fraction(text: pd.Series, unit: str) -> tuple[pd.Series, list[Note]]:
    """Read the share of the rise that is filled.

    Parameters
    ----------
    text : Series of str
        Numbers, bands such as ``25-50`` and ``<25``, or words such as ``half``.
    unit : str
        Unit of the numbers; "" finds it: above 1 there is percent.

    Returns
    -------
    silt_fraction : Series of float
        From 0 to 1; the middle of a band; NaN unknown.
    notes : list of Note
        Bands and words that stand for a number; words not known.
    """
    plain = text.where(~text.isin(_BLANK_NUMBERS[1:]), "")
    numbers = numbers_of(plain)
    is_percent = unit == "percent" or (not unit and bool(numbers.max() > 1))
    worded = plain.where(numbers.isna(), "")
    shares = worded.map({t: _silt(t) / _PERCENT for t in worded.unique()})
    notes = [
        note(row, "silt_fraction", plain[row], f"{shares[row]:.2f}", "assumed")
        for row in shares.index[shares.notna()]
    ]
    unread = worded.where(shares.isna(), "")
    notes += _unread(unread, unread.map(lambda _: ""), "silt_fraction")
    scale = _PERCENT if is_percent else 1.0
    return (numbers / scale).fillna(shares.astype(float)), notes


@cache
def _year(text: str) -> tuple[float, str]:
    """Return the year of a messy date and the kind of note, "" for none."""
    plain = text.strip()
    if is_missing(plain) or _NO_DATE.match(plain):
        return np.nan, ""
    full = _YEAR.search(plain)
    if full:
        is_loose = bool(re.search(r"\d{4}\s*'?s\b|[?~]|\bc(a|irca)?\b", plain.lower()))
        return float(full[1]), "assumed" if is_loose else ""
    try:
        number = float(plain)
    except ValueError:
        number = np.nan
    if _SERIAL_DAYS[0] <= number <= _SERIAL_DAYS[1]:
        return float((_SERIAL_START + timedelta(days=number)).year), "changed"
    short = _SHORT_YEAR.search(plain)
    if short:
        century = _CENTURIES[0 if int(short[1]) > _CENTURY_TURN else 1]
        return century + float(short[1]), "assumed"
    return np.nan, "refused"


def install_year(text: pd.Series) -> tuple[pd.Series, list[Note]]:
    """Read years from messy dates such as ``3/4/19``, ``spring '14``, ``43528``."""
    years = {t: _year(t) for t in text.unique()}
    numbers = text.map({t: year for t, (year, _) in years.items()}).astype(float)
    notes: list[Note] = []
    for row, word in text.items():
        year, kind = years[word]
        if kind:
            said = UNKNOWN_WORD if np.isnan(year) else f"{year:.0f}"
            notes.append(note(row, "install_year", word, said, kind))  # type: ignore[arg-type]
    return numbers, notes
