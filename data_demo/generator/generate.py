"""Make the invented town: ``python generate.py [--seed 1] [--cell 10] [--out DIR]``."""

import argparse
from dataclasses import dataclass
from pathlib import Path
from pipes import (
    ONE_PIPE_ROAD,
    downstream,
    keep_chains,
    name_pipes,
    place_cross_pipes,
    place_driveways,
)

import numpy as np
import pandas as pd
import rasterio
from attributes import describe_pipes
from faults import make_inventory
from homes import SCHOOL_XY, make_homes, places_table
from layout import EPSG, SIDE_M, SOUTH_M, WEST_M, Array, Raster
from morning import add_landmarks, answer_table, calls_table
from rasterio.transform import from_origin
from roads import Roads, along, geojson, make_roads, tolliver_creek, with_banks
from scipy import ndimage
from storms import rainfall_text
from terrain import make_ground
from thaw_log import make_log
from town_file import town_text
from truth import INTERCEPT, Truth, blocked_today, make_truth
from weather import make_weather
from woods import make_canopy

HEIGHT_STEP_M = 0.05
SMALLEST_TILE = 256


@dataclass(frozen=True)
class Town:
    """All that is made before it is written."""

    roads: Roads
    ground: Raster
    canopy: Raster
    pipes: pd.DataFrame
    homes: pd.DataFrame


def make_town(seed: int) -> Town:
    """Make ground, roads, dwellings and pipes."""
    rng = np.random.default_rng([seed, 11])
    roads = make_roads(seed)
    creek, crossings = tolliver_creek(roads)
    ground, area, receiver = make_ground(seed, creek)
    canopy = make_canopy(ground, roads, seed)
    cross = place_cross_pipes(roads, (ground, area), receiver, crossings, rng)
    only = cross["named_first"] & (cross["road"] == ONE_PIPE_ROAD)
    first_m = cross.loc[only, "along_m"].min()
    homes = make_homes(roads, float(first_m), seed)
    drives = place_driveways(roads, cross, homes, rng)
    pipes = pd.concat([cross, drives], ignore_index=True)
    own = pipes["ground_m"].isna()
    pipes.loc[own, "ground_m"] = ground.at(pipes.loc[own, ["x", "y"]].to_numpy())
    pipes["pipe"] = name_pipes(pipes, roads)
    linked, pipes["chain"] = keep_chains(cross, downstream(cross, receiver, area))
    pipes["downstream"] = linked.map(lambda i: pipes["pipe"].get(i, ""))
    pipes[["chain", "downstream"]] = pipes[["chain", "downstream"]].fillna(
        {"chain": 0, "downstream": ""}
    )
    pipes = add_landmarks(describe_pipes(pipes, roads, ground, canopy, seed))
    return Town(roads, ground, canopy, _story(pipes), homes)


def _story(pipes: pd.DataFrame) -> pd.DataFrame:
    """Fix what the morning's story needs: Hendle's one pipe and the school's own."""
    pipes.loc[pipes["pipe"] == "H1", ["size_in", "barrels"]] = (24, 1)
    ordinary = pipes["landmark"].eq("") & pipes["road"].eq("School Ridge Rd")
    away = np.hypot(pipes["x"] - SCHOOL_XY[0], pipes["y"] - SCHOOL_XY[1])
    school = away[ordinary].idxmin()
    pipes.loc[school, ["owner", "landmark"]] = ("private", "school lot")
    return pipes


def write_raster(path: Path, raster: Raster, *, kind: str) -> None:
    """Write a raster as a compressed GeoTIFF."""
    values = raster.values.astype(kind)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype=kind,
        crs=f"EPSG:{EPSG}",
        transform=from_origin(WEST_M, SOUTH_M + SIDE_M, raster.cell_m, raster.cell_m),
        compress="deflate",
        zlevel=9,
        predictor=3 if kind == "float32" else 2,
        tiled=True,
        blockxsize=SMALLEST_TILE,
        blockysize=SMALLEST_TILE,
    ) as file:
        file.write(values, 1)


def make_dem(town: Town, cell_m: float) -> Raster:
    """Return the elevation model with the roads' banks, at the cell asked."""
    coarse = town.ground
    count = round(SIDE_M / cell_m)
    line = (np.arange(count) + 0.5) * cell_m / coarse.cell_m - 0.5
    fine = coarse.values
    if count != coarse.values.shape[0]:
        rows, columns = np.meshgrid(line, line, indexing="ij")
        fine = ndimage.map_coordinates(fine, [rows, columns], order=1, mode="nearest")
    raised = with_banks(Raster(fine, SIDE_M / count), coarse, town.roads)
    steps = np.round(raised.values / HEIGHT_STEP_M) * HEIGHT_STEP_M
    return Raster(steps, raised.cell_m)


def road_places(roads: Roads) -> Array:
    """Return places every five metres along all roads."""
    return np.vstack([along(line)[0] for line in roads.lines.values()])


def write_town(town: Town, cell_m: float, folder: Path, seed: int) -> None:
    """Write what the program reads, and the answer key."""
    read, key = folder / "town", folder / "answer_key"
    read.mkdir(parents=True, exist_ok=True)
    key.mkdir(parents=True, exist_ok=True)
    write_raster(read / "dem.tif", make_dem(town, cell_m), kind="float32")
    write_raster(read / "canopy.tif", town.canopy, kind="uint8")
    truth = make_truth(town.pipes, seed)
    table, faults, rows = make_inventory(town.pipes, road_places(town.roads), seed)
    ids = dict(zip(rows["pipe"][::-1], table["PIPE_ID"][::-1], strict=True))
    log, log_key = make_log(town.pipes, truth, town.roads.plans, ids, seed)
    tables = {
        read / "culverts.csv": table,
        read / "weather.csv": make_weather(seed),
        read / "thaw_log.csv": log,
        read / "places.csv": places_table(town.homes, town.roads),
        read / "calls.csv": calls_table(),
        key / "faults.csv": faults,
        key / "inventory_rows.csv": rows,
        key / "thaw_log_rows.csv": log_key,
        key / "answer.csv": answer_table(town.pipes),
        key / "pipes.csv": pipe_key(town.pipes, truth, seed),
    }
    for path, content in tables.items():
        content.to_csv(path, index=False, lineterminator="\n")
    _write_words(town, truth, folder)


def _write_words(town: Town, truth: Truth, folder: Path) -> None:
    read, key = folder / "town", folder / "answer_key"
    (read / "roads.geojson").write_text(geojson(town.roads), encoding="utf-8")
    dairy = places_table(town.homes, town.roads).query("needs.str.contains('offers')")
    buses = [name for name, plan in town.roads.plans.items() if plan.bus]
    text = town_text(dairy[["lat", "lon"]].to_numpy()[0], buses)
    (read / "town.toml").write_text(text, encoding="utf-8")
    (read / "rainfall.csv").write_text(rainfall_text(), encoding="utf-8")
    (key / "truth_model.csv").write_text(
        "term,value\n"
        f"intercept before tuning,{INTERCEPT}\n"
        f"intercept tuned,{truth.intercept}\n",
        encoding="utf-8",
    )


def pipe_key(pipes: pd.DataFrame, truth: Truth, seed: int) -> pd.DataFrame:
    """Return the truth by pipe: place, attributes, chances and outcomes."""
    columns = ["pipe", "road", "road_class", "kind", "x", "y", "size_in", "barrels"]
    columns += ["slope_pct", "silt", "drop_m", "sag", "seep", "plug", "shade", "windy"]
    columns += ["cover_m", "length_ft", "material", "area_m2", "owner", "bearing_deg"]
    columns += ["chain", "downstream"]
    table = pipes[columns].copy()
    table["x"] = (table["x"] + WEST_M).round(1)
    table["y"] = (table["y"] + SOUTH_M).round(1)
    table["chain"] = table["chain"].astype(int)
    table["hidden_u"] = truth.hidden
    for winter in truth.chance:
        table[f"chance_{winter}"] = truth.chance[winter].round(4)
        table[f"blocked_{winter}"] = truth.blocked[winter].astype(int)
    table["blocked_20250225"] = blocked_today(pipes, truth, seed).astype(int)
    return table


def run() -> None:
    """Read the options and make the town."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1, help="default 1")
    options.add_argument("--cell", type=float, default=10.0, help="metres, default 10")
    options.add_argument("--out", type=Path, default=Path(__file__).parents[1])
    given = options.parse_args()
    write_town(make_town(given.seed), given.cell, given.out, given.seed)


if __name__ == "__main__":
    run()
