"""Check files of known answers, turned into parameters that name their page."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

CHECKS = Path(__file__).parent.parent / "shared" / "checks"
_NOT_INPUTS = ["expected", "kind", "source", "where", "tolerance"]


def _half_last_digit(text: str) -> float:
    mantissa, _, exponent = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** (int(exponent or 0) - decimals)


def _value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


def published(formula: str) -> list[Any]:
    """Return (inputs, expected, atol) of each row of a formula's check file.

    The tolerance is half a unit of the last digit printed in ``expected``, or
    the row's own ``tolerance``, whose reason stands in ``where``.
    """
    rows = pd.read_csv(CHECKS / f"{formula}.csv", dtype=str, keep_default_na=False)
    parameters = []
    for row in rows.to_dict("records"):
        atol = float(row.get("tolerance") or _half_last_digit(row["expected"]))
        inputs = {
            key: _value(text)
            for key, text in row.items()
            if key not in _NOT_INPUTS and text != ""
        }
        name = f"{row['kind']}: {row['source']}, {row['where']}"
        parameters.append(
            pytest.param(inputs, float(row["expected"]), atol * (1 + 1e-9), id=name)
        )
    return parameters
