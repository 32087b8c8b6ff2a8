"""What opening a pipe does to the crossing below it, in words for the crew."""

from __future__ import annotations

import numpy as np
import pandas as pd

from culvertrisk.reports import amounts

# From this chance on that the release floods the crossing below, the crew is told.
LIKELY_CHANCE = 0.5
LEAST_DEPTH_M = 0.1  # a shallower pond is not told as a depth
_NOTHING = amounts.Amount("", "")


def release_dangers(crossings: pd.DataFrame) -> list[amounts.Amount]:
    """Say where opening a pipe is likely to flood the crossing below.

    Parameters
    ----------
    crossings : DataFrame
        Indexed by ``culvert_id``; ``release_flow_m3s`` and
        ``release_flooded_chance`` of a row are of the water let go by the next
        crossing upstream of it, whose ``downstream_id`` names it.

    Returns
    -------
    dangers : list of Amount
        One a crossing, in metric and US units: to see the one below open first, to keep
        clear while the one above is opened, or both; blank below an even chance and
        where the chance is not known.

    Examples
    --------
    >>> table = pd.DataFrame(
    ...     {
    ...         "downstream_id": ["B2", ""],
    ...         "pond_depth_m": [2.13, 0.0],
    ...         "release_flow_m3s": [np.nan, 0.84],
    ...         "release_flooded_chance": [np.nan, 0.7],
    ...     },
    ...     index=["A1", "B2"],
    ... )
    >>> above, below = release_dangers(table)
    >>> above.metric.partition("; ")[2].partition(". ")[0]
    'opened it may send up to 0.8 m³/s to B2, likely over the road there'
    >>> below.us.partition(", ")[0]
    'When A1 above is opened up to 30 ft³/s may come'
    """
    told = [_NOTHING] * len(crossings)
    if not {"release_flooded_chance", "downstream_id"} <= set(crossings.columns):
        return told
    place = {culvert_id: row for row, culvert_id in enumerate(crossings.index)}
    likely = (crossings["release_flooded_chance"] >= LIKELY_CHANCE).to_numpy()
    above: dict[int, list[str]] = {}
    for row, below_id in enumerate(crossings["downstream_id"]):
        below = place.get(below_id, -1)
        if below >= 0 and likely[below]:
            told[row] = _before_opening(crossings, row, below)
            above.setdefault(below, []).append(str(crossings.index[row]))
    for below, ids in above.items():
        told[below] = _joined(told[below], _while_opened(crossings, below, ids))
    return told


def _before_opening(crossings: pd.DataFrame, row: int, below: int) -> amounts.Amount:
    name = crossings.index[below]
    depth_m = (
        crossings["pond_depth_m"].iloc[row] if "pond_depth_m" in crossings else 0.0
    )
    depth = amounts.depth(depth_m) if depth_m >= LEAST_DEPTH_M else _NOTHING
    return amounts.Amount(
        *(
            f"{f'Pond above: up to {deep} deep; opened' if deep else 'Opened'} it may "
            f"send up to {sent} to {name}, likely over the road there. Make sure "
            f"{name} is open first and nobody is on the road there."
            for deep, sent in zip(depth, _flow(crossings, below), strict=True)
        )
    )


def _while_opened(
    crossings: pd.DataFrame, below: int, ids: list[str]
) -> amounts.Amount:
    return amounts.Amount(
        *(
            f"When {' or '.join(ids)} above is opened up to {sent} may come, likely "
            "over the road here: keep clear then."
            for sent in _flow(crossings, below)
        )
    )


def _flow(crossings: pd.DataFrame, row: int) -> amounts.Amount:
    if "release_flow_m3s" not in crossings:
        return amounts.flow(np.nan)
    return amounts.flow(crossings["release_flow_m3s"].iloc[row])


def _joined(first: amounts.Amount, second: amounts.Amount) -> amounts.Amount:
    return amounts.Amount(
        *(f"{a} {b}".strip() for a, b in zip(first, second, strict=True))
    )
