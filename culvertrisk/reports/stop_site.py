"""What a crew needs to know of the place of a stop: where, why, and what threatens."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from culvertrisk.reports import amounts, words

_STAKES = {1.0: "Staked.", 0.0: "NOT staked: probe for it."}


def site_words(place: pd.Series[Any]) -> dict[str, Any]:
    """Return the place of a stop in plain words.

    Parameters
    ----------
    place : Series
        One crossing with ``lat``, ``lon``, ``has_end``, the offsets ``east_m`` and
        ``north_m`` of its outlet, and ``danger`` of ``release_dangers``.

    Returns
    -------
    site : dict
        Words of the stop card; amounts are metric and US words.
    """
    given = place.get
    side = amounts.compass(_outlet_bearing(place))
    reasons = words.sentences(given("reasons"))
    return {
        "road": str(given("road_name") or ""),
        "size": amounts.size(given("rise_m", np.nan)),
        "length": amounts.length(given("length_m", np.nan)),
        "material": str(given("material") or ""),
        "where": f"{place['lat']:.5f}, {place['lon']:.5f}",
        "has_end": bool(place["has_end"]),
        "side": f"on the {side} side of the road" if side else "side not recorded",
        "stakes": _STAKES.get(given("is_staked", np.nan), "Stakes: not recorded."),
        "note": str(given("note") or ""),
        "access": "" if _tells_access(reasons) else _access_words(place),
        "why": reasons,
        "rank": words.rank_words(
            *(given(k, np.nan) for k in ("priority_rank", "rank_low", "rank_high"))
        ),
        "band": str(given("rank_band") or ""),
        "cure": str(given("cure") or "").replace("; ", ", then "),
        "danger": place["danger"],
        "unknown": words.sentences(given("unknowns")),
    }


def _tells_access(reasons: list[str]) -> bool:
    return any(reason.startswith("Only way") for reason in reasons)


def _outlet_bearing(place: pd.Series[Any]) -> float:
    if place["has_end"] and (place["east_m"] or place["north_m"]):
        radians = np.arctan2(place["east_m"], place["north_m"])
        return float(np.degrees(radians) % 360)
    return float(place.get("barrel_bearing_deg", np.nan))


def _access_words(place: pd.Series[Any]) -> str:
    count = place.get("cut_off_dwelling_count", np.nan)
    told = []
    if place.get("is_only_way", np.nan) == 1:
        told.append("Only way in.")
    if count > 0:
        told.append(f"{count:.0f} dwelling{'s' if count > 1 else ''} cut off if shut.")
    if place.get("cut_off_places"):
        told.append(f"Cut off too: {place['cut_off_places']}.")
    return " ".join(told)
