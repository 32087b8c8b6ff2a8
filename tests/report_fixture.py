"""A small invented town of twelve crossings and one morning, made by hand."""

from dataclasses import dataclass, field
from datetime import date
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from affine import Affine
from shapely.geometry import LineString, Point

from culvertrisk.forecast_model import Forecast
from culvertrisk.inputs.reading import note_table
from culvertrisk.reports.map_data import MapContent
from culvertrisk.stages.day_asked import DayAsked

WORK_CRS = "EPSG:32616"
WEST_M, SOUTH_M = 461_000.0, 5_287_500.0

# id, road, east, north, freeze, flood, loss avoided, reasons, unknowns, note
_ROWS = [
    ("H1", "Hendle Dead End", 300, 2400, 91, 80, 240.0,
     "Log: thawed 5 times; the model alone expected 1.4; "
     "Flat: slope 0.2 %, water stands in the barrel; Water: a seep feeds it all winter",
     "", "Outlet behind the leaning spruce"),
    ("O5", "Ossel Mill Road", 1500, 2100, 84, 72, 96.0,
     "Shade: the darker end gets 90 % less sun today than open ground; "
     "Small pipe: 460\u202fmm closes early", "", ""),
    ("U2", "Upper Ossel Road", 2300, 2700, 77, 66, 41.0,
     "Back-graded: the barrel falls 0.8 % the wrong way",
     "Cover not recorded: taken from the elevation model", ""),
    ("P34", "Torvessin Trunk 4", 1900, 900, 52, 31, 22.0,
     "Perched outlet: 0.6\u202fm drop", "", "Crack in the shoulder seen in January"),
    ("T1", "Torvessin Trunk 4", 700, 900, 66, 44, 18.0,
     "Water: silt fills 40 % of the rise", "", ""),
    ("T2", "Torvessin Trunk 4", 1000, 900, 48, 22, 9.5,
     "Cold so far: 1085\u202f°C·days of frost this winter", "", ""),
    ("N7", "Norrick Lane", 2600, 1500, 71, 9, 4.2,
     "Shade: the darker end gets 97 % less sun today than open ground", "", ""),
    ("B3", "Bittern Slough Road", 2700, 300, 33, 35, 2.6,
     "Flat: slope 0.1 %, water stands in the barrel",
     "Size not recorded: 380 mm (15 in) assumed", ""),
    ("Q7", "Quenna Street", 1300, 1500, 25, 12, 1.1, "", "", ""),
    ("S9", "Skarrow Landing", 800, 2900, 41, 3, 0.4, "", "", ""),
    ("K1", "Kestry Corners", 2100, 1900, 8, 2, 0.03, "", "", ""),
    ("X0", "Harn Hill", 400, 1600, np.nan, np.nan, np.nan, "",
     "Nothing but its place is recorded", ""),
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Plan:
    """The fields of a morning plan that reports read."""

    stops: pd.DataFrame
    not_reached: pd.DataFrame
    comparison: dict[str, float] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    looks: pd.DataFrame | None = None


def _word(score: float, steps: tuple[float, float, float]) -> str:
    if np.isnan(score):
        return ""
    return ("severe", "high", "some", "low")[sum(score < step for step in steps)]


def crossings() -> gpd.GeoDataFrame:
    """Twelve crossings with the columns that a whole run makes, some unknown."""
    rows = pd.DataFrame(
        _ROWS,
        columns=["culvert_id", "road_name", "east", "north", "freeze_index",
                 "flood_index", "loss_avoided_person_h", "reasons", "unknowns", "note"],
    )  # fmt: skip
    count = len(rows)
    points = [Point(WEST_M + e, SOUTH_M + n) for e, n in rows[["east", "north"]].values]
    known = rows["freeze_index"].notna()
    rows = rows.drop(columns=["east", "north"]).assign(
        owner="town",
        rise_m=np.where(known, 0.4572, np.nan),
        length_m=np.where(known, 12.2, np.nan),
        material=np.where(known, "steel", ""),
        outlet_x_m=[
            p.x + 6 if k else np.nan for p, k in zip(points, known, strict=True)
        ],
        outlet_y_m=[
            p.y + 5 if k else np.nan for p, k in zip(points, known, strict=True)
        ],
        barrel_slope_m_per_m=np.where(known, 0.002, np.nan),
        has_seep=[1.0, 0.0] + [np.nan] * (count - 2),
        is_staked=[1.0, 0.0, np.nan] * (count // 3),
        source_row=np.arange(1.0, count + 1),
        afdd_cday=1085.0,
        standing_ice_m=np.where(known, 0.21, np.nan),
        modelled_chance=rows["freeze_index"] / 110,
        freeze_class=[_word(v, (75.0, 50.0, 25.0)) for v in rows["freeze_index"]],
        freeze_cause="sag",
        catchment_m2=np.where(known, 412_000.0, np.nan),
        today_flow_m3s=np.where(known, 0.31, np.nan),
        open_capacity_m3s=np.where(known, 0.42, np.nan),
        flood_class=[_word(v, (75.0, 50.0, 25.0)) for v in rows["flood_index"]],
        daily_traffic_count=240.0,
        detour_m=[np.nan] + [8_300.0] * (count - 1),
        is_only_way=[1.0] + [0.0] * (count - 1),
        cut_off_dwelling_count=[4.0] + [0.0] * (count - 1),
        cut_off_places=["oxygen at home"] + [""] * (count - 1),
        priority_rank=np.arange(1.0, count + 1),
        share_shading_index=np.linspace(18, -9, count),
        share_slope_index=np.linspace(-4, 7, count),
        share_size_index=np.linspace(9, -2, count),
        share_history_index=np.linspace(24, -11, count),
        share_water_index=np.linspace(12, 0, count),
        share_weather_index=0.0,
    )
    return gpd.GeoDataFrame(rows.set_index("culvert_id"), geometry=points, crs=WORK_CRS)


def roads() -> gpd.GeoDataFrame:
    """Seven roads through the crossings."""
    names = {
        "Torvessin Trunk 4": [(0, 880), (700, 900), (1900, 900), (3000, 960)],
        "Ossel Mill Road": [(1000, 900), (1500, 2100), (2300, 2700), (2500, 3100)],
        "Hendle Dead End": [(1500, 2100), (900, 2300), (300, 2400)],
        "Norrick Lane": [(1900, 900), (2600, 1500), (2700, 300)],
        "Quenna Street": [(700, 900), (1300, 1500), (2100, 1900)],
        "Skarrow Landing": [(900, 2300), (800, 2900)],
        "Harn Hill": [(700, 900), (400, 1600)],
    }
    shapes = [
        LineString([(WEST_M + e, SOUTH_M + n) for e, n in ends])
        for ends in names.values()
    ]
    words = {"road_name": [*names], "road_class": ["A", "B", "C", "C", "D", "D", "D"]}
    return gpd.GeoDataFrame(words, geometry=shapes, crs=WORK_CRS)


def terrain() -> SimpleNamespace:
    """A rounded ridge on a 20 m grid, one corner unknown."""
    north, east = np.mgrid[0:180, 0:180]
    ridge = 60 * np.exp(-(((north - east) / 40.0) ** 2)) + 8 * np.sin(east / 9.0)
    ridge[:20, :20] = np.nan
    return SimpleNamespace(
        elevation_m=(214 + ridge).astype(np.float32),
        transform=Affine(20.0, 0.0, WEST_M - 300, 0.0, -20.0, SOUTH_M + 3_300),
        crs=WORK_CRS,
        cell_m=20.0,
    )


def _stop_rows() -> pd.DataFrame:
    hot, steam, garage = "Hot water truck", "Steam trailer", "Town garage"
    rows = [
        (hot, 0, "start", garage, "", 0, 0, 20_400, 20_400, 0, 0),
        (hot, 1, "thaw", "H1", "H1", 840, 5_600, 21_240, 24_240, 0.62, 0.007),
        (hot, 2, "thaw", "O5", "O5", 420, 2_100, 24_660, 27_360, 0.55, 0.006),
        (hot, 3, "fill", "Hydrant by the hall", "", 300, 1_800, 27_660, 28_500, 0, 0),
        (hot, 4, "thaw", "U2", "U2", 600, 4_100, 29_100, 32_100, 0.6, 0.007),
        (hot, 5, "end", garage, "", 900, 6_200, 33_000, 33_000, 0, 0),
        (steam, 0, "start", garage, "", 0, 0, 28_800, 28_800, 0, 0),
        (steam, 1, "thaw", "T1", "T1", 360, 2_400, 29_160, 33_960, 0.2, 0.011),
        (steam, 2, "thaw", "T2", "T2", 120, 400, 34_080, 37_500, 0.18, 0.01),
        (steam, 3, "end", garage, "", 420, 2_700, 37_920, 37_920, 0, 0),
    ]  # fmt: skip
    names = ["crew", "stop_number", "kind", "place_id", "culvert_id", "drive_s",
             "drive_m", "arrive_s", "end_s", "water_m3", "fuel_m3"]  # fmt: skip
    stops = pd.DataFrame(rows, columns=names)
    return stops.assign(
        start_s=stops["arrive_s"],
        tank_left_m3=[2.2, 1.58, 1.03, 2.2, 1.6, 1.6, 1.0, 0.8, 0.62, 0.62],
        fuel_left_m3=[0.06, 0.053, 0.047, 0.047, 0.04, 0.04, 0.08, 0.069, 0.059, 0.059],
        loss_avoided_person_h=stops["culvert_id"]
        .map(crossings()["loss_avoided_person_h"])
        .fillna(0.0),
    )


def plan() -> Plan:
    """Two trucks, five pipes, one fill; two crossings not reached."""
    missed = pd.DataFrame(
        [
            ("P34", 22.0, "Past the shift", "Sign both sides, tell the county"),
            ("N7", 4.2, "Hose too short: barrel 61\u202fm", "Look again at 14:00"),
        ],
        columns=["culvert_id", "loss_avoided_person_h", "why", "instead"],
    )  # fmt: skip
    problems = ("Steam trailer at B3: tank is said to hold 1000\u202fL",)
    return Plan(_stop_rows(), missed, {"plan_person_h": 404.5}, problems)


def jobs() -> pd.DataFrame:
    """Job times of every thaw stop, with a range."""
    stops = _stop_rows()
    thaws = stops[stops["kind"] == "thaw"]
    job_s = thaws["end_s"] - thaws["start_s"]
    return pd.DataFrame(
        {
            "culvert_id": thaws["culvert_id"],
            "crew": thaws["crew"],
            "job_s": job_s,
            "job_low_s": job_s * 0.6,
            "job_high_s": job_s * 1.8,
            "water_m3": thaws["water_m3"],
            "fuel_m3": thaws["fuel_m3"],
            "ends": "from the outlet",
        }
    )


def routes() -> gpd.GeoDataFrame:
    """Road lines between stops, straight between road corners."""
    garage = (700, 900)
    legs = {
        ("Hot water truck", 1): [
            garage, (1000, 900), (1500, 2100), (900, 2300), (300, 2400)
        ],
        ("Hot water truck", 2): [(300, 2400), (900, 2300), (1500, 2100)],
        ("Hot water truck", 4): [(1500, 2100), (2300, 2700)],
        ("Steam trailer", 1): [garage, (720, 900)],
        ("Steam trailer", 2): [garage, (1000, 900)],
    }  # fmt: skip
    lines = [
        LineString([(WEST_M + e, SOUTH_M + n) for e, n in ends])
        for ends in legs.values()
    ]
    keys = pd.DataFrame([*legs], columns=["crew", "stop_number"])
    return gpd.GeoDataFrame(keys, geometry=lines, crs=WORK_CRS)


def catchments() -> gpd.GeoDataFrame:
    """Round catchments of two crossings."""
    table = crossings().iloc[:2]
    return gpd.GeoDataFrame(geometry=table.geometry.buffer(350), crs=WORK_CRS)


def cautions() -> pd.DataFrame:
    """Three lines of caution."""
    lines = {
        "Sudden release": "Stand to the side and above. Nobody in the water.",
        "Burns": "Water at 60\u202f°C burns. Gloves, face shield, hose checked first.",
        "Undermined road": "No machine over the pipe. Cracks: close the road.",
    }
    return pd.DataFrame(
        {
            "hazard": [*lines],
            "words": [*lines.values()],
            "source": "practice",
            "where": "common practice, no source",
        }
    )


def notes() -> pd.DataFrame:
    """Two things that the readers assumed."""
    return note_table(
        [
            {"file": "culverts.csv", "row": 8, "culvert_id": "B3", "column": "rise_m",
             "found": "", "understood": "0.381", "kind": "assumed"},
            {"file": "culverts.csv", "row": 3, "culvert_id": "U2", "column": "note",
             "found": "=1+1", "understood": "=1+1", "kind": "changed"},
        ]
    )  # fmt: skip


def asked(**other: Any) -> DayAsked:
    """The day asked, typed in the town file, in a winter that is made up."""
    parts: dict[str, Any] = {
        "on": date(2025, 2, 25),
        "low_c": -9.0,
        "high_c": 6.0,
        "rain_m": 0.018,
        "forecast": Forecast(),
        "sources": dict.fromkeys(("low", "high", "rain"), "typed in the town file"),
        "made_up": "No weather file: a winter of 800\u202f°C·days is assumed.",
    }
    return DayAsked(**(parts | other))


def content(**other: Any) -> MapContent:
    """The whole morning, with any field replaced."""
    parts: dict[str, Any] = {
        "title": "Quennaskeld Township",
        "on": date(2025, 2, 25),
        "crossings": crossings(),
        "cautions": cautions(),
        "notes": notes(),
        "roads": roads(),
        "terrain": terrain(),
        "catchments": catchments(),
        "plan": plan(),
        "routes": routes(),
        "jobs": jobs(),
    }
    return MapContent(**(parts | other))
