"""Calls matched to crossings: who called about what, and where to look first."""

import re
from collections.abc import Mapping
from typing import Any

import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.inputs.road_names import road_key, road_words
from culvertrisk.stages.log_matching import history_defaults, match_rows
from culvertrisk.tables import table

LIKELIEST_COUNT = 3  # crossings named where only the road is known; our choice
BY_WORDS = {
    "number": "named",
    "place number": "named",
    "only crossing": "only one",
    "known mile": "mile",
    "mile": "mile",
}

Words = frozenset[str]
Phrases = Mapping[str, list[Words]]  # by crossing, the place words of its remarks


def match_calls(
    calls: pd.DataFrame, crossings: GeoDataFrame, log: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Match each call to the crossing it speaks of, where its words tell.

    Parameters
    ----------
    calls : DataFrame
        As ``read_calls`` returns it.
    crossings : GeoDataFrame
        With ``road_name``, ``crossing_kind`` and ``loss_avoided_person_h``; ``note``
        is used where it is there.
    log : DataFrame, optional
        The table of ``read_thaw_log``: its places, and where its miles run.

    Returns
    -------
    calls : DataFrame
        With ``culvert_id``; ``match``: ``named`` (the call names the pipe),
        ``note`` (its place is in the remarks of the inventory or the log), ``mile``,
        ``only one`` (of that road), ``road`` (somewhere on it) or ``unknown road``,
        the last two with a blank ``culvert_id``; ``likeliest``, numbers of the
        road's crossings that matter most today where only the road is known, the
        mile's first; and ``is_danger``, yes where what is seen may hurt someone.

    Notes
    -----
    A call never changes a score: loudness is not risk.
    """
    by_mile, logged = _by_number_or_mile(calls, crossings, log)
    order = crossings["loss_avoided_person_h"].sort_values(
        ascending=False, kind="stable", na_position="last"
    )
    roads = {str(n): road_words(crossings["road_name"][n]) for n in order.index}
    said = _phrases(crossings, logged)
    found = [
        _match(call, roads, said, tuple(row))
        for call, row in zip(calls.itertuples(), by_mile.to_numpy(), strict=True)
    ]
    names = ["culvert_id", "match", "likeliest"]
    matched = pd.DataFrame(found, index=calls.index, columns=names, dtype=object)
    return calls.join(matched).assign(is_danger=_is_danger(calls))


def _by_number_or_mile(
    calls: pd.DataFrame, crossings: GeoDataFrame, log: pd.DataFrame | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Match the calls as rows of the log are: by number, only crossing or mile.

    Returns the calls' matches and those of the log with their places.
    """
    told = calls["road_name"] + " " + calls["place"] + " " + calls["seen"]
    rows = pd.DataFrame({"culvert_id": "", "place": told.to_numpy()})
    past = rows.iloc[:0] if log is None else log[["culvert_id", "place"]]
    both = pd.concat([past, rows], ignore_index=True).astype(object)
    matched = match_rows(crossings, both)
    logged = matched.head(len(past)).assign(place=past["place"].to_numpy())
    return matched.tail(len(calls)), logged


def _match(
    call: Any, roads: Mapping[str, Words], said: Phrases, row: tuple[str, float, str]
) -> tuple[str, str, str]:
    hit, confidence, by = row
    if BY_WORDS.get(by) == "named":
        return hit, "named", ""
    on_road = _on_road(call, roads)
    noted = _noted(_call_words(call), [n for n in on_road if n in said], said)
    if noted:
        return noted, "note", ""
    if hit and confidence >= history_defaults()["match_least_fraction"]:
        return hit, BY_WORDS[by], ""
    if not on_road:
        return "", "unknown road", ""
    likeliest = [*dict.fromkeys([*([hit] if hit else []), *on_road])]
    return "", "road", ", ".join(likeliest[:LIKELIEST_COUNT])


def _on_road(call: Any, roads: Mapping[str, Words]) -> list[str]:
    """Return the crossings of the road that a call names, the worst first."""
    named = road_words(call.road_name)
    found = [name for name, words in roads.items() if words and words == named]
    if found:
        return found
    spelt = road_words(f"{call.road_name} {call.place}")
    known = {words for words in roads.values() if words and words <= spelt}
    longest = max(known, key=lambda words: (len(words), sorted(words)), default=None)
    return [name for name, words in roads.items() if words == longest]


def _call_words(call: Any) -> Words:
    """Return the place words of a call; its road's own only if said again."""
    words = _place_words(f"{call.place} {call.seen}")
    return words if road_key(call.road_name) else words - road_words(call.place)


def _noted(told: Words, names: list[str], said: Phrases) -> str:
    """Return the one crossing whose remarks share most words with the call.

    A remark counts with all of its words, or with two of them.
    """
    shared = {
        name: max(
            (len(p & told) for p in said[name] if p <= told or len(p & told) >= 2),
            default=0,
        )
        for name in names
    }
    most = max(shared.values(), default=0)
    best = [name for name, count in shared.items() if count == most]
    return best[0] if most and len(best) == 1 else ""


def _phrases(crossings: GeoDataFrame, logged: pd.DataFrame) -> Phrases:
    """Collect the place words of the inventory's notes and of the log's places."""
    notes = crossings.get("note", pd.Series("", index=crossings.index))
    pairs = [(str(name), _place_words(str(note))) for name, note in notes.items()]
    named = logged[logged["match_by"].isin(["number", "place number"])]
    roads = crossings["road_name"].set_axis(crossings.index.astype(str))
    pairs += [
        (name, _place_words(place) - road_words(roads[name]) - road_words(name))
        for name, place in {*zip(named["culvert_id"], named["place"], strict=True)}
    ]
    said: dict[str, list[Words]] = {}
    for name, words in pairs:
        if words:
            said.setdefault(name, []).append(words)
    return said


def _place_words(text: str) -> Words:
    # a number alone is a mile, a house or a year
    words = (w for w in road_key(text).split() if any(c.isalpha() for c in w))
    return frozenset(words) - _no_place()


def _no_place() -> Words:
    rows = table("call_words")
    return frozenset(rows["words"][rows["what"] == "no place"])


def _is_danger(calls: pd.DataFrame) -> list[bool]:
    """Tell where what is seen holds all the words of a danger, each by its stem."""
    rows = table("call_words")
    dangers = [words.split() for words in rows["words"][rows["what"] == "danger"]]
    # where nothing is seen the place may tell it
    told = calls["seen"].where(calls["seen"] != "", calls["place"]).str.lower()
    return [
        any(all(re.search(rf"\b{stem}", text) for stem in stems) for stems in dangers)
        for text in told
    ]
