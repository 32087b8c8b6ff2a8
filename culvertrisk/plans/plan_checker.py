"""Whether a morning plan holds: all recomputed from the inputs, not the solver."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from culvertrisk.inputs.road_names import road_key
from culvertrisk.plans.travel import CREW, FILL, Travel
from culvertrisk.settings import Crew, KeepClear, Settings
from culvertrisk.units import quantity

TOLERANCE_S = 0.01
TOLERANCE_M3 = 1e-6
TOLERANCE_PERSON_H = 1e-6
LIKELY_BLOCKED_CHANCE = 0.5


def check_plan(
    stops: pd.DataFrame,
    crossings: pd.DataFrame,
    jobs: pd.DataFrame,
    travel: Travel,
    settings: Settings,
    by_hour: pd.DataFrame | None = None,
) -> tuple[str, ...]:
    """Check every constraint of a plan.

    Parameters
    ----------
    stops : DataFrame
        Stops of the plan, in order for each crew.
    crossings, jobs : DataFrame
        Crossings table and thaw jobs that the plan was made from.
    travel : Travel
        Driving times at the road's winter speed.
    settings : Settings
        The town file.
    by_hour : DataFrame, optional
        Shares of the loss still avoided by clock time, one row a crossing.

    Returns
    -------
    problems : tuple of str
        One sentence for each broken constraint; empty when all hold.
    """
    problems: list[str] = []
    thaws = stops[stops["kind"] == "thaw"]
    for culvert_id, count in thaws["culvert_id"].value_counts().items():
        if count > 1:
            problems.append(f"{culvert_id}: opened {count} times")
    crews = {crew.name: crew for crew in settings.crews}
    for name, day in stops.groupby("crew", sort=False):
        crew = crews.get(str(name))
        if crew is None:
            problems.append(f"{name}: no such crew in the town file")
            continue
        problems += _drive_problems(crew, day, travel)
        problems += _shift_problems(crew, day)
        problems += _job_problems(crew, day, jobs)
        problems += _store_problems(crew, day, jobs)
        problems += _fill_problems(crew, day, settings)
    problems += _clear_problems(thaws, crossings, settings)
    problems += _chain_problems(thaws, crossings)
    problems += _worth_problems(thaws, crossings, by_hour)
    return tuple(problems)


def _drive_problems(crew: Crew, day: pd.DataFrame, travel: Travel) -> Iterator[str]:
    index = {place: number for number, place in enumerate(travel.place_ids)}
    before = None
    for row in day.to_dict("records"):
        here = f"{crew.name} at {row['place_id']}"
        if row["place_id"] not in index:
            yield f"{here}: no such place in the travel table"
            return
        if before is not None:
            leg = index[before["place_id"]], index[row["place_id"]]
            needed_s = float(travel.seconds[leg]) / crew.speed_fraction
            if not abs(row["drive_s"] - needed_s) <= TOLERANCE_S:
                yield f"{here}: drive of {row['drive_s']:.0f} s, road {needed_s:.0f} s"
            if row["arrive_s"] < before["end_s"] + needed_s - TOLERANCE_S:
                yield f"{here}: arrives before it can"
        if row["start_s"] < row["arrive_s"] - TOLERANCE_S:
            yield f"{here}: starts before it arrives"
        before = row


def _shift_problems(crew: Crew, day: pd.DataFrame) -> Iterator[str]:
    home = f"{CREW}{crew.name}"
    first, last = day.iloc[0], day.iloc[-1]
    if first["kind"] != "start" or first["place_id"] != home:
        yield f"{crew.name}: does not begin at its own yard"
    if last["kind"] != "end" or last["place_id"] != home:
        yield f"{crew.name}: does not end at its own yard"
    if first["start_s"] < crew.shift_start - TOLERANCE_S:
        yield f"{crew.name}: leaves before the shift begins"
    if last["end_s"] > crew.shift_start + crew.shift_s + TOLERANCE_S:
        yield f"{crew.name}: is back after the hours left today"


def _job_problems(crew: Crew, day: pd.DataFrame, jobs: pd.DataFrame) -> Iterator[str]:
    own = _own_jobs(crew, jobs)
    for row in day[day["kind"] == "thaw"].to_dict("records"):
        here = f"{crew.name} at {row['culvert_id']}"
        if row["culvert_id"] != row["place_id"]:
            yield f"{here}: stands at {row['place_id']} instead"
        if row["culvert_id"] not in own.index:
            yield f"{here}: has no thaw job"
            continue
        job = own.loc[row["culvert_id"]]
        if not bool(job["is_possible"]):
            yield f"{here}: job is not possible: {job['why_not']}"
        if not row["end_s"] - row["start_s"] >= job["job_s"] - TOLERANCE_S:
            yield f"{here}: is given less time than the job takes"


def _store_problems(crew: Crew, day: pd.DataFrame, jobs: pd.DataFrame) -> Iterator[str]:
    """Water is taken at fill points; burner fuel lasts for the whole shift."""
    own = _own_jobs(crew, jobs)
    water_m3, fuel_m3 = crew.tank_m3, crew.fuel_tank_m3
    for row in day.to_dict("records"):
        here = f"{crew.name} at {row['place_id']}"
        if row["kind"] == "fill":
            water_m3 = crew.tank_m3
        elif row["kind"] == "thaw" and row["culvert_id"] in own.index:
            job = own.loc[row["culvert_id"]]
            water_m3 -= float(job["water_m3"])
            fuel_m3 -= float(job["fuel_m3"])
        if water_m3 < -TOLERANCE_M3:
            yield f"{here}: runs out of water"
        if fuel_m3 < -TOLERANCE_M3:
            yield f"{here}: runs out of burner fuel"
        if not abs(row["tank_left_m3"] - water_m3) <= TOLERANCE_M3:
            yield f"{here}: tank is said to hold {_litres(row['tank_left_m3'])}"
        if not abs(row["fuel_left_m3"] - fuel_m3) <= TOLERANCE_M3:
            yield f"{here}: fuel is said to be {_litres(row['fuel_left_m3'])}"


def _litres(volume_m3: float) -> str:
    return quantity(volume_m3 * 1_000, "L")


def _fill_problems(crew: Crew, day: pd.DataFrame, settings: Settings) -> Iterator[str]:
    fills = {f"{FILL}{fill.name}": fill for fill in settings.fill_points}
    for row in day[day["kind"] == "fill"].to_dict("records"):
        here = f"{crew.name} at {row['place_id']}"
        fill = fills.get(row["place_id"])
        if fill is None:
            yield f"{here}: no such fill point in the town file"
            continue
        if row["start_s"] < fill.open_from - TOLERANCE_S:
            yield f"{here}: fills before it opens"
        if row["end_s"] > fill.open_until + TOLERANCE_S:
            yield f"{here}: fills after it closes"
        filled_m3 = (row["end_s"] - row["start_s"] + TOLERANCE_S) * fill.rate_m3s
        if not filled_m3 >= row["water_m3"] - TOLERANCE_M3:
            yield f"{here}: takes more water than flows in that time"


def clear_rules(
    crossings: pd.DataFrame, culvert_id: str, settings: Settings
) -> tuple[KeepClear, ...]:
    """Return the rules that keep machines off a crossing's road for some hours.

    Parameters
    ----------
    crossings : DataFrame
        With ``road_name`` (the inventory's) and ``network_road`` (the road file's),
        where they are known: a rule that names either holds.
    culvert_id : str
        The crossing.
    settings : Settings
        The town file; a rule without road names holds on all roads.
    """
    spelt = {
        road_key(crossings[column].get(culvert_id, ""))
        for column in ("road_name", "network_road")
        if column in crossings
    }
    return tuple(
        rule
        for rule in settings.keep_clear
        if not rule.road_names or spelt & {road_key(name) for name in rule.road_names}
    )


def _clear_problems(
    thaws: pd.DataFrame, crossings: pd.DataFrame, settings: Settings
) -> Iterator[str]:
    for row in thaws.to_dict("records"):
        here = f"{row['crew']} at {row['culvert_id']}"
        for rule in clear_rules(crossings, row["culvert_id"], settings):
            if (
                row["start_s"] < rule.clear_until - TOLERANCE_S
                and row["end_s"] > rule.clear_from + TOLERANCE_S
            ):
                yield f"{here}: stands there in hours to keep clear ({rule.reason})"


def must_be_opened(crossings: pd.DataFrame, culvert_id: str) -> bool:
    """Tell whether a crossing counts as blocked for those that drain into it."""
    if culvert_id not in crossings.index:
        return False
    chances = crossings.get("blocked_chance", pd.Series(np.nan, crossings.index))
    return not float(chances[culvert_id]) < LIKELY_BLOCKED_CHANCE


def _chain_problems(thaws: pd.DataFrame, crossings: pd.DataFrame) -> Iterator[str]:
    if "downstream_id" not in crossings:
        return
    opened_s = dict(zip(thaws["culvert_id"], thaws["end_s"], strict=True))
    for row in thaws.to_dict("records"):
        below = crossings["downstream_id"].get(row["culvert_id"], "")
        if not isinstance(below, str) or not must_be_opened(crossings, below):
            continue
        if not opened_s.get(below, np.inf) <= row["start_s"] + TOLERANCE_S:
            yield f"{row['culvert_id']}: opened before {below}, which lies below it"


def _worth_problems(
    thaws: pd.DataFrame, crossings: pd.DataFrame, by_hour: pd.DataFrame | None
) -> Iterator[str]:
    for row in thaws.to_dict("records"):
        known = float(crossings["loss_avoided_person_h"].get(row["culvert_id"], 0))
        known = known if known > 0 else 0.0  # opened for the crossing above it
        if by_hour is not None:
            shares = by_hour.loc[row["culvert_id"]]
            later = shares[shares.index >= row["end_s"]].iloc[:1]
            sooner = shares[shares.index <= row["end_s"]].iloc[-1:]
            span_s = max(later.index[0] - sooner.index[0], 1)
            part = (row["end_s"] - sooner.index[0]) / span_s
            known *= float(sooner.iloc[0] * (1 - part) + later.iloc[0] * part)
        if not abs(row["loss_avoided_person_h"] - known) <= TOLERANCE_PERSON_H:
            yield f"{row['culvert_id']}: loss avoided is not that of the table and hour"


def _own_jobs(crew: Crew, jobs: pd.DataFrame) -> pd.DataFrame:
    return jobs[jobs["crew"] == crew.name].set_index("culvert_id")
