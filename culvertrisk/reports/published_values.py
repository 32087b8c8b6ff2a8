"""Known answers of the formulas, set beside what the formulas say, as one table."""

import inspect
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any, get_type_hints

import numpy as np
import pandas as pd

from culvertrisk import formulas
from culvertrisk.stages.rating import weir_curves
from culvertrisk.tables import sources, table

NOT_INPUTS = ("expected", "kind", "source", "where", "tolerance")
_ROUNDING = 1e-9  # of the tolerance: an answer at its very edge counts as met


def published_values(folder: Path) -> pd.DataFrame:
    """Work out every known answer of a folder of check files.

    Parameters
    ----------
    folder : Path
        One CSV a formula, named after it: its arguments, ``expected``, ``kind``,
        ``source``, ``where`` and perhaps ``tolerance``.

    Returns
    -------
    values : DataFrame
        One row a known answer: formula, inputs, expected, ours, difference,
        tolerance, kind, source (in full), where, is_met; in the order of the files.

    Raises
    ------
    KeyError
        If a file is named after no formula, or a source is not known.

    Notes
    -----
    The tolerance is half a unit of the last digit printed in ``expected``, or the
    row's own, whose reason stands in ``where``.
    """
    rows = [
        {"formula": path.stem, **_answered(path.stem, row)}
        for path in sorted(folder.glob("*.csv"))
        for row in check_rows(path)
    ]
    values = pd.DataFrame(rows)
    values["difference"] = values["ours"] - values["expected"]
    edge = values["tolerance"] * (1 + _ROUNDING)
    values["is_met"] = values["difference"].abs() <= edge
    values["source"] = [sources()[key] for key in values["source"]]
    order = ["formula", "inputs", "expected", "ours", "difference", "tolerance"]
    return values[[*order, "kind", "source", "where", "is_met"]]


def check_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of a check file as written, by column."""
    rows = pd.read_csv(path, dtype=str, keep_default_na=False)
    return [
        {str(key): text for key, text in row.items()} for row in rows.to_dict("records")
    ]


def check_inputs(row: dict[str, str]) -> dict[str, Any]:
    """Return the inputs of a row: a number, a word, a series or a table of numbers.

    Parameters
    ----------
    row : dict of str to str
        Of ``check_rows``. Blanks part the numbers of a series, semicolons the rows
        of a table.

    Returns
    -------
    inputs : dict
        Blank cells are left out.
    """
    given = {key: text for key, text in row.items() if key not in NOT_INPUTS}
    return {key: _value(text) for key, text in given.items() if text != ""}


def check_tolerance(row: dict[str, str]) -> float:
    """Return how far an answer may be off: the row's word, or its last digit's half."""
    mantissa, _, exponent = row["expected"].lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    half_digit = 0.5 * 10.0 ** (int(exponent or 0) - decimals)
    return float(row.get("tolerance") or half_digit)


def _value(text: str) -> Any:
    try:
        if ";" in text:
            return np.array([part.split() for part in text.split(";") if part], float)
        parts = [float(part) for part in text.split()]
    except ValueError:
        return text
    return parts[0] if len(parts) == 1 else np.array(parts)


def _answered(name: str, row: dict[str, str]) -> dict[str, Any]:
    inputs = check_inputs(row)
    return {
        "inputs": ", ".join(f"{key} {row[key]}" for key in inputs),
        "expected": float(row["expected"]),
        "ours": _ours(_formulas()[name], inputs),
        "tolerance": check_tolerance(row),
        **{key: row[key] for key in ("kind", "source", "where")},
    }


def _ours(formula: Callable[..., Any], inputs: dict[str, Any]) -> float:
    """Answer of a formula: of the row's group if it names one, else the last."""
    kinds = get_type_hints(formula)
    arguments = {}
    for name in inspect.signature(formula).parameters:
        fields = getattr(kinds[name], "_fields", ())
        if name in inputs:
            arguments[name] = inputs[name]
        elif name == "curves":
            arguments[name] = weir_curves()
        elif name == "peak_coefficients":
            arguments[name] = _peak_coefficients(inputs["rain_type"])
        elif fields:
            given = {field: inputs[field] for field in fields if field in inputs}
            arguments[name] = kinds[name](**given)
    answer = np.ravel(formula(**arguments))
    return float(answer[int(inputs.get("group", -1))])


def _peak_coefficients(rain_type: str) -> Any:
    rows = table("tr55_peak").query("rain_type == @rain_type")
    return rows[["loss_ratio", "c0", "c1", "c2"]].to_numpy(float)


@cache
def _formulas() -> dict[str, Callable[..., Any]]:
    """Every public function of the formulas' modules, by name."""
    found: dict[str, Callable[..., Any]] = {}
    for module in iter_modules(formulas.__path__, f"{formulas.__name__}."):
        functions = inspect.getmembers(import_module(module.name), inspect.isfunction)
        found |= {n: f for n, f in functions if f.__module__ == module.name}
    return found
