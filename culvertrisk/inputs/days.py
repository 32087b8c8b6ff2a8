"""Dates as people and programs write them, with the order found from all rows."""

from dataclasses import dataclass
from datetime import datetime

import pandas as pd

_ISO = r"^(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})(?:[ T].*)?$"
_COMPACT = r"^(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})$"
_NUMBERS = r"^(?P<a>\d{1,2})(?P<mark>[-/.])(?P<b>\d{1,2})[-/.](?P<year>\d{4}|\d{2})"
_WORDS = ("%d %b %Y", "%d %B %Y", "%b %d %Y", "%B %d %Y", "%d %b %y", "%b %d %y")
_SERIAL = r"^\d{5}(?:\.\d+)?$"  # days since 1899-12-30, as spreadsheets count
_SERIAL_START = pd.Timestamp("1899-12-30")
_MONTHS = 12
_YEARS = (1800, 2200)  # beyond them a date is a slip of the pen
_CENTURY, _TURN_OF_CENTURY = 2000, 100


@dataclass(frozen=True)
class Days:
    """Days of a column; NaT where unreadable.

    ``order`` is "day first" or "month first" where numbers such as 3/4/2024 occur,
    else ""; ``is_order_assumed`` says that no row settles it.
    """

    day: pd.Series
    order: str
    is_order_assumed: bool


def parse_days(text: pd.Series) -> Days:
    """Read a column of dates, each row in whatever form it is written.

    Parameters
    ----------
    text : Series of str
        Dates such as 2024-02-25, 20240225, 25.02.2024, 2/25/24 or 25 Feb 2024,
        with or without a time of day.

    Returns
    -------
    days : Days
        ``day`` has the index of ``text``. Dots always mean day first; for slashes
        and dashes one number above 12 anywhere in the column settles the order,
        and month first is assumed if there is none.

    Examples
    --------
    >>> days = parse_days(pd.Series(["2/3/2024", "2/25/2024", "soon"]))
    >>> days.day.dt.day.tolist(), days.order
    ([3.0, 25.0, nan], 'month first')
    """
    plain = text.astype(str).str.strip()
    day = _from_parts(plain.str.extract(_ISO))
    day = day.fillna(_from_parts(plain.str.extract(_COMPACT)))
    parts = plain.where(day.isna(), "").str.extract(_NUMBERS)
    order, is_assumed = _order(parts)
    is_dotted = parts["mark"] == "."
    is_day_first = is_dotted | (order == "day first")
    day = day.fillna(
        _from_parts(
            pd.DataFrame(
                {
                    "year": parts["year"],
                    "month": parts["b"].where(is_day_first, parts["a"]),
                    "day": parts["a"].where(is_day_first, parts["b"]),
                }
            )
        )
    )
    serial = pd.to_numeric(plain.where(plain.str.match(_SERIAL)), errors="coerce")
    day = day.fillna(_SERIAL_START + pd.to_timedelta(serial // 1, unit="D"))
    left = day.isna() & plain.str.contains(r"[A-Za-z]") & plain.str.contains(r"\d")
    day = day.fillna(plain[left].map(_in_words).reindex(plain.index))
    return Days(pd.to_datetime(day), order, is_assumed)


def _from_parts(parts: pd.DataFrame) -> pd.Series:
    numbers = parts[["year", "month", "day"]].apply(pd.to_numeric)
    is_short = numbers["year"] < _TURN_OF_CENTURY
    numbers["year"] = numbers["year"].where(~is_short, numbers["year"] + _CENTURY)
    numbers["year"] = numbers["year"].where(numbers["year"].between(*_YEARS))
    return pd.to_datetime(numbers, errors="coerce").astype("datetime64[ns]")


def _order(parts: pd.DataFrame) -> tuple[str, bool]:
    marked = parts[parts["mark"].isin(["/", "-"])]
    if marked.empty:
        return "", False
    first, second = pd.to_numeric(marked["a"]), pd.to_numeric(marked["b"])
    day_first, month_first = (first > _MONTHS).sum(), (second > _MONTHS).sum()
    order = "day first" if day_first > month_first else "month first"
    return order, bool(day_first == month_first)


def _in_words(text: str) -> object:
    plain = " ".join(text.replace(",", " ").replace("-", " ").replace(".", " ").split())
    for form in _WORDS:
        try:
            return pd.Timestamp(datetime.strptime(plain, form))
        except ValueError:
            continue
    return pd.NaT
