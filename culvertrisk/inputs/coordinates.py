"""Coordinates as people write them, to numbers; what is none is told cell by cell."""

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from culvertrisk.checks import rows_problem
from culvertrisk.inputs.culvert_notes import Note, note
from culvertrisk.inputs.layers import numbers_of

SOUTHERNMOST_ROAD_LAT = -60.0  # [deg] only ice lies south of it, common practice
_MINUTES = 60.0
_CURLY = str.maketrans({"’": "'", "′": "'", "”": '"', "″": '"'})
_DEGREES = re.compile(
    r"^([NSEW]?)\s*(-?\d+(?:\.\d+)?)\s*[°ºd: ]\s*(\d+(?:\.\d+)?)\s*['m: ]?\s*"
    r"(?:(\d+(?:\.\d+)?)\s*[\"s]?)?\s*([NSEW]?)$",
    re.IGNORECASE,
)
_DECIMAL = re.compile(
    r"^([NSEW]?)\s*(-?\d+(?:\.\d+)?)\s*[°º]?\s*([NSEW]?)$", re.IGNORECASE
)
_NO_NUMBER = "left out: no number"
_BLANK = "left out: blank"
NO_COORDINATES = "left out: no coordinates"
_FORMS = "47.7103 or 47°42'37\"N for degrees, 462500 for metres or feet"


def coordinates(text: pd.Series) -> pd.Series:
    """Return the numbers of a column of coordinates, degrees in decimals; NaN if none.

    Parameters
    ----------
    text : Series of str
        Plain numbers, or degrees with minutes, seconds and a letter.
    """
    numbers = numbers_of(text)
    worded = text[numbers.isna() & (text != "")]
    return numbers.fillna(worded.map(degrees).astype(float))


def degrees(text: str) -> float:
    """Return the decimal degrees of a text such as ``47°42'10"N``; NaN if none.

    Examples
    --------
    >>> round(degrees("47°42'36\\"N"), 4), degrees("87 30 W"), degrees("by the barn")
    (47.71, -87.5, nan)
    >>> degrees("87.5° W"), degrees("462 500")
    (-87.5, nan)
    """
    plain = text.strip().translate(_CURLY).replace("''", '"')
    decimal = _DECIMAL.match(plain)
    if decimal:
        return _signed(float(decimal[2]), decimal[1] + decimal[3])
    found = _DEGREES.match(plain)
    if not found:
        return np.nan
    whole, minutes, seconds = float(found[2]), float(found[3]), float(found[4] or 0)
    if minutes >= _MINUTES or seconds >= _MINUTES:
        return np.nan
    size = abs(whole) + minutes / _MINUTES + seconds / _MINUTES**2
    return _signed(-size if found[2].startswith("-") else size, found[1] + found[5])


def _signed(value: float, side: str) -> float:
    return -abs(value) if side.upper() in ("S", "W") else value


def unread_coordinates(columns: dict[str, pd.Series]) -> list[Note]:
    """Return a note for each coordinate that is no number, or is half of a pair.

    Parameters
    ----------
    columns : dict of str to Series of str
        The two columns of a pair by our name.
    """
    is_blank = pd.DataFrame({ours: text == "" for ours, text in columns.items()})
    is_number = pd.DataFrame(
        {ours: coordinates(text).notna() for ours, text in columns.items()}
    )
    notes = []
    for ours, text in columns.items():
        is_wrong = ~is_number[ours] & ~is_blank[ours]
        notes += [note(r, ours, t, _NO_NUMBER, "refused")
                  for r, t in text[is_wrong].items()]  # fmt: skip
        is_half = is_blank[ours] & is_number.any(axis=1)
        notes += [note(r, ours, "", _BLANK, "refused") for r in text.index[is_half]]
    return notes


def told_once(notes: Sequence[Note], left_out: pd.Index) -> list[Note]:
    """Return notes with one reason only for each row that lies nowhere.

    A row of which a coordinate is no number is not told again to have none; a row
    that is used all the same, by its two ends, is not told to be left out.
    """
    causes = {n["row"] for n in notes if n["understood"] in (_NO_NUMBER, _BLANK)}
    listed = []
    for item in notes:
        is_cause = item["understood"] in (_NO_NUMBER, _BLANK)
        if is_cause and item["row"] not in left_out:
            reason = str(item["understood"]).removeprefix("left out: ")
            listed.append({**item, "understood": f"not used: {reason}"})
        elif item["understood"] != NO_COORDINATES or item["row"] not in causes:
            listed.append(item)
    return listed


def coordinate_problems(notes: Sequence[Note], total: int, file: str) -> list[str]:
    """Say once for each column which coordinates are no numbers."""
    wrong: dict[str, dict[object, object]] = {}
    for item in notes:
        if item["understood"] == _NO_NUMBER:
            wrong.setdefault(str(item["column"]), {})[item["row"]] = item["found"]
    remedy = f"Write {_FORMS}."
    return [
        rows_problem(file, ours, "hold numbers", rows, total, remedy)
        for ours, rows in wrong.items()
    ]
