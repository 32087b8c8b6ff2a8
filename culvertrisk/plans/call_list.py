"""Calls matched to crossings: who called about what, and what is done there."""

import re
from typing import Any

import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.inputs.road_names import road_key

_WORD = re.compile(r"[a-z0-9.]+")


def match_calls(calls: pd.DataFrame, crossings: GeoDataFrame) -> pd.DataFrame:
    """Match each call to the crossing it most likely speaks of.

    Parameters
    ----------
    calls : DataFrame
        As ``read_calls`` returns it.
    crossings : GeoDataFrame
        With ``road_name`` and ``loss_avoided_person_h``.

    Returns
    -------
    calls : DataFrame
        With ``culvert_id`` and ``match``: ``named`` (the call names the pipe),
        ``likely`` (the crossing of that road that matters most today) or
        ``unknown road`` (blank ``culvert_id``).

    Notes
    -----
    A call never changes a score: loudness is not risk. A likely match is a place
    to look first, not a finding.
    """
    by_road = _by_road(crossings)
    ids = {str(culvert_id).lower(): str(culvert_id) for culvert_id in crossings.index}
    found = [_match(call, by_road, ids) for call in calls.itertuples()]
    return calls.assign(
        culvert_id=[culvert_id for culvert_id, _ in found],
        match=[word for _, word in found],
    )


def _by_road(crossings: GeoDataFrame) -> dict[str, str]:
    order = crossings.sort_values(
        "loss_avoided_person_h", ascending=False, kind="stable", na_position="last"
    )
    first: dict[str, str] = {}
    for culvert_id, name in order["road_name"].items():
        first.setdefault(road_key(name), str(culvert_id))
    first.pop("", None)
    return first


def _match(call: Any, by_road: dict[str, str], ids: dict[str, str]) -> tuple[str, str]:
    road = road_key(call.road_name)
    on_road = by_road.get(road)
    for word in _WORD.findall(f"{call.place} {call.seen}".lower()):
        if any(letter.isdigit() for letter in word) and word in ids:
            return ids[word], "named"
    if on_road is None:
        text = road_key(f"{call.road_name} {call.place}")
        named = [key for key in by_road if key in text]
        on_road = by_road[max(named, key=len)] if named else None
    return (on_road, "likely") if on_road else ("", "unknown road")
