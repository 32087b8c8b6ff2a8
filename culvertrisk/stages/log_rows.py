"""Rows of the log that count for nothing: of a pipe since replaced, or of none."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.inputs.reading import note_table
from culvertrisk.inputs.road_names import road_words
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.log_matching import plain_id
from culvertrisk.stages.log_places import written_distance

FILE = "thaw log"
PLACE, OLD_PIPE = "place", "install_year"  # columns of the two kinds of note


def of_an_old_pipe(crossings: GeoDataFrame, rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which rows of the log speak of a pipe that has been replaced since.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``install_year`` where it is known.
    rows : DataFrame
        ``culvert_id`` and ``winter``, the year in which it begins.

    Returns
    -------
    is_old : ndarray of bool, shape (rows,)
        Yes for winters that began before the year of the pipe that lies there now; a
        pipe is laid in summer. An unknown year counts as always.
    """
    years = pd.Series(known_column(crossings, "install_year"), dtype=float)
    laid = rows["culvert_id"].map(years.set_axis(crossings.index.astype(str)))
    return (rows["winter"].astype(float) < laid.astype(float)).to_numpy(bool)


def old_pipe_note(old: pd.DataFrame) -> tuple[str, ...]:
    """Tell how many rows were cut because the pipe was replaced, and where."""
    if old.empty:
        return ()
    counts = old["culvert_id"].value_counts().sort_index()
    listed = ", ".join(f"{name} ({count})" for name, count in counts.items())
    told = "row of the log is" if len(old) == 1 else "rows of the log are"
    return (
        f"{len(old)} {told} older than the pipe that lies there now and not counted: "
        f"{listed}.",
    )


def row_notes(
    crossings: GeoDataFrame, unclear: pd.DataFrame, old: pd.DataFrame
) -> pd.DataFrame:
    """List each row of the log that is not counted, and why, so that it can be mended.

    Parameters
    ----------
    crossings : GeoDataFrame
        Indexed by ``culvert_id``, with ``road_name`` and ``install_year``.
    unclear : DataFrame
        Rows of the log with the columns of ``match_rows`` that name no crossing
        clearly.
    old : DataFrame
        Rows of a pipe that has been replaced since.

    Returns
    -------
    notes : DataFrame
        As ``Reading.notes``, in the order of the file: ``column`` is ``place`` of the
        first kind, ``install_year`` of the second.
    """
    roads = {str(n): str(road) for n, road in crossings["road_name"].items()}
    years = known_column(crossings, "install_year")
    laid = dict(zip(roads, years, strict=True))
    notes = [_note(row, PLACE, _why_unclear(row, roads)) for row in _records(unclear)]
    for row in _records(old):
        name = row["culvert_id"]
        why = f"not counted: {name} was laid in {laid[name]:.0f}"
        notes.append(_note(row, OLD_PIPE, why) | {"culvert_id": name})
    notes.sort(key=lambda note: int(note["row"]))
    return note_table([*notes])


def _records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in rows.to_dict("records")]


def _note(row: Mapping[str, Any], column: str, why: str) -> dict[str, Any]:
    said = f"{row['day']:%Y-%m-%d} {row['written_id']} {row['place']}"
    return {
        "file": FILE,
        "row": int(row.get("source_row", 0)),
        "column": column,
        "found": " ".join(said.split()),
        "understood": why,
        "kind": "refused",
    }


def _why_unclear(row: Mapping[str, Any], roads: Mapping[str, str]) -> str:
    number, place = str(row["written_id"]).strip(), str(row["place"]).strip()
    why = _why_number(number, roads) if number else _why_place(place, roads)
    guess, sure = row["culvert_id"], row["match_confidence"]
    nearest = f"; nearest guess {guess}, confidence {sure:.2f}" if guess else ""
    return f"not counted: {why}{nearest}"


def _why_number(number: str, roads: Mapping[str, str]) -> str:
    same = [name for name in roads if plain_id(name) == plain_id(number)]
    if not same:
        return f"the inventory has no crossing {number}"
    if len(same) > 1:
        return f"{len(same)} crossings bear the number {number}"
    return f"{same[0]} lies on {roads[same[0]]}, the row names another road"


def _why_place(place: str, roads: Mapping[str, str]) -> str:
    if not place:
        return "neither a number nor a place"
    spelt = road_words(place)
    words = {name: road_words(road) for name, road in roads.items()}
    named = {road for road in words.values() if road and road <= spelt}
    named = {road for road in named if not any(road < other for other in named)}
    if not named:
        return "names no road of the inventory"
    if len(named) > 1:
        return "names more than one road"
    on_it = [name for name, road in words.items() if road in named]
    road = f"{roads[on_it[0]]} has {len(on_it)} crossings"
    if not np.isfinite(written_distance(place)):
        return f"{road}, and neither number nor mile tells which"
    return f"{road}, and the mile does not tell clearly which"
