"""The chance of a block with some groups of inputs set to the town's usual crossing."""

from collections.abc import Mapping
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
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.winter import FreezeInputs, freeze_coefficients
from culvertrisk.stages.winter_weather import climatology, with_forecast

Floats = NDArray[np.float64]

GROUPS = ("shading", "slope", "size", "history", "water", "weather")
_FIELDS = {
    "shading": ("sun_j_m2", "outlet_sun_j_m2"),
    "slope": ("barrel_slope_m_per_m", "outlet_drop_m", "pond_chance", "tail_chance"),
    "size": ("rise_m", "length_m", "cover_m"),
    "water": ("seep_chance", "silt_fraction", "plug_chance"),
    "weather": ("elevation_offset_m",),
}


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
        Start of the winter, typed forecast and fragility: see ``with_log``.
    on : date
        The day asked.

    Returns
    -------
    coalitions : Coalitions
        The usual crossing has the median of each known input, the usual weather
        the mean of the earlier winters day by day, the usual history none.
    """
    coefficients = freeze_coefficients(settings.freeze.defaults)
    own = freeze_inputs(crossings, sun, coefficients)
    first_day = settings.winter_of(on)
    own_weather = with_forecast(weather, on, settings.forecast)
    if "wind_from_deg" not in weather and np.isnan(coefficients["wind_from_deg"]).all():
        # from nowhere, the wind meets all alike: they need not be run apart
        nowhere = np.full(len(crossings), np.nan)
        own = replace(own, barrel_bearing_deg=nowhere)
    return Coalitions(
        own=own,
        usual=_median(own),
        own_weather=own_weather,
        usual_weather=climatology(own_weather, first_day, on),
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
    history = 1 << GROUPS.index("history")
    matter = _that_matter(given) & ~history

    @cache
    def physics(coalition: int) -> Floats:
        return _physics(given, coalition)

    rows = []
    for coalition in range(2 ** len(GROUPS)):
        chance = physics(coalition & matter)
        factor = given.history_factor
        if not coalition & history:
            factor = np.where(np.isnan(factor), np.nan, 1.0)
        rows.append(corrected_chance(chance, factor))
    return np.stack(rows)


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


def _physics(given: Coalitions, coalition: int) -> Floats:
    is_own = {name: bool(coalition >> bit & 1) for bit, name in enumerate(GROUPS)}
    chosen = [
        field for name, names in _FIELDS.items() if is_own[name] for field in names
    ]
    own: dict[str, Any] = {field: getattr(given.own, field) for field in chosen}
    mixed, each = _distinct(replace(given.usual, **own))
    weather = given.own_weather if is_own["weather"] else given.usual_weather
    chance = modelled_chance(
        mixed,
        weather,
        given.on,
        first_day=given.first_day,
        coefficients=given.coefficients,
    )
    return chance[each]


def _distinct(inputs: FreezeInputs) -> tuple[FreezeInputs, NDArray[np.intp]]:
    """Keep each distinct crossing once: with few groups its own, most are alike."""
    arrays = {item.name: getattr(inputs, item.name) for item in fields(FreezeInputs)}
    points = arrays.pop("points")
    parts = (*arrays.values(), *points.values())
    count = len(inputs.rise_m)
    # bit by bit: what differs in the last digit is not the same crossing
    bits = [np.ascontiguousarray(a).view(np.uint8).reshape(count, -1) for a in parts]
    rows = np.ascontiguousarray(np.hstack(bits))
    whole = rows.view(np.dtype((np.void, rows.shape[1])))
    _, first, each = np.unique(whole.ravel(), return_index=True, return_inverse=True)
    kept: dict[str, Any] = {name: array[first] for name, array in arrays.items()}
    few = {name: array[first] for name, array in points.items()}
    return replace(inputs, **kept, points=few), each


def _median(own: FreezeInputs) -> FreezeInputs:
    every = {field for names in _FIELDS.values() for field in names}
    usual: dict[str, Any] = {field: _usual(getattr(own, field)) for field in every}
    return replace(own, **usual)


def _usual(values: NDArray[np.floating]) -> NDArray[np.floating]:
    known = values[np.isfinite(values if values.ndim == 1 else values[:, 0])]
    if len(known) == 0:
        return values
    return np.broadcast_to(np.median(known, axis=0), values.shape).copy()
