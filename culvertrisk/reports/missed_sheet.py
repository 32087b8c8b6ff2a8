"""What no truck opens, for paper and map, and the rounds of crews without heat."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from culvertrisk.plans.not_reached import other_owner
from culvertrisk.reports import amounts
from culvertrisk.reports.exports import outlet_ends
from culvertrisk.reports.log_words import last_remark
from culvertrisk.reports.release import release_dangers
from culvertrisk.reports.sentence_units import both_units
from culvertrisk.reports.stop_site import OWNER_WORDS, STAKES, people_words
from culvertrisk.reports.wet_roads import floods_open

if TYPE_CHECKING:
    from culvertrisk.reports.map_data import MapContent


def not_reached(content: MapContent) -> list[dict[str, Any]]:
    """Return the crossings that no truck reaches, the greatest loss first."""
    if content.plan is None:
        return []
    rows = content.plan.not_reached.sort_values(
        "loss_avoided_person_h", ascending=False, kind="stable"
    )
    ids = [str(culvert_id) for culvert_id in rows["culvert_id"]]
    return [
        {
            **site,
            "loss": amounts.person_hours(row["loss_avoided_person_h"]),
            "why": both_units(str(row["why"])),
            "instead": both_units(str(row["instead"])),
        }
        for row, site in zip(rows.to_dict("records"), _sites(content, ids), strict=True)
    ]


def look_sheets(content: MapContent) -> list[dict[str, Any]]:
    """Return one entry a crew without heat: what it looks at, in order.

    Parameters
    ----------
    content : MapContent
        Plan, crossings and, for the number of people, the town file.

    Returns
    -------
    sheets : list of dict
        Keys ``crew``, ``people``, ``left_count`` and ``stops``; empty without such
        a crew.
    """
    looks = getattr(content.plan, "looks", None)
    if content.plan is None or looks is None:
        return []
    missed = content.plan.not_reached.set_index("culvert_id")["instead"]
    return [
        {
            "crew": str(crew),
            "people": people_words(content.settings, str(crew)),
            "left_count": int((~missed.index.isin(looks["culvert_id"])).sum()),
            "stops": _looked_at(content, own, missed),
        }
        for crew, own in looks.groupby("crew", sort=False)
    ]


def _looked_at(
    content: MapContent, looks: pd.DataFrame, instead: pd.Series[Any]
) -> list[dict[str, Any]]:
    ids = [str(culvert_id) for culvert_id in looks["culvert_id"]]
    crossings = content.crossings
    dangers = dict(zip(crossings.index, release_dangers(crossings), strict=True))
    stakes, notes, logged = (
        crossings[name].to_dict() if name in crossings else {}
        for name in ("is_staked", "note", "log_note")
    )
    return [
        {
            **site,
            "stakes": STAKES.get(stakes.get(site["id"], np.nan), ""),
            "note": _text(notes.get(site["id"])),
            "logged": last_remark(logged.get(site["id"])),
            "danger": dangers[site["id"]],
            "number": int(look["stop_number"]),
            "start": amounts.time_of_day(look["start_s"]),
            "end": amounts.time_of_day(look["end_s"]),
            "drive_time": amounts.minutes(look["drive_s"]),
            "instead": both_units(str(instead[site["id"]])),
        }
        for look, site in zip(
            looks.to_dict("records"), _sites(content, ids), strict=True
        )
    ]


def _sites(content: MapContent, ids: list[str]) -> list[dict[str, Any]]:
    """Place, owner and hour of the water of some crossings."""
    some = content.crossings.loc[ids]
    wet = floods_open(some).index
    rows = pd.DataFrame(some.drop(columns=some.geometry.name)).to_dict("records")
    return [
        {
            "id": culvert_id,
            "road": _text(row.get("road_name")),
            "where": f"{end.y:.5f}, {end.x:.5f}",
            "owner": OWNER_WORDS.format(owner) if (owner := _owner(row)) else "",
            "over": _over_words(row, is_wet=culvert_id in wet),
        }
        for culvert_id, end, row in zip(ids, outlet_ends(some), rows, strict=True)
    ]


def _owner(row: dict[Any, Any]) -> str:
    return other_owner(row.get("owner"))


def _text(told: Any) -> str:
    return told if isinstance(told, str) else ""


def _over_words(row: dict[Any, Any], *, is_wet: bool) -> str:
    """When water comes over the road; the unknown is not told as dry."""
    seconds = row.get("water_over_road_blocked_s", np.nan)
    if pd.isna(seconds):
        is_pipe = not pd.isna(row.get("headwater_limit_m", np.nan))
        is_unknown = is_pipe and pd.isna(row.get("over_road_depth_m", np.nan))
        return "water over the road: not known" if is_unknown else ""
    told = f"water over the road about {amounts.time_of_day(seconds)} if shut"
    open_s = row.get("water_over_road_open_s", np.nan)
    if not is_wet or pd.isna(open_s):
        return told
    return f"{told}, about {amounts.time_of_day(open_s)} even if open"
