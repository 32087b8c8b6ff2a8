"""Daily weather of eight invented winters, each tuned to its freezing index."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
from layout import Array

FIRST, LAST = date(2017, 10, 1), date(2025, 2, 26)
LAST_OBSERVED = date(2025, 2, 24)
INDEX_CDAY = {  # freezing index; the last winter's up to 24 February
    2017: 1480.0,
    2018: 1690.0,
    2019: 1310.0,
    2020: 1120.0,
    2021: 1545.0,
    2022: 1190.0,
    2023: 880.0,
    2024: 1085.0,
}
SEASON_INDEX_CDAY = {**INDEX_CDAY, 2024: 1400.0}  # for the truth of the whole winter
MOST_SNOW_CM = dict(zip(INDEX_CDAY, (61, 38, 74, 66, 82, 70, 44, 79), strict=True))
SNOW_TODAY_CM = 52.0
THAWS = {
    2017: ("2018-01-12", "2018-02-19"),
    2018: ("2019-02-04",),
    2019: ("2019-12-24", "2020-01-11", "2020-02-02"),
    2020: ("2020-12-24", "2021-02-23"),
    2021: ("2021-12-11", "2022-01-19", "2022-02-05", "2022-02-21"),
    2022: ("2022-12-30", "2023-01-14", "2023-01-31", "2023-02-15"),
    2023: ("2023-12-09", "2023-12-24", "2024-01-25", "2024-02-08", "2024-02-24"),
    2024: ("2024-12-28", "2025-01-30", "2025-02-25"),
}
NO_THAW_C = 1.2  # other days from December to February stay below
THAW_HIGHS_C = (2.6, 5.8, 3.4)
AFTER_LOWS_C = (-15.5, -18.5, -13.0)
PACKING, MELT_CM_PER_C = 0.985, 1.6


def freezing_index(mean_c: Array) -> float:
    """Return the fall of the cumulative degree-day curve, peak to trough."""
    curve = np.concatenate([[0.0], np.cumsum(mean_c)])
    return float((np.maximum.accumulate(curve) - curve).max())


def _raw(rng: np.random.Generator) -> pd.DataFrame:
    days = [FIRST + timedelta(days=k) for k in range((LAST - FIRST).days + 1)]
    table = pd.DataFrame({"date": days})
    moment = pd.to_datetime(table["date"])
    table["winter"] = moment.dt.year - (moment.dt.month < 10)
    usual = 4.2 - 14.3 * np.cos(2 * np.pi * (moment.dt.dayofyear - 24) / 365.25)
    noise = np.zeros(len(days))
    for k in range(1, len(days)):
        noise[k] = 0.74 * noise[k - 1] + rng.normal(0, 3.3)
    summer = moment.dt.month.between(5, 9).to_numpy()
    table["mean_c"] = usual + noise * np.where(summer, 0.65, 1.0)
    table["range_c"] = rng.normal(8.6, 2.2, len(days)).clip(3.5, 15)
    table["wet"] = rng.random(len(days)) < 0.40 + 0.1 * (noise > 1)
    table["water_mm"] = np.where(table["wet"], rng.gamma(0.8, 6.0, len(days)) + 0.2, 0)
    table["wind_km_h"] = rng.gamma(5, 2.9, len(days)) + 2
    table["cold"] = moment.dt.month.isin([11, 12, 1, 2, 3])
    table["held"] = moment.dt.month.isin([12, 1, 2])
    return table


def _thaw_days(table: pd.DataFrame) -> dict[int, tuple[float, float]]:
    """Return low and high for the days of the thaws and the cold after them."""
    place = {str(day): k for k, day in enumerate(table["date"])}
    fixed: dict[int, tuple[float, float]] = {}
    for winter, days in THAWS.items():
        for count, day in enumerate(days):
            at = place[day]
            lift = 0.4 * (count % 3) + 0.1 * (winter % 4)
            for step, high in enumerate(THAW_HIGHS_C):
                fixed[at - 1 + step] = (-3.2 + step * 0.9, high + lift)
            for step, low in enumerate(AFTER_LOWS_C):
                fixed[at + 2 + step] = (low - lift, low + 8.0)
    storm = place["2018-01-12"]
    fixed[storm + 1] = (-14.0, 2.4)
    fixed[storm + 2] = (-22.0, -13.5)
    today = place["2025-02-25"]
    fixed |= {today - 1: (-12.5, -1.8), today: (-9.0, 6.0), today + 1: (-14.0, -6.0)}
    return {k: v for k, v in fixed.items() if k < len(table)}


def _lows_highs(
    table: pd.DataFrame, shift_c: float, fixed: dict[int, tuple[float, float]]
) -> tuple[Array, Array]:
    mean = table["mean_c"] + shift_c * table["cold"]
    high = mean + table["range_c"] / 2
    high = np.where(table["held"], np.minimum(high, NO_THAW_C), high)
    low = high - table["range_c"].to_numpy()
    index = table.index.to_numpy()
    for k, (cold, warm) in fixed.items():
        low[index == k], high[index == k] = cold, warm
    return np.round(low, 1), np.round(high, 1)


def _temperatures(table: pd.DataFrame) -> pd.DataFrame:
    """Shift each winter's cold months until its freezing index is met."""
    fixed = _thaw_days(table)
    parts = []
    for winter, days in table.groupby("winter"):
        until = days["date"] <= LAST_OBSERVED
        below, above = -15.0, 15.0
        for _ in range(40):
            shift = (below + above) / 2
            low, high = _lows_highs(days, shift, fixed)
            index = freezing_index(((low + high) / 2)[until])
            warm = index < INDEX_CDAY[int(str(winter))]
            below, above = (below, shift) if warm else (shift, above)
        parts.append(days.assign(tmin_c=low, tmax_c=high))
    return pd.concat(parts)


def _depths(days: pd.DataFrame, factor: float) -> Array:
    """Return snow depth by day [cm] from snowfall, packing and melt."""
    depth = 0.0
    result = []
    for fall, high, rain in zip(
        days["fall_mm"], days["tmax_c"], days["rain_mm"], strict=True
    ):
        depth = depth * PACKING + factor * fall * 0.95
        depth -= MELT_CM_PER_C * max(high - 1.0, 0) + 0.15 * rain
        depth = max(depth, 0.0)
        result.append(depth)
    return np.array(result)


def _snow(days: pd.DataFrame, most_cm: float) -> tuple[Array, Array]:
    """Scale a winter's snowfall until its greatest depth is met."""
    low, high = 0.05, 8.0
    for _ in range(40):
        factor = (low + high) / 2
        less = _depths(days, factor).max() < most_cm
        low, high = (factor, high) if less else (low, factor)
    return _depths(days, factor), days["fall_mm"].to_numpy() * factor


def _today(depth: Array, days: pd.DataFrame) -> Array:
    """Lead the last winter's depth from its peak to what lies there today."""
    peak = int(depth.argmax())
    end = int(np.flatnonzero(days["date"] == LAST_OBSERVED)[0])
    ramp = np.ones(len(depth))
    ramp[peak : end + 1] = np.linspace(1, SNOW_TODAY_CM / depth[end], end - peak + 1)
    ramp[end + 1 :] = SNOW_TODAY_CM / depth[end]
    return np.minimum(depth * ramp, depth.max())


def make_weather(seed: int) -> pd.DataFrame:
    """Return the weather file's table; the last two days are forecast."""
    table = _temperatures(_raw(np.random.default_rng([seed, 5])))
    mean = (table["tmin_c"] + table["tmax_c"]) / 2
    table["rain_mm"] = np.where(mean > 0.8, table["water_mm"], 0.0)
    table["fall_mm"] = np.where(mean > 0.8, 0.0, table["water_mm"] * 0.8)
    text = table["date"].astype(str)
    for days in THAWS.values():
        table.loc[text.isin(days), "rain_mm"] = 6.5
    table.loc[text.isin([d for days in THAWS.values() for d in days]), "fall_mm"] = 0.0
    table.loc[text == "2018-01-12", "rain_mm"] = 31.0
    table.loc[text == "2025-02-25", "rain_mm"] = 18.0
    table.loc[text == "2025-02-25", "wind_km_h"] = 25.0
    table.loc[text >= "2025-02-23", "fall_mm"] = 0.0
    parts = []
    for winter, days in table.groupby("winter"):
        depth, fall = _snow(days, MOST_SNOW_CM[int(str(winter))])
        depth = _today(depth, days) if winter == 2024 else depth
        parts.append(days.assign(snow_depth_cm=depth, snowfall_mm_w_e=fall))
    result = pd.concat(parts)
    result["kind"] = np.where(result["date"] > LAST_OBSERVED, "forecast", "observed")
    columns = ["rain_mm", "snowfall_mm_w_e", "snow_depth_cm", "wind_km_h"]
    result[columns] = result[columns].round(dict.fromkeys(columns[:2], 1)).round(1)
    result["snow_depth_cm"] = result["snow_depth_cm"].round(0).astype(int)
    result["wind_km_h"] = result["wind_km_h"].round(0).astype(int)
    return result[["date", "tmin_c", "tmax_c", *columns, "kind"]]
