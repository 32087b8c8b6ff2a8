"""The recipes, each on one screen: read the town, assess it, plan the morning."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.checks import InputError, refuse
from culvertrisk.inputs.culverts import understand_culverts
from culvertrisk.inputs.file_kinds import find_files
from culvertrisk.inputs.reading import note_table
from culvertrisk.inputs.town import Progress, TownData, need_log, read_town, silent
from culvertrisk.inputs.town_file import write_town_file
from culvertrisk.plans.call_list import match_calls
from culvertrisk.plans.driving import places_of, route_lines, travel_of
from culvertrisk.plans.morning import MorningPlan
from culvertrisk.plans.morning import plan_morning as plan_stops
from culvertrisk.plans.proof import prove as prove_by_hiding
from culvertrisk.plans.proof_words import proof_lines
from culvertrisk.plans.thaw_job import thaw_jobs
from culvertrisk.plans.travel import Travel
from culvertrisk.plans.water_trips import with_water_trips
from culvertrisk.reports.council import without_people
from culvertrisk.reports.exports import write_exports
from culvertrisk.reports.map import write_map
from culvertrisk.reports.map_data import MapContent
from culvertrisk.reports.run_sheet import write_run_sheets
from culvertrisk.reports.shapes import map_shapes
from culvertrisk.settings import Reading, Settings
from culvertrisk.stages import (
    access,
    chains,
    priority,
    rank_band,
    shade,
)
from culvertrisk.stages.coalitions import coalition_chances, coalitions
from culvertrisk.stages.cold import under_cold
from culvertrisk.stages.day_asked import DayAsked, asked_day, recorded_only
from culvertrisk.stages.flood_weather import day_water, town_forest
from culvertrisk.stages.ground import Ground, on_the_ground, trees_of
from culvertrisk.stages.loss_by_hour import avoided_by_hour
from culvertrisk.stages.unmapped import unmapped_crossings
from culvertrisk.stages.water import under_water
from culvertrisk.stages.winter_weather import mean_air_of
from culvertrisk.tables import table

DEMO_TOWN = Path("data_demo") / "town"


@dataclass(frozen=True)
class Assessment:
    """Every crossing scored for a day, and what the plans and reports stand on."""

    data: TownData
    on: date
    crossings: gpd.GeoDataFrame
    on_roads: access.OnRoads | None
    ground: Ground
    sun: shade.SunBySeason
    unmapped: gpd.GeoDataFrame
    notes: pd.DataFrame
    is_calibrated: bool
    asked: DayAsked


@dataclass(frozen=True)
class Morning:
    """A planned morning: stops, jobs and the lines that are driven."""

    plan: MorningPlan
    jobs: pd.DataFrame
    routes: gpd.GeoDataFrame | None


def start_town(town: Path, data: Sequence[Path]) -> dict[str, str]:
    """Write a town file from data files; return what each file was taken for.

    Raises
    ------
    InputError
        If the town file is there already, no culverts were found, or the inventory
        cannot be read as it is; then the town file is written all the same, so that
        what is missing can be told in it.
    """
    files, others = find_files(data)
    understood: dict[str, Reading] = {}
    problems: tuple[str, ...] = ()
    if "culverts" in files:
        try:
            understood["culverts"] = understand_culverts(files["culverts"])
        except InputError as error:
            problems = error.problems
    write_town_file(town, files, understood)
    refuse(f"{problem} {town.name} was written." for problem in problems)
    taken = {path.name: kind for kind, path in files.items()}
    left = {str(row.file): f"not used: {row.why}" for row in others.itertuples()}
    return taken | left


def assess(
    settings: Settings,
    on: date | None = None,
    typed: Mapping[str, float] | None = None,
    *,
    progress: Progress = silent,
) -> Assessment:
    """Score freeze and flood risk of every crossing on a day.

    Parameters
    ----------
    settings : Settings
        The town file.
    on : date, optional
        The day asked; without it as ``asked_day`` tells.
    typed : mapping of str to float, optional
        Numbers typed for that day, of ``typed_numbers``.
    progress : callable
        Told the name of each step.

    Returns
    -------
    assessment : Assessment
        The crossings with the columns of every stage.

    Raises
    ------
    InputError
        If a file cannot be used or the winter's weather has too many gaps.
    """
    data, asked = asked_day(read_town(settings, on, progress=progress), on, typed)
    settings, day, weather = data.settings, asked.on, data.weather
    crossings, site = _on_site(data, progress)
    ground, sun = site.ground, site.sun
    crossings = shade.add_shade(crossings, sun, day)
    crossings = chains.add_chains(crossings, data.terrain, ground.site)
    progress("Ice, day by day, and the log")
    cold = under_cold(crossings, data.thaw_log, weather, sun, settings, day)
    crossings, settings, fit = cold
    progress("Today's water, design storms and what each pipe carries")
    rain, pond = data.rainfall, ground.pond
    crossings = under_water(crossings, weather, settings, day, rain, pond).copy()
    progress("What each group of inputs explains, and how far ranks move")
    swapped = coalitions(crossings, sun, weather, settings, day)
    chances = coalition_chances(swapped)
    crossings = priority.add_priority(crossings, chances, settings)
    crossings = rank_band.add_rank_band(crossings, weather, sun, settings, day)
    progress("Streams that meet a road where no culvert is listed")
    missing = unmapped_crossings(crossings, data.terrain, data.roads, ground.site)
    said = [_said("elevation", site.misfits), _said("thaw log", fit.notes)]
    notes = pd.concat([data.notes, *said, fit.row_notes], ignore_index=True)
    found = crossings, site.on_roads, ground, sun, missing, notes
    return Assessment(data, day, *found, fit.is_calibrated, asked)


@dataclass(frozen=True)
class _Site:
    ground: Ground
    misfits: list[str]
    sun: shade.SunBySeason
    on_roads: access.OnRoads | None


def _on_site(data: TownData, progress: Progress) -> tuple[gpd.GeoDataFrame, _Site]:
    """Add what lies about each crossing, whatever the day: ground, sun, access."""
    roads, places, settings = data.roads, data.places, data.settings
    progress("Catchments, roads as dams, ponds")
    crossings, ground, misfits = on_the_ground(data.crossings, data)
    progress("Sun and shade at both ends")
    sun = shade.sun_by_season(crossings, data.terrain, trees_of(data))
    progress("Detours and who is cut off")
    at = access.put_on_roads(roads, crossings, settings)
    crossings = access.add_access(crossings, roads, places, settings, on_roads=at)
    return crossings, _Site(ground, misfits, sun, at)


def prove(settings: Settings, *, progress: Progress = silent) -> list[str]:
    """Hide each winter of the log in turn; return the proof in lines of text.

    Raises
    ------
    InputError
        If no thaw log is set, a file cannot be used, or fewer than two winters have a
        known thaw.
    """
    need_log(settings)
    data = read_town(recorded_only(settings), None, progress=progress)
    crossings, site = _on_site(data, progress)
    progress("Hiding each winter of the log in turn")
    log, weather = data.thaw_log, data.weather
    return proof_lines(prove_by_hiding(crossings, log, weather, site.sun, settings))


def _said(file: str, sentences: Sequence[str]) -> pd.DataFrame:
    return note_table(
        [
            {"file": file, "row": 0, "understood": words, "kind": "assumed"}
            for words in sentences
        ]
    )


def plan_morning(assessment: Assessment) -> Morning:
    """Plan which crossing is opened by which truck, in which order.

    Parameters
    ----------
    assessment : Assessment
        The scored crossings of the day.

    Returns
    -------
    morning : Morning
        Without roads or crews nothing is reached, and the plan says so.
    """
    crossings, settings = assessment.crossings, assessment.data.settings
    air_c = mean_air_of(assessment.data.weather, assessment.on)
    jobs = thaw_jobs(crossings, settings.crews, air_c)
    if assessment.on_roads is None:
        nowhere = Travel((), np.empty((0, 0)), np.empty((0, 0)))
        return Morning(plan_stops(crossings, jobs, nowhere, settings), jobs, None)
    places = places_of(crossings, settings)
    travel = travel_of(assessment.on_roads.network, places)
    jobs = with_water_trips(jobs, travel, settings)
    can_be_driven_to = crossings[crossings.index.isin(travel.place_ids)]
    forest = town_forest(crossings)
    water = day_water(assessment.data.weather, settings, assessment.on, forest)
    by_hour = avoided_by_hour(can_be_driven_to, water, settings)
    plan = plan_stops(crossings, jobs, travel, settings, by_hour)
    routes = route_lines(
        assessment.on_roads.network, places, plan.stops, str(crossings.crs)
    )
    return Morning(plan, jobs, routes)


def write_reports(
    folder: Path, assessment: Assessment, morning: Morning | None = None
) -> list[Path]:
    """Write the map, the run sheets and the tables into a folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there; files of an older run are replaced.
    assessment : Assessment
        The scored crossings.
    morning : Morning, optional
        The plan; without it there are no run sheets.

    Returns
    -------
    paths : list of Path
        The files written, the map first.
    """
    folder.mkdir(parents=True, exist_ok=True)
    content = _content(assessment, morning)
    public = without_people(content)
    paths = [
        write_map(folder / "map.html", content),
        write_map(folder / "council_map.html", public),
    ]
    if morning is not None:
        paths.append(write_run_sheets(folder / "run_sheets.html", content))
    return paths + write_exports(folder, content)


def _content(assessment: Assessment, morning: Morning | None) -> MapContent:
    data, crossings = assessment.data, assessment.crossings
    log = data.thaw_log
    return MapContent(
        title=data.settings.town.name or "Culverts",
        on=assessment.on,
        crossings=crossings,
        cautions=table("cautions"),
        notes=assessment.notes,
        roads=data.roads,
        terrain=data.terrain,
        plan=morning.plan if morning else None,
        routes=morning.routes if morning else None,
        jobs=morning.jobs if morning else None,
        calls=None if data.calls is None else match_calls(data.calls, crossings, log),
        units=data.settings.town.units,
        settings=data.settings,
        unmapped=assessment.unmapped,
        calibrated=assessment.is_calibrated,
        asked=assessment.asked,
        **map_shapes(crossings, data.terrain, assessment.ground),
    )


def demo_folder() -> Path:
    """Return the folder of the invented demo town."""
    inside = Path(__file__).parent / "demo_town"
    return inside if inside.is_dir() else Path(__file__).parent.parent / DEMO_TOWN
