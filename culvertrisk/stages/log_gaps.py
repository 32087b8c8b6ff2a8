"""How much of each winter's log there is: pages that were lost."""

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.stages.winter_weather import sun_day_of

Floats = NDArray[np.float64]
Span = tuple[date, date]

_OTHERS_LEAST = 2  # winters from which the season's usual rate is known
_MOST_DAILY = 0.95  # chance of a row on a day: never certain


def lost_spans(
    log: pd.DataFrame, spans: Mapping[int, Span], coefficients: Mapping[str, float]
) -> list[Span]:
    """Find silences in the log that are too long for their season.

    Parameters
    ----------
    log : DataFrame
        ``day`` and ``winter`` of every row, whatever it found.
    spans : mapping
        First and last day by the year in which the winter begins.
    coefficients : mapping
        By name, of the history defaults: ``gap_chance``, ``gap_window_days``.

    Returns
    -------
    lost : list of (date, date)
        First and last day without a row, both included.

    Notes
    -----
    The chance that a day has a row is that of the other winters about the same date,
    times the winter's own level; days are taken as independent. A silence before the
    first and after the last row of a winter is never taken for a lost page.
    """
    active = _by_day(log, spans).clip(max=1)
    lost = []
    for row, year in enumerate(spans):
        others = np.delete(active, row, axis=0)
        others = others[others.sum(axis=1) > 0]
        if len(others) < _OTHERS_LEAST:
            continue
        usual = _smooth(others.mean(axis=0), coefficients)
        level = active[row].sum() / max(usual.sum(), 1)
        silent = np.log1p(-np.minimum(level * usual, _MOST_DAILY))
        days = [int(day) for day in np.flatnonzero(active[row])]
        for before, after in pairwise(days):
            if silent[before + 1 : after].sum() < np.log(coefficients["gap_chance"]):
                lost.append((_day(year, before + 1), _day(year, after - 1)))
    return lost


def kept_fractions(
    log: pd.DataFrame,
    spans: Mapping[int, Span],
    lost: Sequence[Span],
    coefficients: Mapping[str, float],
) -> Floats:
    """Share of a usual winter's rows that fall on days not lost from the log.

    Parameters
    ----------
    log : DataFrame
        ``day`` and ``winter`` of every row.
    spans : mapping
        First and last day by winter.
    lost : sequence of (date, date)
        Days whose rows are gone, whichever winter they lie in.
    coefficients : mapping
        By name, of the history defaults.

    Returns
    -------
    kept_fraction : ndarray, shape (w,)
        In the order of ``spans``, above 0 to 1; 1 for a winter without a loss. A
        winter that is not yet over counts as whole: so does its ice so far.
    """
    rows = _by_day(log, spans)
    kept = np.ones(len(spans))
    for row, (first, last) in enumerate(spans.values()):
        others = np.delete(rows, row, axis=0)
        if (others.sum(axis=1) > 0).sum() < _OTHERS_LEAST:
            continue
        usual = _smooth(others.mean(axis=0), coefficients)
        covered = np.ones(SEASON_DAYS, dtype=bool)
        for start, end in lost:
            days = pd.date_range(max(start, first), min(end, last))
            covered[sun_day_of(days)] = False
        least = 1 / SEASON_DAYS  # a winter that counts is never wholly uncovered
        kept[row] = np.clip(usual[covered].sum() / usual.sum(), least, 1)
    return kept


def _by_day(log: pd.DataFrame, spans: Mapping[int, Span]) -> Floats:
    """Rows of the log by winter and day of the season, shape (w, 243)."""
    counts = np.zeros((len(spans), SEASON_DAYS))
    for row, year in enumerate(spans):
        days = pd.DatetimeIndex(log.loc[log["winter"] == year, "day"])
        np.add.at(counts[row], sun_day_of(days), 1)
    return counts


def _smooth(rate: Floats, coefficients: Mapping[str, float]) -> Floats:
    width = 2 * int(coefficients["gap_window_days"]) + 1
    kernel = np.ones(min(width, len(rate)))
    inside = np.convolve(np.ones(len(rate)), kernel, mode="same")
    return np.asarray(np.convolve(rate, kernel, mode="same") / inside)


def _day(year: int, place: int) -> date:
    first = pd.Timestamp(year, 10, 1)
    days = pd.date_range(first, pd.Timestamp(year + 1, 5, 31))
    return days[np.flatnonzero(sun_day_of(days) == place)[0]].date()
