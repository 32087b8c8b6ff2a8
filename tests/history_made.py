"""A made town with a log drawn from known chances, for history, proof and bands."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import Point

from culvertrisk.settings import Files, Settings

TOWN = Settings(files=Files(culverts="c.csv"))


def made_crossings(count, seed=3):
    """A road of crossings of mixed size and slope, 200 m apart; nothing unknown."""
    rng = np.random.default_rng(seed)
    frame = {
        "road_name": ["Wyke Rd"] * count,
        "road_class": rng.choice(["B", "C"], count),
        "crossing_kind": rng.choice(["cross", "cross", "driveway"], count),
        "rise_m": rng.choice([0.3, 0.457, 0.61, 0.9], count),
        "silt_fraction": rng.uniform(0, 0.3, count),
        "barrel_slope_m_per_m": rng.uniform(0, 0.02, count),
        "cover_m": 0.7,
        "outlet_drop_m": 0.0,
        "has_seep": rng.choice([0.0, 0.0, 1.0], count),
        "length_m": 12.0,
        "install_year": np.nan,
    }
    points = [Point(200.0 * i, 0) for i in range(count)]
    index = pd.Index([f"W{i}" for i in range(count)], name="culvert_id")
    return gpd.GeoDataFrame(frame, geometry=points, crs=32616, index=index)


def made_weather(first="2016-10-01", last="2024-06-30"):
    """Winters that differ a little, on a cosine of the year."""
    days = pd.date_range(first, last, name="day")
    season = 10 * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 200) / 365.25)
    colder = np.sin(days.year.to_numpy() * 2.0)
    frame = pd.DataFrame(index=days)
    frame["air_min_c"], frame["air_max_c"] = season - 12 - colder, season - 2 - colder
    frame["rain_m"], frame["snowfall_water_m"] = 0.0, 0.0
    frame["snow_depth_m"], frame["wind_m_s"], frame["is_forecast"] = 0.3, 2.0, 0.0
    return frame


def made_sun(count):
    """The same sun at every end."""
    sun = np.full((count, 243), 5e6, dtype=np.float32)
    return SimpleNamespace(inlet_j_m2=sun, outlet_j_m2=sun, open_j_m2=sun)


def log_of(rows):
    """Rows of (day, culvert, place, result) as the table of ``read_thaw_log``."""
    log = pd.DataFrame(rows, columns=["day", "culvert_id", "place", "result"])
    log["day"] = pd.to_datetime(log["day"])
    log["winter"] = log["day"].dt.year - (log["day"].dt.month < 7)
    return log


def drawn_log(chance, winters=range(2016, 2024), seed=5):
    """A log in which each crossing is thawed in a winter with its own chance."""
    rng = np.random.default_rng(seed)
    rows = [
        (pd.Timestamp(year, 12, 10) + pd.Timedelta(days=int(rng.integers(100))),
         f"W{i}", "", "open")
        for year in winters
        for i in np.flatnonzero(rng.random(len(chance)) < chance)
    ]  # fmt: skip
    return log_of(rows)
