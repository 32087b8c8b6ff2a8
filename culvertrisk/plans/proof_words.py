"""The proof in plain words and small tables, for the command line."""

import pandas as pd

from culvertrisk.plans.proof import LENGTHS, LISTS, OURS, RANDOM, Proof

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
    winters = proof.hits["winter"].nunique()
    thaws = proof.totals["thawed_count"].astype(int).to_dict()[OURS]
    return [
        proof.verdict,
        "",
        f"Each of {winters} winters was hidden in turn and ranked by the others; "
        f"{thaws} crossings had a thaw logged in them, each counted once a winter.",
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
        *proof.notes,
    ]


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
        return ["No likely crossing is missing from the log."]
    return [
        "Likely blocked in a usual winter, never in the log: drive by and look",
        *(
            f"{row['blocked_chance']:5.2f}  {row['culvert_id']}, {row['road_name']}"
            f" (crews log {row['logged_fraction']:.2f} of blocks on its kind of road)"
            for row in surprises.to_dict("records")
        ),
    ]
