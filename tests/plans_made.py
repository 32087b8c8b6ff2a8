"""Small invented mornings for the tests of the plans."""

import numpy as np
import pandas as pd

from culvertrisk.plans.travel import Travel
from culvertrisk.settings import Crew, Files, FillPoint, KeepClear, Settings

HOUR = 3600.0
MORNING_S = 6 * HOUR


def made_crews(count=2, hours=3.0, tank_m3=0.4, fuel_tank_m3=0.1):
    return tuple(
        Crew(
            name=f"T{number + 1}",
            method="hot water",
            flow_m3s=3e-4,
            hose_m=90.0,
            tank_m3=tank_m3,
            fuel_tank_m3=fuel_tank_m3,
            shift_start=MORNING_S,
            shift_s=hours * HOUR,
            speed_fraction=1.0 - 0.2 * number,
            start_lat=0.0,
            start_lon=0.0,
        )
        for number in range(count)
    )


def made_settings(crews=None, fills=None, keep_clear=()):
    if fills is None:
        fills = [FillPoint(name="barn", lat=0, lon=0, rate_m3s=0.4 / 900)]
    return Settings(
        files=Files(culverts="c.csv"),
        crews=made_crews() if crews is None else crews,
        fill_points=tuple(fills),
        keep_clear=tuple(keep_clear),
    )


def made_morning(seed, count=7, settings=None, spread_m=9000.0):
    """Return crossings, jobs, travel and settings of one invented morning."""
    settings = settings or made_settings()
    random = np.random.default_rng(seed)
    ids = [f"C{number}" for number in range(count)]
    crossings = pd.DataFrame(
        {
            "loss_avoided_person_h": random.lognormal(2.2, 1.1, count),
            "blocked_chance": random.uniform(0.2, 1.0, count),
            "road_name": random.choice(["Mill Road", "Hill Lane"], count),
            "owner": "town",
        },
        index=pd.Index(ids, name="culvert_id"),
    )
    rows = []
    for culvert_id in ids:
        job_s = random.uniform(900, 3000)
        for crew in settings.crews:
            times = job_s * random.uniform(0.8, 1.3)
            rows.append(
                {
                    "culvert_id": culvert_id,
                    "crew": crew.name,
                    "job_s": times,
                    "water_m3": random.uniform(0.06, 0.25),
                    "fuel_m3": times * 3e-6,
                    "is_possible": bool(random.random() < 0.9),
                    "why_not": "",
                }
            )
    jobs = pd.DataFrame(rows)
    jobs.loc[~jobs["is_possible"], "why_not"] = "hose too short"
    return crossings, jobs, made_travel(random, ids, settings, spread_m), settings


def made_travel(random, ids, settings, spread_m):
    names = [
        *(f"crew:{crew.name}" for crew in settings.crews),
        *(f"fill:{fill.name}" for fill in settings.fill_points),
        *ids,
    ]
    xy = random.uniform(-spread_m, spread_m, (len(names), 2))
    metres = 1.25 * np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    return Travel(tuple(names), metres / 11.2, metres)


def bus_hours(road="mill road"):
    return KeepClear(
        reason="school bus",
        road_names=(road,),
        clear_from=6.5 * HOUR,
        clear_until=8.25 * HOUR,
    )
