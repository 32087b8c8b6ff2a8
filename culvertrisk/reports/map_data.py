"""Tables to the compact columns that the map's scripts draw and list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from culvertrisk.reports import amounts, run_sheet, words
from culvertrisk.reports.offline import template_text
from culvertrisk.tables import columns

if TYPE_CHECKING:
    from culvertrisk.inputs.rasters import Terrain
    from culvertrisk.plans.morning import MorningPlan

_DEGREES = "EPSG:4326"
_PER_DEGREE = 100_000  # places are whole numbers of 1e-5 degree: about 1 m
_SIMPLER_M = 5.0  # lines are drawn to this, never computed with
_DIGITS = 3  # significant digits shown
_SHARES = ("shading", "slope", "size", "history", "water", "weather")


@dataclass(frozen=True, eq=False)
class MapContent:
    """What the map, the sheets and the exports tell; it computes nothing.

    ``crossings`` is indexed by ``culvert_id`` in a work CRS in metres, ``roads``
    has ``road_name`` and ``road_class``, ``catchments`` is indexed by
    ``culvert_id``, ``routes`` has ``crew``, ``stop_number`` and lines, ``jobs``
    one row for each crossing and crew, ``calls`` those of ``match_calls``,
    ``unmapped`` the streams that meet a road where no culvert is listed.
    ``calibrated`` says that the freeze score was fitted to the town's log;
    ``units`` is ``"metric"`` or ``"us"``.
    """

    title: str
    on: date
    crossings: gpd.GeoDataFrame
    cautions: pd.DataFrame
    notes: pd.DataFrame
    roads: gpd.GeoDataFrame | None = None
    terrain: Terrain | None = None
    catchments: gpd.GeoDataFrame | None = None
    plan: MorningPlan | None = None
    routes: gpd.GeoDataFrame | None = None
    jobs: pd.DataFrame | None = None
    calls: pd.DataFrame | None = None
    unmapped: gpd.GeoDataFrame | None = None
    calibrated: bool = False
    units: str = "metric"


def map_columns(content: MapContent) -> dict[str, Any]:
    """Return everything the scripts of the map read, ready for JSON.

    Parameters
    ----------
    content : MapContent
        What is to be shown.

    Returns
    -------
    columns : dict
        Crossings in the order of ``priority_rank``, one list a column; lines and
        places as differences of whole 1e-5 degrees; words as places in a list.
    """
    crossings = _ranked(content.crossings)
    return {
        "title": content.title,
        "on": content.on.isoformat(),
        "day": words.day_words(content.on),
        "units": content.units,
        "calibrated": content.calibrated,
        "scoreWords": words.score_words(content.calibrated),
        "classes": list(words.CLASSES),
        "classWords": {key: list(told) for key, told in words.CLASS_WORDS.items()},
        "lossSteps": list(words.LOSS_STEPS_PERSON_H),
        **_crossing_columns(crossings, content.calibrated),
        "roads": _road_lines(content.roads),
        "catchments": _catchment_lines(content.catchments, crossings.index),
        "trucks": _trucks(content, crossings.index),
        "missed": _missed(content, crossings.index),
        "problems": list(content.plan.problems) if content.plan is not None else [],
        "comparison": run_sheet.comparison_words(content),
        "cautions": run_sheet.cautions(content),
        "statement": list(words.STATEMENT),
        "notThis": list(words.NOT_THIS),
    }


def differences(lon_lat: NDArray[np.float64]) -> list[int]:
    """Return places as differences of whole 1e-5 degrees, x and y in turn.

    Examples
    --------
    >>> differences(np.array([[-87.5, 47.7], [-87.49999, 47.7]]))
    [-8750000, 4770000, 1, 0]
    """
    whole = np.round(lon_lat * _PER_DEGREE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=np.zeros_like(whole[:1]))
    return [int(step) for step in steps.ravel()]


def _ranked(crossings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if "priority_rank" not in crossings:
        return crossings
    return crossings.sort_values("priority_rank", kind="stable", na_position="last")


def _crossing_columns(crossings: gpd.GeoDataFrame, calibrated: bool) -> dict[str, Any]:
    points = crossings.geometry.to_crs(_DEGREES)
    x, y = points.x.to_numpy(), points.y.to_numpy()
    placed = np.isfinite(x) & np.isfinite(y)
    return {
        "ids": [str(culvert_id) for culvert_id in crossings.index],
        "places": differences(np.column_stack([x, y])[placed]),
        "unplaced": [int(row) for row in np.flatnonzero(~placed)],
        "ranks": _numbers(crossings, "priority_rank"),
        "roadNames": _coded(_texts(crossings, "road_name")),
        "owners": _coded(_texts(crossings, "owner")),
        "notes": _coded(_texts(crossings, "note")),
        "cutOff": _coded(_texts(crossings, "cut_off_places")),
        "causes": _coded(_texts(crossings, "freeze_cause")),
        "scores": _scores(crossings),
        "columns": _shown(crossings, calibrated),
        "shares": {
            name: _numbers(crossings, f"share_{name}_index") for name in _SHARES
        },
        "reasons": _coded_lists(_texts(crossings, "reasons")),
        "unknowns": _coded_lists(_texts(crossings, "unknowns")),
    }


def _scores(crossings: gpd.GeoDataFrame) -> dict[str, Any]:
    loss = crossings.get(
        "loss_avoided_person_h", pd.Series(np.nan, index=crossings.index)
    )
    scores: dict[str, Any] = {
        name: {
            "score": _numbers(crossings, f"{name}_index"),
            "class": [words.class_code(w) for w in _texts(crossings, f"{name}_class")],
        }
        for name in ("freeze", "flood")
    }
    scores["loss"] = {
        "score": _numbers(crossings, "loss_avoided_person_h"),
        "class": [words.loss_code(float(value)) for value in loss],
    }
    return scores


def _shown(crossings: gpd.GeoDataFrame, calibrated: bool) -> list[dict[str, Any]]:
    wanted = pd.read_csv(StringIO(template_text("shown.csv")))
    made = columns()
    shown = []
    for row in wanted[wanted["name"].isin(crossings.columns)].to_dict("records"):
        name, unit = row["name"], made.loc[row["name"], "unit"]
        is_chance = unit == "chance" and not calibrated
        shown.append(
            {
                # Until calibrated the page does not say "chance", not in a name either.
                "name": "" if is_chance else name,
                "from": made.loc[name, "made_by"],
                "label": row["label"],
                "score": row["score"],
                "yesNo": unit == "yes/no",
                "times": [amounts.factor(unit, row[key]) for key in ("metric", "us")],
                "units": [amounts.unit_words(row[key]) for key in ("metric", "us")],
                "values": _numbers(crossings, name),
            }
        )
    return shown


def _texts(table: pd.DataFrame, name: str) -> list[str]:
    if name not in table:
        return [""] * len(table)
    return [text if isinstance(text, str) else "" for text in table[name].to_numpy()]


def _numbers(table: pd.DataFrame, name: str) -> list[float | int | None]:
    if name not in table:
        return [None] * len(table)
    if name == "priority_rank":
        return [None if pd.isna(rank) else int(rank) for rank in table[name]]
    return [_short(float(value)) for value in table[name].to_numpy()]


def _short(value: float) -> float | int | None:
    if not np.isfinite(value):
        return None
    short = float(f"{value:.{_DIGITS}g}")
    return int(short) if short.is_integer() else short


def _coded(texts: list[str]) -> dict[str, list[Any]]:
    places = {text: place for place, text in enumerate(dict.fromkeys(texts))}
    return {"words": [*places], "codes": [places[text] for text in texts]}


def _coded_lists(texts: list[str]) -> dict[str, list[Any]]:
    rows = [words.sentences(text) for text in texts]
    told = dict.fromkeys(sentence for row in rows for sentence in row)
    places = {sentence: place for place, sentence in enumerate(told)}
    return {"words": [*places], "codes": [[places[s] for s in row] for row in rows]}


def _lines(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    """Single lines in degrees, simplified in metres; the index says whose they are."""
    parts = shapes[~(shapes.is_empty | shapes.isna())].simplify(_SIMPLER_M)
    parts = parts.to_crs(_DEGREES).explode()
    return parts[parts.geom_type == "LineString"]


def _coded_lines(lines: gpd.GeoSeries) -> list[list[int]]:
    return [differences(shapely.get_coordinates(line)) for line in lines]


def _road_lines(roads: gpd.GeoDataFrame | None) -> dict[str, Any]:
    if roads is None:
        return {"lines": [], "names": _coded([])}
    names = pd.Series(_texts(roads, "road_name"))
    lines = _lines(roads.geometry.reset_index(drop=True))
    return {"lines": _coded_lines(lines), "names": _coded([*names[lines.index]])}


def _catchment_lines(
    catchments: gpd.GeoDataFrame | None, ids: pd.Index[Any]
) -> list[dict[str, Any]]:
    if catchments is None:
        return []
    place = {culvert_id: row for row, culvert_id in enumerate(ids)}
    known = catchments[catchments.index.isin(ids)].geometry
    outlines = _lines(known.boundary)
    return [
        {"row": place[culvert_id], "line": line}
        for culvert_id, line in zip(outlines.index, _coded_lines(outlines), strict=True)
    ]


def _trucks(content: MapContent, ids: pd.Index[Any]) -> list[dict[str, Any]]:
    place = {str(culvert_id): row for row, culvert_id in enumerate(ids)}
    trucks = run_sheet.truck_sheets(content)
    for truck in trucks:
        truck["lines"] = _route_lines(content.routes, truck["crew"])
        for stop in truck["stops"]:
            stop["row"] = place.get(stop.get("id", ""))
    return trucks


def _route_lines(routes: gpd.GeoDataFrame | None, crew: str) -> list[list[int]]:
    if routes is None:
        return []
    ours = routes[routes["crew"].astype(str) == crew].sort_values("stop_number")
    return _coded_lines(_lines(ours.geometry))


def _missed(content: MapContent, ids: pd.Index[Any]) -> list[dict[str, Any]]:
    place = {str(culvert_id): row for row, culvert_id in enumerate(ids)}
    rows = run_sheet.not_reached(content)
    return [row | {"row": place.get(row["id"])} for row in rows]
