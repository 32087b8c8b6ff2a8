"""The crews' log: what they wrote down of the blockages they went to."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
from layout import MILE_M, Array
from road_plan import Plan
from truth import REPLACED, WINTERS, Truth, draw_visits
from weather import LAST_OBSERVED, THAWS

BLANK_SHARE, LATE_ID_SHARE, LATE_WINTER = 0.41, 0.78, 2022
RESULTS = ("open", "just dug out", "partial", "not frozen", "gave up", "other")
RESULT_SHARES = (0.71, 0.12, 0.08, 0.05, 0.03, 0.01)
MINUTES_MEDIAN, MINUTES_P90, MINUTES_MOST = 70, 165, 330
GALLONS_MEDIAN, GALLONS_P90 = 95, 260
NINETIETH = 1.2816  # standard normal deviate of the 90th percentile
LOST = (date(2020, 3, 14), date(2020, 3, 22))  # the wet notebook
CONTRACTOR_H, CONTRACTOR_ROWS = 61, 36
WASHOUTS = {"N4": ("2022-03-20", 41_300), "U2": ("2022-03-21", 63_800)}
LANDMARKS = ("bad one in the shade", "below the spruce", "at the dip", "by the bend")
LANDMARKS += ("past the hill", "by the mailbox row", "at the field gate")
NOTES = ("", "", "", "", "glaze on road", "ditch full", "ice from the bottom up")
NOTES += ("could not find end 20 min", "refroze overnight", "outlet end first", "slush")
COLUMNS = ["date", "time", "place", "culvert", "crew", "method", "minutes"]
COLUMNS += ["gallons", "result", "note"]


def _spring(winter: int) -> tuple[date, int]:
    """Return the first day and the length of the spring campaign."""
    if winter == WINTERS[-1]:
        return date(2025, 1, 31), 24
    return date(winter + 1, 3, 6 - 3 * (winter == 2023)), 30


def _day(winter: int, seep: bool, rng: np.random.Generator) -> date:
    """Draw the day of a visit: after a thaw, in the spring, or on a cold day."""
    while True:
        luck = rng.random()
        if luck < 0.36:
            thaw = date.fromisoformat(str(rng.choice(THAWS[winter])))
            day = thaw + timedelta(days=int(rng.integers(0, 5)))
        elif luck < (0.70 if seep else 0.92):
            first, length = _spring(winter)
            day = first + timedelta(days=int(length * rng.beta(1.8, 2.2)))
        else:
            day = date(winter, 12, 8) + timedelta(days=int(rng.integers(0, 80)))
        if day <= LAST_OBSERVED and not LOST[0] <= day <= LOST[1]:
            return day


def _heavy(median: float, p90: float, count: int, rng: np.random.Generator) -> Array:
    spread = np.log(p90 / median) / NINETIETH
    return np.exp(np.log(median) + spread * rng.normal(size=count))


def _place(pipe: pd.Series, plan: Plan, rng: np.random.Generator) -> str:
    """Say where a pipe is, as a crew would."""
    name = plan.name
    if rng.random() < 0.35:
        name = name.replace(" Rd", rng.choice([" road", " RD", ""]))
    mile = pipe["along_m"] / MILE_M
    if pipe["landmark"] and rng.random() < 0.8:
        return f"{name}, {pipe['landmark']}"
    luck = rng.random()
    if luck < 0.55:
        return f"{name} mile {mile:.1f}"
    if luck < 0.8:
        return f"{name} {mile:.1f} mi, {rng.choice(LANDMARKS)}"
    return f"{name} {rng.choice(LANDMARKS)}"


def _rows(
    pipes: pd.DataFrame, visits: Array, winter: int, rng: np.random.Generator
) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for position in np.flatnonzero(visits):
        pipe = pipes.iloc[position]
        days: set[date] = set()
        while len(days) < visits[position]:
            days.add(_day(winter, pipe["seep"] > 0, rng))
        for day in sorted(days):
            minute = int(rng.normal(11 * 60, 150))
            minute = min(max(minute, 330), 1_130) // 5 * 5
            rows.append(
                {
                    "pipe": pipe["pipe"],
                    "winter": winter,
                    "date": day.isoformat(),
                    "time": f"{minute // 60:02d}:{minute % 60:02d}",
                }
            )
    return rows


def _work(log: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Add crew, method, minutes, gallons, result and note."""
    count = len(log)
    crews = rng.choice(["T1", "T2"], count, p=[0.6, 0.4])
    log["crew"] = np.where(log["winter"] == 2020, "T1", crews)
    last = log.index[log["winter"] == WINTERS[-1]].to_numpy()
    log.loc[rng.choice(last, CONTRACTOR_ROWS, replace=False), "crew"] = "contractor"
    log["method"] = np.where(log["crew"] == "T1", "hot water", "steam")
    log["result"] = rng.choice(RESULTS, count, p=RESULT_SHARES)
    dug = log["result"].eq("just dug out")
    log.loc[dug, "method"] = "dug"
    log.loc[dug & log["crew"].ne("contractor"), "crew"] = "T3"
    minutes = _heavy(MINUTES_MEDIAN, MINUTES_P90, count, rng).clip(10, MINUTES_MOST)
    hired = log["crew"].eq("contractor").to_numpy()
    minutes[hired] *= CONTRACTOR_H * 60 / minutes[hired].sum()
    minutes = minutes.clip(10, MINUTES_MOST)
    log["minutes"] = pd.array((minutes / 5).round() * 5, dtype="Int64")
    gallons = _heavy(GALLONS_MEDIAN, GALLONS_P90, count, rng).clip(10, 900)
    log["gallons"] = pd.array((gallons / 5).round() * 5, dtype="Int64")
    log["note"] = rng.choice(NOTES, count)
    log.loc[log["result"] == "other", "note"] = "beaver, no ice"
    log.loc[log["winter"] == WINTERS[0], ["minutes", "gallons"]] = pd.NA
    idle = log["method"].eq("dug") | log["result"].eq("not frozen")
    log.loc[idle | (rng.random(count) < 0.12), "gallons"] = pd.NA
    return log


def _blank_ids(log: pd.DataFrame, rng: np.random.Generator) -> pd.Series:
    """Leave out the culvert in 22 % of late rows and in 41 % of all rows."""
    late = log["winter"] >= LATE_WINTER
    late_blank = round((1 - LATE_ID_SHARE) * late.sum())
    early_blank = round(BLANK_SHARE * len(log)) - late_blank
    ids = log["pipe"].astype(object).copy()
    told = log["note"].str.contains("washed out")
    for who, blanks in ((late & ~told, late_blank), (~late & ~told, early_blank)):
        ids[rng.choice(log.index[who].to_numpy(), blanks, replace=False)] = ""
    return ids


def _washouts() -> pd.DataFrame:
    rows = [
        {
            "pipe": pipe,
            "winter": 2021,
            "date": day,
            "time": "13:20",
            "crew": "T3",
            "method": "dug",
            "minutes": 330,
            "result": "gave up",
            "note": f"washed out, road closed, repair ${cost:,}",
        }
        for pipe, (day, cost) in WASHOUTS.items()
    ]
    return pd.DataFrame(rows).astype({"minutes": "Int64"})


def _key(log: pd.DataFrame) -> pd.DataFrame:
    """Return the true pipe of each row."""
    return pd.DataFrame(
        {
            "row": np.arange(1, len(log) + 1),
            "winter": log["winter"],
            "pipe": log["pipe"],
            "before_replacement": [
                int(winter < REPLACED.get(str(pipe), 0))
                for pipe, winter in zip(log["pipe"], log["winter"], strict=True)
            ],
        }
    )


def make_log(
    pipes: pd.DataFrame,
    truth: Truth,
    plans: dict[str, Plan],
    written_ids: dict[str, str],
    seed: int,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the log as written, and the true pipe of each of its rows."""
    rng = np.random.default_rng([seed, 9])
    rows: list[dict[str, object]] = []
    for winter in WINTERS:
        rows += _rows(pipes, draw_visits(pipes, truth, winter, rng), winter, rng)
    log = pd.concat([_work(pd.DataFrame(rows), rng), _washouts()], ignore_index=True)
    log = log.sort_values(["date", "time", "pipe"]).reset_index(drop=True)
    by_pipe = pipes.set_index("pipe")
    log["place"] = [
        _place(by_pipe.loc[p], plans[str(by_pipe.at[p, "road"])], rng)
        for p in log["pipe"]
    ]
    log["culvert"] = _blank_ids(log, rng).map({**written_ids, "": ""})
    return log[COLUMNS], _key(log)
