"""Places: CSV and vector files, kinds, people, needs, and refusals."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from numpy.testing import assert_allclose
from pyproj import Transformer

from culvertrisk.checks import InputError
from culvertrisk.inputs.places import read_places
from culvertrisk.settings import Reading

CRS = "EPSG:32616"
TEMPLATE = Path(__file__).parent.parent / "shared" / "templates" / "places.csv"


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_places_of_a_csv_are_put_in_the_work_crs(tmp_path):
    path = write(
        tmp_path / "places.csv",
        "name,kind,people_count,needs,lat,lon\n"
        "School,School,210,,47.75,-87.47\n"
        ",House,,Oxygen,47.74,-87.46\n",
    )
    reading = read_places(path, Reading(), CRS)
    table = reading.table
    assert table["name"].tolist() == ["School", ""]
    assert table["kind"].tolist() == ["school", "dwelling"]
    assert_allclose(table["people_count"], [210, np.nan])
    assert table["needs"].tolist() == ["", "oxygen"]
    to_work = Transformer.from_crs(4326, CRS, always_xy=True)
    assert_allclose(
        [table.geometry[0].x, table.geometry[0].y], to_work.transform(-87.47, 47.75)
    )
    assert reading.notes.empty


def test_places_without_a_place_are_left_out_and_noted(tmp_path):
    path = write(
        tmp_path / "p.csv",
        "name,kind,people,Latitude,Longitude\n"
        "a,school,many,47.7,-87.5\nb,farm,,0,0\nc,farm,,,\nd,,,147,-87\ne,,-3,47.7,-87\n",
    )
    reading = read_places(path, Reading(), CRS)
    assert reading.table["name"].tolist() == ["a", "e"]
    assert reading.table["kind"].tolist() == ["school", "dwelling"]
    notes = reading.notes[["row", "column", "found", "kind"]].to_numpy(object).tolist()
    assert notes == [
        [1, "people_count", "many", "refused"],
        [2, "lat", "0, 0", "refused"],
        [3, "geometry", "no place on the map", "refused"],
        [4, "lat", "147, -87", "refused"],
        [5, "kind", "", "assumed"],
        [5, "people_count", "-3", "refused"],
    ]
    assert (reading.notes["file"] == "p.csv").all()


def test_places_of_a_vector_file_may_be_buildings(tmp_path):
    roof = shapely.box(460_000, 5_280_000, 460_010, 5_280_010)
    frame = gpd.GeoDataFrame({"label": ["x"]}, geometry=[roof], crs=CRS)
    frame.to_file(tmp_path / "roofs.gpkg")
    reading = read_places(tmp_path / "roofs.gpkg", Reading(), CRS)
    assert reading.table.geometry[0].within(roof)
    assert reading.table["kind"].tolist() == ["dwelling"]
    assert reading.notes["understood"].tolist() == ["every place is a dwelling"]


def test_places_columns_of_the_town_file_go_first(tmp_path):
    path = write(tmp_path / "p.csv", "who,north,east\nGarage,5280000,460000\n")
    columns = {"name": "who", "lat": "north", "lon": "east"}
    reading = read_places(path, Reading(columns=columns, crs=CRS), CRS)
    assert reading.table["name"].tolist() == ["Garage"]
    assert_allclose(reading.table.geometry[0].x, 460_000)


def test_places_without_lat_and_lon_are_refused(tmp_path):
    path = write(tmp_path / "p.csv", "name,kind\na,school\n")
    with pytest.raises(InputError) as refusal:
        read_places(path, Reading(), CRS)
    assert refusal.value.problems == (
        "p.csv: header must have the columns 'lat' and 'lon', got 'name, kind'. "
        "Rename them, or set places.columns.lat and places.columns.lon.",
    )


def test_places_all_without_a_place_are_refused(tmp_path):
    path = write(tmp_path / "p.csv", "name,lat,lon\na,0,0\n")
    with pytest.raises(InputError) as refusal:
        read_places(path, Reading(), CRS)
    assert refusal.value.problems == (
        "p.csv: file must hold places, got 1 rows, none with a place (0,0 is no "
        "place). Fill lat and lon in degrees, or tell places.crs in the town file.",
    )


def test_places_of_a_missing_file_are_refused(tmp_path):
    with pytest.raises(InputError) as refusal:
        read_places(tmp_path / "p.csv", Reading(), CRS)
    assert refusal.value.problems == (
        "p.csv: file must exist, got no such file. "
        "Correct the path; it starts from the town file's folder.",
    )
    with pytest.raises(InputError) as refusal:
        read_places(tmp_path / "p.gpkg", Reading(), CRS)
    assert refusal.value.problems == (
        "p.gpkg: file must exist, got no such file. "
        "Correct the path; it starts from the town file's folder.",
    )


def test_places_of_an_office_export_are_read(tmp_path):
    text = "Place;Type;People;Lat;Long\nGr\xe5 farm;Farm;4;47,75;-87,47\n;;;;\nb;;;;\n"
    (tmp_path / "p.csv").write_bytes(text.encode("cp1252"))
    reading = read_places(tmp_path / "p.csv", Reading(), CRS)
    assert reading.table["name"].tolist() == ["Gr\xe5 farm"]
    assert reading.table["kind"].tolist() == ["farm"]
    assert reading.notes["row"].tolist() == [0, 3]  # the blank row 2 is counted
    assert reading.notes["understood"][0] == "2 rows and a header: 1 blank"


def test_places_template_has_the_columns_that_are_read():
    header = pd.read_csv(TEMPLATE).columns.tolist()
    assert header == ["name", "kind", "people_count", "needs", "lat", "lon"]


def test_places_in_degrees_minutes_and_seconds_are_read_and_words_told(tmp_path):
    path = write(
        tmp_path / "p.csv",
        "name,kind,lat,lon\n"
        "a,farm,47°45'00\"N,87°28'12\"W\n"
        "b,farm,47 45,-87 28.2\n"
        "c,farm,by the barn,-87.47\n"
        "d,farm,-87.47,47.75\n",
    )
    reading = read_places(path, Reading(), CRS)
    assert reading.table["name"].tolist() == ["a", "b"]
    to_work = Transformer.from_crs(4326, CRS, always_xy=True)
    expected = to_work.transform(-87.47, 47.75)
    for point in reading.table.geometry:
        assert_allclose([point.x, point.y], expected, atol=0.01)
    told = reading.notes.loc[reading.notes["row"] > 0, ["row", "found", "understood"]]
    assert told.to_numpy().tolist() == [
        [3, "by the barn", "left out: no number"],
        [4, "-87.47, 47.75", "left out: south of every road; perhaps swapped with lon"],
    ]


def test_places_with_all_axes_swapped_or_in_metres_say_so(tmp_path):
    for text, why in (
        ("-87.47,47.75", "south of every road; perhaps swapped with lon"),
        ("5288600,462500", "no degrees"),
    ):
        path = write(tmp_path / "p.csv", f"lat,lon,kind\n{text},farm\n")
        with pytest.raises(InputError) as refusal:
            read_places(path, Reading(), CRS)
        assert refusal.value.problems == (
            f"p.csv: file must hold places, got 1 rows, none with a place ({why}). "
            "Fill lat and lon in degrees, or tell places.crs in the town file.",
        )
