"""Water on the map: full ponds, streams at roads without a culvert, rating curves."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.reports.amounts import factor, unit_words
from culvertrisk.reports.packing import (
    DEGREES,
    coded,
    coded_lines,
    differences,
    numbers,
    short,
    single_lines,
    texts,
)

_POND_SIMPLER_M = 2.0  # ponds are small: finer than other lines
_MOST_CURVES = 5_000  # worst first: more would make the page too large to mail
# Column of rating_curves and its name in the page.
_CURVE = {
    "flow_m3s": "flow",
    "headwater_open_m": "open",
    "headwater_iced_m": "iced",
    "over_road_m": "over",
}


def pond_areas(
    ponds: gpd.GeoDataFrame | None, ids: pd.Index[Any]
) -> list[dict[str, Any]]:
    """Return the edges of each pond, outer and inner, with its crossing's row.

    Parameters
    ----------
    ponds : GeoDataFrame or None
        Polygons indexed by ``culvert_id``.
    ids : Index
        Crossings in the order of the page.

    Returns
    -------
    areas : list of dict
        ``row`` and ``rings``, each ring as differences of places.
    """
    if ponds is None:
        return []
    place = {culvert_id: row for row, culvert_id in enumerate(ids)}
    known = ponds[ponds.index.isin(ids)].geometry
    rings = single_lines(known.boundary, _POND_SIMPLER_M)
    areas: dict[int, list[list[int]]] = {}
    for culvert_id, line in zip(rings.index, coded_lines(rings), strict=True):
        areas.setdefault(place[culvert_id], []).append(line)
    return [{"row": row, "rings": lines} for row, lines in areas.items()]


def unlisted_columns(unmapped: gpd.GeoDataFrame | None) -> dict[str, Any]:
    """Return the places where a stream meets a road and no culvert is listed.

    Parameters
    ----------
    unmapped : GeoDataFrame or None
        Points with ``catchment_m2``, ``road_name``, ``confidence`` and ``note``.

    Returns
    -------
    columns : dict
        One list a column, places as differences; largest catchment first.
    """
    if unmapped is None or unmapped.empty:
        return {"count": 0}
    points = unmapped.geometry.to_crs(DEGREES)
    units = ("hectare", "acre")
    return {
        "count": len(unmapped),
        "places": differences(np.column_stack([points.x, points.y])),
        "catchment": {
            "values": numbers(unmapped, "catchment_m2"),
            "times": [factor("m2", unit) for unit in units],
            "units": [unit_words(unit) for unit in units],
        },
        "roads": coded(texts(unmapped, "road_name")),
        "confidence": coded(texts(unmapped, "confidence")),
        "notes": coded(texts(unmapped, "note")),
    }


def rating_columns(
    ratings: pd.DataFrame | None, ids: pd.Index[Any]
) -> dict[str, list[dict[str, Any] | None]] | None:
    """Return the rating curve of each crossing, or nothing without any.

    Parameters
    ----------
    ratings : DataFrame or None
        As ``stages.rating.rating_curves`` returns it.
    ids : Index
        Crossings in the order of the page.

    Returns
    -------
    columns : dict or None
        ``curves``, one a crossing: lists ``flow`` [m3/s], ``open``, ``iced`` and
        ``over`` [m]; None where the curve is not known. ``flowTimes`` and
        ``depthTimes`` turn them into what the reader has chosen. Beyond the first
        5,000 crossings curves stand in the exported file only.
    """
    if ratings is None or ratings.empty:
        return None
    is_told = ratings["culvert_id"].isin(ids[:_MOST_CURVES])
    known = ratings[is_told & ratings["headwater_open_m"].notna()]
    curves = {
        culvert_id: {
            name: [short(float(value)) for value in rows[column]]
            for column, name in _CURVE.items()
        }
        for culvert_id, rows in known.groupby("culvert_id", sort=False)
    }
    flow, depth = ("m**3/s", "ft**3/s"), ("m", "ft")
    told: dict[str, Any] = {
        "curves": [curves.get(culvert_id) for culvert_id in ids],
        "flowTimes": [factor("m3/s", unit) for unit in flow],
        "flowUnits": [unit_words(unit) for unit in flow],
        "depthTimes": [factor("m", unit) for unit in depth],
        "depthUnits": [unit_words(unit) for unit in depth],
    }
    return told
