"""The morning of 25 February 2025: the calls, the landmarks, and the answer idea."""

import pandas as pd

LANDMARKS = {
    "H1": "pond, second fence post",
    "O5": "old mill pond",
    "HHd6": "red barn",
    "SB9": "bus turnaround",
    "U2": "rebuilt after 2022 washout",
    "N4": "rebuilt after 2022 washout",
    "P3.4": "soft shoulder",
    "B11": "field pond",
}
MOUTH = "Tolliver mouth"
CALLS = (
    (
        "04:10",
        "Ossel Mill Rd",
        "by the old mill pond",
        "dispatch",
        "water over the road, ice forming",
    ),
    (
        "04:55",
        "Torvessin Trunk 4",
        "near Tolliver mouth",
        "plow operator",
        "ditch full both sides",
    ),
    (
        "05:05",
        "Hendle Dead End Rd",
        "",
        "resident",
        "pond is up to the second fence post; oxygen in the house",
    ),
    (
        "05:12",
        "Quenna Street 7",
        "",
        "resident, voice mail",
        "cellar wet, third call this winter",
    ),
    ("06:20", "Sugarbrake Rd", "bus turnaround", "bus driver", "slush"),
    (
        "06:45",
        "Harn Hill Rd",
        "by the red barn",
        "resident",
        "driveway pipe shut, very angry, council member copied",
    ),
    ("07:02", "Harn Hill Rd", "by the red barn", "resident", "same address again"),
    ("07:10", "Fenn Spur", "", "dairy", "milk truck due 10:00"),
    ("07:25", "Norrick Lane", "in the shade", "resident", "ice on the road"),
    ("07:50", "Quenna Street 7", "", "neighbour", "water by the cellar door next door"),
    ("08:05", "Bittern Slough Rd", "", "resident", "field pond, no houses"),
    (
        "08:15",
        "Pellard Trunk 11",
        "mile about 3.4",
        "driver",
        "shoulder soft, crack seen",
    ),
    (
        "08:30",
        "Skarrow Landing Rd",
        "",
        "seasonal owner, away",
        "asks whether the road is open",
    ),
    ("08:55", "School Ridge Rd", "school", "school", "lot ponding"),
)
ANSWER = (
    ("H1", "open", "the only way to 11 homes, oxygen in one; the pond is rising"),
    ("T1", "open", "after the county pipe below it"),
    ("T2", "open", "after T1"),
    ("T3", "open", "after T2"),
    ("O5", "open", "water over a bus road"),
    ("P3.4", "inspect", "first of all for the crack: sign and look before any machine"),
    ("U2", "open", "nobody calls, the line is down; it washed out in 2022"),
    ("HHd6", "wait", "a driveway pipe, loud but harmless"),
)


def calls_table() -> pd.DataFrame:
    """Return the fourteen calls of the morning."""
    return pd.DataFrame(CALLS, columns=["time", "road", "place", "caller", "seen"])


def answer_table(pipes: pd.DataFrame) -> pd.DataFrame:
    """Return what a good plan does with the pipes of the morning's story."""
    mouth = pipes.loc[pipes["pipe"] == "T1", "downstream"].iloc[0]
    school = pipes.loc[pipes["landmark"] == "school lot", "pipe"].iloc[0]
    rows = [
        *ANSWER,
        (mouth, "call first", "county pipe at the bottom of the Tolliver chain"),
        (school, "tell", "the school's own pipe"),
    ]
    return pd.DataFrame(rows, columns=["pipe", "act", "why"])


def add_landmarks(pipes: pd.DataFrame) -> pd.DataFrame:
    """Note the landmarks by which callers and crews know a few pipes."""
    table = pipes.assign(landmark=pipes["pipe"].map(LANDMARKS).fillna(""))
    mouth = table.loc[table["pipe"] == "T1", "downstream"].iloc[0]
    table.loc[table["pipe"] == mouth, "landmark"] = MOUTH
    return table
