"""What each pipe is: size, material, age, slope, cover, silt, seep and shade."""

import numpy as np
import pandas as pd
from layout import FOOT_M, INCH_M, Array, Raster, ranks
from roads import Roads, along, bank_heights
from scipy import stats
from woods import aspect_slope, north_west_weight, shade_score

SIZES_IN = (12, 15, 18, 24, 30, 36, 48, 60, 72, 96)
CROSS_SHARES = (0.05, 0.17, 0.36, 0.21, 0.07, 0.07, 0.04, 0.016, 0.009, 0.005)
DRIVEWAY_SHARES = (0.38, 0.44, 0.18)
CLASS_LIFT = {"A": 0.9, "B": 0.25, "C": 0.0, "D": -0.6}
MATERIALS = ("CSP", "HDPE", "RCP", "timber", "stone", "aluminium", "")
MATERIAL_SHARES = (0.58, 0.27, 0.09, 0.01, 0.01, 0.01, 0.03)
AGES = {"CSP": (31, 10), "HDPE": (13, 7), "RCP": (38, 12)}
ENDS = ("projecting", "FES", "mitered", "headwall")
ENDS_SHARES = (0.63, 0.21, 0.07, 0.09)
SEEPY_ROADS = ("Tolliver Hollow Rd", "Norrick Lane", "Harn Hill Rd")
SEEP_SHARE, SEEPY_ROAD_SHARE = 0.13, 0.60
COVER_M, COVER_SPREAD_M, LEAST_COVER_M = 0.75, 0.35, 0.15
FLAT_SHARE = 0.10
WIND_DEG, WIND_SHARE = 310.0, 0.30
THIS_YEAR = 2024
COUNTY_ROAD = "Torvessin Trunk 4"


def _bearing(pipes: pd.DataFrame, roads: Roads) -> Array:
    """Return the compass bearing of the barrel: square to the road, downhill later."""
    result = np.zeros(len(pipes))
    for road, group in pipes.groupby("road"):
        places, distance = along(roads.lines[str(road)])
        ahead, behind = (
            np.column_stack(
                [
                    np.interp(group["along_m"] + d, distance, places[:, k])
                    for k in (0, 1)
                ]
            )
            for d in (12.0, -12.0)
        )
        way = ahead - behind
        turn = np.where(group["kind"] == "cross", 90.0, 0.0)
        result[group.index] = np.degrees(np.arctan2(way[:, 0], way[:, 1])) + turn
    return result % 360


def _downhill(pipes: pd.DataFrame, ground: Raster) -> Array:
    """Turn each barrel so that its outlet lies on the lower side."""
    angle = np.radians(pipes["bearing_deg"].to_numpy())
    way = np.column_stack([np.sin(angle), np.cos(angle)])
    xy = pipes[["x", "y"]].to_numpy()
    higher = ground.at(xy + 25 * way) > ground.at(xy - 25 * way)
    return (pipes["bearing_deg"].to_numpy() + 180 * higher) % 360


def _sizes(pipes: pd.DataFrame, rng: np.random.Generator) -> Array:
    """Give the largest flows the largest pipes, so that the shares of sizes hold."""
    lift = pipes["road_class"].map(CLASS_LIFT).to_numpy()
    score = np.log(pipes["area_m2"].fillna(0).to_numpy() + 3000) + lift
    score += rng.normal(0, 0.75, len(pipes))
    score[(pipes["area_m2"] > 1.5e6).to_numpy()] += 4
    sizes = np.zeros(len(pipes))
    for kind, shares in (("cross", CROSS_SHARES), ("driveway", DRIVEWAY_SHARES)):
        own = (pipes["kind"] == kind).to_numpy()
        steps = np.searchsorted(np.cumsum(shares)[:-1], ranks(score[own]))
        sizes[own] = np.array(SIZES_IN)[steps]
    trunk = (pipes["road_class"] == "A") & (pipes["kind"] == "cross")
    return np.where(trunk & (sizes < 18), 18, sizes)


def _beta(score: Array, first: float, second: float) -> Array:
    return stats.beta.ppf(ranks(score), first, second)


def _seeps(pipes: pd.DataFrame, slope: Array, rng: np.random.Generator) -> Array:
    seepy = pipes["road"].isin(SEEPY_ROADS).to_numpy()
    score = slope + rng.normal(0, 0.05, len(pipes))
    own = np.zeros(len(pipes), dtype=bool)
    own[seepy] = ranks(score[seepy]) > 1 - SEEPY_ROAD_SHARE
    left = (SEEP_SHARE * len(pipes) - own.sum()) / (~seepy).sum()
    own[~seepy] = ranks(score[~seepy]) > 1 - max(left, 0.01)
    return own.astype(float)


def _grades(slope: Array, rng: np.random.Generator) -> Array:
    """Return barrel slopes [%]: a tenth flat or back-graded, the rest as the ground."""
    count = len(slope)
    flat = ranks(slope + rng.normal(0, 0.02, count))
    steep = np.exp(
        np.log(1.3)
        + 0.8 * stats.norm.ppf((flat - FLAT_SHARE).clip(1e-3) / (1 - FLAT_SHARE))
    )
    return np.where(flat < FLAT_SHARE, rng.uniform(-0.4, 0.3, count), steep)


def _barrel(
    pipes: pd.DataFrame, slope: Array, rng: np.random.Generator
) -> pd.DataFrame:
    """Add size, material, age, length, slope, cover and ends."""
    count = len(pipes)
    cross = (pipes["kind"] == "cross").to_numpy()
    table = pipes.assign(size_in=_sizes(pipes, rng))
    table["barrels"] = np.where(cross & (ranks(rng.random(count)) < 0.03), 2, 1)
    table["material"] = rng.choice(MATERIALS, count, p=MATERIAL_SHARES)
    mean, spread = (
        table["material"].map({k: v[i] for k, v in AGES.items()}).fillna((30, 12)[i])
        for i in (0, 1)
    )
    age = (mean + spread * rng.normal(size=count)).clip(1, 75)
    table["year"] = (THIS_YEAR - age).round().astype(int)
    room = table["bank_m"].to_numpy() - table["size_in"].to_numpy() * INCH_M
    cover = ranks(room + rng.normal(0, 0.3, count))
    table["cover_m"] = np.maximum(
        stats.norm.ppf(cover, COVER_M, COVER_SPREAD_M), LEAST_COVER_M
    ).round(2)
    length = np.exp(
        np.log(38) + 0.22 * stats.norm.ppf(0.7 * cover + 0.3 * rng.random(count))
    )
    length *= np.where(table["road_class"] == "A", 52 / 38, 1.0)
    length = np.where(cross, length.clip(24, 90), rng.uniform(20, 30, count))
    table["length_ft"] = length.round()
    grade = _grades(slope, rng)
    table["slope_pct"] = grade.clip(-0.4, 12).round(2)
    table["ends"] = rng.choice(ENDS, count, p=ENDS_SHARES)
    return table


def _troubles(
    table: pd.DataFrame, slope: Array, rng: np.random.Generator
) -> pd.DataFrame:
    """Add silt, perched outlet, sag, seep, plough plug, condition and stakes."""
    count = len(table)
    silt = _beta(
        rng.normal(size=count) - 0.5 * np.log(table["slope_pct"] + 0.6), 1.1, 6
    )
    table["silt"] = silt.round(2)
    perched = ranks(slope + rng.normal(0, 0.15, count)) > 0.81
    table["drop_m"] = np.where(perched, rng.uniform(0.1, 0.9, count), 0.0).round(2)
    table["sag"] = (rng.random(count) < 0.12).astype(float)
    table["seep"] = _seeps(table, slope, rng)
    drive = 1.2 * (table["kind"] == "driveway").to_numpy()
    table["plug"] = (ranks(drive + rng.normal(size=count)) > 0.72).astype(float)
    worn = (THIS_YEAR - table["year"]) / 30 + 2 * silt + rng.normal(0, 0.8, count)
    shares = np.cumsum((0.01, 0.02, 0.04, 0.07, 0.20, 0.28, 0.21, 0.14))
    steps = np.searchsorted(shares, 1 - ranks(worn.to_numpy()))
    table["condition"] = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9])[steps]
    table["staked"] = (rng.random(count) < 0.38).astype(float)
    return table


def _exposure(table: pd.DataFrame, ground: Raster, canopy: Raster) -> pd.DataFrame:
    """Add shade index and wind alignment from slope, trees and bearing."""
    xy = table[["x", "y"]].to_numpy()
    jitter = np.random.default_rng(len(table)).normal(0, 0.10, len(table))
    facing = Raster(north_west_weight(ground), ground.cell_m).at(xy)
    shade = _beta(shade_score(xy, ground, canopy) + jitter, 1.6, 1.9)
    table["shade"] = (shade + 0.25 * (facing > 0.5)).clip(0, 1).round(3)
    turn = np.abs((table["bearing_deg"] - WIND_DEG + 90) % 180 - 90)
    trees = Raster(canopy.values, canopy.cell_m).at(xy + 60 * np.array([-0.77, 0.64]))
    exposed = turn.to_numpy() / 30 + trees / 18
    table["windy"] = (ranks(exposed) < WIND_SHARE).astype(float)
    return table


def describe_pipes(
    pipes: pd.DataFrame, roads: Roads, ground: Raster, canopy: Raster, seed: int
) -> pd.DataFrame:
    """Return the pipes with all that is true of them."""
    rng = np.random.default_rng([seed, 6])
    table = pipes.assign(
        road_class=pipes["road"].map({n: p.road_class for n, p in roads.plans.items()})
    )
    table["bank_m"] = np.nan
    for road, group in table.groupby("road"):
        _, distance = along(roads.lines[str(road)])
        _, height = bank_heights(roads.lines[str(road)], ground)
        table.loc[group.index, "bank_m"] = np.interp(group["along_m"], distance, height)
    table["bearing_deg"] = _bearing(table, roads)
    table["bearing_deg"] = _downhill(table, ground).round(1)
    slope = Raster(aspect_slope(ground)[1], ground.cell_m).at(
        table[["x", "y"]].to_numpy()
    )
    table = _troubles(_barrel(table, slope, rng), slope, rng)
    table = _exposure(table, ground, canopy)
    state = rng.choice(table.index[table["road"] != COUNTY_ROAD].to_numpy(), 34, False)
    county = table["road"].eq(COUNTY_ROAD) & table["kind"].eq("cross")
    table["owner"] = np.where(county, "county", "town")
    table.loc[state[:17], "owner"] = "state"
    table.loc[state[17:], "owner"] = "private"
    top_m = table["ground_m"] + table["bank_m"]
    inlet_m = top_m - table["cover_m"] - table["size_in"] * INCH_M
    outlet_m = inlet_m - table["slope_pct"] / 100 * table["length_ft"] * FOOT_M
    return table.assign(inlet_ft=inlet_m / FOOT_M, outlet_ft=outlet_m / FOOT_M)
