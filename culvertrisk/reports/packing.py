"""Columns, words and lines in the compact form that the map's scripts read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from culvertrisk.reports import words
from culvertrisk.reports.sentence_units import both_units

DEGREES = "EPSG:4326"
_PER_DEGREE = 100_000  # places are whole numbers of 1e-5 degree: about 1 m
_SIMPLER_M = 5.0  # lines are drawn to this, never computed with
_DIGITS = 3  # significant digits shown


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


def texts(table: pd.DataFrame, name: str) -> list[str]:
    """Return a text column; blank where it is missing or not a text."""
    if name not in table:
        return [""] * len(table)
    return [text if isinstance(text, str) else "" for text in table[name].to_numpy()]


def numbers(table: pd.DataFrame, name: str) -> list[float | int | None]:
    """Return a number column, shortened; None where it is missing or not known."""
    if name not in table:
        return [None] * len(table)
    if name == "priority_rank":
        return [None if pd.isna(rank) else int(rank) for rank in table[name]]
    return [short(float(value)) for value in table[name].to_numpy()]


def short(value: float) -> float | int | None:
    """Return a number to three significant digits, whole where it is whole.

    Examples
    --------
    >>> short(12.0), short(0.12345), short(float("nan"))
    (12, 0.123, None)
    """
    if not np.isfinite(value):
        return None
    rounded = float(f"{value:.{_DIGITS}g}")
    return int(rounded) if rounded.is_integer() else rounded


def coded(told: Sequence[str]) -> dict[str, Any]:
    """Return texts as places in a list of the different ones, see ``worded``."""
    places = {text: place for place, text in enumerate(dict.fromkeys(told))}
    return {**worded(places), "codes": [places[text] for text in told]}


def coded_lists(told: Sequence[str]) -> dict[str, Any]:
    """Return texts of several sentences as places in a list of the sentences."""
    rows = [words.sentences(text) for text in told]
    different = dict.fromkeys(sentence for row in rows for sentence in row)
    places = {sentence: place for place, sentence in enumerate(different)}
    return {**worded(places), "codes": [[places[s] for s in row] for row in rows]}


def worded(told: Iterable[str]) -> dict[str, Any]:
    """Return texts for metric readers, and by place those that differ in US units.

    Examples
    --------
    >>> from culvertrisk.units import quantity
    >>> worded(["A seep", f"Drop {quantity(0.7, 'm', 1)}"])
    {'words': ['A seep', 'Drop 0.7 m'], 'us': {1: 'Drop 2.3 ft'}}
    >>> worded(["A seep"])
    {'words': ['A seep']}
    """
    pairs = [both_units(text) for text in told]
    differ = {
        place: pair.us for place, pair in enumerate(pairs) if pair.us != pair.metric
    }
    return {
        "words": [pair.metric for pair in pairs],
        **({"us": differ} if differ else {}),
    }


def single_lines(shapes: gpd.GeoSeries, simpler_m: float = _SIMPLER_M) -> gpd.GeoSeries:
    """Return single lines in degrees, simplified in metres; the index is kept."""
    parts = shapes[~(shapes.is_empty | shapes.isna())].simplify(simpler_m)
    parts = parts.to_crs(DEGREES).explode()
    return parts[parts.geom_type == "LineString"]


def coded_lines(lines: gpd.GeoSeries) -> list[list[int]]:
    """Return each line as differences of its places."""
    return [differences(shapely.get_coordinates(line)) for line in lines]
