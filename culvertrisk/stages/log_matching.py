"""Which crossing a row of the thaw log speaks of, how surely, or none."""

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.inputs.road_names import road_words
from culvertrisk.stages.log_places import (
    along_road,
    groups_of,
    nearest_along,
    written_distance,
)
from culvertrisk.town_defaults import default_values

_WORD = re.compile(r"[a-z0-9#]+")
_NONE = ("", 0.0, "")

Match = tuple[str, float, str]  # crossing, confidence, by what
Pair = tuple[str, str]  # number and place as written


def history_defaults(town: Mapping[str, Any] | None = None) -> dict[str, float]:
    """Return every coefficient of history and matching by name.

    Parameters
    ----------
    town : mapping, optional
        The town's own values by the names of the ``history_defaults`` table, in its
        units or as text with another; the rest is as in the table.

    Returns
    -------
    coefficients : dict of str to float
        One value a name.

    Raises
    ------
    InputError
        If ``default_values`` refuses any of them; all at once.
    """
    values = default_values("history", town)
    return {name: float(value.item()) for name, value in values.items()}


def plain_id(culvert_id: object) -> str:
    """Return a culvert's number with the marks of clerks and spreadsheets off.

    Examples
    --------
    >>> [plain_id(text) for text in ("012", "12.0", " 12a", "N-4", "#N04", "12-2")]
    ['12', '12', '12A', 'N4', 'N4', '12-2']
    """
    text = re.sub(r"\.0+$", "", str(culvert_id).strip())
    parts = re.findall(r"[A-Za-z]+|\d+", text)
    plain = [p.lstrip("0") or "0" if p.isdigit() else p.upper() for p in parts]
    return re.sub(r"(?<=\d) (?=\d)", "-", " ".join(plain)).replace(" ", "")


def match_log(crossings: GeoDataFrame, log: pd.DataFrame) -> pd.Series:
    """Find the crossing of each row of the log, where that is clear enough.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name``.
    log : DataFrame
        The table of ``read_thaw_log``.

    Returns
    -------
    culvert_id : Series of str
        Index of the log; "" where the confidence of ``match_rows`` is below the
        least of the defaults table.
    """
    rows = match_rows(crossings, log)
    is_clear = rows["match_confidence"] >= history_defaults()["match_least_fraction"]
    return rows["culvert_id"].where(is_clear, "").astype(object)


def match_rows(
    crossings: GeoDataFrame,
    log: pd.DataFrame,
    coefficients: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Find the crossing of each row of the log, how surely and by what.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name`` and ``crossing_kind``.
    log : DataFrame
        The table of ``read_thaw_log``.
    coefficients : mapping, optional
        By name, of the history defaults; without it those of the table.

    Returns
    -------
    rows : DataFrame
        Index of the log: ``culvert_id`` ("" none), ``match_confidence`` from 0 to 1
        and ``match_by``: number, place number, only crossing, known mile or mile.

    Notes
    -----
    By the culvert's number, zeros and spreadsheet decimals aside, if only one
    crossing bears it; else by such a number in the place, if it holds a letter or
    follows "#"; either way not if the place names another road. Else by the road's
    name, if only one crossing lies on it; else by road and mile, if all rows of the
    log that name both that mile and a culvert name the same one; else by the mile
    along the road's crossings, where those rows tell where its miles begin.
    """
    c = coefficients or history_defaults()
    roads = {str(n): road_words(r) for n, r in crossings["road_name"].items()}
    pairs = [*zip(log["culvert_id"].astype(str), log["place"].astype(str), strict=True)]
    found = _by_words({*pairs}, roads, c)
    found = _by_known_mile(found, roads)
    found = _by_mile(found, roads, crossings, c)
    return pd.DataFrame(
        [found[pair] for pair in pairs],
        index=log.index,
        columns=["culvert_id", "match_confidence", "match_by"],
    ).astype({"culvert_id": object, "match_confidence": float, "match_by": object})


def _by_words(
    pairs: set[Pair], roads: Mapping[str, frozenset[str]], c: Mapping[str, float]
) -> dict[Pair, Match]:
    """Match by number, by a number among the words, or as the road's only crossing."""
    by_id = _singles({name: plain_id(name) for name in roads})
    by_road = _singles({name: words for name, words in roads.items() if words})
    known = {*roads.values()} - {frozenset()}

    def one(number: str, place: str) -> Match:
        words, spelt = _words(place), road_words(place)
        named = [road for road in known if road <= spelt]
        hit = by_id.get(plain_id(number), "") if number.strip() else ""
        sure, by = c["match_number_fraction"], "number"
        if not hit:
            hit = _by_number(words, by_id)
            sure, by = c["match_place_number_fraction"], "place number"
        if hit:
            # the same number on another road, or a house's: neither is this culvert
            elsewhere = bool(named and roads[hit]) and not roads[hit] & spelt
            return _NONE if elsewhere else (hit, sure, by)
        hit = by_road.get(_longest(named), "")
        return (hit, c["match_only_fraction"], "only crossing") if hit else _NONE

    return {pair: one(*pair) for pair in pairs}


def _by_known_mile(
    found: dict[Pair, Match], roads: Mapping[str, frozenset[str]]
) -> dict[Pair, Match]:
    """Match what is left by road and mile, as the matched rows of the log have it."""
    known = {*roads.values()} - {frozenset()}
    miles = {pair: _road_and_mile(pair[1], known) for pair in found}
    seen: dict[object, list[str]] = {}
    for pair, (hit, _, _) in found.items():
        if hit and miles[pair]:
            seen.setdefault(miles[pair], []).append(hit)
    # rule of succession: sure by how often the log has said the same
    learned = {
        mile: (hits[0], (len(hits) + 1) / (len(hits) + 2), "known mile")
        for mile, hits in seen.items()
        if len({*hits}) == 1
    }
    # a number that is written but unknown is not overruled by what lies near it
    return {
        pair: match if match[0] or pair[0].strip() else learned.get(miles[pair], _NONE)
        for pair, match in found.items()
    }


def _by_mile(
    found: dict[Pair, Match],
    roads: Mapping[str, frozenset[str]],
    crossings: GeoDataFrame,
    coefficients: Mapping[str, float],
) -> dict[Pair, Match]:
    """Match what is left by how far along the road the row says it is."""
    rows = _rows_with_mile(found, {*roads.values()} - {frozenset()})
    weight = _visit_weight(crossings, rows["hit"])
    places = zip(crossings.geometry.x, crossings.geometry.y, strict=True)
    xy_m = {n: xy for n, xy in zip(roads, places, strict=True) if np.isfinite(xy).all()}
    placed = dict(found)
    for road, names in groups_of({name: roads[name] for name in xy_m}).items():
        here = rows[np.array([words == road for words in rows["road"]], dtype=bool)]
        free = here[here["is_free"]]
        if not road or free.empty:
            continue
        order = {name: place for place, name in enumerate(names)}
        anchors = here[here["hit"].isin(names)]
        best, sure = nearest_along(
            along_road(np.array([xy_m[name] for name in names])),
            anchors.assign(place=anchors["hit"].map(order)),
            free["written_m"].to_numpy(float),
            np.array([weight[name] for name in names]),
            coefficients,
        )
        for pair, place, chance in zip(free["pair"], best, sure, strict=True):
            if chance > 0:
                placed[pair] = names[place], float(chance), "mile"
    return placed


def _rows_with_mile(
    found: dict[Pair, Match], known: set[frozenset[str]]
) -> pd.DataFrame:
    """Rows that name a road and a distance; free are those that name no number."""
    named = [(pair, _road_and_mile(pair[1], known)) for pair in found]
    rows = pd.DataFrame(
        [(pair, found[pair][0], *mile) for pair, mile in named if mile],
        columns=["pair", "hit", "road", "written_m"],
    )
    is_free = [
        not hit and not number.strip()
        for (number, _), hit in zip(rows["pair"], rows["hit"], strict=True)
    ]
    return rows.assign(is_free=np.array(is_free, dtype=bool))


def _visit_weight(crossings: GeoDataFrame, hits: pd.Series) -> dict[str, float]:
    """How often the matched rows go to a crossing of each kind, by the crossing."""
    kinds = crossings["crossing_kind"].set_axis(crossings.index.astype(str))
    rows = hits[hits != ""].map(kinds).value_counts()
    rate = (rows.reindex(kinds.unique()).fillna(0) + 1) / (kinds.value_counts() + 1)
    return {str(name): float(rate[kind] / rate.max()) for name, kind in kinds.items()}


def _road_and_mile(
    place: str, known: set[frozenset[str]]
) -> tuple[frozenset[str], float] | None:
    """Return the road and the distance a place names [m], or None if not both."""
    distance_m = written_distance(place)
    spelt = road_words(place)
    road = _longest([road for road in known if road <= spelt])
    return (road, distance_m) if road and np.isfinite(distance_m) else None


def _longest(roads: list[frozenset[str]]) -> frozenset[str] | None:
    """Return the one road whose name holds the others, or None."""
    longest = [road for road in roads if not any(road < other for other in roads)]
    return longest[0] if len(longest) == 1 else None


def _singles(keys: dict[str, object]) -> dict[object, str]:
    """Turn name to key into key to name, keys of several names left out."""
    counts = pd.Series([*keys.values()], dtype=object).value_counts().to_dict()
    return {key: name for name, key in keys.items() if counts[key] == 1}


def _words(text: object) -> list[str]:
    return _WORD.findall(str(text).lower())


def _by_number(words: list[str], by_id: dict[object, str]) -> str:
    """Return the one culvert whose number with a letter or "#" is among the words."""
    numbers = {
        by_id.get(plain_id(word), "")
        for word in words
        if any(c.isdigit() for c in word)
        and (word.startswith("#") or any(c.isalpha() for c in word))
    } - {""}
    return numbers.pop() if len(numbers) == 1 else ""
