"""Score towns of several seeds against their answer keys: ``python ten_seeds.py``."""

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from generate import make_town, write_town
from scipy.stats import spearmanr

from culvertrisk import pipeline
from culvertrisk.settings import read_settings

TOP = 50
USUAL_RISE_M = 0.45  # in place of an unknown size, for the list by size alone
CELL_M = 10.0
THIS_WINTER, TODAY = "2024", "20250225"


def score_town(seed: int, folder: Path) -> dict[str, float]:
    """Make a town, assess it, and set four lists beside its answer key."""
    write_town(make_town(seed), CELL_M, folder, seed)
    made = pipeline.assess(read_settings(folder / "town" / "town.toml"))
    crossings, key = made.crossings, folder / "answer_key"
    rows = pd.read_csv(key / "inventory_rows.csv").set_index("row")["pipe"]
    pipes = pd.read_csv(key / "pipes.csv").set_index("pipe")
    of_row = rows.reindex(crossings["source_row"].astype(int))
    truth = pipes.reindex(of_row).set_index(crossings.index)
    known = truth[f"chance_{THIS_WINTER}"].notna()
    lists = {
        "ours": crossings["blocked_chance"],
        "physics": crossings["modelled_chance"],
        "size": -crossings["rise_m"].fillna(USUAL_RISE_M),
        "repeat": crossings["logged_thaw_count"].fillna(0),
    }
    is_cross = known & (crossings["crossing_kind"] == "cross")
    found: dict[str, float] = {"seed": seed}
    for name, score in lists.items():
        chance = truth.loc[known, f"chance_{THIS_WINTER}"]
        found[f"rank {name}"] = spearmanr(score[known], chance).statistic
        found |= _in_the_top(score[known], truth, name)
        found |= _in_the_top(score[is_cross], truth, f"{name}, cross pipes")
    return found | {
        "blocked expected": crossings.loc[known, "blocked_chance"].sum(),
        "blocked today": truth.loc[known, f"blocked_{TODAY}"].sum(),
        "blocked today, cross pipes": truth.loc[is_cross, f"blocked_{TODAY}"].sum(),
        "blocked in the winter": truth.loc[known, f"blocked_{THIS_WINTER}"].sum(),
    }


def _in_the_top(score: pd.Series, truth: pd.DataFrame, name: str) -> dict[str, float]:
    """Share truly blocked of the first 50 of a list: today, and in the winter.

    The key draws this morning's blocks among the cross pipes, all but one: a list that
    has driveways in it cannot score well today, whatever it knows. So each list is told
    over all crossings and over the cross pipes alone.
    """
    top = score.sort_values(ascending=False, kind="stable").index[:TOP]
    return {
        f"today {name}": truth.loc[top, f"blocked_{TODAY}"].mean(),
        f"winter {name}": truth.loc[top, f"blocked_{THIS_WINTER}"].mean(),
    }


def run() -> None:
    """Print a row for each seed, then mean and range."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seeds", type=int, default=10, help="default 10")
    count = options.parse_args().seeds
    rows = []
    for seed in range(1, count + 1):
        with tempfile.TemporaryDirectory() as folder:
            rows.append(score_town(seed, Path(folder)))
        print({name: float(np.round(x, 3)) for name, x in rows[-1].items()}, flush=True)
    table = pd.DataFrame(rows).set_index("seed")
    print(table.agg(["mean", "min", "max"]).T.round(3).to_string())


if __name__ == "__main__":
    run()
