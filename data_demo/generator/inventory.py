"""The inventory as the town keeps it, and the faults put into it on purpose."""

import numpy as np
import pandas as pd
from layout import FOOT_M, SIDE_M, latitude_longitude
from truth import REPLACED

COLUMNS = ["PIPE_ID", "ROAD", "LAT", "LON", "SIZE_IN", "MATL", "LEN_FT", "SLOPE_PCT"]
COLUMNS += ["COVER_FT", "ENDS", "OWNER", "KIND", "YEAR", "SILT_PCT", "DROP_FT"]
COLUMNS += ["SEEP", "PLOW_PLUG", "STAKED", "CONDITION", "INV_IN_FT", "INV_OUT_FT"]
COLUMNS += ["NOTE", "IN_LAT", "IN_LON", "OUT_LAT", "OUT_LON", "SURVEY"]
SLOPE_SHARE, INVERT_SHARE, YEAR_BLANK, ENDS_SHARE = 0.22, 0.14, 0.44, 0.30
DUPLICATES = 13
SURVEYS = ("2021 town", "2009 summer roll", "2014 road walk")
SURVEY_SHARES = (0.76, 0.10, 0.14)
OLD_SURVEYS = SURVEYS[1:]  # their condition runs from 1, good, to 5, bad
TEN_TO_FIVE = 2.25  # steps of the 0-9 scale in one of the 1-5 scale
REPLACED_NOTE = "replaced that summer, same number kept"
VARIANTS = (
    ("Rd", "Road"),
    ("Rd", "RD."),
    ("Rd", ""),
    ("Hollow", "Hollo"),
    ("Trunk 4", "T-4"),
    ("Trunk 11", "Trk 11"),
    ("Lane", "Ln"),
    ("Hill Rd", "HILL ROAD"),
    ("Corners", "Cor."),
)
NAME_VARIANTS = 18


class Faults:
    """Collects what was written wrong, row by row, with the right value.

    Examples
    --------
    >>> faults = Faults(pd.DataFrame({"ROAD": ["Wyke Rd"], "pipe": ["W1"]}))
    >>> faults.write(0, "ROAD", "Wyke road", "road name", "Wyke Rd")
    """

    def __init__(self, table: pd.DataFrame) -> None:
        self.table = table
        self.list: list[dict[str, object]] = []
        self.taken: set[int] = set()

    def write(
        self, index: int, column: str, written: object, fault: str, right: object
    ) -> None:
        """Write a wrong value and keep the right one."""
        self.table.loc[index, column] = written
        self.note(index, column, written, fault, right)

    def note(
        self, index: int, column: str, written: object, fault: str, right: object
    ) -> None:
        """Keep a fault without writing."""
        self.taken.add(index)
        words = {"index": index, "pipe": self.table.at[index, "pipe"]}
        words |= {"column": column, "fault": fault, "written": written, "right": right}
        self.list.append(words)

    def free(self, where: pd.Series | None = None) -> list[int]:
        """Return the rows still without a fault."""
        rows = self.table.index if where is None else self.table.index[where]
        return [int(i) for i in rows if int(i) not in self.taken]


def _number(value: float, places: int = 1) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _condition(row: pd.Series) -> int:
    """Return condition on the survey's own scale."""
    if row["survey"] in OLD_SURVEYS:
        return round(5 - row["condition"] / TEN_TO_FIVE)
    return int(row["condition"])


def _as_measured(pipes: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return what nearly every row has, in the town's units."""
    count = len(pipes)
    xy = pipes[["x", "y"]].to_numpy() + rng.normal(0, 1.5, (count, 2))
    place = np.round(latitude_longitude(xy), 6)
    size = pipes["size_in"].astype(int).astype(str)
    twin = pipes["barrels"] == 2
    return pd.DataFrame(
        {
            "PIPE_ID": pipes["pipe"],
            "ROAD": pipes["road"],
            "LAT": [f"{v:.6f}" for v in place[:, 0]],
            "LON": [f"{v:.6f}" for v in place[:, 1]],
            "SIZE_IN": size.where(~twin, "2-" + size),
            "MATL": pipes["material"],
            "LEN_FT": pipes["length_ft"].astype(int).astype(str),
            "COVER_FT": [_number(v / FOOT_M) for v in pipes["cover_m"]],
            "ENDS": pipes["ends"],
            "OWNER": pipes["owner"],
            "KIND": pipes["kind"],
            "SILT_PCT": [_number(100 * v, 0) for v in pipes["silt"]],
            "DROP_FT": [_number(v / FOOT_M) for v in pipes["drop_m"]],
            "SEEP": np.where(pipes["seep"] > 0, "y", "n"),
            "PLOW_PLUG": np.where(pipes["plug"] > 0, "y", "n"),
            "STAKED": np.where(pipes["staked"] > 0, "y", "n"),
        }
    )


def written_table(pipes: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the inventory as it would read without a fault, blanks included."""
    count = len(pipes)
    table = _as_measured(pipes, rng)
    table["survey"] = rng.choice(SURVEYS, count, p=SURVEY_SHARES)
    table["SURVEY"] = table["survey"]
    table["condition"] = pipes["condition"]
    table["CONDITION"] = [str(_condition(row)) for _, row in table.iterrows()]
    table["NOTE"] = pipes["landmark"].where(pipes["landmark"] != "", "")
    table["NOTE"] += np.where(pipes["sag"] > 0, "; holds water", "")
    table["NOTE"] = table["NOTE"].str.removeprefix("; ")
    table = _sparse(table, pipes, rng)
    for column in ("COVER_FT", "SILT_PCT", "DROP_FT", "SEEP", "PLOW_PLUG"):
        table.loc[rng.random(count) < 0.15, column] = ""
    return table.assign(pipe=pipes["pipe"], road_class=pipes["road_class"])


def _sparse(
    table: pd.DataFrame, pipes: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Add what few rows have: slope, inverts, year and both ends."""
    count = len(table)
    luck = rng.random(count)
    slope = luck < SLOPE_SHARE
    invert = (luck >= SLOPE_SHARE) & (luck < SLOPE_SHARE + INVERT_SHARE)
    table["SLOPE_PCT"] = [
        f"{v:.2f}" if s else "" for v, s in zip(pipes["slope_pct"], slope, strict=True)
    ]
    for column, name in (("INV_IN_FT", "inlet_ft"), ("INV_OUT_FT", "outlet_ft")):
        table[column] = [
            f"{v:.2f}" if s else "" for v, s in zip(pipes[name], invert, strict=True)
        ]
    replaced = pipes["pipe"].map(REPLACED)
    year = np.where(replaced.notna(), replaced.fillna(0), pipes["year"]).astype(int)
    blank = (rng.random(count) < YEAR_BLANK) & replaced.isna().to_numpy()
    table["YEAR"] = ["" if b else str(y) for y, b in zip(year, blank, strict=True)]
    table.loc[replaced.notna().to_numpy(), "NOTE"] = REPLACED_NOTE
    return _mapped_ends(table, pipes, rng)


def _mapped_ends(
    table: pd.DataFrame, pipes: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Add the places of both ends to some rows."""
    mapped = rng.random(len(table)) < ENDS_SHARE
    angle = np.radians(pipes["bearing_deg"].to_numpy())
    half = pipes["length_ft"].to_numpy() * FOOT_M / 2
    way = np.column_stack([np.sin(angle), np.cos(angle)]) * half[:, None]
    xy = pipes[["x", "y"]].to_numpy()
    for end, sign in (("IN", -1), ("OUT", 1)):
        place = latitude_longitude(np.clip(xy + sign * way, 0, SIDE_M))
        for k, axis in enumerate(("LAT", "LON")):
            table[f"{end}_{axis}"] = [
                f"{v:.6f}" if m else ""
                for v, m in zip(place[:, k], mapped, strict=True)
            ]
    return table


def add_duplicates(
    table: pd.DataFrame, pipes: pd.DataFrame, kept: set[str], rng: np.random.Generator
) -> tuple[pd.DataFrame, list[int]]:
    """Add 13 rows of an old survey, 3 to 12 m from pipes already listed."""
    may = table.index[~table["pipe"].isin(kept) & (table["SURVEY"] == SURVEYS[0])]
    source = rng.choice(may.to_numpy(), DUPLICATES, replace=False)
    copy = table.loc[source].copy()
    angle = rng.uniform(0, 2 * np.pi, DUPLICATES)
    away = rng.uniform(4, 11, DUPLICATES)
    xy = pipes.loc[source, ["x", "y"]].to_numpy()
    xy = xy + np.column_stack([np.sin(angle), np.cos(angle)]) * away[:, None]
    place = latitude_longitude(xy)
    copy["LAT"] = [f"{v:.6f}" for v in place[:, 0]]
    copy["LON"] = [f"{v:.6f}" for v in place[:, 1]]
    copy["PIPE_ID"] = [f"S{n:03d}" for n in rng.choice(999, DUPLICATES, replace=False)]
    blank = ["SLOPE_PCT", "INV_IN_FT", "INV_OUT_FT", "NOTE", "YEAR", "IN_LAT", "IN_LON"]
    copy[[*blank, "OUT_LAT", "OUT_LON"]] = ""
    copy["SURVEY"] = copy["survey"] = OLD_SURVEYS[0]
    copy["CONDITION"] = [str(_condition(row)) for _, row in copy.iterrows()]
    whole = pd.concat([table, copy], ignore_index=True)
    return whole, list(range(len(table), len(whole)))


def road_variant(name: str, start: int) -> str:
    """Write a road's name in another way than the road file does."""
    for step in range(len(VARIANTS)):
        old, new = VARIANTS[(start + step) % len(VARIANTS)]
        if old in name:
            return name.replace(old, new).strip()
    return name.upper()
