"""Exports: whole, in the dictionary's order, harmless, and the same bytes each time."""

import csv
import time
import xml.etree.ElementTree as ElementTree

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from culvertrisk.reports.exports import guarded, replace_file, write_exports
from culvertrisk.settings import Files, Settings
from culvertrisk.tables import columns
from tests import report_fixture

NAMES = [
    "crossings.csv",
    "crossings.geojson",
    "crossings.gpkg",
    "assumptions.csv",
    "route.gpx",
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("exports")
    write_exports(folder, report_fixture.content())
    return folder


def read_csv(path):
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def test_exports_are_the_promised_files_and_nothing_else(folder):
    assert sorted(path.name for path in folder.iterdir()) == sorted(NAMES)


def test_csv_has_every_column_of_the_dictionary_in_its_order(folder):
    header = [*read_csv(folder / "crossings.csv")[0]]
    assert header == ["culvert_id", "lat", "lon", *columns().index]


def test_csv_keeps_every_crossing_and_blank_is_not_zero(folder):
    rows = {row["culvert_id"]: row for row in read_csv(folder / "crossings.csv")}
    assert list(rows) == list(report_fixture.crossings().index)
    assert rows["X0"]["freeze_index"] == ""
    assert rows["H1"]["detour_m"] == ""
    assert float(rows["O5"]["has_seep"]) == 0.0


def test_csv_guards_text_that_looks_like_a_formula_but_not_numbers(tmp_path):
    crossings = report_fixture.crossings()
    crossings["note"] = ["=1+1", "+44", "-x", "@a", "\t=1"] + ["plain"] * 7
    write_exports(tmp_path, report_fixture.content(crossings=crossings))
    rows = read_csv(tmp_path / "crossings.csv")
    assert [row["note"] for row in rows[:6]] == [
        "'=1+1",
        "'+44",
        "'-x",
        "'@a",
        "'\t=1",
        "plain",
    ]
    assert float(rows[0]["share_slope_index"]) == -4.0
    assert read_csv(tmp_path / "assumptions.csv")[1]["found"] == "'=1+1"


@given(st.text())
def test_guarded_text_never_starts_a_formula(text):
    assert not str(guarded(text)).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_geojson_is_in_degrees_as_pyproj_gives_them(folder):
    table = gpd.read_file(folder / "crossings.geojson").set_index("culvert_id")
    ours = report_fixture.crossings().geometry
    to_degrees = pyproj.Transformer.from_crs(ours.crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(ours.x.to_numpy(), ours.y.to_numpy())
    np.testing.assert_allclose(table.geometry.x, lon, rtol=0, atol=1e-6)
    np.testing.assert_allclose(table.geometry.y, lat, rtol=0, atol=1e-6)


def test_geopackage_holds_the_table_in_the_work_crs(folder):
    table = gpd.read_file(folder / "crossings.gpkg").set_index("culvert_id")
    ours = report_fixture.crossings()
    assert table.crs == ours.crs
    assert list(table.columns) == [*columns().index, "geometry"]
    pd.testing.assert_series_equal(table["freeze_index"], ours["freeze_index"])
    assert table.geometry.geom_equals(ours.geometry).all()


def test_gpx_has_a_waypoint_a_stop_and_a_route_a_truck(folder):
    route = ElementTree.parse(folder / "route.gpx").getroot()
    space = {"g": "http://www.topografix.com/GPX/1/1"}
    names = [
        point.findtext("g:name", "", space) for point in route.iterfind("g:wpt", space)
    ]
    assert names[0] == "Hot water truck 1: H1"
    assert len(names) == 5
    counts = [len(r.findall("g:rtept", space)) for r in route.iterfind("g:rte", space)]
    assert counts == [3, 2]


def test_gpx_is_read_by_gdal_with_outlet_ends_where_they_are(folder):
    points = pyogrio.read_dataframe(folder / "route.gpx", layer="waypoints")
    assert len(pyogrio.read_dataframe(folder / "route.gpx", layer="routes")) == 2
    first = points.geometry.to_crs(report_fixture.WORK_CRS).iloc[0]
    crossing = report_fixture.crossings().iloc[0]
    assert first.x == pytest.approx(crossing["outlet_x_m"], abs=0.2)
    assert first.y == pytest.approx(crossing["outlet_y_m"], abs=0.2)


def test_gpx_holds_hostile_names(tmp_path):
    plan = report_fixture.plan()
    plan.stops["crew"] = plan.stops["crew"].replace(
        "Steam trailer", "</name><x>& \x00\x0b {{ 7*7 }}"
    )
    write_exports(tmp_path, report_fixture.content(plan=plan))
    route = ElementTree.parse(tmp_path / "route.gpx").getroot()
    space = {"g": "http://www.topografix.com/GPX/1/1"}
    names = [r.findtext("g:name", "", space) for r in route.iterfind("g:rte", space)]
    assert names[1] == "</name><x>&  {{ 7*7 }}"


def test_exports_without_a_plan_have_no_route(tmp_path):
    paths = write_exports(tmp_path, report_fixture.content(plan=None))
    assert [path.name for path in paths] == NAMES[:-1]


def test_same_content_gives_the_same_bytes_a_second_later(tmp_path, folder):
    time.sleep(1.1)  # a stamp of the time of writing would differ by now
    write_exports(tmp_path, report_fixture.content())
    for name in NAMES:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_a_write_that_fails_leaves_the_older_file(tmp_path):
    path = tmp_path / "page.html"
    path.write_text("older")

    def fail(new):
        new.write_text("half")
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        replace_file(path, fail)
    assert path.read_text() == "older"
    assert [*tmp_path.iterdir()] == [path]


def test_gpx_holds_the_fill_points_of_the_town_file(tmp_path):
    fill = {"name": "Hydrant by the hall", "lat": 47.75, "lon": -87.5, "rate_m3s": 0.01}
    town = Settings(files=Files(culverts="c.csv"), fill_points=[fill])
    plan = report_fixture.plan()
    plan.stops.loc[3, "place_id"] = "fill:Hydrant by the hall"
    write_exports(tmp_path, report_fixture.content(plan=plan, settings=town))
    points = pyogrio.read_dataframe(tmp_path / "route.gpx", layer="waypoints")
    points = points.set_index("name").geometry
    at = points["Hot water truck 3: water, Hydrant by the hall"]
    assert (at.y, at.x) == (47.75, -87.5)
    assert len(points) == 6
