"""The demo town's files hold what its README says, and can be made again."""

import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from pyproj import Geod
from shapely import Point

from culvertrisk.settings import read_settings

DEMO = Path(__file__).parents[1] / "data_demo"
TOWN, KEY = DEMO / "town", DEMO / "answer_key"
MILE_M = 1609.344
MOST_BYTES = 4_000_000
TEXT_KINDS = (".csv", ".geojson", ".toml")  # rasters depend on the library

# Winter: freezing index [°C·day], greatest snow depth [cm], thaws, rows of the log.
WINTERS = {
    2017: (1480, 61, 2, 70),
    2018: (1690, 38, 1, 68),
    2019: (1310, 74, 3, 79),
    2020: (1120, 66, 2, 47),
    2021: (1545, 82, 4, 83),
    2022: (1190, 70, 4, 64),
    2023: (880, 44, 5, 52),
    2024: (1085, 79, 3, 87),  # index to 24 February
}
MILES = {
    "Torvessin Trunk 4": ("A", 6.3, 1450),
    "Pellard Trunk 11": ("A", 6.9, 820),
    "Long Sarn Rd": ("B", 5.2, 410),
    "Ossel Mill Rd": ("B", 3.9, 360),
    "Kestry Corners Rd": ("B", 4.1, 290),
    "Drumvale Rd": ("B", 3.3, 180),
    "School Ridge Rd": ("B", 1.8, 520),
    "East Fallow Rd": ("B", 3.2, 150),
    "Tolliver Hollow Rd": ("C", 4.0, 85),
    "Bittern Slough Rd": ("C", 3.1, 60),
    "Harn Hill Rd": ("C", 3.4, 95),
    "Norrick Lane": ("C", 2.6, 70),
    "Pender Flats Rd": ("C", 3.6, 55),
    "Cattlegate Rd": ("C", 2.9, 60),
    "Wyke Rd": ("C", 2.2, 40),
    "Old Quarry Rd": ("C", 2.4, 45),
    "Sugarbrake Rd": ("C", 2.7, 50),
    "Marl Pit Rd": ("C", 1.9, 30),
    "Lumrick Rd": ("C", 2.3, 65),
    "Quenna Street": ("C", 2.1, 150),
    "Hendle Dead End Rd": ("D", 1.6, 34),
    "Upper Ossel Rd": ("D", 2.2, 22),
    "Skarrow Landing Rd": ("D", 1.9, 40),
    "Beaver Cut Rd": ("D", 1.7, 8),
    "Fenn Spur": ("D", 1.3, 18),
    "Ridgeback Trail": ("D", 1.8, 5),
}
FAULTS = {
    "twin text": 9,
    "duplicate": 13,
    "lat and lon swapped": 7,
    "at 0, 0": 5,
    "state-plane feet": 4,
    "more than 40 m from a road": 12,
    "road name variant": 18,
    "id forms": 4,
    "id repeated": 6,
    "mapped at the house": 21,
    "owner wrong": 8,
    "slope -99 for blank": 30,
    "450 in": 1,
}


def _text(name: str) -> pd.DataFrame:
    return pd.read_csv(TOWN / name, dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def pipes():
    return pd.read_csv(KEY / "pipes.csv")


@pytest.fixture(scope="module")
def roads():
    table = gpd.read_file(TOWN / "roads.geojson")
    length_m = [abs(Geod(ellps="WGS84").geometry_length(g)) for g in table.geometry]
    return table.assign(
        miles=np.array(length_m) / MILE_M,
        group=table["name"].str.replace(r"(Quenna Street) \d+", r"\1", regex=True),
    )


def test_town_file_loads_and_finds_every_file():
    town = read_settings(TOWN / "town.toml")
    assert [crew.name for crew in town.crews] == ["T1", "T2", "T3"]
    paths = {key: town.path(key) for key in type(town.files).model_fields}
    absent = {key for key, path in paths.items() if path is None}
    assert absent == {"canopy_cover", "deciduous", "land_cover"}
    assert all(path.is_file() for path in paths.values() if path is not None)


def test_demo_stays_small():
    made = [p for folder in (TOWN, KEY) for p in folder.iterdir()]
    made += [*(DEMO / "generator").glob("*.py"), DEMO / "README.md"]
    assert sum(path.stat().st_size for path in made) < MOST_BYTES


def test_roads_have_their_miles_class_and_traffic(roads):
    assert roads["group"].nunique() == len(MILES)
    for name, (road_class, miles, traffic) in MILES.items():
        own = roads[roads["group"] == name]
        assert own["miles"].sum() == pytest.approx(miles, rel=0.05), name
        assert set(own["class"]) == {road_class} and set(own["adt"]) == {traffic}


def test_roads_meet_at_shared_vertices_and_hang_together(roads):
    parts = [set(g.coords) for g in roads.geometry]
    reached, grown = parts[0], True
    while grown:
        joined = [p for p in parts if p & reached and not p <= reached]
        grown = bool(joined)
        reached = reached.union(*joined)
    assert all(part <= reached for part in parts)


def test_pipes_are_as_many_as_told(pipes):
    assert pipes["kind"].value_counts().to_dict() == {"cross": 612, "driveway": 236}
    assert pipes["pipe"].is_unique
    assert len(_text("culverts.csv")) == len(pipes) + FAULTS["duplicate"]


def test_sizes_keep_their_shares(pipes):
    size_in = pipes.loc[pipes["kind"] == "cross", "size_in"]
    shares = {12: 0.05, 15: 0.17, 18: 0.36, 24: 0.21, 30: 0.07, 36: 0.07, 48: 0.04}
    for size, share in shares.items():
        assert (size_in == size).mean() == pytest.approx(share, abs=0.03)
    assert (size_in >= 60).mean() == pytest.approx(0.03, abs=0.01)


def test_chains_are_lines_of_two_to_nine_pipes(pipes):
    chained = pipes[pipes["chain"] > 0]
    lengths = chained["chain"].value_counts()
    assert len(lengths) == 74
    tolliver = chained.loc[chained["pipe"] == "T1", "chain"].iloc[0]
    assert lengths.drop(tolliver).between(2, 9).all()
    assert lengths[tolliver] == 10  # nine pipes and the county's below them
    follow = pipes.set_index("pipe")["downstream"]
    path = ["T9"]
    while isinstance(follow[path[-1]], str):
        path.append(follow[path[-1]])
    assert path[:-1] == [f"T{n}" for n in range(9, 0, -1)]
    assert pipes.set_index("pipe").at[path[-1], "owner"] == "county"


def test_every_fault_is_in_the_inventory():
    table, faults = _text("culverts.csv"), pd.read_csv(KEY / "faults.csv", dtype=str)
    counts = faults["fault"].value_counts()
    assert {name: counts[name] for name in FAULTS} == FAULTS
    for name, share in {"blank": 0.11, "in feet": 0.03, "in mm": 0.04}.items():
        assert counts[f"size {name}"] == pytest.approx(share * len(table), abs=2)
    for _, fault in faults.fillna("").iterrows():
        row = table.iloc[int(fault["row"]) - 1]
        written = " ".join(row[column] for column in fault["column"].split(" "))
        assert written == fault["written"], fault.to_dict()


def test_places_out_of_the_town_are_only_the_seeded_ones():
    table, faults = _text("culverts.csv"), pd.read_csv(KEY / "faults.csv")
    place = table[["LAT", "LON"]].astype(float)
    inside = place["LAT"].between(47.69, 47.80) & place["LON"].between(-87.57, -87.43)
    kinds = ["lat and lon swapped", "at 0, 0", "state-plane feet"]
    seeded = faults.loc[faults["fault"].isin(kinds), "row"]
    assert set(place.index[~inside] + 1) == set(seeded)


def _winter(day: pd.Series) -> pd.Series:
    moment = pd.to_datetime(day)
    return moment.dt.year - (moment.dt.month < 10)


@pytest.mark.parametrize("winter", WINTERS)
def test_winter_has_its_frost_snow_and_thaws(winter):
    weather = pd.read_csv(TOWN / "weather.csv")
    own = weather[_winter(weather["date"]) == winter]
    index_cday, snow_cm, thaws, _ = WINTERS[winter]
    seen = own[own["kind"] == "observed"]
    curve = ((seen["tmin_c"] + seen["tmax_c"]) / 2).cumsum()
    fall = (curve.cummax().clip(lower=0) - curve).max()
    assert fall == pytest.approx(index_cday, rel=0.02)
    assert own["snow_depth_cm"].max() == pytest.approx(snow_cm, abs=1)
    deep = pd.to_datetime(own["date"]).dt.month.isin([12, 1, 2])
    warm = (own["tmax_c"] >= 2) & deep
    assert (warm & ~warm.shift(fill_value=False)).sum() == thaws


def test_rain_is_said_to_be_invented_and_grows_with_duration_and_return_period():
    path = TOWN / "rainfall.csv"
    title = path.read_text(encoding="utf-8").splitlines()[0]
    assert "Invented" in title and "no weather office" in title
    rain = pd.read_csv(path, skiprows=1)
    grid = rain.pivot(index="duration_min", columns="return_years", values="rain_mm")
    assert [*grid.columns] == [2, 5, 10, 25, 50, 100]
    assert grid.index[0] == 5 and grid.index[-1] == 24 * 60
    assert (np.diff(grid, axis=0) > 0).all() and (np.diff(grid, axis=1) > 0).all()
    intensity_mm_h = grid.to_numpy() / grid.index.to_numpy()[:, None]
    assert (np.diff(intensity_mm_h, axis=0) < 0).all()  # longer rains are thinner


def test_town_file_gives_every_method_of_the_design_peak_what_it_needs():
    town = read_settings(TOWN / "town.toml")
    assert town.path("rainfall") is not None
    assert sum(town.design.covers.values()) == pytest.approx(1)
    region = town.design.regression
    assert region is not None and set(region.coefficients) == {2, 10, 25, 50, 100}
    text = (TOWN / "town.toml").read_text(encoding="utf-8")
    assert "Invented like all of the demo" in text.partition("[design.regression]")[0]


def test_weather_of_the_morning_is_as_told():
    weather = pd.read_csv(TOWN / "weather.csv").set_index("date")
    today = weather.loc["2025-02-25", ["tmin_c", "tmax_c", "rain_mm"]]
    assert [*today] == [-9, 6, 18]
    assert weather.at["2025-02-26", "tmin_c"] == -14
    forecast = weather.index[weather["kind"] == "forecast"]
    assert [*forecast] == ["2025-02-25", "2025-02-26"]
    assert weather.at["2025-02-24", "snow_depth_cm"] == 52
    assert weather.at["2018-01-12", "rain_mm"] == 31
    assert weather.at["2018-01-14", "tmin_c"] == -22
    days = pd.to_datetime(weather.index)
    assert (np.diff(days) == np.timedelta64(1, "D")).all()


@pytest.mark.parametrize("winter", WINTERS)
def test_log_has_its_rows_by_winter(winter, pipes):
    rows = pd.read_csv(KEY / "thaw_log_rows.csv")
    count = (rows["winter"] == winter).sum()
    assert count == pytest.approx(WINTERS[winter][3], rel=0.10)
    cross = pipes["kind"] == "cross"
    assert 0.08 <= pipes.loc[cross, f"blocked_{winter}"].mean() <= 0.15


def test_log_is_as_messy_as_told():
    log, rows = _text("thaw_log.csv"), pd.read_csv(KEY / "thaw_log_rows.csv")
    assert len(log) == len(rows)
    assert (_winter(log["date"]) == rows["winter"]).all()
    blank = log["culvert"] == ""
    assert blank.mean() == pytest.approx(0.41, abs=0.01)
    assert (~blank[rows["winter"] >= 2022]).mean() == pytest.approx(0.78, abs=0.01)
    assert not log["date"].between("2020-03-14", "2020-03-22").any()
    assert log["date"].max() <= "2025-02-24"
    assert (log.loc[rows["winter"] == 2017, "minutes"] == "").all()
    hired = log["crew"] == "contractor"
    hours = log.loc[hired, "minutes"].astype(float).sum() / 60
    assert hours == pytest.approx(61, rel=0.1)
    assert rows.loc[rows["before_replacement"] == 1, "pipe"].nunique() == 3
    washouts = log["note"].str.contains("washed out")
    assert sorted(log.loc[washouts, "culvert"]) == ["N4", "U2"]


def test_logged_pipes_were_truly_blocked(pipes):
    rows = pd.read_csv(KEY / "thaw_log_rows.csv")
    blocked = pipes.set_index("pipe")
    assert all(
        blocked.at[pipe, f"blocked_{winter}"] == 1
        for pipe, winter in zip(rows["pipe"], rows["winter"], strict=True)
    )


def test_morning_has_its_story(pipes):
    truth = pipes.set_index("pipe")
    assert pipes["blocked_20250225"].sum() == 52
    for pipe in ("H1", "T1", "T2", "T3", "O5", "U2", "HHd6"):
        assert truth.at[pipe, "blocked_20250225"] == 1
    assert truth.at["P3.4", "blocked_20250225"] == 0
    assert truth.at["H1", "size_in"] == 24
    assert len(_text("calls.csv")) == 14
    assert set(pd.read_csv(KEY / "answer.csv")["pipe"]) <= set(truth.index)


def test_dwellings_are_905_and_eleven_lie_beyond_the_hendle_pipe(pipes, roads):
    places = pd.read_csv(TOWN / "places.csv")
    assert (places["kind"] == "dwelling").sum() == 905
    assert (places["kind"] == "seasonal dwelling").sum() == 22
    assert {"school", "ambulance and fire", "dairy"} <= set(places["kind"])
    assert (places["needs"] == "oxygen").sum() == 1
    homes = places[places["kind"] == "dwelling"]
    spots = gpd.GeoSeries.from_xy(homes["lon"], homes["lat"], crs=4326).to_crs(32616)
    own = roads.to_crs(32616).set_index("name")
    away_m = pd.DataFrame({name: spots.distance(g) for name, g in own.geometry.items()})
    hendle = away_m.idxmin(axis=1) == "Hendle Dead End Rd"
    line = own.at["Hendle Dead End Rd", "geometry"]
    pipe = pipes.set_index("pipe").loc["H1"]
    assert hendle.sum() == 11
    along_m = line.project(Point(pipe["x"], pipe["y"]))
    assert all(line.project(spot) > along_m for spot in spots[hendle])
    assert places.loc[hendle.index[hendle], "needs"].eq("oxygen").sum() == 1


@pytest.mark.parametrize(("name", "cell_m"), [("dem.tif", 10), ("canopy.tif", 20)])
def test_rasters_cover_the_town(name, cell_m):
    with rasterio.open(TOWN / name) as file:
        assert file.crs.to_epsg() == 32616
        assert file.res == (cell_m, cell_m)
        assert tuple(file.bounds) == (457_700, 5_283_800, 467_300, 5_293_400)
        values = file.read(1)
    low, high = {"dem.tif": (213.9, 393.6), "canopy.tif": (0, 18)}[name]
    assert values.min() >= low and values.max() <= high


@pytest.mark.slow
def test_same_seed_makes_the_same_town(tmp_path):
    script = DEMO / "generator" / "generate.py"
    words = [sys.executable, "-B", str(script), "--out", str(tmp_path)]
    subprocess.run(words, check=True)
    texts = [p for p in tmp_path.rglob("*") if p.suffix in TEXT_KINDS]
    assert len(texts) == 14
    for path in texts:
        kept = DEMO / path.relative_to(tmp_path)
        assert path.read_bytes() == kept.read_bytes(), path.name
