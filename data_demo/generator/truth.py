"""The truth of the invented town: which pipes block in which winter, and why.

It is a plain logistic model, calibrated by simulation, and shares nothing with
the program's own model.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from layout import Array
from weather import SEASON_INDEX_CDAY, THAWS

WINTERS = tuple(SEASON_INDEX_CDAY)
LOG_ROWS = dict(zip(WINTERS, (70, 68, 79, 47, 83, 64, 52, 87), strict=True))
INTERCEPT = -3.2  # before it is tuned again
HIDDEN_SPREAD = 0.75
LOGGED, LOGGED_MANY, MANY_EVENTS = 0.50, 0.62, 3
CREW_BIAS = {"A": 1.3, "B": 1.3, "C": 1.0, "D": 0.6}
ROAD_BIAS = {"Ridgeback Trail": 0.1, "Beaver Cut Rd": 0.3}  # hardly any winter homes
DRIVEWAY_BIAS = 0.12  # a blocked driveway pipe is mostly its owner's to open
AGAIN, THIRD, SEEP_AGAIN, SEEP_THIRD = 0.22, 0.08, 0.50, 0.30
REPLACED = {"K7": 2020, "C9": 2021, "L12": 2022, "E14": 2023}  # first winter of the new
BLOCKED_BAND = (0.08, 0.15)
BLOCKED_TODAY = 52
TODAY_BLOCKED = ("H1", "T1", "T2", "T3", "O5", "U2", "N4", "N9", "HHd6", "V7-1", "SB9")
TODAY_BLOCKED += ("F2", "B11", "O7")  # and the county pipe below T1
TODAY_OPEN = ("P3.4",)
WASHOUT_WINTER, WASHED_OUT = 2021, ("N4", "U2")
BAD_LIFT = 2.0  # what they were before, which is why they were replaced
REPLACED_LIFT = -2.2  # a new, larger, well-laid pipe


@dataclass(frozen=True)
class Truth:
    """Chances and outcomes, one row a pipe, one column a winter."""

    chance: pd.DataFrame
    blocked: pd.DataFrame
    hidden: Array
    intercept: float


def _pipe_part(pipes: pd.DataFrame) -> Array:
    """Return the part of the logit that belongs to the pipe."""
    return (
        1.89 * (pipes["shade"] - 0.45)
        + 1.6 * pipes["seep"]
        + 0.55 * (pipes["drop_m"] > 0)
        + 1.0 * pipes["sag"]
        + 0.8 * (pipes["slope_pct"] < 0.5)
        + 2.2 * (pipes["silt"] - 0.15)
        + 0.45 * pipes["plug"]
        + 0.35 * (pipes["cover_m"] < 0.45)
        + 0.25 * pipes["windy"]
        - 1.15 * np.log2(pipes["size_in"] / 18)
    ).to_numpy()


def _winter_part(winter: int) -> float:
    frost = 0.45 * (SEASON_INDEX_CDAY[winter] - 1300) / 300
    return frost + 0.18 * (len(THAWS[winter]) - 3)


def _log_chance(pipes: pd.DataFrame, winter: int) -> Array:
    many = len(THAWS[winter]) >= MANY_EVENTS
    bias = pipes["road_class"].map(CREW_BIAS).to_numpy()
    bias = bias * pipes["road"].map(ROAD_BIAS).fillna(1.0).to_numpy()
    bias = bias * np.where(pipes["kind"] == "driveway", DRIVEWAY_BIAS, 1.0)
    return np.minimum((LOGGED_MANY if many else LOGGED) * bias, 1.0)


def _visits(pipes: pd.DataFrame) -> Array:
    """Return the visits expected of one logged blockage."""
    return (1 + AGAIN + THIRD + (SEEP_AGAIN + SEEP_THIRD) * pipes["seep"]).to_numpy()


def _chances(pipes: pd.DataFrame, intercept: float, hidden: Array) -> pd.DataFrame:
    part = _pipe_part(pipes) + hidden
    table = pd.DataFrame(index=pipes.index)
    for winter in WINTERS:
        new = pipes["pipe"].map(REPLACED).le(winter).to_numpy()
        old = pipes["pipe"].map(REPLACED).gt(winter).to_numpy()
        logit = intercept + part + _winter_part(winter)
        logit += REPLACED_LIFT * new + BAD_LIFT * old
        table[winter] = 1 / (1 + np.exp(-logit))
    return table


def _tuned(pipes: pd.DataFrame, hidden: Array) -> float:
    """Find the intercept at which the expected log has as many rows as it must."""
    low, high = -7.0, 0.0
    for _ in range(50):
        middle = (low + high) / 2
        chance = _chances(pipes, middle, hidden)
        rows = sum(
            float((chance[w] * _log_chance(pipes, w) * _visits(pipes)).sum())
            for w in WINTERS
        )
        low, high = (middle, high) if rows < sum(LOG_ROWS.values()) else (low, middle)
    return round((low + high) / 2, 3)


def story_pipes(pipes: pd.DataFrame) -> tuple[str, ...]:
    """Return the pipes that the morning's story needs blocked."""
    mouth = pipes.loc[pipes["pipe"] == "T1", "downstream"].iloc[0]
    return (*TODAY_BLOCKED, str(mouth))


def _winter_draw(
    chance: Array, told: Array, cross: Array, rng: np.random.Generator
) -> Array:
    """Draw a winter's blockages; again until 8 to 15 % of the cross pipes block.

    ``told`` is 1 where the story needs a pipe blocked, 0 where open, else NaN.
    """
    for _ in range(2000):
        drawn = rng.random(len(chance)) < chance
        blocked = np.where(np.isnan(told), drawn, told > 0)
        if BLOCKED_BAND[0] <= blocked[cross].mean() <= BLOCKED_BAND[1]:
            return blocked
    raise RuntimeError("no draw in which 8 to 15 % of the pipes block")


def _told(pipes: pd.DataFrame, winter: int) -> Array:
    """Return what the story says of each pipe in a winter; NaN is nothing."""
    told = np.full(len(pipes), np.nan)
    if winter == WASHOUT_WINTER:
        told[pipes["pipe"].isin(WASHED_OUT)] = 1
    if winter == WINTERS[-1]:
        told[pipes["pipe"].isin(story_pipes(pipes))] = 1
        told[pipes["pipe"].isin(TODAY_OPEN)] = 0
    return told


def make_truth(pipes: pd.DataFrame, seed: int) -> Truth:
    """Tune the intercept, then draw which pipes blocked in each winter."""
    rng = np.random.default_rng([seed, 7])
    hidden = rng.normal(0, HIDDEN_SPREAD, len(pipes)).round(3)
    intercept = _tuned(pipes, hidden)
    chance = _chances(pipes, intercept, hidden)
    cross = (pipes["kind"] == "cross").to_numpy()
    blocked = pd.DataFrame(index=pipes.index)
    for winter in WINTERS:
        told = _told(pipes, winter)
        blocked[winter] = _winter_draw(chance[winter].to_numpy(), told, cross, rng)
    return Truth(chance, blocked, hidden, intercept)


def draw_visits(
    pipes: pd.DataFrame, truth: Truth, winter: int, rng: np.random.Generator
) -> Array:
    """Draw the number of logged visits to each pipe in a winter.

    Draws are repeated until the rows are within a tenth of the count wanted.
    """
    blocked = truth.blocked[winter].to_numpy()
    seep = pipes["seep"].to_numpy() > 0
    wanted = LOG_ROWS[winter]
    for _ in range(2000):
        visits = (blocked & (rng.random(len(pipes)) < _log_chance(pipes, winter))) * 1
        first = visits > 0
        for share, who in (
            (AGAIN, first),
            (THIRD, first),
            (SEEP_AGAIN, first & seep),
            (SEEP_THIRD, first & seep),
        ):
            visits = visits + (who & (rng.random(len(pipes)) < share))
        if abs(visits.sum() - wanted) <= 0.06 * wanted:
            return visits
    raise RuntimeError(f"no draw of winter {winter} has about {wanted} rows")


def blocked_today(pipes: pd.DataFrame, truth: Truth, seed: int) -> Array:
    """Return which pipes are truly blocked on the morning of 25 February 2025.

    Of those that block in this winter, the likelier ones are drawn first; some
    were opened or opened themselves before.
    """
    rng = np.random.default_rng([seed, 8])
    named = pipes["pipe"].isin(story_pipes(pipes)).to_numpy()
    open_pipe = pipes["pipe"].isin(TODAY_OPEN).to_numpy()
    could = truth.blocked[WINTERS[-1]].to_numpy() & ~open_pipe
    could &= (pipes["kind"] == "cross").to_numpy()
    luck = rng.random(len(pipes)) ** (1 / truth.chance[WINTERS[-1]].to_numpy())
    order = np.argsort(-np.where(could & ~named, luck, -1), kind="stable")
    result = named.copy()
    result[order[: BLOCKED_TODAY - int(named.sum())]] = True
    return result
