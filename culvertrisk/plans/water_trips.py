"""Jobs that take more water than a tank: trips to the nearest fill point between."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from culvertrisk.plans.thaw_job import TOO_MUCH_WATER
from culvertrisk.plans.travel import FILL, Travel
from culvertrisk.settings import Crew, FillPoint, Settings

MOST_TRIPS = 3  # with more the hole freezes again meanwhile; our choice


def with_water_trips(
    jobs: pd.DataFrame, travel: Travel, settings: Settings
) -> pd.DataFrame:
    """Make jobs possible that only lack water, by trips from the crossing.

    Parameters
    ----------
    jobs : DataFrame
        Rows of :func:`culvertrisk.plans.thaw_job.thaw_jobs`.
    travel : Travel
        Driving at the road's winter speed.
    settings : Settings
        Crews and fill points; only those that are open all shift count.

    Returns
    -------
    jobs : DataFrame
        With ``trip_count`` and ``trip_fill``, the fill point's name. In rows with
        trips the job lasts longer by the driving and filling, and ``water_m3`` is
        what the truck must bring: the rest is fetched.
    """
    index = {place: number for number, place in enumerate(travel.place_ids)}
    crews = {crew.name: crew for crew in settings.crews}
    rows: list[dict[str, Any]] = []
    for record in jobs.to_dict("records"):
        job: dict[str, Any] = {"trip_count": 0, "trip_fill": ""}
        job |= {str(name): value for name, value in record.items()}
        if job["why_not"] == TOO_MUCH_WATER and job["culvert_id"] in index:
            place = index[job["culvert_id"]]
            job |= _with_trips(job, crews[job["crew"]], place, travel, settings)
        rows.append(job)
    columns = [*jobs.columns, "trip_count", "trip_fill"]
    return pd.DataFrame(rows, index=jobs.index, columns=columns)


def _with_trips(
    job: Mapping[str, Any],
    crew: Crew,
    place: int,
    travel: Travel,
    settings: Settings,
) -> dict[str, Any]:
    """Return what trips change of a job; nothing where they do not help."""
    nearest = _nearest(crew, place, travel, settings)
    count = int(np.ceil(job["water_m3"] / crew.tank_m3)) - 1
    if nearest is None or count > MOST_TRIPS:
        return {}
    fill, trip_s = nearest
    times = ("job_s", "job_low_s", "job_high_s")
    return {name: job[name] + count * trip_s for name in times} | {
        "water_m3": job["water_m3"] - count * crew.tank_m3,
        "is_possible": True,
        "why_not": "",
        "trip_count": count,
        "trip_fill": fill.name,
    }


def _nearest(
    crew: Crew, here: int, travel: Travel, settings: Settings
) -> tuple[FillPoint, float] | None:
    """Return the fill point that is soonest back from, and the time of the trip."""
    ends_s = crew.shift_start + crew.shift_s
    trips = []
    for fill in settings.fill_points:
        if fill.open_from > crew.shift_start or fill.open_until < ends_s:
            continue
        there = travel.place_ids.index(FILL + fill.name)
        drive_s = travel.seconds[here, there] + travel.seconds[there, here]
        filling_s = crew.tank_m3 / fill.rate_m3s if fill.rate_m3s > 0 else np.inf
        trips.append((float(drive_s / crew.speed_fraction + filling_s), fill))
    trips = [trip for trip in trips if np.isfinite(trip[0])]
    if not trips:
        return None
    trip_s, fill = min(trips, key=lambda trip: trip[0])
    return fill, trip_s
