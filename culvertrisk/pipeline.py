"""The recipes, each on one screen: read the town, assess it, plan the morning."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.checks import InputError, refuse
from culvertrisk.inputs.culverts import read_culverts
from culvertrisk.inputs.places import read_places
from culvertrisk.inputs.rasters import Terrain, read_terrain
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.roads import read_roads
from culvertrisk.inputs.thaw_log import read_thaw_log
from culvertrisk.inputs.weather import read_weather
from culvertrisk.settings import Settings

Progress = Callable[[str], None]


def _silent(step: str) -> None:
    """Take a step's name and say nothing."""


@dataclass(frozen=True)
class TownData:
    """Everything read from a town's files; ``notes`` says what was assumed."""

    settings: Settings
    crossings: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame | None
    terrain: Terrain | None
    weather: pd.DataFrame
    thaw_log: pd.DataFrame | None
    places: gpd.GeoDataFrame | None
    notes: pd.DataFrame


def read_town(settings: Settings, progress: Progress = _silent) -> TownData:
    """Read all files of a town; every problem of every file is told at once.

    Raises
    ------
    InputError
        If a file is missing or cannot be used.
    """
    progress("Reading the culvert inventory")
    culverts = read_culverts(
        settings.folder / settings.files.culverts, settings.culverts, settings.town.crs
    )
    work_crs = str(culverts.table.crs)
    readers: dict[str, Callable[[Path], Any]] = {
        "roads": lambda path: read_roads(path, settings.roads, work_crs),
        "dem": lambda path: read_terrain(
            path, settings.path("canopy"), work_crs, tuple(culverts.table.total_bounds)
        ),
        "weather": lambda path: read_weather(path, settings.weather),
        "thaw_log": lambda path: read_thaw_log(path, settings.thaw_log),
        "places": lambda path: read_places(path, settings.places, work_crs),
    }
    found: dict[str, Any] = {}
    problems: list[str] = []
    for key, reader in readers.items():
        path = settings.path(key)
        if path is None:
            continue
        progress(f"Reading {path.name}")
        try:
            found[key] = reader(path)
        except InputError as error:
            problems.extend(error.problems)
    refuse(problems)
    return _town_data(settings, culverts, found)


def _town_data(
    settings: Settings, culverts: Reading, found: dict[str, Any]
) -> TownData:
    readings = [culverts, *(v for v in found.values() if isinstance(v, Reading))]
    tables = {k: v.table for k, v in found.items() if isinstance(v, Reading)}
    return TownData(
        settings=settings,
        crossings=culverts.table,
        roads=tables.get("roads"),
        terrain=found.get("dem"),
        weather=tables["weather"],
        thaw_log=tables.get("thaw_log"),
        places=tables.get("places"),
        notes=pd.concat([reading.notes for reading in readings], ignore_index=True),
    )
