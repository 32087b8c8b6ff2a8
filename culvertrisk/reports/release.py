"""What opening a pipe lets go, here and at the crossing below it, for the crew."""

from __future__ import annotations

from functools import cache

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.reports import amounts
from culvertrisk.reports.exports import outlet_ends
from culvertrisk.reports.packing import texts
from culvertrisk.reports.water_amounts import pond_volume
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.tables import table

# From this chance on that the release floods the crossing below, the crew is told.
LIKELY_CHANCE = 0.5
LEAST_DEPTH_M = 0.1  # a shallower pond is not told as a depth
LEAST_FLOW_M3S = 0.1  # a smaller one is told as up to this, not as none
_NOTHING = amounts.Amount("", "")


def release_dangers(crossings: pd.DataFrame) -> list[amounts.Amount]:
    """Say where much water stands above a pipe, and where opening floods the next.

    Parameters
    ----------
    crossings : DataFrame
        Indexed by ``culvert_id``; ``held_release_m3s`` and
        ``held_release_flooded_chance`` of a row are of its own water, which meets the
        crossing ``downstream_id`` next. Geometry tells where that one lies.

    Returns
    -------
    dangers : list of Amount
        One a crossing, in metric and US units: the pond above from ``warned_pond_m``
        of ``thaw_defaults`` on, to see the one below open first, and to keep clear
        while the one above is opened. Under an even chance a flood below is told only
        where the one below is itself likely shut; where the chance is not known, to
        take it that the road below floods. Neither of these where no water is held.

    Examples
    --------
    >>> table = pd.DataFrame(
    ...     {
    ...         "downstream_id": ["B2", ""],
    ...         "pond_depth_m": [2.13, 0.0],
    ...         "held_release_m3s": [0.84, 0.2],
    ...         "held_release_flooded_chance": [0.7, np.nan],
    ...     },
    ...     index=["A1", "B2"],
    ... )
    >>> above, below = release_dangers(table)
    >>> above.metric.partition(". ")[0]
    'Pond above: up to 2.1 m deep'
    >>> below.us.partition(",")[0]
    'When A1 (up to 30 ft³/s) above is opened'
    """
    told = [_NOTHING] * len(crossings)
    for row in _deep_rows(crossings):
        told[row] = _pond_words(crossings, row)
    if not {"held_release_flooded_chance", "downstream_id"} <= set(crossings.columns):
        return told
    below = crossings.index.get_indexer(pd.Index(crossings["downstream_id"]))
    is_likely = _is_likely(crossings)
    where = _Where(crossings)
    above: dict[int, list[int]] = {}
    is_asked = (below >= 0) & (is_likely | _holds_water(crossings))
    for row in map(int, np.flatnonzero(is_asked)):
        words = _below_words(crossings, row, below[row], where)
        told[row] = _joined(told[row], words)
        if is_likely[row]:
            above.setdefault(below[row], []).append(row)
    for row, rows in above.items():
        told[row] = _joined(told[row], _while_opened(crossings, rows))
    return told


@cache
def _warned_pond_m() -> float:
    values = table("thaw_defaults").set_index("name")["value"].astype(float)
    return float(values["warned_pond_m"])


def _likely_shut_chance() -> float:
    return flood_defaults()["likely_shut_chance"]


def _deep_rows(crossings: pd.DataFrame) -> list[int]:
    if "pond_depth_m" not in crossings:
        return []
    is_deep = crossings["pond_depth_m"] >= _warned_pond_m()
    return [int(row) for row in np.flatnonzero(is_deep)]


def _number(crossings: pd.DataFrame, name: str, row: int) -> float:
    return float(crossings[name].iloc[row]) if name in crossings else np.nan


def _pond_words(crossings: pd.DataFrame, row: int) -> amounts.Amount:
    depth_m = _number(crossings, "pond_depth_m", row)
    held = pond_volume(_number(crossings, "pond_volume_m3", row))
    return amounts.Amount(
        *(
            f"Pond above: up to {deep} deep{f', {water}' if water else ''}. Stand to "
            "the side of the outlet, check the road for hollows, see who is below "
            "before it runs."
            for deep, water in zip(amounts.depth(depth_m), held, strict=True)
        )
    )


def _is_likely(crossings: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell where the release likely floods the crossing below."""
    chance = crossings["held_release_flooded_chance"].to_numpy(float)
    return np.asarray(chance >= LIKELY_CHANCE)


def _holds_water(crossings: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which are pipes that may hold water; one of unknown size may."""
    may_hold = np.ones(len(crossings), np.bool_)
    for name in ("held_release_m3s", "today_runoff_m3"):
        if name in crossings:
            may_hold &= crossings[name].to_numpy(float) != 0
    return may_hold & pipes_of(crossings) if "crossing_kind" in crossings else may_hold


def _below_words(
    crossings: pd.DataFrame, row: int, below: int, where: _Where
) -> amounts.Amount:
    """What the release does at the next crossing; its place is told once."""
    chance = _number(crossings, "held_release_flooded_chance", row)
    is_shut = _number(crossings, "blocked_chance", below) >= _likely_shut_chance()
    is_bridge = texts(crossings, "crossing_kind")[below] == "bridge"
    is_unknown = np.isnan(chance) and not is_bridge
    is_likely = chance >= LIKELY_CHANCE
    if not (is_likely or is_unknown or is_shut):
        return _NOTHING
    place = where.words(row, below)
    name = str(crossings.index[below])
    told = _NOTHING
    if is_likely or is_unknown:
        before = _before_opening if is_likely else _where_unknown
        told, place = before(crossings, row, name, place), _NOTHING
    return _joined(told, _shut_words(name, place, is_likely)) if is_shut else told


def _before_opening(
    crossings: pd.DataFrame, row: int, name: str, where: amounts.Amount
) -> amounts.Amount:
    return amounts.Amount(
        *(
            f"{opened}, likely over the road there. Make sure {_placed(name, place)} "
            "is open first and nobody is on the road there."
            for opened, place in zip(_opened(crossings, row, name), where, strict=True)
        )
    )


def _where_unknown(
    crossings: pd.DataFrame, row: int, name: str, where: amounts.Amount
) -> amounts.Amount:
    """Told where the size of this pipe, or else of the one below, is unknown."""
    is_sent_known = not np.isnan(_number(crossings, "held_release_m3s", row))
    unknown = f"Whether {name} passes that" if is_sent_known else "How much"
    return amounts.Amount(
        *(
            f"{opened}. {unknown} is not known: take it that the road at "
            f"{_placed(name, place)} floods; make sure nobody is on it."
            for opened, place in zip(_opened(crossings, row, name), where, strict=True)
        )
    )


def _shut_words(name: str, where: amounts.Amount, is_likely: bool) -> amounts.Amount:
    """To open the one below first, unless that is told already."""
    todo = "" if is_likely else ": open it first or its road may flood"
    return amounts.Amount(
        *(f"{_placed(name, place)} below is likely shut{todo}." for place in where)
    )


def _opened(crossings: pd.DataFrame, row: int, name: str) -> amounts.Amount:
    """The pond above, where it is shallow, and what it sends to the one below."""
    depth_m = _number(crossings, "pond_depth_m", row)
    is_shallow = LEAST_DEPTH_M <= depth_m < _warned_pond_m()
    depth = amounts.depth(depth_m) if is_shallow else _NOTHING
    is_known = not np.isnan(_number(crossings, "held_release_m3s", row))
    sent = _flow(crossings, row)
    return amounts.Amount(
        *(
            f"{f'Pond above: up to {deep} deep; opened' if deep else 'Opened'} it may "
            f"send {f'up to {much}' if is_known else 'water'} to {name}"
            for deep, much in zip(depth, sent, strict=True)
        )
    )


def _placed(name: str, place: str) -> str:
    return f"{name} ({place})" if place else name


class _Where:
    """Road, coordinates, distance and direction of crossings from one another."""

    def __init__(self, crossings: pd.DataFrame) -> None:
        self._roads = texts(crossings, "road_name")
        self._places = self._ends = None
        if isinstance(crossings, gpd.GeoDataFrame):
            self._places = crossings.geometry.to_numpy()
            self._ends = outlet_ends(crossings).to_numpy()

    def words(self, row: int, other: int) -> amounts.Amount:
        """Where another crossing lies, seen from one; at least its road."""
        road = self._roads[other]
        if self._places is None or self._ends is None:
            return amounts.Amount(road, road)
        here, there = self._places[row], self._places[other]
        end = self._ends[other]
        if not (np.isfinite(here.distance(there)) and np.isfinite(end.x)):
            return amounts.Amount(road, road)
        bearing = np.degrees(np.arctan2(there.x - here.x, there.y - here.y)) % 360
        side = amounts.compass(float(bearing))
        at = f"{end.y:.5f}, {end.x:.5f}"
        return amounts.Amount(
            *(
                ", ".join(part for part in (road, at, f"{far} {side} of here") if part)
                for far in amounts.near_distance(here.distance(there))
            )
        )


def _while_opened(crossings: pd.DataFrame, rows: list[int]) -> amounts.Amount:
    sent = [_flow(crossings, row) for row in rows]
    names = [str(crossings.index[row]) for row in rows]
    return amounts.Amount(
        *(
            f"When {_either(names, flows)} above is opened, water is likely over the "
            "road here: keep clear then."
            for flows in zip(*sent, strict=True)
        )
    )


def _either(names: list[str], flows: tuple[str, ...]) -> str:
    return " or ".join(
        f"{name} (up to {flow})" for name, flow in zip(names, flows, strict=True)
    )


def _flow(crossings: pd.DataFrame, row: int) -> amounts.Amount:
    sent_m3s = _number(crossings, "held_release_m3s", row)
    return amounts.flow(float(np.maximum(sent_m3s, LEAST_FLOW_M3S)))


def _joined(first: amounts.Amount, second: amounts.Amount) -> amounts.Amount:
    return amounts.Amount(
        *(f"{a} {b}".strip() for a, b in zip(first, second, strict=True))
    )
