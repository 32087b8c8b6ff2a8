"""Tables to the compact columns that the map's scripts draw and list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.reports import amounts, map_water, run_sheet, words
from culvertrisk.reports.calibration import score_words, uncalibrated_words
from culvertrisk.reports.comparison_line import comparison_words
from culvertrisk.reports.log_words import last_remark, unplaced_words
from culvertrisk.reports.map_advice import advice_columns
from culvertrisk.reports.missed_sheet import not_reached
from culvertrisk.reports.offline import template_text
from culvertrisk.reports.packing import (
    DEGREES,
    coded,
    coded_lines,
    coded_lists,
    differences,
    numbers,
    single_lines,
    texts,
)
from culvertrisk.tables import columns

if TYPE_CHECKING:
    from culvertrisk.inputs.rasters import Terrain
    from culvertrisk.plans.morning import MorningPlan
    from culvertrisk.settings import Settings
    from culvertrisk.stages.day_asked import DayAsked

_SHARES = ("shading", "slope", "size", "history", "water", "weather")


@dataclass(frozen=True, eq=False)
class MapContent:
    """What the map, the sheets and the exports tell; it computes nothing.

    ``crossings`` is indexed by ``culvert_id`` in a work CRS in metres, ``roads``
    has ``road_name`` and ``road_class``, ``catchments`` is indexed by
    ``culvert_id``, ``routes`` has ``crew``, ``stop_number`` and lines, ``jobs``
    one row for each crossing and crew, ``calls`` those of ``match_calls``,
    ``unmapped`` the streams that meet a road where no culvert is listed, ``ponds``
    the full ponds of ``pond_outlines``, ``ratings`` those of ``rating_curves``.
    ``calibrated`` says that the freeze score was fitted to the town's log;
    ``units`` is ``"metric"`` or ``"us"``; ``settings`` give crews, fill points and
    hours to keep clear; ``asked`` is the day and the weather all of it stands on.
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
    ponds: gpd.GeoDataFrame | None = None
    ratings: pd.DataFrame | None = None
    calibrated: bool = False
    units: str = "metric"
    settings: Settings | None = None
    asked: DayAsked | None = None


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
        "planned": run_sheet.planned_words(content)["planned"],
        "madeUp": run_sheet.planned_words(content)["made_up"],
        "units": content.units,
        "calibrated": content.calibrated,
        **_calibration(content),
        "classes": list(words.CLASSES),
        "classWords": {key: list(told) for key, told in words.CLASS_WORDS.items()},
        "lossSteps": list(words.LOSS_STEPS_PERSON_H),
        **_crossing_columns(crossings, content.calibrated),
        "roads": _road_lines(content.roads),
        "catchments": _catchment_lines(content.catchments, crossings.index),
        "ponds": map_water.pond_areas(content.ponds, crossings.index),
        "unlisted": map_water.unlisted_columns(content.unmapped),
        "ratings": map_water.rating_columns(content.ratings, crossings.index),
        "advice": advice_columns(crossings, content.on),
        "trucks": _trucks(content, crossings.index),
        "missed": _missed(content, crossings.index),
        "problems": run_sheet.plan_problems(content),
        "comparison": comparison_words(content),
        "cautions": run_sheet.cautions(content),
        "statement": list(words.STATEMENT),
        "notThis": list(words.NOT_THIS),
    }


def _calibration(content: MapContent) -> dict[str, str]:
    crossings, calibrated = content.crossings, content.calibrated
    scores = score_words(crossings, content.settings, calibrated=calibrated)
    return {
        "scoreWords": " ".join(filter(None, (scores, unplaced_words(content.notes)))),
        "uncalibrated": uncalibrated_words(crossings, calibrated=calibrated),
    }


def _ranked(crossings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if "priority_rank" not in crossings:
        return crossings
    return crossings.sort_values("priority_rank", kind="stable", na_position="last")


def _crossing_columns(crossings: gpd.GeoDataFrame, calibrated: bool) -> dict[str, Any]:
    points = crossings.geometry.to_crs(DEGREES)
    x, y = points.x.to_numpy(), points.y.to_numpy()
    placed = np.isfinite(x) & np.isfinite(y)
    return {
        "ids": [str(culvert_id) for culvert_id in crossings.index],
        "places": differences(np.column_stack([x, y])[placed]),
        "unplaced": [int(row) for row in np.flatnonzero(~placed)],
        "ranks": numbers(crossings, "priority_rank"),
        "roadNames": coded(texts(crossings, "road_name")),
        "owners": coded(texts(crossings, "owner")),
        "notes": coded(texts(crossings, "note")),
        "logged": coded([last_remark(text) for text in texts(crossings, "log_note")]),
        "cutOff": coded(texts(crossings, "cut_off_places")),
        "scores": _scores(crossings),
        "columns": _shown(crossings, calibrated),
        "shares": {name: numbers(crossings, f"share_{name}_index") for name in _SHARES},
        "reasons": coded_lists(texts(crossings, "reasons")),
        "unknowns": coded_lists(texts(crossings, "unknowns")),
    }


def _scores(crossings: gpd.GeoDataFrame) -> dict[str, Any]:
    loss = crossings.get(
        "loss_avoided_person_h", pd.Series(np.nan, index=crossings.index)
    )
    scores: dict[str, Any] = {
        name: {
            "score": numbers(crossings, f"{name}_index"),
            "class": [words.class_code(w) for w in texts(crossings, f"{name}_class")],
        }
        for name in ("freeze", "flood")
    }
    scores["loss"] = {
        "score": numbers(crossings, "loss_avoided_person_h"),
        "class": [words.loss_code(float(value)) for value in loss],
    }
    return scores


def _shown(crossings: gpd.GeoDataFrame, calibrated: bool) -> list[dict[str, Any]]:
    wanted = pd.read_csv(StringIO(template_text("shown.csv")))
    made = columns()
    shown = []
    is_made = wanted["name"].isin(crossings.columns) & wanted["name"].isin(made.index)
    for row in wanted[is_made].to_dict("records"):
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
                "isClock": row["metric"] == amounts.CLOCK,
                "times": [amounts.factor(unit, row[key]) for key in ("metric", "us")],
                "units": [amounts.unit_words(row[key]) for key in ("metric", "us")],
                **_told(crossings, name, is_text=unit == "text"),
            }
        )
    return shown


def _told(crossings: gpd.GeoDataFrame, name: str, *, is_text: bool) -> dict[str, Any]:
    if is_text:
        return coded(texts(crossings, name))
    return {"values": numbers(crossings, name)}


def _road_lines(roads: gpd.GeoDataFrame | None) -> dict[str, Any]:
    if roads is None:
        return {"lines": [], "names": coded([])}
    names = pd.Series(texts(roads, "road_name"))
    lines = single_lines(roads.geometry.reset_index(drop=True))
    return {"lines": coded_lines(lines), "names": coded([*names[lines.index]])}


def _catchment_lines(
    catchments: gpd.GeoDataFrame | None, ids: pd.Index[Any]
) -> list[dict[str, Any]]:
    if catchments is None:
        return []
    place = {culvert_id: row for row, culvert_id in enumerate(ids)}
    known = catchments[catchments.index.isin(ids)].geometry
    outlines = single_lines(known.boundary)
    return [
        {"row": place[culvert_id], "line": line}
        for culvert_id, line in zip(outlines.index, coded_lines(outlines), strict=True)
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
    return coded_lines(single_lines(ours.geometry))


def _missed(content: MapContent, ids: pd.Index[Any]) -> list[dict[str, Any]]:
    place = {str(culvert_id): row for row, culvert_id in enumerate(ids)}
    rows = not_reached(content)
    return [row | {"row": place.get(row["id"])} for row in rows]
