"""Road files: columns by many names, traps, and refusals with their whole text."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import LineString, MultiLineString

from culvertrisk.checks import InputError
from culvertrisk.inputs.reading import NOTE_COLUMNS
from culvertrisk.inputs.roads import read_roads
from culvertrisk.network.snapping import snap_ends
from culvertrisk.settings import Reading

CRS = "EPSG:32616"
X, Y = 460_000.0, 5_280_000.0


def line(*corners):
    return LineString([(X + x, Y + y) for x, y in corners])


def write(path, geometry, crs=CRS, **columns):
    gpd.GeoDataFrame(columns, geometry=geometry, crs=crs).to_file(path)
    return path


def notes_of(reading):
    return reading.notes[["row", "column", "found", "understood", "kind"]].to_numpy(
        object
    )


def test_roads_are_read_by_the_names_other_towns_use(tmp_path):
    path = write(
        tmp_path / "roads.gpkg",
        [line((0, 0), (100, 0)), line((0, 50), (100, 50))],
        ST_NAME=["Norrick Lane", None],
        F_F_Class=[5, 7],
        Surface_Tp=[2.0, np.nan],
        OneWay=["yes", "-1"],
        Layer=[1, None],
        AADT=[70, 0],
        maxspeed=["30 mph", "50"],
    )
    reading = read_roads(path, Reading(), CRS)
    table = reading.table
    assert table.index.name == "road_index"
    assert table["road_name"].tolist() == ["Norrick Lane", ""]
    assert table["road_class"].tolist() == ["5", "7"]
    assert table["surface"].tolist() == ["2", ""]
    assert table["oneway"].tolist() == [1, -1]
    assert table["level"].tolist() == [1, 0]
    assert_allclose(table["daily_traffic_count"], [70, np.nan])
    assert_allclose(table["speed_m_s"], [13.4112, 50 / 3.6])
    assert notes_of(reading).tolist() == [
        [0, "daily_traffic_count", "0 (1 of 2 rows)", "unknown", "refused"]
    ]
    assert [*reading.notes.columns] == [*NOTE_COLUMNS]


def test_roads_in_degrees_come_out_in_metres(tmp_path):
    geometry = [line((0, 0), (300, 400))]
    gpd.GeoDataFrame({"name": ["a"]}, geometry=geometry, crs=CRS).to_crs(4326).to_file(
        tmp_path / "r.geojson"
    )
    table = read_roads(tmp_path / "r.geojson", Reading(), CRS).table
    assert table.crs == CRS
    assert_allclose(table.length, 500, atol=0.2)


def test_roads_of_many_parts_become_single_lines(tmp_path):
    parts = [line((0, 0), (100, 0)), line((500, 0), (600, 0))]
    path = write(tmp_path / "r.gpkg", [MultiLineString(parts)], name=["Long Sarn Rd"])
    table = read_roads(path, Reading(), CRS).table
    assert table["road_name"].tolist() == ["Long Sarn Rd", "Long Sarn Rd"]
    assert table.index.tolist() == [0, 1]
    assert set(table.geom_type) == {"LineString"}


def test_roads_without_length_or_shape_are_left_out_and_noted(tmp_path):
    good = line((0, 0), (100, 0))
    shapes = [good, line((5, 5), (5, 5)), None, good.reverse(), shapely.Point(X, Y)]
    path = write(tmp_path / "r.gpkg", shapes, name=[*"abcde"])
    reading = read_roads(path, Reading(), CRS)
    assert reading.table["road_name"].tolist() == ["a"]
    found = {row: what for row, _, what, _, _ in notes_of(reading)}
    assert found == {
        2: "a line without length",
        3: "no shape",
        4: "the same line twice",
        5: "not a line",
    }


def test_roads_with_a_gap_are_joined_and_it_is_said(tmp_path):
    shapes = [line((0, 0), (100, 0)), line((103, 2), (200, 0)), line((50, 4), (50, 90))]
    path = write(tmp_path / "r.gpkg", shapes, name=[*"abc"])
    reading = read_roads(path, Reading(), CRS)
    a, b, c = reading.table.geometry
    assert a.touches(b)
    assert a.distance(c) < 1e-6
    assert notes_of(reading).tolist() == [
        [
            0,
            "geometry",
            "2 loose ends within 5 m of another road",
            "joined to it, rows 1, 3",
            "changed",
        ]
    ]
    apart = read_roads(path, Reading(), CRS, snap_m=0.0)
    assert apart.table.geometry[0].distance(apart.table.geometry[1]) > 3
    assert apart.notes.empty


def test_roads_speed_takes_its_unit_from_the_town_file(tmp_path):
    path = write(
        tmp_path / "r.gpkg",
        [line((0, 0), (100, 0)), line((0, 50), (100, 50))],
        Speed_Lim=[35, 999],
    )
    stated = read_roads(path, Reading(units={"speed_m_s": "mph"}), CRS)
    assert_allclose(stated.table["speed_m_s"], [15.6464, np.nan])
    assert notes_of(stated).tolist() == [
        [0, "speed_m_s", "999 (1 of 2 rows)", "unknown", "refused"]
    ]
    silent = read_roads(path, Reading(), CRS)
    assert silent.table["speed_m_s"].isna().all()
    assert notes_of(silent).tolist() == [
        [
            0,
            "speed_m_s",
            "Speed_Lim without a unit",
            'unknown; set roads.units.speed_m_s, such as "mph"',
            "refused",
        ]
    ]


def test_roads_of_odd_oneway_and_level_are_assumed_and_noted(tmp_path):
    path = write(
        tmp_path / "r.gpkg", [line((0, 0), (9, 0))], oneway=["?"], level=["up"]
    )
    reading = read_roads(path, Reading(), CRS)
    assert reading.table[["oneway", "level"]].to_numpy().tolist() == [[0, 0]]
    assert notes_of(reading).tolist() == [
        [1, "oneway", "?", "both ways", "assumed"],
        [1, "level", "up", "0, on the ground", "assumed"],
    ]


def test_roads_columns_of_the_town_file_go_first(tmp_path):
    shapes = [line((0, 0), (100, 0))]
    path = write(tmp_path / "r.gpkg", shapes, name=["wrong"], label=["Wyke Rd"])
    reading = Reading(columns={"road_name": "label"})
    assert read_roads(path, reading, CRS).table["road_name"].tolist() == ["Wyke Rd"]


def test_roads_unknown_columns_of_the_town_file_are_refused_at_once(tmp_path):
    path = write(tmp_path / "r.gpkg", [line((0, 0), (100, 0))], name=["a"])
    reading = Reading(columns={"road_name": "label", "colour": "name"})
    with pytest.raises(InputError) as refusal:
        read_roads(path, reading, CRS)
    assert refusal.value.problems == (
        "r.gpkg: roads.columns.road_name must name a column of the file, "
        "got 'label'. Correct it.",
        "r.gpkg: roads.columns must use the names road_name, road_class, surface, "
        "oneway, level, daily_traffic_count, speed_m_s, got 'colour'. Correct it.",
    )


def test_roads_without_a_crs_are_refused(tmp_path):
    path = write(tmp_path / "r.shp", [line((0, 0), (100, 0))], name=["a"])
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputError) as refusal:
        read_roads(path, Reading(), CRS)
    assert refusal.value.problems == (
        "r.shp: roads.crs must name the CRS of the coordinates, which the file does "
        "not declare, got ''. Set roads.crs in the town file, such as \"EPSG:4326\".",
    )
    stated = read_roads(path, Reading(crs="EPSG:32616"), CRS)
    assert_allclose(stated.table.length, 100)
    with pytest.raises(InputError) as refusal:
        read_roads(path, Reading(crs="here"), CRS)
    assert refusal.value.problems == (
        "r.shp: roads.crs must be a CRS, got 'here'. Write \"EPSG:32616\".",
    )


def test_roads_missing_or_unreadable_files_are_refused(tmp_path):
    with pytest.raises(InputError) as refusal:
        read_roads(tmp_path / "none.gpkg", Reading(), CRS)
    assert refusal.value.problems == (
        "none.gpkg: file must exist, got no such file. "
        "Correct the path; it starts from the town file's folder.",
    )
    (tmp_path / "r.geojson").write_text("hello")
    with pytest.raises(InputError, match=r"^r\.geojson: file must be a vector file"):
        read_roads(tmp_path / "r.geojson", Reading(), CRS)
    path = write(tmp_path / "points.gpkg", [shapely.Point(X, Y)], name=["a"])
    with pytest.raises(InputError) as refusal:
        read_roads(path, Reading(), CRS)
    assert refusal.value.problems == (
        "points.gpkg: file must hold road lines, got 1 rows, none of them a line. "
        "Give the layer of road centre lines.",
    )


def test_snapping_leaves_a_bridge_over_a_dead_end_alone():
    lines = np.array([line((0, 0), (100, 0)), line((50, 2), (50, 90))])
    moved, is_moved = snap_ends(lines, np.array([1, 0]), reach_m=5.0)
    assert not is_moved.any()
    assert (moved == lines).all()


def test_snapping_brings_three_loose_ends_to_one_place():
    starts = [(0, 0), (2, 0), (1, 2)]
    ends = [(-90, 0), (90, 0), (0, 90)]
    lines = np.array([line(a, b) for a, b in zip(starts, ends, strict=True)])
    moved, is_moved = snap_ends(lines, np.zeros(3, int), reach_m=5.0)
    assert (
        len(np.unique(shapely.get_coordinates(shapely.get_point(moved, 0)), axis=0))
        == 1
    )
    assert is_moved.sum() == 2


@given(st.integers(0, 10_000))
def test_snapping_moves_no_end_beyond_reach_and_keeps_every_line(seed):
    rng = np.random.default_rng(seed)
    lines = shapely.linestrings(rng.uniform(0, 80, (8, 3, 2)))
    moved, is_moved = snap_ends(lines, np.zeros(8, int), reach_m=2.0)
    assert len(moved) == 8
    assert shapely.is_valid(moved).all()
    still = ~is_moved
    for side in (0, 1):
        before = shapely.get_point(lines, -side)
        after = shapely.get_point(moved, -side)
        assert (before == after)[still[:, side]].all()
