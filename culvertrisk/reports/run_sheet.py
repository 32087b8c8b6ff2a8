"""Run sheets: what each truck does, stop by stop, for paper and for the map's list."""

from __future__ import annotations

from pathlib import Path
from string import ascii_uppercase
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined

from culvertrisk.plans.travel import FILL
from culvertrisk.reports import amounts, words
from culvertrisk.reports.calibration import score_words, uncalibrated_words
from culvertrisk.reports.call_sheet import call_rows
from culvertrisk.reports.comparison_line import comparison_words
from culvertrisk.reports.exports import fill_points, outlet_ends, replace_file
from culvertrisk.reports.missed_sheet import look_sheets, not_reached
from culvertrisk.reports.offline import policy
from culvertrisk.reports.planned_line import planned_line
from culvertrisk.reports.release import release_dangers
from culvertrisk.reports.sentence_units import both_units
from culvertrisk.reports.stop_site import (
    clear_words,
    expected_shut,
    frozen_words,
    how_words,
    people_words,
    site_words,
    wait_words,
)
from culvertrisk.reports.water_amounts import volume_used
from culvertrisk.reports.wet_roads import sign_rows, wet_on_way
from culvertrisk.tables import sources

if TYPE_CHECKING:
    from culvertrisk.reports.map_data import MapContent

_TANK = ("tank_before_m3", "tank_left_m3")
_SHOWN_NOT_REACHED = 30  # about three pages; the map and crossings.csv hold them all
_SHOWN_SIGNS = 40  # about two pages


def truck_sheets(content: MapContent) -> list[dict[str, Any]]:
    """Return one entry a truck, each with its stops in order, in plain words.

    Parameters
    ----------
    content : MapContent
        Plan, crossings and jobs of the morning.

    Returns
    -------
    sheets : list of dict
        Keys ``letter``, ``crew``, ``leaves``, ``back``, ``open_count``, ``drive``,
        ``water``, ``fuel`` and ``stops``; amounts are metric and US words. Empty
        without a plan.
    """
    if content.plan is None:
        return []
    places = _places(content)
    jobs = _jobs(content)
    return [
        {"letter": ascii_uppercase[place % len(ascii_uppercase)]}
        | _sheet(content, _with_tank(stops), places, jobs)
        for place, (_, stops) in enumerate(
            content.plan.stops.groupby("crew", sort=False)
        )
    ]


def sheet_markup(content: MapContent) -> str:
    """Return the run sheets as escaped markup, without a page around them."""
    return _template("run_sheet.html").render(**_words(content))


def write_run_sheets(path: Path, content: MapContent) -> Path:
    """Write the run sheets as one page without any script.

    Parameters
    ----------
    path : Path
        The HTML file to write; an older one is replaced as a whole.
    content : MapContent
        What the sheets tell.

    Returns
    -------
    path : Path
        The file written.
    """
    page = _template("run_sheet_page.html").render(**_words(content), policy=policy([]))
    replace_file(path, lambda new: new.write_bytes(page.encode()))
    return path


def _template(name: str) -> Any:
    pages = Environment(
        loader=PackageLoader("culvertrisk.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return pages.get_template(name)


def _words(content: MapContent) -> dict[str, Any]:
    missed, signs = not_reached(content), sign_rows(content)
    crossings, fitted = content.crossings, content.calibrated
    return {
        "title": content.title,
        "day": words.day_words(content.on),
        **planned_words(content),
        "trucks": truck_sheets(content),
        "rounds": look_sheets(content),
        "missed": missed[:_SHOWN_NOT_REACHED],
        "missed_more": max(len(missed) - _SHOWN_NOT_REACHED, 0),
        "signs": signs[:_SHOWN_SIGNS],
        "sign_count": len(signs),
        "calls": call_rows(content),
        "problems": plan_problems(content),
        "cautions": cautions(content),
        "statement": words.STATEMENT,
        "score_words": score_words(crossings, content.settings, calibrated=fitted),
        "uncalibrated": uncalibrated_words(crossings, calibrated=fitted),
        "comparison": comparison_words(content),
        "us_first": content.units == "us",
    }


def planned_words(content: MapContent) -> dict[str, amounts.Amount]:
    """Return ``planned``, the day and its weather, and ``made_up``, else blank.

    Where nothing tells the day's water, ``made_up`` says that too.
    """
    line = planned_line(content.asked, is_planned=content.plan is not None)
    told = (content.asked.made_up, content.asked.no_flow) if content.asked else ()
    made_up = " ".join(filter(None, told))
    return {"planned": both_units(line), "made_up": both_units(made_up)}


def plan_problems(content: MapContent) -> list[amounts.Amount]:
    """Return what is wrong with the plan, for metric and for US readers."""
    return [
        both_units(told) for told in (content.plan.problems if content.plan else ())
    ]


def cautions(content: MapContent) -> list[dict[str, Any]]:
    """Return the cautions: hazard, words in both units and where they are from."""
    rows = content.cautions.fillna("").astype(str)
    citations = sources()
    return [
        {
            "hazard": row["hazard"],
            "words": both_units(row["words"]),
            "source": citations.get(row["source"], row["source"]),
        }
        for row in rows.to_dict("records")
    ]


def _places(content: MapContent) -> pd.DataFrame:
    crossings = content.crossings
    ends = outlet_ends(crossings)
    x_m = crossings.get("outlet_x_m", pd.Series(np.nan, index=crossings.index))
    y_m = crossings.get("outlet_y_m", pd.Series(np.nan, index=crossings.index))
    return pd.DataFrame(crossings.drop(columns=crossings.geometry.name)).assign(
        lat=ends.y.to_numpy(),
        lon=ends.x.to_numpy(),
        has_end=(x_m.notna() & y_m.notna()).to_numpy(),
        east_m=(x_m - crossings.geometry.x).to_numpy(),
        danger=pd.Series(release_dangers(crossings), crossings.index, dtype=object),
        north_m=(y_m - crossings.geometry.y).to_numpy(),
    )


def _jobs(content: MapContent) -> dict[tuple[str, str], Any]:
    if content.jobs is None:
        return {}
    return {
        (str(row["crew"]), str(row["culvert_id"])): row
        for row in content.jobs.to_dict("records")
    }


def _with_tank(stops: pd.DataFrame) -> pd.DataFrame:
    """A truck's stops in order, with what its tank held before each."""
    ordered = stops.sort_values("stop_number")
    return ordered.assign(tank_before_m3=ordered["tank_left_m3"].shift())


def _sheet(
    content: MapContent,
    stops: pd.DataFrame,
    places: pd.DataFrame,
    jobs: dict[Any, Any],
) -> dict[str, Any]:
    thaws = stops[stops["kind"] == "thaw"]
    first, crew = stops.iloc[0], str(stops["crew"].iloc[0])
    shut = places.reindex(thaws["culvert_id"]).get("blocked_chance")
    left_s = first["end_s" if first["kind"] == "start" else "start_s"]
    return {
        "crew": crew,
        "leaves": amounts.time_of_day(left_s),
        "back": amounts.time_of_day(stops["arrive_s"].iloc[-1]),
        "open_count": len(thaws),
        "shut": expected_shut(shut) if content.calibrated and shut is not None else "",
        "people": people_words(content.settings, crew),
        "fill_count": int((stops["kind"] == "fill").sum()),
        "drive": amounts.distance(stops["drive_m"].sum()),
        "push": _push(crew, thaws, jobs),
        "water": volume_used([*zip(*(thaws[key] for key in _TANK), strict=True)]),
        "fuel": volume_used([(used_m3, 0.0) for used_m3 in thaws["fuel_m3"]]),
        "stops": [
            _stop(row, places, jobs.get((crew, str(row["culvert_id"])), {}), content)
            for row in stops.to_dict("records")
        ],
    }


def _push(crew: str, thaws: pd.DataFrame, jobs: dict[Any, Any]) -> amounts.Amount:
    """Push back of the truck's jet; unknown without a pump pressure."""
    told = [jobs.get((crew, str(place)), {}) for place in thaws["culvert_id"]]
    pushes = [job.get("jet_reaction_n", np.nan) for job in told]
    return amounts.force(max(pushes, default=np.nan))


def _stop(
    stop: dict[Any, Any],
    places: pd.DataFrame,
    job: dict[Any, Any],
    content: MapContent,
) -> dict[str, Any]:
    card = {
        "kind": stop["kind"],
        "number": int(stop["stop_number"]),
        "place": _place_words(str(stop["place_id"])),
        "arrive": amounts.time_of_day(stop["arrive_s"]),
        "start": amounts.time_of_day(stop["start_s"]),
        "end": amounts.time_of_day(stop["end_s"]),
        "drive_time": amounts.minutes(stop["drive_s"]),
        "drive": amounts.distance(stop["drive_m"]),
        "tank_left": amounts.volume(stop["tank_left_m3"]),
        "fuel_left": amounts.volume(stop["fuel_left_m3"]),
        "wait": wait_words(stop),
        "wet": wet_on_way(content, stop),
    }
    if stop["kind"] != "thaw":
        return card | {"where": _fill_place(content, str(stop["place_id"]))}
    place, own = places.loc[stop["culvert_id"]], content.settings
    return {
        **card,
        **_thaw(stop, job),
        **site_words(place),
        "frozen": frozen_words(place, calibrated=content.calibrated),
        "keep_clear": clear_words(places, stop["culvert_id"], own) if own else "",
    }


def _fill_place(content: MapContent, place_id: str) -> str:
    """Coordinates of a fill point; blank for a yard."""
    fills = {FILL + f.name: f for f in fill_points(content)}
    fill = fills.get(place_id)
    return f"{fill.lat:.5f}, {fill.lon:.5f}" if fill else ""


def _thaw(stop: dict[Any, Any], job: dict[Any, Any]) -> dict[str, Any]:
    low_s, high_s = (job.get(key, np.nan) for key in ("job_low_s", "job_high_s"))
    return {
        "id": str(stop["culvert_id"]),
        "minutes": amounts.minutes(job.get("job_s", stop["end_s"] - stop["start_s"])),
        "range": amounts.minute_range(low_s, high_s),
        "water": volume_used([(stop[_TANK[0]], stop[_TANK[1]])]),
        "fuel": amounts.volume(stop["fuel_m3"]),
        "ends": how_words(job),
        "loss": amounts.person_hours(stop["loss_avoided_person_h"]),
    }


def _place_words(place_id: str) -> str:
    """Name of a fill point or ``the yard``: ids of the travel table carry a prefix."""
    kind, _, name = place_id.partition(":")
    return {"crew": "the yard", "fill": name}.get(kind, place_id)
