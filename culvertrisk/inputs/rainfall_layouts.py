"""The layouts in which rain by duration and return period is handed over."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from culvertrisk.inputs.columns import plain_name
from culvertrisk.units import to_unit

DURATION_UNITS = {
    "s": "s",
    "sec": "s",
    "min": "min",
    "mins": "min",
    "minute": "min",
    "minutes": "min",
    "h": "h",
    "hr": "h",
    "hrs": "h",
    "hour": "h",
    "hours": "h",
    "d": "day",
    "day": "day",
    "days": "day",
}
RAIN_UNITS = {
    "in": "inch",
    "inch": "inch",
    "inches": "inch",
    "mm": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "millimetres": "mm",
    "cm": "cm",
    "m": "m",
}
RAIN_WORDS = ("rain", "depth", "precipitation", "intensity", "rainfall")
_LABEL = re.compile(r"^(\d+(?:[.,]\d+)?)[\s_-]*([a-z]*)\.?:?$", re.IGNORECASE)
_YEARS = re.compile(r"^(?:t\s*=?\s*)?(\d+(?:\.\d+)?)[\s_-]*(?:y|yr|yrs|year|years)?:?$")
_PERCENT = re.compile(r"^(\d+(?:\.\d+)?)\s*%$")
_ONE_IN = re.compile(r"^1\s*/\s*(\d+(?:\.\d+)?)$")
_FORMULA = ("a", "b", "c")


@dataclass(frozen=True)
class RawRainfall:
    """Numbers as they stand in a file, with the words that say what they are.

    ``cells`` has ``row`` (line of the file, from 1), ``duration_s``,
    ``return_years``, ``text`` and ``block`` (``""``, ``"low"``, ``"high"``), or, of a
    formula, ``return_years``, ``a``, ``b`` and ``c`` as text. ``words`` are title and
    column names, in lower case; ``header`` is the place of the row with the column
    names, and ``is_by_row`` says that a row is one rain. ``unnamed`` are the row labels
    that are no duration.
    """

    cells: pd.DataFrame
    words: str
    header: int
    is_formula: bool = False
    is_by_row: bool = False
    unnamed: tuple[str, ...] = ()


def return_years(text: str) -> float:
    """Return period of a label such as ``25``, ``25-yr``, ``1/25`` or ``4 %``; or NaN.

    Examples
    --------
    >>> return_years("25-yr"), return_years("1/25"), return_years("4 %")
    (25.0, 25.0, 25.0)
    """
    plain = text.strip().lower()
    if match := _PERCENT.match(plain):
        percent = float(match[1])
        return 100 / percent if percent > 0 else np.nan
    match = _ONE_IN.match(plain) or _YEARS.match(plain)
    return float(match[1]) if match and float(match[1]) >= 1 else np.nan


def duration_s(text: str, unit: str = "") -> float:
    """Duration of a label such as ``5-min:`` or ``24 h``, or NaN.

    Examples
    --------
    >>> duration_s("5-min:"), duration_s("24-hr:"), duration_s("90", "min")
    (300.0, 86400.0, 5400.0)
    """
    match = _LABEL.match(text.strip())
    word = DURATION_UNITS.get(match[2].lower(), "") if match and match[2] else unit
    if not match or not word:
        return np.nan
    return to_unit(f"{match[1].replace(',', '.')} {word}", "s")


def read_layout(rows: Sequence[Sequence[str]], columns: dict[str, str]) -> RawRainfall:
    """Find the table of a file by its labels, never by its place.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of the file.
    columns : dict
        Our name = the file's, for a table with one rain a row.

    Returns
    -------
    raw : RawRainfall
        Empty if no layout fits.
    """
    for number, row in enumerate(rows):
        names = _column_names(row, columns)
        if {"duration_s", "return_years", "rain_m"} <= set(names):
            return _by_row(rows, number, names)
        if {"return_years", *_FORMULA} <= set(names):
            return _formula(rows, number, names)
    return _blocks(rows)


def _column_names(row: Sequence[str], columns: dict[str, str]) -> dict[str, int]:
    told = {theirs: ours for ours, theirs in columns.items()}
    names: dict[str, int] = {}
    for place, cell in enumerate(row):
        plain = plain_name(cell)
        first = plain.partition("_")[0]
        if cell in told:
            names.setdefault(told[cell], place)
        elif first == "duration":
            names.setdefault("duration_s", place)
        elif first in ("return", "ari", "aep"):
            names.setdefault("return_years", place)
        elif first in RAIN_WORDS:
            names.setdefault("rain_m", place)
        elif plain in _FORMULA:
            names.setdefault(plain, place)
    return names


def _unit_of_durations(words: str) -> str:
    plain = plain_name(words).split("_")
    known = [DURATION_UNITS[word] for word in plain if word in DURATION_UNITS]
    return known[0] if known else ""


def _title(rows: Sequence[Sequence[str]], last: int) -> str:
    return "\n".join(" ".join(row) for row in rows[: last + 1]).lower()


def _by_row(
    rows: Sequence[Sequence[str]], header: int, names: dict[str, int]
) -> RawRainfall:
    unit = _unit_of_durations(rows[header][names["duration_s"]])
    found = []
    for number, row in enumerate(rows[header + 1 :], start=header + 2):
        if any(row):
            told = {n: row[p] if p < len(row) else "" for n, p in names.items()}
            found.append(
                {
                    "row": number,
                    "duration_s": duration_s(told["duration_s"], unit),
                    "return_years": return_years(told["return_years"]),
                    "text": told["rain_m"],
                    "block": "",
                }
            )
    cells = pd.DataFrame(found)
    return RawRainfall(cells, _title(rows, header), header, is_by_row=True)


def _formula(
    rows: Sequence[Sequence[str]], header: int, names: dict[str, int]
) -> RawRainfall:
    found = [
        {
            "row": number,
            "return_years": return_years(row[names["return_years"]]),
            **{name: row[names[name]] for name in _FORMULA},
        }
        for number, row in enumerate(rows[header + 1 :], start=header + 2)
        if len(row) > max(names.values()) and any(row)
    ]
    cells = pd.DataFrame(found)
    return RawRainfall(cells, _title(rows, header), header, is_formula=True)


def _blocks(rows: Sequence[Sequence[str]]) -> RawRainfall:
    """Tables of durations down and return periods across; the first, and its bounds."""
    headers = [number for number, row in enumerate(rows) if _is_header(row)]
    if not headers:
        return RawRainfall(pd.DataFrame(), _title(rows, len(rows)), len(rows))
    found: list[dict[str, object]] = []
    unnamed: list[str] = []
    kinds: set[str] = set()
    for header in headers:
        kind = _kind_of_block(rows, header, kinds)
        kinds.add(kind)
        unit = _unit_of_durations(rows[header][0])
        years = [return_years(cell) for cell in rows[header][1:] if cell]
        for number in _block_rows(rows, header):
            label, *texts = rows[number]
            line = {
                "row": number + 1,
                "duration_s": duration_s(label, unit),
                "block": kind,
            }
            if np.isnan(duration_s(label, unit)):
                unnamed.append(label)
                continue
            pairs = zip(years, texts + [""] * len(years), strict=False)
            found += [{**line, "return_years": y, "text": text} for y, text in pairs]
    cells = pd.DataFrame(found)
    kept = cells[cells["block"] != "other"] if found else cells
    title, first = _title(rows, headers[0]), headers[0]
    return RawRainfall(kept, title, first, unnamed=tuple(unnamed))


def _is_header(row: Sequence[str]) -> bool:
    if not row or _LABEL.match(row[0]):
        return False
    years = [return_years(cell) for cell in row[1:] if cell]
    return bool(years) and not np.isnan(years).any()


def _block_rows(rows: Sequence[Sequence[str]], header: int) -> list[int]:
    """Numbers of the rows of one block, up to a blank one or the next header."""
    listed = []
    for number in range(header + 1, len(rows)):
        if not any(rows[number]) or _is_header(rows[number]):
            break
        listed.append(number)
    return listed


def _kind_of_block(rows: Sequence[Sequence[str]], header: int, before: set[str]) -> str:
    title = " ".join(rows[header - 1]).lower() if header else ""
    for word, kind in (("upper", "high"), ("lower", "low")):
        if word in title:
            return kind
    return "other" if "" in before else ""
