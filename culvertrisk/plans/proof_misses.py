"""Why the model thought otherwise: a logged thaw that it ranked low."""

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from culvertrisk.stages.hindcast import Hindcast
from culvertrisk.stages.reasons import SMALL_RISE_M
from culvertrisk.stages.unknown_notes import unknowns_of
from culvertrisk.units import quantity

SELDOM_LOGGED = 0.25  # a share of blocks below this is said to be seldom logged
LOW_CHANCE = 0.15  # where freeze_class "some" begins
STEEP_M_PER_M = 0.01  # steeper barrels hold no water; common practice, no source


def why_missed(
    crossing: pd.Series, past: Hindcast, foretold: Mapping[Hashable, Any]
) -> str:
    """Say why a crossing that was thawed in a hidden winter stood low.

    Parameters
    ----------
    crossing : Series
        Its row of the crossings table.
    past : Hindcast
        Model and log of all winters.
    foretold : mapping
        ``place`` and ``row`` of the crossing and the winter in ``past``,
        ``physics alone`` and ``logged_fraction``.

    Returns
    -------
    why : str
        Sentences joined by ``"; "``, what weighed most first.
    """
    place, winter = int(foretold["place"]), int(foretold["row"])
    others = past.visits[place].sum() - past.visits[place, winter]
    parts = (
        _not_logged(others),
        _seldom(float(foretold["logged_fraction"]), past, place),
        _physics(crossing, float(foretold["physics alone"])),
        _doubtful_row(crossing, past, winter),
        _unknown(crossing),
    )
    return "; ".join(part for part in parts if part) or "nothing stands out"


def _not_logged(others: float) -> str:
    return "never logged in another winter" if others == 0 else ""


def _seldom(share: float, past: Hindcast, place: int) -> str:
    if share >= SELDOM_LOGGED:
        return ""
    name = past.group_names[past.record.group[place]]
    return f"crews log few thaws on its kind of road ({name}: {share:.2f} of blocks)"


def _physics(crossing: pd.Series, chance: float) -> str:
    if chance >= LOW_CHANCE:
        return ""
    because = []
    if crossing["rise_m"] >= SMALL_RISE_M:
        because.append(f"{quantity(crossing['rise_m'], 'm', 2)} high")
    if crossing["barrel_slope_m_per_m"] >= STEEP_M_PER_M:
        because.append(f"slope {crossing['barrel_slope_m_per_m'] * 100:.1f} %")
    if crossing["has_seep"] == 0:
        because.append("no seep recorded")
    listed = f" ({', '.join(because)})" if because else ""
    return f"the physics gave {chance:.2f}{listed}"


def _doubtful_row(crossing: pd.Series, past: Hindcast, winter: int) -> str:
    """A thaw known only by a place in words may belong to the next pipe."""
    rows = past.matches[
        (past.matches["culvert_id"] == str(crossing.name))
        & (past.matches["winter"] == past.winters[winter])
    ]
    sure = rows["match_confidence"].max()
    by_words = not rows.empty and (rows["match_by"] != "number").all()
    return f"placed by words only, confidence {sure:.2f}" if by_words else ""


def _unknown(crossing: pd.Series) -> str:
    needed = ("catchment_m2", "is_catchment_cut", "fill_depth_m", "cover_source")
    others = ("winter_shade_fraction", "consequence_person_h", "road_class")
    missing = [name for name in (*needed, *others) if name not in crossing]
    filled = pd.concat([crossing, pd.Series(dict.fromkeys(missing, 0.0), dtype=object)])
    said = [s for s in unknowns_of(filled).split("; ") if " unknown" in s or "not" in s]
    return said[0] if said else ""
