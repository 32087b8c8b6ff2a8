"""What a log of thaws records, what may be fitted to it, and what holds the fit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Callers:
    """Who told the crews of the thaws at n places over w winters.

    ``is_called``, shape (n, w), is 1 where somebody called, 0 where the crews came on
    their own rounds, NaN where neither is written. ``near``, shape (n,), is the
    logarithm of 1 and the dwellings near, about its mean.
    """

    is_called: Floats
    near: Floats


@dataclass(frozen=True)
class LogRecord:
    """What is known of n places over w winters, and in which of g groups they lie.

    ``deviate`` is the normal deviate of the model's chance for a grid of trial
    fragilities, shape (5, 5, n, w) or, by what is guessed and by what is recorded,
    (2, 5, 5, n, w): see ``fragility_trials``. ``is_thawed`` tells
    winters with a thaw logged, ``is_exposed`` those that count; ``kept_fraction``,
    shape (w,), is the share of a winter's log that was not lost; ``group``, shape
    (n,), is 0 to g - 1. ``callers`` is None where the log does not say who called.
    """

    deviate: Floats
    is_thawed: NDArray[np.bool_]
    is_exposed: NDArray[np.bool_]
    kept_fraction: Floats
    group: NDArray[np.intp]
    callers: Callers | None = None


@dataclass(frozen=True)
class LogModel:
    """What is fitted; ``level`` is the factor on how many mechanisms are at work.

    ``level_spread`` is that of its logarithm where no log has told it, else 0.
    ``logged_fraction``, shape (g,), is the share of blocks that crews find on their
    own rounds; ``called_odds`` and ``near_odds`` are a and b of the log-odds
    a + b near that somebody calls for one that they do not find.
    """

    median_factor: float
    spread_factor: float
    level: float
    effect_spread: float
    logged_fraction: Floats
    level_spread: float = 0.0
    called_odds: float = -np.inf
    near_odds: float = 0.0


@dataclass(frozen=True)
class LogPrior:
    """What holds the fit where the log says little; spreads are of logarithms.

    ``median_spread`` and ``factor_spread`` are of the two factors on the fragility,
    ``level_spread`` of the level, ``logged_spread`` and ``group_spread`` of the
    log-odds of being logged: of the town and of a group about its town;
    ``called_spread`` and ``near_spread`` of a and b of who calls.
    """

    median_spread: float
    factor_spread: float
    level_spread: float
    effect_spread: float
    effect_spread_spread: float
    logged_fraction: float
    logged_spread: float
    group_spread: float
    called_fraction: float
    called_spread: float
    near_spread: float
