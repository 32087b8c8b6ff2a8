"""The roads as drawn by hand: names, classes, miles and corner points in km."""

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Plan:
    """One road: what it is, how long it must be, through which corners it goes."""

    name: str
    letter: str
    road_class: str
    surface: str
    miles: float
    traffic: int
    corners: tuple[Point, ...]
    bus: bool = False


def _plan(
    head: str, miles: float, traffic: int, corners: list[Point], *, bus: bool = False
) -> Plan:
    name, letter, road_class, surface = head.split("|")
    return Plan(name, letter, road_class, surface, miles, traffic, tuple(corners), bus)


TRUNKS = (
    _plan(
        "Torvessin Trunk 4|TT|A|paved",
        6.3,
        1450,
        [
            (0.0, 4.6),
            (1.0, 4.72),
            (2.0, 4.85),
            (2.8, 4.93),
            (3.4, 5.0),
            (5.1, 5.17),
            (5.4, 5.2),
            (5.7, 5.23),
            (6.2, 5.3),
            (6.5, 5.35),
            (7.6, 5.62),
            (8.6, 5.8),
            (9.6, 6.0),
        ],
        bus=True,
    ),
    _plan(
        "Pellard Trunk 11|P|A|paved",
        6.9,
        820,
        [
            (3.6, 0.0),
            (3.648, 0.1),
            (3.84, 0.5),
            (4.248, 1.35),
            (4.8, 2.5),
            (5.15, 4.1),
            (5.33, 4.95),
            (5.4, 5.2),
            (5.47, 5.45),
            (5.55, 5.75),
            (5.65, 6.2),
            (5.9, 7.2),
            (6.65, 8.4),
            (7.4, 9.6),
        ],
        bus=True,
    ),
)
COLLECTORS = (
    _plan(
        "Long Sarn Rd|L|B|paved",
        5.2,
        410,
        [
            (0.0, 7.2),
            (1.0, 7.1),
            (2.2, 7.0),
            (3.1, 7.15),
            (4.0, 7.3),
            (5.9, 7.2),
            (6.9, 7.43),
            (7.6, 7.6),
        ],
        bus=True,
    ),
    _plan(
        "Ossel Mill Rd|O|B|paved",
        3.9,
        360,
        [
            (5.15, 4.1),
            (6.0, 4.7),
            (6.5, 5.35),
            (7.2, 6.5),
            (7.6, 7.6),
            (8.25, 8.15),
            (8.9, 8.7),
        ],
        bus=True,
    ),
    _plan(
        "Kestry Corners Rd|K|B|paved",
        4.1,
        290,
        [(2.2, 7.0), (2.0, 4.85), (2.5, 2.9), (4.248, 1.35)],
        bus=True,
    ),
    _plan(
        "Drumvale Rd|D|B|gravel",
        3.3,
        180,
        [(1.0, 4.72), (0.9, 3.0), (1.2, 1.55), (2.5, 2.9)],
    ),
    _plan(
        "School Ridge Rd|S|B|paved",
        1.8,
        520,
        [(6.2, 5.3), (6.62, 5.85), (6.25, 6.55), (6.9, 7.43)],
        bus=True,
    ),
    _plan(
        "East Fallow Rd|E|B|gravel",
        3.2,
        150,
        [(8.9, 3.8), (8.75, 4.9), (8.6, 5.8), (8.8, 7.2), (8.9, 8.7)],
        bus=True,
    ),
)
TOWN_ROADS = (
    _plan(
        "Tolliver Hollow Rd|T|C|gravel",
        4.0,
        85,
        [
            (7.6, 5.62),
            (7.2, 4.7),
            (6.7, 4.22),
            (6.2, 3.75),
            (5.4, 2.6),
            (6.3, 2.3),
            (7.2, 1.7),
        ],
    ),
    _plan(
        "Bittern Slough Rd|B|C|gravel",
        3.1,
        60,
        [(8.9, 3.8), (8.75, 3.0), (8.6, 2.2), (8.3, 0.8), (7.2, 1.7)],
    ),
    _plan(
        "Harn Hill Rd|HH|C|gravel",
        3.4,
        95,
        [
            (2.5, 2.9),
            (3.2, 3.3),
            (3.9, 2.9),
            (4.8, 2.5),
            (5.4, 2.6),
            (5.5, 1.7),
            (5.6, 0.8),
        ],
    ),
    _plan(
        "Norrick Lane|N|C|gravel",
        2.6,
        70,
        [(6.0, 4.7), (6.45, 4.62), (6.7, 4.22), (7.3, 3.7), (8.0, 4.0), (8.75, 4.9)],
    ),
    _plan(
        "Pender Flats Rd|PF|C|gravel",
        3.6,
        55,
        [(3.84, 0.5), (5.6, 0.8), (7.2, 1.7), (8.6, 2.2)],
    ),
    _plan(
        "Cattlegate Rd|C|C|gravel",
        2.9,
        60,
        [(3.4, 5.0), (3.6, 6.2), (4.0, 7.3), (4.6, 8.4), (5.2, 8.7)],
    ),
    _plan(
        "Wyke Rd|W|C|gravel", 2.2, 40, [(1.0, 4.72), (1.1, 5.9), (1.0, 7.1), (0.8, 8.1)]
    ),
    _plan(
        "Old Quarry Rd|Q|C|gravel",
        2.4,
        45,
        [(8.9, 3.8), (7.9, 2.9), (7.1, 3.2), (6.3, 2.3)],
    ),
    _plan(
        "Sugarbrake Rd|SB|C|gravel",
        2.7,
        50,
        [(2.2, 7.0), (2.5, 8.2), (2.1, 9.0), (1.1, 8.9), (0.8, 8.1)],
        bus=True,
    ),
    _plan("Marl Pit Rd|M|C|gravel", 1.9, 30, [(1.2, 1.55), (2.1, 0.4), (3.648, 0.1)]),
    _plan(
        "Lumrick Rd|LU|C|gravel",
        2.3,
        65,
        [(5.2, 8.7), (6.65, 8.4), (7.4, 8.75), (8.25, 8.15)],
    ),
)
DEAD_ENDS = (
    _plan(
        "Hendle Dead End Rd|H|D|gravel",
        1.6,
        34,
        [(0.9, 3.0), (0.5, 3.0), (0.15, 2.65), (0.25, 1.7), (0.45, 1.05)],
    ),
    _plan(
        "Upper Ossel Rd|U|D|gravel",
        2.2,
        22,
        [(2.8, 4.93), (2.95, 4.3), (3.6, 4.05), (4.3, 4.2), (4.5, 3.5), (4.05, 3.35)],
    ),
    _plan(
        "Skarrow Landing Rd|SK|D|gravel",
        1.9,
        40,
        [(3.1, 7.15), (3.3, 7.9), (2.9, 8.5), (3.1, 9.2), (3.7, 9.35)],
    ),
    _plan(
        "Beaver Cut Rd|BC|D|gravel",
        1.7,
        8,
        [(8.75, 3.0), (9.25, 2.3), (9.2, 1.25), (9.05, 0.5)],
    ),
    _plan(
        "Fenn Spur|F|D|gravel",
        1.3,
        18,
        [(3.6, 6.2), (2.8, 6.3), (2.55, 5.55), (2.85, 5.4)],
    ),
    _plan(
        "Ridgeback Trail|R|D|gravel",
        1.8,
        5,
        [(7.1, 3.2), (8.0, 4.0), (8.2, 4.6), (8.1, 5.3)],
    ),
)
STREET_MILES = 2.1
STREET_TRAFFIC = 150
STREETS: tuple[tuple[Point, Point], ...] = (
    ((5.1, 5.17), (5.15, 5.43)),
    ((5.15, 5.43), (5.47, 5.45)),
    ((5.47, 5.45), (5.75, 5.48)),
    ((5.7, 5.23), (5.75, 5.48)),
    ((5.75, 5.48), (5.8, 5.76)),
    ((5.8, 5.76), (5.55, 5.75)),
    ((5.15, 5.43), (5.2, 5.72)),
    ((5.2, 5.72), (5.55, 5.75)),
    ((5.1, 5.17), (5.05, 4.93)),
    ((5.05, 4.93), (5.33, 4.95)),
    ((5.33, 4.95), (5.62, 4.97)),
    ((5.62, 4.97), (5.7, 5.23)),
)


def all_plans() -> tuple[Plan, ...]:
    """Return every road, the village streets as roads of their own."""
    streets = tuple(
        Plan(
            f"Quenna Street {number}",
            "V",
            "C",
            "paved",
            STREET_MILES / len(STREETS),
            STREET_TRAFFIC,
            corners,
        )
        for number, corners in enumerate(STREETS, start=1)
    )
    return TRUNKS + COLLECTORS + TOWN_ROADS + DEAD_ENDS + streets
