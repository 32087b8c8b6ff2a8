"""Which crossing a row of the thaw log speaks of: by number, by place, or none."""

import re

import pandas as pd
from geopandas import GeoDataFrame

_ROAD_KINDS = frozenset(
    {"rd", "road", "ln", "lane", "st", "street", "av", "ave", "avenue", "dr", "drive"}
    | {"hwy", "highway", "trl", "trail", "ct", "court", "pl", "place", "blvd", "way"}
    | {"cr", "county", "route", "rte"}
)
_WORD = re.compile(r"[a-z0-9#]+")
_MILE = re.compile(r"\b(mile|mi|km) ?(\d+(?:\.\d+)?)|\b(\d+(?:\.\d+)?) ?(mile|mi|km)\b")


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
    """Find the crossing of each row of the log.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name``.
    log : DataFrame
        The table of ``read_thaw_log``.

    Returns
    -------
    culvert_id : Series of str
        Index of the log; "" where no crossing is named clearly.

    Notes
    -----
    By the culvert's number, zeros and spreadsheet decimals aside, if only one
    crossing bears it; else by such a number in the place, if it holds a letter or
    follows "#"; either way not if the place names another road. Else by the road's
    name, if only one crossing lies on it; else by road and mile, if all rows of the
    log that name both that mile and a culvert name the same one.
    """
    ids = [str(name) for name in crossings.index]
    by_id = _singles({name: plain_id(name) for name in ids})
    roads = dict(zip(ids, map(_road_words, crossings["road_name"]), strict=True))
    by_road = _singles({name: words for name, words in roads.items() if words})
    known = {*roads.values()} - {frozenset()}

    def one(number: str, place: str) -> str:
        words = _words(place)
        named = [road for road in known if road <= {*words}]
        hit = by_id.get(plain_id(number), "") if number.strip() else ""
        hit = hit or _by_number(words, by_id)
        if hit:
            # the same number on another road, or a house's: neither is this culvert
            elsewhere = bool(named and roads[hit]) and not roads[hit] & {*words}
            return "" if elsewhere else hit
        return by_road.get(_longest(named), "")

    pairs = [*zip(log["culvert_id"].astype(str), log["place"].astype(str), strict=True)]
    found = {pair: one(*pair) for pair in set(pairs)}
    matched = _with_miles(found, known)
    return pd.Series([matched[pair] for pair in pairs], index=log.index, dtype=object)


def _with_miles(
    found: dict[tuple[str, str], str], known: set[frozenset[str]]
) -> dict[tuple[str, str], str]:
    """Place what is left by road and mile, as the matched rows of the log have it."""
    miles = {pair: _road_and_mile(pair[1], known) for pair in found}
    seen: dict[object, set[str]] = {}
    for pair, hit in found.items():
        if hit and miles[pair]:
            seen.setdefault(miles[pair], set()).add(hit)
    learned = {mile: hits.pop() for mile, hits in seen.items() if len(hits) == 1}
    # a number that is written but unknown is not overruled by what lies near it
    return {
        pair: hit or ("" if pair[0].strip() else learned.get(miles[pair], ""))
        for pair, hit in found.items()
    }


def _road_and_mile(place: str, known: set[frozenset[str]]) -> object:
    """Return the road and the mile a place names, or None if not both."""
    mile = _MILE.search(place.lower())
    road = _longest([road for road in known if road <= {*_words(place)}])
    return (road, float(mile[2] or mile[3])) if mile and road else None


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


def _road_words(name: object) -> frozenset[str]:
    return frozenset(_words(name)) - _ROAD_KINDS


def _by_number(words: list[str], by_id: dict[object, str]) -> str:
    """Return the one culvert whose number with a letter or "#" is among the words."""
    numbers = {
        by_id.get(plain_id(word), "")
        for word in words
        if any(c.isdigit() for c in word)
        and (word.startswith("#") or any(c.isalpha() for c in word))
    } - {""}
    return numbers.pop() if len(numbers) == 1 else ""
