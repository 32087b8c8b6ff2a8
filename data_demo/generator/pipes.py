"""Where the pipes lie: under the roads where water crosses, then relief pipes."""

import numpy as np
import pandas as pd
import shapely
from layout import HECTARE_M2, MILE_M, SIDE_M, Array, Raster
from numpy.typing import NDArray
from roads import Roads, along
from scipy import ndimage
from scipy.spatial import cKDTree

CROSS_COUNT, DRIVEWAY_COUNT = 612, 236
LEAST_AREA_M2 = 0.5 * HECTARE_M2
SNAP_M = 30.0  # a stream this near a place on a road crosses there
APART_M = 60.0  # two flows nearer than this share a pipe
RELIEF_APART_M = 55.0
RELIEF_COUNT = 110
REACH_CELLS = 3  # the largest flow of a road's cell and its neighbours is its own
INSPECT_MILE = 3.4  # a driver reports a crack at this mile of Trunk 11
ONE_PIPE_ROAD, ONE_PIPE_M = "Hendle Dead End Rd", 400.0  # all homes lie beyond
CHAIN_COUNT, LONGEST_CHAIN = 74, 9
CHAIN_REACH_M = 420.0
DRIVEWAY_ROADS = {"Harn Hill Rd": 34, "Tolliver Hollow Rd": 16}
STREET_DRIVEWAYS = 8


def _candidates(roads: Roads, ground: Raster, area: Raster) -> pd.DataFrame:
    """List every fifth metre of every road with the flow that meets it there."""
    largest = Raster(ndimage.maximum_filter(area.values, size=REACH_CELLS), area.cell_m)
    parts = []
    for name, line in roads.lines.items():
        places, distance = along(line)
        parts.append(
            pd.DataFrame(
                {
                    "road": name,
                    "x": places[:, 0],
                    "y": places[:, 1],
                    "along_m": distance,
                    "end_m": distance[-1],
                    "area_m2": largest.at(places),
                    "ground_m": ground.at(places),
                }
            )
        )
    table = pd.concat(parts, ignore_index=True)
    inside = table[["x", "y"]].gt(25).all(axis=1) & table[["x", "y"]].lt(
        SIDE_M - 25
    ).all(axis=1)
    clear = table["along_m"].gt(18) & (table["end_m"] - table["along_m"]).gt(18)
    return table[inside & clear].reset_index(drop=True)


def _spread(table: pd.DataFrame, taken: Array, apart_m: float, most: int) -> list[int]:
    """Take rows in their order, each at least ``apart_m`` from those taken."""
    chosen: list[int] = []
    held = list(taken)
    xy = table[["x", "y"]].to_numpy()
    for index in range(len(table)):
        if len(chosen) == most:
            break
        near = held and np.hypot(*(np.array(held) - xy[index]).T).min() < apart_m
        if not near:
            chosen.append(index)
            held.append(xy[index])
    return chosen


def _nearest(table: pd.DataFrame, creek: Array) -> list[int]:
    """Return the rows of Tolliver Hollow Rd nearest to the creek's crossings."""
    own = table[table["road"] == "Tolliver Hollow Rd"]
    return [int(np.hypot(own["x"] - x, own["y"] - y).idxmin()) for x, y in creek]


def stream_crossings(
    roads: Roads, area: Raster, receiver: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Return where water of half a hectare or more crosses a road, and its area."""
    count = area.values.shape[0]
    flat = area.values.ravel()
    cells = np.flatnonzero((flat >= LEAST_AREA_M2) & (receiver != np.arange(flat.size)))
    ends = [
        np.column_stack([k % count + 0.5, count - k // count - 0.5]) * area.cell_m
        for k in (cells, receiver[cells])
    ]
    ways = shapely.linestrings(np.stack(ends, axis=1))
    lines = shapely.MultiLineString(
        [shapely.LineString(line) for line in roads.lines.values()]
    )
    shapely.prepare(lines)
    meets = shapely.intersects(ways, lines)
    places = shapely.get_coordinates(shapely.centroid(ways[meets]))
    return places, flat[cells[meets]]


def _met_streams(
    table: pd.DataFrame, roads: Roads, area: Raster, receiver: NDArray[np.int64]
) -> Array:
    """Return the area of the stream that crosses at each place of a road; 0 if none."""
    places, area_m2 = stream_crossings(roads, area, receiver)
    away_m, row = cKDTree(table[["x", "y"]]).query(places)
    near = away_m < SNAP_M
    met = np.zeros(len(table))
    np.maximum.at(met, row[near], area_m2[near])
    return met


def place_cross_pipes(
    roads: Roads,
    rasters: tuple[Raster, Raster],
    receiver: NDArray[np.int64],
    creek: Array,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return 612 cross pipes: the largest flows first, then relief pipes at dips.

    The nine crossings of Tolliver's creek come before all others.
    """
    table = _candidates(roads, *rasters)
    table["stream_m2"] = _met_streams(table, roads, rasters[1], receiver)
    table["creek"] = table.index.isin(_nearest(table, creek))
    flows = table[table["creek"] | (table["stream_m2"] > 0)].sort_values(
        ["creek", "stream_m2", "along_m"], ascending=[False, False, True]
    )
    first = flows.iloc[
        _spread(flows, np.empty((0, 2)), APART_M, CROSS_COUNT - RELIEF_COUNT)
    ].assign(relief=False)
    dip = table["ground_m"] - table.groupby("road")["ground_m"].transform(
        lambda level: level.rolling(61, center=True, min_periods=1).mean()
    )
    rest = table.assign(order=dip + rng.normal(0, 0.8, len(table))).sort_values("order")
    held = first[["x", "y"]].to_numpy()
    chosen = _spread(rest, held, RELIEF_APART_M, CROSS_COUNT - len(first))
    relief = rest.iloc[chosen].drop(columns="order").assign(relief=True)
    pipes = pd.concat([first, relief]).sort_values(["road", "along_m"])
    pipes = pipes.drop(columns="stream_m2").reset_index(drop=True)
    pipes = pipes.assign(kind="cross")
    start = pipes[(pipes["road"] == ONE_PIPE_ROAD) & (pipes["along_m"] < ONE_PIPE_M)]
    only = pipes.index == start["area_m2"].idxmax()
    return pipes.assign(named_first=pipes["creek"] | only)


def _wished(
    homes: pd.DataFrame, roads: Roads, rng: np.random.Generator
) -> pd.DataFrame:
    """Put dwellings in the order in which their driveway pipes were listed."""
    per_road = homes["road"].map(
        {
            **DRIVEWAY_ROADS,
            **{n: STREET_DRIVEWAYS for n in roads.lines if n.startswith("Quenna")},
        }
    )
    wish = per_road.fillna(2.0).to_numpy() * rng.random(len(homes))
    return homes.iloc[np.argsort(-wish)]


def place_driveways(
    roads: Roads,
    table: pd.DataFrame,
    homes: pd.DataFrame,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return 236 driveway pipes in the ditch in front of dwellings."""
    order = _wished(homes, roads, rng)
    held = table[["x", "y"]].to_numpy()
    chosen = _spread(
        order[["ditch_x", "ditch_y"]].set_axis(["x", "y"], axis=1),
        held,
        22.0,
        DRIVEWAY_COUNT,
    )
    front = order.iloc[chosen]
    return pd.DataFrame(
        {
            "road": front["road"],
            "x": front["ditch_x"],
            "y": front["ditch_y"],
            "along_m": front["along_m"],
            "house_x": front["x"],
            "house_y": front["y"],
            "relief": True,
            "creek": False,
            "named_first": False,
            "kind": "driveway",
        }
    ).reset_index(drop=True)


def name_pipes(pipes: pd.DataFrame, roads: Roads) -> pd.Series:
    """Name each pipe by road letter and number, Trunk 11 by its mile."""
    ids = pd.Series("", index=pipes.index, dtype=object)
    order = pipes.sort_values(["named_first", "along_m"], ascending=[False, True])
    for (road, kind), group in order.groupby(["road", "kind"]):
        letter = roads.plans[str(road)].letter
        if letter == "P" and kind == "cross":
            miles = group["along_m"] / MILE_M
            labels = [f"P{mile:.2f}" for mile in miles]
            ids[group.index] = labels
            ids[(miles - INSPECT_MILE).abs().idxmin()] = f"P{INSPECT_MILE}"
            continue
        street = str(road).split()[-1] if letter == "V" else ""
        stem = f"{letter}{street}" + ("-" if street else "")
        mark = "d" if kind == "driveway" else ""
        ids[group.index] = [f"{stem}{mark}{n}" for n in range(1, len(group) + 1)]
    return ids


def downstream(
    pipes: pd.DataFrame, receiver: NDArray[np.int64], area: Raster
) -> pd.Series:
    """Return the next pipe that the water of each pipe meets, by row; -1 if none.

    The ground's own drainage is followed first; a relief pipe drains along its
    road's ditch to the next lower pipe of the same road.
    """
    size = area.values.shape[0]
    row, column = area.rows_columns(pipes[["x", "y"]].to_numpy())
    owner: dict[int, int] = {}
    for index in pipes.index:
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                i, j = row[index] + dr, column[index] + dc
                if 0 <= i < size and 0 <= j < size:
                    owner.setdefault(i * size + j, index)
    result = pd.Series(-1, index=pipes.index)
    steps = int(CHAIN_REACH_M / area.cell_m)
    for index in pipes.index:
        cell = row[index] * size + column[index]
        for _ in range(steps):
            cell = int(receiver[cell])
            if owner.get(cell, index) != index:
                result[index] = owner[cell]
                break
    return _ditches(pipes, result)


def _ditches(pipes: pd.DataFrame, result: pd.Series) -> pd.Series:
    """Let relief pipes without a stream drain to the next lower pipe of their road."""
    for _, group in pipes[pipes["kind"] == "cross"].groupby("road"):
        order = group.sort_values("along_m")
        for index, pipe in order[order["relief"]].iterrows():
            if result[index] >= 0:
                continue
            gap = (order["along_m"] - pipe["along_m"]).abs()
            lower = order[
                (order["ground_m"] < pipe["ground_m"] - 0.3) & gap.between(1, 300)
            ]
            if len(lower):
                result[index] = gap[lower.index].idxmin()
    return result


def keep_chains(
    pipes: pd.DataFrame, following: pd.Series
) -> tuple[pd.Series, pd.Series]:
    """Keep 74 chains of two to nine pipes; downstream row and chain number.

    Tolliver's chain comes first: nine pipes and the county's pipe below them.

    Every pipe has at most one upstream pipe in its chain, so a chain is a line.
    """
    linked = pd.Series(-1, index=pipes.index)
    chain = pd.Series(0, index=pipes.index)
    used: set[int] = set()
    level = pipes["ground_m"].to_numpy()
    starts = sorted(
        pipes.index[following >= 0],
        key=lambda i: -level[i],
    )
    creek = pipes[pipes["creek"]].sort_values("along_m").index.tolist()
    number = 0
    for start in [creek[-1], *starts]:
        path = creek[::-1] if start == creek[-1] else [start]
        while len(path) <= LONGEST_CHAIN:
            after = int(following[path[-1]])
            full = len(path) == LONGEST_CHAIN and path[0] != creek[-1]
            if after < 0 or after in used or after in path or full:
                break
            path.append(after)
        if start in used or len(path) < 2 or number == CHAIN_COUNT:
            continue
        number += 1
        used |= set(path)
        chain[path] = number
        linked[path[:-1]] = path[1:]
    return linked, chain
