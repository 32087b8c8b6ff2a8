"""How far a crossing's rank hangs on what is not known of it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.fragility_trials import levelled_chance
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze import modelled_chance
from culvertrisk.stages.freeze_inputs import DAILY_UNKNOWNS, Sunlight
from culvertrisk.stages.log_matching import history_defaults
from culvertrisk.stages.openings import opening_inputs
from culvertrisk.stages.unknowns import LEVELS
from culvertrisk.stages.winter import FreezeInputs, freeze_coefficients

Floats = NDArray[np.float64]

SOLID, FRAGILE = "solid", "fragile"
_SEED = 20  # any number: the same inputs give the same bands
_BLOCK = 32768  # draws filled in at once: bounds memory, lets the processors share


@dataclass(frozen=True)
class _Draws:
    """Draws of crossings: the crossing's place, and which value stands in, by name.

    -1 is none: what is known stays.
    """

    owner: NDArray[np.intp]
    chosen: Mapping[str, NDArray[np.intp]]


def add_rank_band(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    on: date,
) -> GeoDataFrame:
    """Add how far each crossing's rank moves when the unknowns are drawn.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of freeze, history and priority.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun at both ends by season.
    settings : Settings
        Start of the winter and fragility: see ``with_log``.
    on : date
        The day asked.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``rank_band``; NaN and "" without a chance.

    Notes
    -----
    In each draw every unknown of every crossing takes one of the values that stand
    in for it, and a chance from 0 to 1 (such as a seep's, a guessed one as the level of
    the town has it) becomes yes or no; all crossings are ranked anew by the loss
    avoided. The loss moves with the chance of a block; flow and consequence stay. Sun
    that is unknown stays averaged. The band is the 10th to 90th percentile of the
    ranks, widened to ``priority_rank``.
    "Solid" is a band no wider than half the rank or ten places, whichever is more.
    """
    c = history_defaults(settings.history.defaults)
    span = settings.winter_of(on), on
    coefficients = freeze_coefficients(settings.freeze.defaults)
    inputs = opening_inputs(crossings, sun, span, coefficients)
    believed = _as_believed(inputs, coefficients)
    row, draws = _distinct_draws(believed, int(c["band_draw_count"]))
    parts = [
        modelled_chance(
            filled, weather, on, first_day=span[0], coefficients=coefficients
        )
        for filled in _in_blocks(believed, draws)
    ]
    modelled = np.concatenate(parts)[row]
    factor = crossings["history_factor"].to_numpy(float)[:, None]
    chance = corrected_chance(modelled, factor)
    rank = _ranks(_loss(crossings, chance), chance)
    rank[np.isnan(crossings["blocked_chance"].to_numpy(float))] = np.nan
    return crossings.assign(
        **_bands(rank, crossings["priority_rank"].to_numpy(float), c)
    )


def _as_believed(
    inputs: FreezeInputs, coefficients: Mapping[str, Floats]
) -> FreezeInputs:
    """Put the town's level on guessed chances: what is drawn counts as recorded."""
    c = coefficients
    level = c["at_work_level"], c["level_spread"]
    believed: dict[str, Any] = {}
    for name in ("seep_chance", "plug_chance", "tail_chance"):
        told = getattr(inputs, name)
        guessed = levelled_chance(told, *level)
        believed[name] = np.where(told >= c["word_chance"], told, guessed)
    return replace(inputs, **believed)


def _distinct_draws(
    inputs: FreezeInputs, count: int
) -> tuple[NDArray[np.intp], _Draws]:
    """Draw the unknowns; equal draws of one crossing are run once.

    Returns the row of each crossing and draw, shape (n, count), and the rows.
    """
    rng = np.random.default_rng(_SEED)
    size = len(inputs.rise_m)
    picked: dict[str, NDArray[np.intp]] = {}
    for name, value in _numbers(inputs).items():
        if name in inputs.points:
            is_open = np.isnan(value)
            drawn = rng.integers(inputs.points[name].shape[1], size=(size, count))
        elif name.endswith("_chance"):
            is_open = (value > 0) & (value < 1)
            drawn = (rng.random((size, count)) < value[:, None]).astype(np.intp)
        else:
            continue
        picked[name] = np.where(is_open[:, None], drawn, -1)
    owner = np.repeat(np.arange(size), count)
    key = np.stack([owner, *(pick.ravel() for pick in picked.values())], axis=1)
    rows, back = np.unique(key, axis=0, return_inverse=True)
    chosen = {name: rows[:, place + 1] for place, name in enumerate(picked)}
    return back.reshape(size, count), _Draws(rows[:, 0], chosen)


def _numbers(inputs: FreezeInputs) -> dict[str, Floats]:
    named = {item.name: getattr(inputs, item.name) for item in fields(inputs)}
    return {
        name: value
        for name, value in named.items()
        if isinstance(value, np.ndarray) and value.ndim == 1
    }


def _in_blocks(inputs: FreezeInputs, draws: _Draws) -> Iterator[FreezeInputs]:
    """Yield the inputs of some draws at a time, in order."""
    for start in range(0, max(len(draws.owner), 1), _BLOCK):
        rows = slice(start, start + _BLOCK)
        chosen = {name: place[rows] for name, place in draws.chosen.items()}
        yield _filled(inputs, _Draws(draws.owner[rows], chosen))


def _filled(inputs: FreezeInputs, draws: _Draws) -> FreezeInputs:
    """Repeat each crossing for its draws and put the drawn values in."""
    owner, chosen, label = draws.owner, draws.chosen, draws.owner
    for name in DAILY_UNKNOWNS:
        label = label * (LEVELS + 1) + chosen[name] + 1
    changed: dict[str, Any] = {
        "points": {name: value[owner] for name, value in inputs.points.items()}
    }
    for item in fields(inputs):
        value = getattr(inputs, item.name)
        if isinstance(value, np.ndarray):
            changed[item.name] = value[owner]
    for name, place in chosen.items():
        drawn = place.astype(float)
        if name in inputs.points:
            drawn = inputs.points[name][owner, np.maximum(place, 0)]
        changed[name] = np.where(place < 0, changed[name], drawn)
    return replace(inputs, **{**changed, "run_label": label})


def _loss(crossings: GeoDataFrame, chance: Floats) -> Floats:
    """Loss avoided with another chance of a block: it is in proportion to it."""
    blocked = crossings["blocked_chance"].to_numpy(float)
    avoided = crossings["loss_avoided_person_h"].to_numpy(float)
    by_chance = avoided / np.where(blocked > 0, blocked, 1)
    return by_chance[:, None] * chance


def _ranks(loss_person_h: Floats, chance: Floats) -> Floats:
    """Rank of each crossing in each draw, as the priority list ranks them."""
    keys = (-np.nan_to_num(chance, nan=-1), -np.nan_to_num(loss_person_h, nan=-1))
    order = np.lexsort(keys, axis=0)
    rank = np.empty(order.shape)
    places = np.arange(1, len(order) + 1, dtype=float)[:, None]
    np.put_along_axis(rank, order, np.broadcast_to(places, order.shape), axis=0)
    return rank


def _bands(
    rank: Floats, own_rank: Floats, coefficients: Mapping[str, float]
) -> dict[str, Any]:
    c = coefficients
    tail = (1 - c["band_fraction"]) / 2
    # of ranks that did occur: a rank is a whole number
    low, high = np.quantile(rank, [tail, 1 - tail], axis=1, method="nearest")
    # the listed rank averages the unknowns and may lie beside all draws
    low, high = np.minimum(low, own_rank), np.maximum(high, own_rank)
    width = np.maximum(c["solid_width_fraction"] * own_rank, c["solid_width_count"])
    word = np.where(high - low <= width, SOLID, FRAGILE).astype(object)
    return {
        "rank_low": low,
        "rank_high": high,
        "rank_band": np.where(np.isnan(low), "", word).astype(object),
    }
