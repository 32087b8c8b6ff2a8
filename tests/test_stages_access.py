"""Access stage on a hand-made town: a square of roads with a dead end."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from numpy.testing import assert_allclose

from culvertrisk.settings import Crew, Files, RoadClass, Settings, Town
from culvertrisk.stages import access, behind, closure_loss
from culvertrisk.tables import columns

CRS = "EPSG:32616"
X, Y = 460_000.0, 5_280_000.0
CLOSURE_H, PEOPLE_PER_VEHICLE, PEOPLE_PER_DWELLING = 6.0, 1.5, 2.3


def point(x, y):
    return shapely.Point(X + x, Y + y)


@pytest.fixture
def town():
    classes = {
        "A": RoadClass(speed_m_s=20.0, daily_traffic_count=800),
        "D": RoadClass(speed_m_s=5.0, daily_traffic_count=40),
    }
    return Settings(files=Files(culverts="c.csv"), road_classes=classes)


@pytest.fixture
def roads():
    """A square of 1 km sides (class A) and a dead end of 1 km (class D)."""
    square = [(0, 0), (1000, 0), (1000, 1000), (0, 1000), (0, 0)]
    lines = [shapely.LineString([(X + x, Y + y) for x, y in square])]
    lines.append(shapely.LineString([(X + 1000, Y), (X + 2000, Y)]))
    table = {
        "road_name": ["Ring Rd", "Hendle Dead End Rd"],
        "road_class": ["A", "D"],
        "surface": ["", ""],
        "oneway": [0, 0],
        "level": [0, 0],
        "daily_traffic_count": [480.0, np.nan],
        "speed_m_s": [np.nan, np.nan],
    }
    return gpd.GeoDataFrame(table, geometry=lines, crs=CRS)


@pytest.fixture
def crossings():
    """On the ring, on the dead end, a driveway there, and far from any road."""
    table = {
        "road_class": ["", "local", "", ""],
        "crossing_kind": ["cross", "", "driveway", "unknown"],
        "rise_m": [0.6, 0.45, 0.3, 0.6],
        "road_name": "",
    }
    where = [point(500, 3), point(1400, -2), point(1500, 8), point(3000, 900)]
    ids = pd.Index(["R1", "H1", "H1d", "far"], name="culvert_id")
    return gpd.GeoDataFrame(table, geometry=where, index=ids, crs=CRS)


@pytest.fixture
def places():
    table = {
        "name": ["Garage", "Smith", "", "Jones", "Fenn dairy"],
        "kind": ["garage", "dwelling", "dwelling", "dwelling", "farm"],
        "people_count": [np.nan, np.nan, 5.0, np.nan, np.nan],
        "needs": ["", "oxygen", "", "oxygen", ""],
    }
    where = [point(0, 20), point(1450, 60), point(1900, 30), point(1200, 40)]
    where.append(point(2000, 200))
    return gpd.GeoDataFrame(table, geometry=where, crs=CRS)


def test_access_of_the_ring_is_the_way_round(crossings, roads, places, town):
    ring = access.add_access(crossings, roads, places, town).loc["R1"]
    assert ring["network_road"] == "Ring Rd"
    assert ring["network_class"] == "A"
    assert_allclose(ring["road_distance_m"], 3.0)
    assert ring["daily_traffic_count"] == 480
    assert_allclose(ring["detour_m"], 3998.0)
    assert_allclose(ring["detour_s"], 3998.0 / 20.0)
    assert ring["is_only_way"] == ring["cut_off_dwelling_count"] == 0
    assert ring["cut_off_places"] == ""
    assert ring["rescue_delay_s"] > 0
    vehicles = 480 * CLOSURE_H / 24
    delay_h = vehicles * PEOPLE_PER_VEHICLE * 3998.0 / 20.0 / 3600
    assert_allclose(ring["consequence_person_h"], delay_h)


def test_access_of_the_dead_end_counts_who_is_behind(crossings, roads, places, town):
    dead_end = access.add_access(crossings, roads, places, town).loc["H1"]
    assert dead_end["network_class"] == "D"  # the town file knows no class "local"
    assert dead_end["daily_traffic_count"] == 40
    assert np.isnan(dead_end["detour_m"]) and np.isnan(dead_end["detour_s"])
    assert dead_end["is_only_way"] == 1
    assert dead_end["rescue_delay_s"] == 0  # nobody is reached later: or not at all
    assert dead_end["cut_off_dwelling_count"] == 2  # the third lies before the pipe
    assert dead_end["cut_off_places"] == "Fenn dairy; 1 dwelling: oxygen"
    # two dwellings make 20 of the 40 vehicles; the rest leaves the road file
    waiting_h = 20 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * CLOSURE_H / 2
    usual_h = 20 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * 3998.0 / 20.0 / 3600
    isolation_h = (PEOPLE_PER_DWELLING + 5) * CLOSURE_H
    total_h = waiting_h + usual_h + isolation_h
    assert_allclose(dead_end["consequence_person_h"], total_h)


def test_access_at_the_town_line_takes_the_town_s_usual_way_round(
    crossings, roads, places, town
):
    busy = roads.assign(daily_traffic_count=[480.0, 1450.0])
    nobody = places.iloc[[0, 3]]  # the garage, and a dwelling before the pipe
    trunk = access.add_access(crossings, busy, nobody, town).loc["H1"]
    assert trunk["is_only_way"] == 1 and trunk["cut_off_dwelling_count"] == 0
    usual_h = 1450 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * 3998.0 / 20.0 / 3600
    assert_allclose(trunk["consequence_person_h"], usual_h)


def test_access_counts_unnamed_places_and_seasonal_dwellings(
    crossings, roads, places, town
):
    seasonal = places.assign(
        kind=["town garage", "seasonal dwelling", "seasonal dwelling", "x", "dairy"],
        name=["", "Smith", "", "", ""],
    )
    dead_end = access.add_access(crossings, roads, seasonal, town).loc["H1"]
    assert dead_end["cut_off_places"] == "dairy; 2 seasonal dwellings"
    assert np.isnan(dead_end["cut_off_dwelling_count"])


def test_access_names_no_person(crossings, roads, places, town):
    table = access.add_access(crossings, roads, places, town)
    assert not table["cut_off_places"].str.contains("Smith|Jones").any()


def test_access_of_a_driveway_shuts_one_dwelling_and_no_road(
    crossings, roads, places, town
):
    driveway = access.add_access(crossings, roads, places, town).loc["H1d"]
    assert np.isnan(driveway["segment_index"]) and np.isnan(driveway["detour_s"])
    assert np.isnan(driveway["daily_traffic_count"])
    assert driveway["is_only_way"] == driveway["cut_off_dwelling_count"] == 1
    isolation_h = PEOPLE_PER_DWELLING * CLOSURE_H
    assert_allclose(
        driveway["consequence_person_h"], closure_loss.DRIVEWAY_SHARE * isolation_h
    )


def test_access_far_from_a_road_is_unknown(crossings, roads, places, town):
    far = access.add_access(crossings, roads, places, town).loc["far"]
    assert far["road_distance_m"] > 900
    numbers = ["segment_index", "daily_traffic_count", "detour_m", "detour_s"]
    numbers += ["is_only_way", "cut_off_dwelling_count", "consequence_person_h"]
    assert far[numbers].isna().all()
    assert far["network_class"] == far["network_road"] == far["cut_off_places"] == ""


def test_access_without_dwellings_leaves_their_count_unknown(
    crossings, roads, places, town
):
    for layer in (None, places[places["kind"] != "dwelling"]):
        table = access.add_access(crossings, roads, layer, town)
        dead_end = table.loc["H1"]
        assert np.isnan(dead_end["cut_off_dwelling_count"])
        waiting_h = 40 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * CLOSURE_H / 2
        assert_allclose(dead_end["consequence_person_h"], waiting_h)


def test_access_without_roads_is_unknown_but_for_driveways(crossings, places, town):
    table = access.add_access(crossings, None, places, town)
    known = table["consequence_person_h"].notna()
    assert table.index[known].tolist() == ["H1d"]


def test_access_adds_exactly_its_columns(crossings, roads, places, town):
    before = crossings.copy()
    table = access.add_access(crossings, roads, places, town)
    dictionary = columns()
    own = dictionary.index[dictionary["made_by"] == "access"]
    assert set(table.columns) - set(before.columns) == set(own)
    assert table.index.equals(before.index)
    assert crossings.equals(before)
    assert table[[*before.columns]].equals(before)
    low_high = dictionary.loc[own, ["low", "high"]].dropna()
    for name, (low, high) in low_high.iterrows():
        assert table[name].dropna().between(float(low), float(high)).all()
        assert table[name].dtype == np.float64


def test_put_on_roads_has_the_segments_of_the_table(crossings, roads, places, town):
    table = access.add_access(crossings, roads, places, town)
    network = access.put_on_roads(roads, crossings, town).network
    on = table["segment_index"].dropna()
    own = network.geometry[on.astype(int)]
    away_m = shapely.distance(own, table.loc[on.index].geometry.to_numpy())
    assert_allclose(away_m, [3.0, 2.0])
    assert_allclose(network.length_m[on.astype(int)], 1.0)


def test_put_on_roads_drives_no_faster_than_posted(crossings, roads, town):
    roads = roads.assign(speed_m_s=[10.0, 30.0])
    network = access.put_on_roads(roads, crossings, town).network
    speed_m_s = network.length_m / network.seconds
    assert_allclose(speed_m_s[network.road_index == 0], 10.0)  # class 20, posted 10
    assert_allclose(speed_m_s[network.road_index == 1], 5.0)  # class 5, posted 30
    other = roads.assign(road_class="unheard of", speed_m_s=[np.nan, 15.0])
    network = access.put_on_roads(other, crossings, town).network
    speed_m_s = network.length_m / network.seconds
    assert_allclose(speed_m_s[network.road_index == 0], 11.2)
    assert_allclose(speed_m_s[network.road_index == 1], 15.0)


def test_access_waits_where_the_way_round_is_longer(crossings, roads, places, town):
    slow = town.model_copy(update={"road_classes": {"A": RoadClass(speed_m_s=0.1)}})
    ring = access.add_access(crossings, roads, places, slow).loc["R1"]
    waiting_h = 480 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * CLOSURE_H / 2
    assert_allclose(ring["consequence_person_h"], waiting_h)


def test_service_centre_is_the_town_s_then_the_garage_s_then_the_yard_s(
    crossings, places, town
):
    crew = Crew(name="T1", method="no heat", start_lat=47.7, start_lon=-87.5)
    with_crew = town.model_copy(update={"crews": (crew,)})
    stated = with_crew.model_copy(
        update={"town": Town(centre_lat=47.75, centre_lon=-87.0)}
    )
    assert_allclose(
        behind.service_centre(crossings, places, stated)[0], 500_000, atol=1
    )
    garage = behind.service_centre(crossings, places, with_crew)
    assert_allclose(garage, [X, Y + 20])
    yard = behind.service_centre(crossings, None, with_crew)
    assert_allclose(yard, [462_507, 5_283_180], atol=200)
    middle = behind.service_centre(crossings, None, town)
    assert_allclose(middle, [X + 1450, Y + 5.5])


def test_access_believes_the_road_name_near_a_junction(crossings, roads, town):
    where = [point(1000, 12), point(1000, 12), point(1000, 12), point(1900, 400)]
    named = crossings.set_geometry(where, crs=CRS).assign(
        crossing_kind="cross",
        road_name=["", "hendle dead end road", "Wyke Rd", "Hendle Dead End Rd"],
    )
    table = access.add_access(named, roads, None, town)
    roads_told = ["Ring Rd", "Hendle Dead End Rd", "Ring Rd", ""]
    assert table["network_road"].tolist() == roads_told
    assert_allclose(table["road_distance_m"], [0, 12, 0, 400])


@pytest.mark.parametrize("kind", ["cross", "driveway"])
def test_access_copes_with_crossings_that_are_all_off_the_road(
    crossings, roads, places, town, kind
):
    where = [point(5000, 5000), shapely.Point(), point(9000, 0), point(9000, 9)]
    away = crossings.set_geometry(where, crs=CRS).assign(crossing_kind=kind)
    distant = places.set_geometry([point(50_000, y) for y in range(5)], crs=CRS)
    table = access.add_access(away, roads, distant, town)
    assert table["segment_index"].isna().all()
    assert table["road_distance_m"].isna().tolist() == [False, True, False, False]
    assert table["consequence_person_h"].notna().all() == (kind == "driveway")


def test_access_of_places_out_of_reach_counts_none_behind(
    crossings, roads, places, town
):
    distant = places.set_geometry([point(50_000, y) for y in range(5)], crs=CRS)
    dead_end = access.add_access(crossings, roads, distant, town).loc["H1"]
    assert dead_end["cut_off_dwelling_count"] == 0
    assert dead_end["cut_off_places"] == ""


def test_access_of_no_crossing_is_an_empty_table(crossings, roads, places, town):
    table = access.add_access(crossings.iloc[:0], roads, places, town)
    assert table.empty and "detour_s" in table


def test_access_with_two_ways_out_isolates_nobody_between_them(
    crossings, roads, places, town
):
    marks = places.iloc[:2].assign(kind="way out", name="", needs="")
    marks = marks.set_geometry([point(2000, 0), point(0, 1000)], crs=CRS)
    both = pd.concat([places, marks], ignore_index=True)
    dead_end = access.add_access(crossings, roads, both, town).loc["H1"]
    assert dead_end["is_only_way"] == dead_end["cut_off_dwelling_count"] == 0
    assert dead_end["cut_off_places"] == ""
    assert np.isnan(dead_end["detour_s"])
    usual_h = 40 * CLOSURE_H / 24 * PEOPLE_PER_VEHICLE * 3998.0 / 20.0 / 3600
    assert_allclose(dead_end["consequence_person_h"], usual_h)


def test_access_counts_dwellings_within_300_m_whatever_their_road(
    crossings, roads, places, town
):
    homes = gpd.GeoDataFrame(
        {"kind": ["dwelling", "dwelling", "dwelling", "school"], "name": ""},
        geometry=[point(500, 290), point(500, 310), point(1399, 8), point(500, 4)],
        crs=CRS,
    )
    found = access._near_dwellings(crossings, homes)
    assert_allclose(found, [1.0, 1.0, 1.0, 0.0])
    assert np.isnan(access._near_dwellings(crossings, None)).all()
    assert np.isnan(access._near_dwellings(crossings, homes.iloc[3:])).all()
    made = access.add_access(crossings, roads, places, town)
    assert made["near_dwelling_count"].notna().all()
