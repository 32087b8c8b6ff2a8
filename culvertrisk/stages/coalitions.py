"""The chance of a block with some groups of inputs set to the town's usual crossing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze import modelled_chance
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.openings import opening_inputs
from culvertrisk.stages.winter import FreezeInputs, freeze_coefficients
from culvertrisk.stages.winter_weather import climatology

Floats = NDArray[np.float64]

GROUPS = ("shading", "slope", "size", "history", "water", "weather")
_FIELDS = {
    "shading": ("sun_j_m2", "outlet_sun_j_m2"),
    "slope": (
        *("barrel_slope_m_per_m", "outlet_drop_m"),
        *("pond_chance", "drained_chance", "tail_chance"),
    ),
    "size": ("rise_m", "length_m", "cover_m"),
    "water": ("seep_chance", "silt_fraction", "plug_chance", "open_chance"),
    "weather": ("elevation_offset_m", "opened_day"),  # what cold counts, since when
}
_SECTION = ("slope", "water")  # groups that the daily run does not feel
_OF_SECTION = {field for name in _SECTION for field in _FIELDS[name]}
_OF_SECTION |= {"barrel_bearing_deg"}


@dataclass(frozen=True)
class Coalitions:
    """What is needed to give some groups a crossing's own inputs and not others."""

    own: FreezeInputs
    usual: FreezeInputs
    own_weather: pd.DataFrame
    usual_weather: pd.DataFrame
    history_factor: Floats
    first_day: date
    on: date
    coefficients: Mapping[str, Floats]


def coalitions(
    crossings: GeoDataFrame,
    sun: Sunlight | None,
    weather: pd.DataFrame,
    settings: Settings,
    on: date,
) -> Coalitions:
    """Gather a crossing's own inputs and those of the town's usual crossing.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, freeze and history.
    sun : Sunlight or None
        Sun by season at both ends.
    weather : DataFrame
        The table of ``read_weather``.
    settings : Settings
        Start of the winter and fragility: see ``with_log``.
    on : date
        The day asked.

    Returns
    -------
    coalitions : Coalitions
        The usual crossing has the median of each known input, the usual weather
        the mean of the earlier winters day by day, the usual history none.
    """
    coefficients = freeze_coefficients(settings.freeze.defaults)
    first_day = settings.winter_of(on)
    own = opening_inputs(crossings, sun, (first_day, on), coefficients)
    if "wind_from_deg" not in weather and np.isnan(coefficients["wind_from_deg"]).all():
        # from nowhere, the wind meets all alike: they need not be run apart
        nowhere = np.full(len(crossings), np.nan)
        own = replace(own, barrel_bearing_deg=nowhere)
    return Coalitions(
        own=own,
        usual=_median(own),
        own_weather=weather,
        usual_weather=climatology(weather, first_day, on),
        history_factor=crossings["history_factor"].to_numpy(float),
        first_day=first_day,
        on=on,
        coefficients=coefficients,
    )


def coalition_chances(given: Coalitions) -> Floats:
    """Chance of a block for every coalition of ``GROUPS``.

    Parameters
    ----------
    given : Coalitions
        Own and usual inputs of n crossings.

    Returns
    -------
    chances : ndarray, shape (2**6, n)
        Row ``s``: the groups whose bits are set in ``s`` take the crossing's own
        inputs. NaN where ``history_factor`` is (bridges and fords).
    """
    matter, rest = _that_matter(given), _bits_of(*_SECTION)
    sections = sorted({bits & matter & rest for bits in range(2 ** len(GROUPS))})

    @cache
    def physics(daily: int) -> dict[int, Floats]:
        return dict(zip(sections, _physics(given, daily, sections), strict=True))

    rows = []
    for coalition in range(2 ** len(GROUPS)):
        felt = coalition & matter
        factor = given.history_factor
        if not coalition & _bits_of("history"):
            factor = np.where(np.isnan(factor), np.nan, 1.0)
        chance = physics(felt & ~rest)[felt & rest]
        rows.append(corrected_chance(chance, factor))
    return np.stack(rows)


def _bits_of(*names: str) -> int:
    return sum(1 << GROUPS.index(name) for name in names)


def _that_matter(given: Coalitions) -> int:
    """Groups, as set bits, whose own inputs differ from the usual for any crossing."""
    bits = 0
    for bit, name in enumerate(GROUPS):
        pairs = [
            (getattr(given.own, field), getattr(given.usual, field))
            for field in _FIELDS.get(name, ())
        ]
        alike = all(np.array_equal(*pair, equal_nan=True) for pair in pairs)
        if name == "weather":
            alike = alike and given.own_weather.equals(given.usual_weather)
        bits |= (not alike) << bit
    return bits


def _physics(given: Coalitions, daily: int, sections: Sequence[int]) -> list[Floats]:
    """Chance for some groups with each choice of those the daily run does not feel."""
    mixed = [_mixed(given, daily | section) for section in sections]
    kept, each = _distinct(mixed)
    is_own = bool(daily & _bits_of("weather"))
    chance = modelled_chance(
        kept,
        given.own_weather if is_own else given.usual_weather,
        given.on,
        first_day=given.first_day,
        coefficients=given.coefficients,
    )
    return np.split(chance[each], len(sections))


def _mixed(given: Coalitions, coalition: int) -> FreezeInputs:
    groups = [name for name in _FIELDS if coalition & _bits_of(name)]
    chosen = [field for name in groups for field in _FIELDS[name]]
    own: dict[str, Any] = {field: getattr(given.own, field) for field in chosen}
    return replace(given.usual, **own)


def _distinct(
    inputs: Sequence[FreezeInputs],
) -> tuple[FreezeInputs, NDArray[np.intp]]:
    """Keep each distinct crossing of several once, that differ in the section alone.

    With few groups its own, most are alike.
    """
    arrays = {
        item.name: np.concatenate([getattr(one, item.name) for one in inputs])
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    arrays["run_label"] = np.tile(_run_label(inputs[0]), len(inputs))
    named = "run_label", *sorted(_OF_SECTION)
    first, each = _alike([arrays[name] for name in named])
    kept: dict[str, Any] = {name: array[first] for name, array in arrays.items()}
    owner = first % len(inputs[0].rise_m)
    points = {name: values[owner] for name, values in inputs[0].points.items()}
    return FreezeInputs(points=points, **kept), each


def _run_label(inputs: FreezeInputs) -> NDArray[np.intp]:
    felt = [
        getattr(inputs, item.name)
        for item in fields(FreezeInputs)
        if item.name not in {"points", "run_label"} | _OF_SECTION
    ]
    return _alike([*felt, *inputs.points.values()])[1]


def _alike(
    arrays: Sequence[NDArray[Any]],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Find the first of the rows that are alike in all arrays, and which each is."""
    count = len(arrays[0])
    # bit by bit: what differs in the last digit is not the same crossing
    bits = [np.ascontiguousarray(a).view(np.uint8).reshape(count, -1) for a in arrays]
    rows = np.ascontiguousarray(np.hstack(bits))
    whole = rows.view(np.dtype((np.void, rows.shape[1])))
    _, first, each = np.unique(whole.ravel(), return_index=True, return_inverse=True)
    return first, each


def _median(own: FreezeInputs) -> FreezeInputs:
    every = {field for names in _FIELDS.values() for field in names} - {"opened_day"}
    usual: dict[str, Any] = {field: _usual(getattr(own, field)) for field in every}
    never = np.full(own.opened_day.shape, np.nan)
    return replace(own, **{**usual, "opened_day": never})


def _usual(values: NDArray[np.floating]) -> NDArray[np.floating]:
    known = values[np.isfinite(values if values.ndim == 1 else values[:, 0])]
    if len(known) == 0:
        return values
    return np.broadcast_to(np.median(known, axis=0), values.shape).copy()
