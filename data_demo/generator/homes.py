"""The 905 dwellings and the places on which many depend."""

import numpy as np
import pandas as pd
from layout import SIDE_M, Array, latitude_longitude
from roads import Roads, along

DWELLINGS = 905
GARAGE_XY = (5_450.0, 5_250.0)
SCHOOL_XY = (6_600.0, 5_800.0)
FIXED = {  # year-round dwellings on the dead ends
    "Hendle Dead End Rd": 11,
    "Upper Ossel Rd": 6,
    "Skarrow Landing Rd": 9,
    "Beaver Cut Rd": 2,
    "Fenn Spur": 4,
    "Ridgeback Trail": 0,
}
SEASONAL = {"Skarrow Landing Rd": 22}
VILLAGE_SHARE = 0.29
PEOPLE = (1, 2, 3, 4, 5, 6)
PEOPLE_CHANCE = (0.26, 0.37, 0.15, 0.14, 0.06, 0.02)  # mean 2.4
EDGE_M = 60.0  # a road that ends this near the town line goes on beyond it
PLACES = (
    ("school", "School Ridge Rd", SCHOOL_XY, 240, "heat; buses until 08:10"),
    ("ambulance and fire", "Torvessin Trunk 4", (5_480.0, 5_275.0), 4, "ways out"),
    ("town garage", "Torvessin Trunk 4", GARAGE_XY, 6, ""),
    ("dairy", "Fenn Spur", None, 3, "milk truck 10:00; offers water 12 gpm"),
    ("dairy", "Drumvale Rd", None, 5, "milk truck before noon"),
    ("dairy", "Cattlegate Rd", None, 4, "milk truck before noon"),
    ("water plant", "Ossel Mill Rd", None, 2, "power and chemicals"),
    ("clinic", "Quenna Street 3", None, 8, "ways in"),
)


def _counts(roads: Roads, rng: np.random.Generator) -> dict[str, int]:
    """Share the dwellings out: village first, then by length of road and class."""
    streets = [name for name in roads.lines if name.startswith("Quenna")]
    counts = dict(FIXED)
    village = round(DWELLINGS * VILLAGE_SHARE)
    for number, name in enumerate(streets):
        counts[name] = village // len(streets) + (number < village % len(streets))
    others = [name for name in roads.lines if name not in counts]
    weight = np.array(
        [
            roads.plans[n].miles * (0.6 + roads.plans[n].traffic ** 0.35 / 6)
            for n in others
        ]
    )
    left = DWELLINGS - sum(counts.values())
    shares = np.floor(left * weight / weight.sum()).astype(int)
    shares[rng.choice(len(others), left - shares.sum(), replace=False)] += 1
    return {**counts, **dict(zip(others, shares.tolist(), strict=True))}


def _beside(line: Array, distance: Array, sides: Array, back: Array) -> pd.DataFrame:
    """Put houses back from the road, and the mouths of their drives in its ditch."""
    places, reach = along(line, 2.0)
    xy = np.column_stack([np.interp(distance, reach, places[:, k]) for k in (0, 1)])
    ahead = np.column_stack(
        [np.interp(distance + 4.0, reach, places[:, k]) for k in (0, 1)]
    )
    behind = np.column_stack(
        [np.interp(distance - 4.0, reach, places[:, k]) for k in (0, 1)]
    )
    way = (ahead - behind) / np.hypot(*(ahead - behind).T)[:, None]
    side = np.column_stack([-way[:, 1], way[:, 0]]) * sides[:, None]
    house = np.clip(xy + side * back[:, None], 5, SIDE_M - 5)
    ditch = np.clip(xy + side * 8.0, 5, SIDE_M - 5)
    return pd.DataFrame(
        {
            "x": house[:, 0],
            "y": house[:, 1],
            "ditch_x": ditch[:, 0],
            "ditch_y": ditch[:, 1],
            "along_m": distance,
        }
    )


def make_homes(roads: Roads, hendle_from_m: float, seed: int) -> pd.DataFrame:
    """Return the dwellings; those of Hendle all lie beyond ``hendle_from_m``."""
    rng = np.random.default_rng([seed, 4])
    parts = []
    kinds = [(_counts(roads, rng), "dwelling"), (SEASONAL, "seasonal dwelling")]
    for counts, kind in kinds:
        for road, count in counts.items():
            if count == 0:
                continue
            reach = along(roads.lines[road])[1][-1]
            near = hendle_from_m + 60 if road.startswith("Hendle") else 0.04 * reach
            spots = np.sort(rng.uniform(near, 0.985 * reach, count))
            sides = rng.choice([-1.0, 1.0], count)
            village = road.startswith("Quenna")
            back = (
                rng.uniform(16, 24, count) if village else rng.gamma(3, 12, count) + 18
            )
            homes = _beside(roads.lines[road], spots, sides, back)
            parts.append(homes.assign(road=road, kind=kind))
    homes = pd.concat(parts, ignore_index=True)
    people = rng.choice(PEOPLE, len(homes), p=PEOPLE_CHANCE)
    homes["people"] = np.where(homes["kind"] == "dwelling", people, 0)
    homes["needs"] = ""
    hendle = homes.index[homes["road"].str.startswith("Hendle")]
    homes.loc[hendle[len(hendle) // 2], "needs"] = "oxygen"
    alone = homes.index[homes["people"] == 1]
    homes.loc[rng.choice(alone.to_numpy(), 14, replace=False), "needs"] = "lives alone"
    homes.loc[hendle[len(hendle) // 2], "needs"] = "oxygen"
    return homes


def _ways_out(roads: Roads) -> list[tuple[float, float, str, int, str]]:
    """Where a road leaves the town, for the places file."""
    ends = [line[k] for line in roads.lines.values() for k in (0, -1)]
    at_line = [
        xy for xy in ends if min(*xy, *(SIDE_M - np.asarray(xy)).tolist()) < EDGE_M
    ]
    return [(float(x), float(y), "way out", 0, "") for x, y in at_line]


def places_table(homes: pd.DataFrame, roads: Roads) -> pd.DataFrame:
    """Return the places file: every dwelling, then schools, dairies and the like."""
    rows = []
    for kind, road, xy, people, needs in PLACES:
        if xy is None:
            line = roads.lines[road]
            distance = np.array([0.8 * along(line)[1][-1]])
            spot = _beside(line, distance, np.array([1.0]), np.array([45.0]))
            xy = (spot["x"].iloc[0], spot["y"].iloc[0])
        rows.append((xy[0], xy[1], kind, people, needs))
    rows.extend(_ways_out(roads))
    columns = ["x", "y", "kind", "people", "needs"]
    table = pd.concat(
        [pd.DataFrame(rows, columns=columns), homes[columns]], ignore_index=True
    )
    place = np.round(latitude_longitude(table[["x", "y"]].to_numpy()), 6)
    table.insert(0, "lat", place[:, 0])
    table.insert(1, "lon", place[:, 1])
    return table.drop(columns=["x", "y"])
