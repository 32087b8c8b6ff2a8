"""Check files of known answers, turned into parameters that name their page."""

from pathlib import Path
from typing import Any

import pytest

from culvertrisk.reports.published_values import (
    check_inputs,
    check_rows,
    check_tolerance,
)

CHECKS = Path(__file__).parent.parent / "shared" / "checks"


def published(formula: str) -> list[Any]:
    """Return (inputs, expected, atol) of each row of a formula's check file.

    The tolerance is half a unit of the last digit printed in ``expected``, or
    the row's own ``tolerance``, whose reason stands in ``where``.
    """
    return [
        pytest.param(
            check_inputs(row),
            float(row["expected"]),
            check_tolerance(row) * (1 + 1e-9),
            id=f"{row['kind']}: {row['source']}, {row['where']}",
        )
        for row in check_rows(CHECKS / f"{formula}.csv")
    ]
