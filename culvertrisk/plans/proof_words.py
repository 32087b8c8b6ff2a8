"""The proof in plain words and small tables, for the command line."""

from collections.abc import Hashable
from typing import Any

import pandas as pd

from culvertrisk.plans.proof import LENGTHS, LISTS, OURS, RANDOM, Proof
from culvertrisk.stages.history_notes import counted

_WIDTH = 18


def proof_lines(proof: Proof) -> list[str]:
    """Tell what the proof found.

    Parameters
    ----------
    proof : Proof
        Of one town.

    Returns
    -------
    lines : list of str
        Lines of text, tables in columns of equal width; the verdict first.
    """
    return [
        proof.verdict,
        "",
        *proof.calibration_notes,
        _counts(proof),
        "The log holds what crews were sent to, so the list set against it is the "
        "chance of a logged thaw; the chance of a block stands beside it.",
        "",
        *_totals(proof),
        "",
        *_by_winter(proof.hits),
        "",
        *_calibration(proof),
        "",
        *_misses(proof.misses),
        "",
        *_surprises(proof.surprises),
        "",
        *_blind_spots(proof.blind_spots),
        "",
        *proof.notes,
    ]


def _counts(proof: Proof) -> str:
    thaws = proof.totals["thawed_count"].astype(int).to_dict()[OURS]
    winters = proof.hits["winter"].nunique()
    return (
        f"Each of {counted(winters, 'winter')} was hidden in turn and ranked by the "
        f"others. The log has {counted(thaws, 'thaw')} of "
        f"{counted(proof.thawed_crossing_count, 'crossing')} in them, each crossing "
        "counted once a winter."
    )


def _row(first: str, *cells: object) -> str:
    return f"{first:<{_WIDTH}}" + "".join(f"{cell!s:>16}" for cell in cells)


def _totals(proof: Proof) -> list[str]:
    rows, share = proof.totals.to_dict("index"), proof.interval_fraction
    lines = [_row("Logged thaws in", *(f"the top {k}" for k in LENGTHS))]
    for name in LISTS:
        lines.append(_row(name, *(f"{rows[name][f'top_{k}']:.0f}" for k in LENGTHS)))
    random = rows[RANDOM]
    cells = [
        f"{random[f'top_{k}']:.0f} ({random[f'low_{k}']:.0f}-{random[f'high_{k}']:.0f})"
        for k in LENGTHS
    ]
    lines.append(_row(RANDOM, *cells))
    lines.append(f"Chance: {share:.0%} of lists drawn at random lie in the brackets.")
    return lines


def _by_winter(hits: pd.DataFrame) -> list[str]:
    middle = LENGTHS[1]
    wide = hits.pivot(index="winter", columns="list", values=f"top_{middle}")
    lines = [_row(f"Top {middle}", *LISTS)]
    for winter, row in wide.to_dict("index").items():
        years = f"{winter}-{int(str(winter)) + 1}"
        lines.append(_row(years, *(f"{row[name]:.0f}" for name in LISTS)))
    return lines


def _calibration(proof: Proof) -> list[str]:
    word = "better" if proof.brier < proof.brier_usual else "no better"
    return [
        _row("Logged thaws", "crossing-winters", "predicted", "logged"),
        *(
            _row(str(name), int(row["crossing_winter_count"]),
                 f"{row['predicted']:.0f}", int(row["logged"]))
            for name, row in proof.calibration.to_dict("index").items()
        ),
        f"Brier score {proof.brier:.4f}, {word} than {proof.brier_usual:.4f} of the "
        "town's usual share for every crossing (less is better).",
    ]  # fmt: skip


def _misses(misses: pd.DataFrame) -> list[str]:
    return [
        f"The {len(misses)} worst misses: thawed, but ranked",
        *(
            f"{row['rank']:5.0f}  {row['culvert_id']} in {row['winter']}-"
            f"{row['winter'] + 1}: {row['why']}"
            for row in misses.to_dict("records")
        ),
    ]


def _surprises(surprises: pd.DataFrame) -> list[str]:
    if surprises.empty:
        return ["No surprise: wherever the log should show a likely crossing, it does."]
    return [
        "Surprises: likely blocked in a usual winter, where thaws are logged, yet "
        "never in the log. Drive by and look:",
        "the pipe is better than its record, or somebody else opens it.",
        *(_surprise(row) for row in surprises.to_dict("records")),
    ]


def _surprise(row: dict[Hashable, Any]) -> str:
    told = _thaws(row["expected_log_count"], row["winter_count"])
    return (
        f"{row['blocked_chance']:5.2f}  {row['culvert_id']}, {row['road_name']}: the "
        f"log should hold {told}; that it would hold none had a chance of "
        f"{row['empty_log_chance']:.2f}"
    )


def _blind_spots(blind: pd.DataFrame) -> list[str]:
    if blind.empty:
        return ["No blind spot: crews log thaws wherever a crossing is likely blocked."]
    return [
        "Blind spots: likely blocked in a usual winter, but nobody has looked: crews "
        "seldom log there, or the pipe is new.",
        "That they are not in the log says little. Drive these roads once in the cold:",
        *(
            _blind_road(road, rows)
            for road, rows in blind.groupby("road_name", sort=False)
        ),
    ]


def _blind_road(road: Hashable, rows: pd.DataFrame) -> str:
    listed = ", ".join(
        f"{name} {chance:.2f}"
        for name, chance in zip(rows["culvert_id"], rows["blocked_chance"], strict=True)
    )
    seen = _thaws(rows["expected_log_count"].sum(), rows["winter_count"].max())
    share = rows["logged_fraction"].mean()
    return (
        f"       {road}: {listed} (crews log {share:.2f} of blocks there; for all of "
        f"these together the log should hold {seen})"
    )


def _thaws(expected: float, winters: int) -> str:
    return f"{expected:.1f} thaws in {counted(winters, 'winter')}"
