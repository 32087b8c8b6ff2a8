"""The seeded faults of the inventory, each with its right value in the answer key."""

import numpy as np
import pandas as pd
from inventory import (
    COLUMNS,
    NAME_VARIANTS,
    OLD_SURVEYS,
    Faults,
    add_duplicates,
    road_variant,
    written_table,
)
from layout import SIDE_M, Array, latitude_longitude, state_plane_feet
from scipy.spatial import cKDTree

STORY = ("H1", "O5", "U2", "P3.4", "N4", "T1", "T2", "T3", "T4", "T5", "HHd6")
BLANK_SHARE, FEET_SHARE, MM_SHARE = 0.11, 0.03, 0.04
TWINS, SWAPPED, AT_ZERO, STATE_PLANE = 9, 7, 5, 4
FAR, FAR_M = 12, (48.0, 130.0)
AT_HOUSE, REPEATED, WRONG_OWNER, MINUS_99 = 21, 6, 8, 30
TWIN_FORMS = ("2-{}", "2x{}", "twin {}", "2 @ {}")
ODD_IDS = ("12", "012", "12.0", "12A")
REVERSED = "condition from 1, good, to 5, bad"
FAULT_COLUMNS = ["row", "pipe", "column", "fault", "written", "right"]


def _pick(rows: list[int], count: int, rng: np.random.Generator) -> list[int]:
    return [int(i) for i in rng.choice(rows, min(count, len(rows)), replace=False)]


def _sizes(faults: Faults, pipes: pd.DataFrame, rng: np.random.Generator) -> None:
    """Blank sizes, twin texts, and sizes in feet and millimetres."""
    table = faults.table
    inch = pipes.set_index("pipe")["size_in"].reindex(table["pipe"]).to_numpy()
    twin = table["SIZE_IN"].str.startswith("2-")
    for count, index in enumerate(_pick(faults.free(twin), TWINS, rng)):
        text = TWIN_FORMS[count % len(TWIN_FORMS)].format(int(inch[index]))
        faults.write(index, "SIZE_IN", text, "twin text", f"2 of {int(inch[index])}")
    for index in table.index[twin]:
        if int(index) not in faults.taken:
            table.loc[index, "SIZE_IN"] = str(int(inch[index]))
            table.loc[index, "NOTE"] = "twin barrels"
    one = ~twin
    for index in _pick(faults.free(one), round(BLANK_SHARE * len(table)), rng):
        faults.write(index, "SIZE_IN", "", "size blank", int(inch[index]))
    for index in _pick(faults.free(one), round(FEET_SHARE * len(table)), rng):
        feet = f"{inch[index] / 12:g}"
        text = feet if feet != "1" else "1 ft"
        faults.write(index, "SIZE_IN", text, "size in feet", int(inch[index]))
    for count, index in enumerate(
        _pick(faults.free(one), round(MM_SHARE * len(table)), rng)
    ):
        text = f"{inch[index] * 25:.0f}" + (" mm" if count % 3 == 0 else "")
        faults.write(index, "SIZE_IN", text, "size in mm", int(inch[index]))
    eighteen = one & (inch == 18)
    index = _pick(faults.free(eighteen), 1, rng)[0]
    faults.write(index, "SIZE_IN", "450 in", "450 in", 18)


def _move(faults: Faults, index: int, words: tuple[str, str], fault: str) -> None:
    table = faults.table
    right = f"{table.at[index, 'LAT']} {table.at[index, 'LON']}"
    table.loc[index, ["LAT", "LON"]] = words
    table.loc[index, ["IN_LAT", "IN_LON", "OUT_LAT", "OUT_LON"]] = ""
    faults.note(index, "LAT LON", " ".join(words), fault, right)


def _places(
    faults: Faults, pipes: pd.DataFrame, road_places: Array, rng: np.random.Generator
) -> None:
    """Swapped, zero, state-plane and far places, and ends mapped at the house."""
    table = faults.table
    xy = pipes.set_index("pipe")[["x", "y"]].reindex(table["pipe"]).to_numpy()
    for index in _pick(faults.free(), SWAPPED, rng):
        words = (str(table.at[index, "LON"]), str(table.at[index, "LAT"]))
        _move(faults, index, words, "lat and lon swapped")
    for index in _pick(faults.free(), AT_ZERO, rng):
        _move(faults, index, ("0", "0"), "at 0, 0")
    for index in _pick(faults.free(), STATE_PLANE, rng):
        north, east = state_plane_feet(xy[[index]])[0]
        _move(faults, index, (f"{north:.1f}", f"{east:.1f}"), "state-plane feet")
    _far(faults, xy, road_places, rng)
    house = pipes.set_index("pipe")[["house_x", "house_y"]].reindex(table["pipe"])
    _at_house(faults, xy, house.to_numpy(), rng)


def _far(
    faults: Faults, xy: Array, road_places: Array, rng: np.random.Generator
) -> None:
    """Move pipes so far away that no road is near."""
    table = faults.table
    tree = cKDTree(road_places)
    far = 0
    for index in rng.permutation(faults.free(table["KIND"] == "cross")):
        angle = rng.uniform(0, 2 * np.pi)
        spot = xy[index] + rng.uniform(*FAR_M) * np.array(
            [np.sin(angle), np.cos(angle)]
        )
        inside = (spot > 5).all() and (spot < SIDE_M - 5).all()
        if far < FAR and inside and tree.query(spot)[0] > FAR_M[0] - 4:
            place = latitude_longitude(spot[None, :])[0]
            words = (f"{place[0]:.6f}", f"{place[1]:.6f}")
            _move(faults, int(index), words, "more than 40 m from a road")
            far += 1


def _at_house(
    faults: Faults, xy: Array, house: Array, rng: np.random.Generator
) -> None:
    """Put driveway pipes where the house stands."""
    table = faults.table
    back = np.hypot(*(house - xy).T)
    near = (table["KIND"] == "driveway") & (back > 16) & (back < 31)
    for index in _pick(faults.free(near), AT_HOUSE, rng):
        place = latitude_longitude(house[[index]])[0]
        words = (f"{place[0]:.6f}", f"{place[1]:.6f}")
        _move(faults, index, words, "mapped at the house")


def _words(faults: Faults, rng: np.random.Generator) -> None:
    """Road names, pipe ids, owners and slopes."""
    table = faults.table
    named = ~table["ROAD"].str.startswith(("Quenna", "Fenn", "Ridgeback"))
    for count, index in enumerate(_pick(faults.free(named), NAME_VARIANTS, rng)):
        right = table.at[index, "ROAD"]
        faults.write(
            index, "ROAD", road_variant(str(right), count), "road name variant", right
        )
    wyke = (table["ROAD"] == "Wyke Rd") & (table["KIND"] == "cross")
    for odd, index in zip(ODD_IDS, _pick(faults.free(wyke), 4, rng), strict=True):
        faults.write(index, "PIPE_ID", odd, "id forms", table.at[index, "pipe"])
    rows = _pick(faults.free(), 2 * REPEATED, rng)
    for index, other in zip(rows[:REPEATED], rows[REPEATED:], strict=True):
        taken = table.at[other, "PIPE_ID"]
        faults.write(index, "PIPE_ID", taken, "id repeated", table.at[index, "pipe"])
        faults.taken.add(other)
    ours = table["OWNER"] == "town"
    for index in _pick(faults.free(ours), WRONG_OWNER, rng):
        faults.write(index, "OWNER", "county", "owner wrong", "town")
    unknown = table["SLOPE_PCT"] == ""
    for index in _pick(faults.free(unknown), MINUS_99, rng):
        faults.write(index, "SLOPE_PCT", "-99", "slope -99 for blank", "")


def make_inventory(
    pipes: pd.DataFrame, road_places: Array, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return the inventory, its faults, and the true pipe of each row."""
    rng = np.random.default_rng([seed, 10])
    table = written_table(pipes, rng)
    table, extra = add_duplicates(table, pipes, {*STORY}, rng)
    faults = Faults(table)
    own = pipes.set_index("pipe")
    for index in extra:
        right, written = table.at[index, "pipe"], table.at[index, "PIPE_ID"]
        faults.note(index, "PIPE_ID", written, "duplicate", right)
    kept = table["pipe"].isin(STORY)
    faults.taken |= set(table.index[kept].tolist())
    _sizes(faults, pipes, rng)
    _places(faults, pipes, road_places, rng)
    _words(faults, rng)
    old = table["SURVEY"].isin(OLD_SURVEYS)
    for index in table.index[old]:
        right = int(own.at[table.at[index, "pipe"], "condition"])
        written = table.at[index, "CONDITION"]
        faults.note(int(index), "CONDITION", written, REVERSED, right)
    return _finish(table, faults)


def _finish(
    table: pd.DataFrame, faults: Faults
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    key = pd.DataFrame(faults.list)
    key["row"] = key["index"] + 1
    rows = pd.DataFrame({"row": table.index + 1, "pipe": table["pipe"]})
    key = key.sort_values(["fault", "row"])[FAULT_COLUMNS]
    return table[COLUMNS], key, rows
