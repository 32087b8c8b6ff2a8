"""All files of a town read at once into one set of tables."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from culvertrisk.checks import InputError, file_problem, refuse
from culvertrisk.inputs.calls import read_calls
from culvertrisk.inputs.culverts import read_culverts
from culvertrisk.inputs.made_weather import made_weather
from culvertrisk.inputs.places import read_places
from culvertrisk.inputs.rainfall import read_rainfall
from culvertrisk.inputs.rasters import Terrain, read_terrain
from culvertrisk.inputs.reading import Reading
from culvertrisk.inputs.roads import read_roads
from culvertrisk.inputs.sunshine import with_clear_sun
from culvertrisk.inputs.thaw_log import read_thaw_log
from culvertrisk.inputs.weather import read_weather
from culvertrisk.settings import Settings

Progress = Callable[[str], None]
Readers = dict[str, Callable[[Path], Any]]


def silent(step: str) -> None:
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
    calls: pd.DataFrame | None
    rainfall: pd.DataFrame | None
    notes: pd.DataFrame


def read_town(
    settings: Settings, on: date | None = None, *, progress: Progress = silent
) -> TownData:
    """Read all files of a town; every problem of every file is told at once.

    Parameters
    ----------
    settings : Settings
        The town file.
    on : date, optional
        The day asked: a made-up winter ends on it where no weather is given; without
        it on the date of the typed forecast, else today.
    progress : callable
        Told the name of each step.

    Raises
    ------
    InputError
        If a file is missing or cannot be used.
    """
    progress("Reading the culvert inventory")
    inventory = settings.folder / settings.files.culverts
    try:
        culverts = read_culverts(inventory, settings.culverts, settings.town.crs)
    except InputError as error:
        # the files that need no place of the town still tell what is wrong with them
        _, problems = _read_all(settings, _placeless(settings), progress)
        raise InputError([*error.problems, *problems]) from error
    readers = _readers(settings, str(culverts.table.crs), culverts.table)
    found, problems = _read_all(settings, readers, progress)
    refuse(problems)
    if "weather" not in found:
        frost_cday = settings.town.freezing_index_cday
        last_day = on or settings.forecast.date or date.today()
        found["weather"] = made_weather(frost_cday, last_day, years=2)
    return _town_data(settings, culverts, found)


def need_log(settings: Settings) -> None:
    """Refuse a town whose file names no thaw log, before anything is read.

    Raises
    ------
    InputError
        If ``thaw_log`` is not set.
    """
    if settings.path("thaw_log") is None:
        problem = file_problem(
            "town file",
            "name the crews' log of thaws, which a ranking is proved on",
            "no thaw_log under [files]",
            'Set it, such as thaw_log = "thaw_log.csv".',
        )
        raise InputError([problem])


def _read_all(
    settings: Settings, readers: Readers, progress: Progress
) -> tuple[dict[str, Any], list[str]]:
    """Return what the readers made of the town's files, and every refusal."""
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
    return found, problems


def _placeless(settings: Settings) -> Readers:
    return {
        "weather": lambda path: read_weather(path, settings.weather),
        "thaw_log": lambda path: read_thaw_log(path, settings.thaw_log),
        "calls": lambda path: read_calls(path, settings.calls),
        "rainfall": lambda path: read_rainfall(path, settings.rainfall),
    }


def _readers(settings: Settings, work_crs: str, crossings: gpd.GeoDataFrame) -> Readers:
    bounds = tuple(crossings.total_bounds)
    canopy = settings.path("canopy")
    return {
        "roads": lambda path: _roads(path, settings, work_crs),
        "dem": lambda path: read_terrain(path, canopy, work_crs, bounds),
        "places": lambda path: read_places(path, settings.places, work_crs),
        **_placeless(settings),
    }


def _roads(path: Path, settings: Settings, work_crs: str) -> Reading:
    """Read roads; their width is that of their class."""
    roads = read_roads(path, settings.roads, work_crs)
    width_m = [settings.road_class(name).width_m for name in roads.table["road_class"]]
    return Reading(roads.table.assign(width_m=width_m), roads.notes)


def _town_data(
    settings: Settings, culverts: Reading, found: dict[str, Any]
) -> TownData:
    readings = {k: v for k, v in found.items() if isinstance(v, Reading)}
    tables = {key: reading.table for key, reading in readings.items()}
    notes = [culverts.notes, *(reading.notes for reading in readings.values())]
    return TownData(
        settings=settings,
        crossings=culverts.table,
        roads=tables.get("roads"),
        terrain=found.get("dem"),
        weather=with_clear_sun(tables["weather"], culverts.table),
        thaw_log=tables.get("thaw_log"),
        places=tables.get("places"),
        calls=tables.get("calls"),
        rainfall=tables.get("rainfall"),
        notes=pd.concat(notes, ignore_index=True),
    )
