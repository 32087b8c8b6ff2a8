"""Every refusal and its wording: where, the rule, what was found, what to do."""

from collections.abc import Iterable, Mapping
from typing import Any

SHOWN_ROWS = 5


class InputError(Exception):
    """What the user gave cannot be used; ``problems`` holds one message each."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def rows_problem(
    file: str, column: str, rule: str, rows: Mapping[Any, Any], total: int, remedy: str
) -> str:
    """Say which rows of a column break a rule, showing at most five.

    Examples
    --------
    >>> rows_problem("c.csv", "rise_m", "be from 0.1 to 15 m", {"A17": 0}, 412,
    ...              "Correct the file.")
    "c.csv: column 'rise_m' must be from 0.1 to 15 m; 1 of 412 rows is not:
    A17 (0). Correct the file."
    """
    shown = ", ".join(f"{key} ({value})" for key, value in [*rows.items()][:SHOWN_ROWS])
    more = ", ..." if len(rows) > SHOWN_ROWS else ""
    verb = "row is" if len(rows) == 1 and total == 1 else "rows are"
    verb = "rows is" if len(rows) == 1 and total > 1 else verb
    return (
        f"{file}: column '{column}' must {rule}; {len(rows)} of {total} {verb} not: "
        f"{shown}{more}. {remedy}"
    )


def value_problem(file: str, key: str, rule: str, found: object, remedy: str) -> str:
    """Say that one value breaks a rule.

    Examples
    --------
    >>> value_problem("town.toml", "crews[0].hose_m", "be above 0 m", -3, "Correct it.")
    'town.toml: crews[0].hose_m must be above 0 m, got -3. Correct it.'
    """
    return f"{file}: {key} must {rule}, got {found!r}. {remedy}"


def word_problem(
    file: str, key: str, words: Iterable[str], found: object, remedy: str
) -> str:
    """Say that a word is not one of those allowed.

    Examples
    --------
    >>> word_problem("t.toml", "method", ["steam", "none"], "fire", "Correct it.")
    "t.toml: method must be one of 'steam', 'none', got 'fire'. Correct it."
    """
    listed = ", ".join(repr(word) for word in words)
    return f"{file}: {key} must be one of {listed}, got {found!r}. {remedy}"


def file_problem(file: str, rule: str, found: str, remedy: str) -> str:
    """Say what is wrong with a whole file.

    Examples
    --------
    >>> file_problem("dem.tif", "be a raster", "a text file", "Export it again.")
    'dem.tif: file must be a raster, got a text file. Export it again.'
    """
    return f"{file}: file must {rule}, got {found}. {remedy}"


def refuse(problems: Iterable[str]) -> None:
    """Raise :class:`InputError` if there is any problem."""
    listed = tuple(problems)
    if listed:
        raise InputError(listed)
