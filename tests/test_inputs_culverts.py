"""Inventories of culverts: every fault of real files, told and never silent."""

import zipfile
from pathlib import Path

import geopandas as gpd
import hypothesis
import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from pyproj import Transformer
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from culvertrisk import settings, tables
from culvertrisk.checks import InputError
from culvertrisk.inputs.columns import recognised
from culvertrisk.inputs.culverts import read_culverts, understand_culverts

INCH_M = 0.0254  # exact, international inch (NIST SP 811, B.8)
FOOT_M = 0.3048  # exact, international foot (NIST SP 811, B.8)
UTM = "EPSG:32616"
PLAIN = settings.Reading()
EAST_M, NORTH_M = 462_500.0, 5_288_600.0
# The same place in degrees, by hand from the town's description.
LAT, LON = 47.75, -87.5


def _write(tmp_path: Path, text: str, name: str = "c.csv", encoding="utf-8") -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def _rows(lines: list[str], header: str) -> str:
    return "\n".join([header, *lines]) + "\n"


def _town(extra: list[str], header: str = "id_culvert_no,lat,lon,size") -> str:
    """Six sound rows 300 m apart and then the rows of the test."""
    sound = [f"{n},{LAT + n * 0.003:.4f},{LON},18" for n in range(1, 7)]
    return _rows([*sound, *extra], header)


def _told(reading, kind: str) -> list[str]:
    notes = reading.notes
    return [*notes.loc[notes["kind"] == kind, "understood"]]


def test_table_has_the_columns_of_the_dictionary_in_their_order(tmp_path):
    read = read_culverts(_write(tmp_path, _town([])), PLAIN)
    names = tables.columns()
    wanted = [*names.index[names["made_by"] == "culverts"], "geometry"]
    assert [*read.table.columns] == wanted
    assert read.table.index.name == "culvert_id"
    assert read.table.crs.to_epsg() == 32616
    assert read.table["note"].dtype == object
    assert read.table["rise_m"].dtype == float
    assert [*read.notes.columns] == [
        *("file", "row", "culvert_id", "column", "found", "understood", "kind")
    ]


def test_degrees_land_where_the_projection_puts_them(tmp_path):
    read = read_culverts(_write(tmp_path, _town([])), PLAIN, UTM)
    x, y = Transformer.from_crs(4326, 32616, always_xy=True).transform(LON, LAT + 0.003)
    assert_allclose([read.table.geometry.x.iloc[0], read.table.geometry.y.iloc[0]],
                    [x, y], atol=0.01)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("Culvert ID,Road,Latitude,Longitude,Diam (in)\n7,Ält Rd,47.75,-87.5,18\n",
         "utf-8-sig"),
        ("Culvert ID;Road;Latitude;Longitude;Diam (in)\n7;Ält Rd;47,75;-87,5;18\n",
         "cp1252"),
        ("Culvert ID\tRoad\tLat\tLon\tDiam (in)\n7\tÄlt Rd\t47.75\t-87.5\t18",
         "utf-16"),
        ("Quenna inventory,,,,\n,,,,\nCulvert ID,Road,Latitude,Longitude,Diam (in)\n"
         "7.0,Ält Rd,47.75,-87.5,18.0\n,,,,\n", "utf-8"),
    ],
    ids=["bom", "semicolons", "tabs", "title above"],
)  # fmt: skip
def test_text_files_of_any_make_read_alike(tmp_path, text, encoding):
    table = read_culverts(_write(tmp_path, text, encoding=encoding), PLAIN).table
    assert [*table.index] == ["7"]
    assert table["road_name"].tolist() == ["Ält Rd"]
    assert_allclose(table["rise_m"], 18 * INCH_M)


def test_a_workbook_with_titles_blank_rows_and_an_empty_sheet_is_read(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "readme"
    book.active["A1"] = "see next sheet"
    sheet = book.create_sheet("culverts")
    sheet["A1"] = "Inventory 2019"
    sheet.merge_cells("A1:D1")
    for row in ([], ["Pipe No", "Lat", "Long", "Size"], [12.0, 47.75, -87.5, "twin 24"],
                [], ["12A", 47.76, -87.5, '18"']):  # fmt: skip
        sheet.append(row)
    path = tmp_path / "c.xlsx"
    book.save(path)
    table = read_culverts(path, PLAIN).table
    assert [*table.index] == ["12", "12A"]
    assert table["barrel_count"].tolist() == [2, 1]
    assert table["source_row"].tolist() == [1, 3]
    assert_allclose(table["span_m"], [24 * INCH_M, 18 * INCH_M])


def _lines() -> gpd.GeoDataFrame:
    start = [(EAST_M + 200 * n, NORTH_M) for n in range(6)]
    lines = [LineString([(x, y), (x + 4, y + 5), (x, y + 12)]) for x, y in start]
    return gpd.GeoDataFrame(
        {"CULVERT_ID": [f"L{n}" for n in range(6)], "DIAM_IN": [18.0] * 6},
        geometry=lines,
        crs=UTM,
    )


@pytest.mark.parametrize(
    "name", ["c.gpkg", "c.geojson", "c.shp", "c.zip", "c.fgb", "c.kml"]
)
def test_lines_of_any_vector_format_give_middle_and_ends(tmp_path, name):
    frame = _lines()
    path = tmp_path / name
    if name.endswith(("geojson", "kml")):
        frame = frame.to_crs(4326)
    if name == "c.zip":
        frame.to_file(tmp_path / "inner.shp")
        with zipfile.ZipFile(path, "w") as archive:
            for part in tmp_path.glob("inner.*"):
                archive.write(part, f"data/{part.name}")
    else:
        frame.to_file(path)
    read = read_culverts(path, PLAIN, UTM)
    table = read.table.sort_index()
    assert len(table) == 6
    start_m = table[["inlet_x_m", "inlet_y_m"]].iloc[0]
    end_m = table[["outlet_x_m", "outlet_y_m"]].iloc[0]
    assert_allclose(start_m, [EAST_M, NORTH_M], atol=0.05)
    assert_allclose(end_m, [EAST_M, NORTH_M + 12], atol=0.05)
    assert_allclose(table["rise_m"], 18 * INCH_M)
    assert_allclose(table["length_m"], 12.0, atol=0.05)
    assert "first vertex taken as inlet until terrain or inverts tell" in _told(
        read, "assumed"
    )


def test_multi_lines_and_polygons_give_their_two_ends(tmp_path):
    x, y = EAST_M, NORTH_M
    shapes = [
        MultiLineString([[(x, y), (x, y + 5)], [(x, y + 5), (x, y + 10)]]),
        Polygon([(x + 100, y), (x + 102, y), (x + 102, y + 20), (x + 100, y + 20)]),
        Polygon([(x + 300, y), (x + 304, y), (x + 304, y + 5), (x + 300, y + 5)]),
    ]
    gpd.GeoDataFrame({"cvid": [1, 2, 3]}, geometry=shapes, crs=UTM).to_file(
        tmp_path / "c.gpkg"
    )
    table = read_culverts(tmp_path / "c.gpkg", PLAIN, UTM).table
    ends_m = table[["inlet_y_m", "outlet_y_m"]].to_numpy()
    assert_allclose(np.sort(ends_m[:2], axis=1), [[y, y + 10], [y, y + 20]], atol=0.01)
    assert_allclose(table["inlet_x_m"].iloc[1], x + 101, atol=0.01)
    assert np.isnan(ends_m[2]).all()
    assert shapes[2].buffer(0.01).contains(table.geometry.iloc[2])


def test_the_higher_invert_is_the_inlet(tmp_path):
    frame = _lines().assign(us_invert=[100.0] * 5 + [99.0], ds_invert=[99.5] * 6)
    frame.to_file(tmp_path / "c.gpkg")
    reading = settings.Reading(units={"inlet_invert_m": "m", "outlet_invert_m": "m"})
    table = read_culverts(tmp_path / "c.gpkg", reading, UTM).table
    assert_allclose(table["inlet_y_m"] - NORTH_M, [0, 0, 0, 0, 0, 12], atol=0.01)
    assert_allclose(table["inlet_invert_m"], [100] * 5 + [99.5])


def test_two_end_columns_give_the_place_between(tmp_path):
    text = "pipe_id,inlet_lat,inlet_lon,outlet_lat,outlet_lon\n"
    text += "a,47.7500,-87.5,47.7502,-87.5\nb,47.7600,-87.5,,\n"
    table = read_culverts(_write(tmp_path, text), PLAIN).table
    middle = table.geometry.to_crs(4326)
    assert_allclose(middle.y, [47.7501, 47.76], atol=1e-6)
    assert table["outlet_x_m"].isna().tolist() == [False, True]


def test_utm_zones_are_taken_row_by_row(tmp_path):
    text = "pipe_id,utm_zone,easting,northing\n"
    text += f"a,16T,{EAST_M},{NORTH_M}\nb,16,{EAST_M + 50},{NORTH_M}\n"
    table = read_culverts(_write(tmp_path, text), PLAIN).table
    assert table.crs.to_epsg() == 32616
    assert_allclose(table.geometry.x, [EAST_M, EAST_M + 50], atol=0.01)


def test_degrees_minutes_and_seconds_are_read(tmp_path):
    text = "pipe_id;lat;lon\na;47°42'36\"N;87°30'00\"W\nb;47 42.6 N;87 31.2 W\n"
    table = read_culverts(_write(tmp_path, text), PLAIN).table.to_crs(4326)
    assert_allclose(table.geometry.y, [47.71, 47.71], atol=1e-6)
    assert_allclose(table.geometry.x, [-87.5, -87.52], atol=1e-6)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("9,-87.5001,47.7511,18", "latitude and longitude swapped"),
        ("9,47.7511,87.5001,18", "sign of the longitude restored"),
    ],
)
def test_swapped_axes_and_lost_signs_are_repaired_and_told(tmp_path, row, told):
    read = read_culverts(_write(tmp_path, _town([row])), PLAIN)
    place = read.table.to_crs(4326).geometry.loc["9"]
    assert_allclose([place.x, place.y], [-87.5001, 47.7511], atol=1e-6)
    assert _told(read, "changed") == [told]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("9,0,0,18", "left out: 0,0 is no place"),
        ("9,,,18", "left out: no coordinates"),
        ("9,by the barn,,18", "left out: no number"),
        ("9,47.75,,18", "left out: blank"),
        ("9,5912345.2,25912345.1,18",
         "left out: no degrees; perhaps feet or metres of another CRS"),
        ("9,47.95,-87.5,18", "left out: 20 km from the rest"),
    ],
    ids=["zero", "blank", "words", "half", "state plane", "far"],
)  # fmt: skip
def test_rows_that_lie_nowhere_are_left_out_and_told(tmp_path, row, told):
    read = read_culverts(_write(tmp_path, _town([row])), PLAIN)
    assert "9" not in read.table.index
    assert len(read.table) == 6
    refused = read.notes[read.notes["kind"] == "refused"]
    assert refused["understood"].tolist() == [told]
    assert refused["row"].tolist() == [7]
    assert refused["culvert_id"].tolist() == ["9"]


def test_axes_that_are_swapped_in_every_row_are_turned_where_no_road_can_be(tmp_path):
    lines = [f"{n},-70.5,{44.5 + n / 1000},18" for n in range(1, 7)]
    read = read_culverts(_write(tmp_path, _rows(lines, "pipe_id,lat,lon,size")), PLAIN)
    assert read.table.crs.to_epsg() == 32619  # the zone of 70.5 W, north
    assert _told(read, "changed") == ["latitude and longitude swapped"] * 6


@pytest.mark.parametrize(
    ("lat", "lon"),
    [
        ("47°45'00\"N", "87°30'00\"W"),
        ("47° 45’ 00” N", "87° 30’ 00” W"),
        ("N47 45.0", "W87 30.0"),
        ("47.75 N", "87.5° W"),
        ("47.75", "\u221287.5"),
    ],
)
def test_degrees_in_any_writing_are_read(tmp_path, lat, lon):
    header, sound = "pipe_id;lat;lon;size", "1;47.76;-87.5;18"
    path = _write(tmp_path, _rows([sound, f"2;{lat};{lon};24"], header))
    table = read_culverts(path, PLAIN, UTM).table.to_crs(4326)
    assert_allclose(table.geometry.x, [-87.5, -87.5], atol=1e-6)
    assert_allclose(table.geometry.y, [47.76, 47.75], atol=1e-6)


def test_words_in_a_column_of_numbers_are_told_and_blanks_are_not(tmp_path):
    header = "pipe_id,lat,lon,size,length_ft,slope_pct,drainage_area_acres"
    lines = [
        f"1,{LAT},{LON},18,#N/A,steep?,abc",
        f"2,{LAT + 0.003},{LON},18,unknown,N/A,",
        f"3,{LAT + 0.006},{LON},18,40 ft,flat,3",
    ]
    read = read_culverts(_write(tmp_path, _rows(lines, header)), PLAIN)
    told = read.notes[read.notes["understood"] == "unknown: no number"]
    assert told[["row", "column", "found"]].to_numpy().tolist() == [
        [1, "length_m", "#N/A"],
        [1, "recorded_slope_m_per_m", "steep?"],
        [1, "recorded_catchment_m2", "abc"],
    ]


def test_a_column_of_words_is_told_once_with_the_first_of_them(tmp_path):
    lines = [f"{n},{LAT + n / 300},{LON},18,Ditch {n}" for n in range(7)]
    path = _write(tmp_path, _rows(lines, "pipe_id,lat,lon,size,drainage_area_acres"))
    notes = read_culverts(path, PLAIN).notes
    told = notes[notes["column"] == "recorded_catchment_m2"]
    assert told[["row", "found", "understood"]].to_numpy().tolist() == [
        [
            0,
            "7 of 7 rows, such as 1 (Ditch 0), 2 (Ditch 1), 3 (Ditch 2), 4 (Ditch 3), "
            "5 (Ditch 4)",
            "unknown: no number",
        ]
    ]


def test_a_workbook_of_several_tables_says_which_sheet_is_read(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "north"
    book.active.append(["Pipe No", "Lat", "Long", "Size"])
    book.active.append([1, LAT, LON, 18])
    south = book.create_sheet("south")
    south.append(["Pipe No", "Lat", "Long", "Size"])
    south.append([2, LAT, LON, 18])
    book.save(tmp_path / "c.xlsx")
    notes = read_culverts(tmp_path / "c.xlsx", PLAIN).notes
    assert notes.loc[0, ["found", "understood"]].tolist() == [
        "sheets north, south",
        "only the sheet 'north' is read; give the others as own files",
    ]


def test_coordinates_that_are_no_numbers_are_told_as_what_they_are(tmp_path):
    extra = [f"X{n},abc,-87.5,18" for n in range(3)] + ["Y,47.751,by the barn,18"]
    read = read_culverts(_write(tmp_path, _town(extra)), PLAIN)
    refused = read.notes[read.notes["kind"] == "refused"]
    told = refused[["row", "culvert_id", "column", "found", "understood"]]
    assert told.to_numpy().tolist() == [
        *([7 + n, f"X{n}", "lat", "abc", "left out: no number"] for n in range(3)),
        [10, "Y", "lon", "by the barn", "left out: no number"],
    ]


def test_an_inventory_without_one_readable_place_says_what_stands_there(tmp_path):
    lines = [f"{n},abc,{LON},18" for n in range(1, 8)]
    path = _write(tmp_path, _rows(lines, "pipe_id,lat,lon,size"))
    with pytest.raises(InputError) as caught:
        read_culverts(path, PLAIN)
    assert caught.value.problems == (
        "c.csv: column 'lat' must hold numbers; 7 of 7 rows are not: 1 (abc), 2 (abc), "
        "3 (abc), 4 (abc), 5 (abc), .... Write 47.7103 or 47°42'37\"N for degrees, "
        "462500 for metres or feet.",
        "c.csv: file must hold a usable row, got none in 7 rows. See that the "
        'coordinates are filled; or tell their CRS: culverts.crs = "EPSG:...".',
    )


def test_feet_taken_for_metres_are_repaired_where_they_then_fit(tmp_path):
    lines = [f"{n},{EAST_M + 300 * n},{NORTH_M}" for n in range(6)]
    lines.append(f"f,{(EAST_M + 500) / FOOT_M},{NORTH_M / FOOT_M}")
    path = _write(tmp_path, _rows(lines, "pipe_id,x,y"))
    read = read_culverts(path, settings.Reading(crs=UTM), UTM)
    place = read.table.geometry.loc["f"]
    assert_allclose([place.x, place.y], [EAST_M + 500, NORTH_M], atol=0.01)
    assert _told(read, "changed") == ["feet taken for metres"]


def test_projected_coordinates_without_a_crs_are_refused_with_the_remedy(tmp_path):
    path = _write(tmp_path, "pipe_id,x,y\n1,462500,5288600\n")
    with pytest.raises(InputError) as error:
        read_culverts(path, PLAIN)
    assert str(error.value) == (
        "c.csv: file must declare the CRS of its coordinates, got none that fits "
        "coordinates such as 462500, 5288600. Tell it in the town file: "
        'culverts.crs = "EPSG:...".'
    )


def test_a_shapefile_without_its_crs_takes_the_one_told(tmp_path):
    _lines().to_file(tmp_path / "c.shp")
    (tmp_path / "c.prj").unlink()
    with pytest.raises(InputError, match=r"culverts\.crs"):
        read_culverts(tmp_path / "c.shp", PLAIN)
    table = read_culverts(tmp_path / "c.shp", settings.Reading(crs=UTM)).table
    assert_allclose(table["inlet_x_m"].iloc[0], EAST_M, atol=0.05)


def test_a_second_survey_is_left_out_and_told(tmp_path):
    lines = ["a,47.75,-87.5,18,Wyke Rd", "b,47.75005,-87.5,18,Wyke Rd",
             "c,47.75005,-87.50008,24,Wyke Rd", "d,47.75,-87.5,36,Harn Rd",
             "e,47.76,-87.5,,Wyke Rd", "f,47.76005,-87.5,,Wyke Rd"]  # fmt: skip
    path = _write(tmp_path, _rows(lines, "pipe_id,lat,lon,size,road"))
    read = read_culverts(path, PLAIN)
    # b: 5.6 m off, same size and road; d: same coordinates. Two unknown sizes are
    # not the same size.
    assert [*read.table.index] == ["a", "c", "e", "f"]
    told = [t for t in _told(read, "assumed") if t.startswith("left out")]
    assert told == ["left out: second survey or twin of a (row 1)"] * 2


def test_ids_are_made_unique_and_never_lost(tmp_path):
    ids = ["12.0", "012", "12A", "", "12", "12-2"]
    lines = [f"{name},{LAT + n * 0.003:.4f},{LON}" for n, name in enumerate(ids)]
    read = read_culverts(_write(tmp_path, _rows(lines, "pipe_id,lat,lon")), PLAIN)
    assert [*read.table.index] == ["12", "012", "12A", "row-4", "12-3", "12-2"]
    assert read.notes.loc[read.notes["column"] == "culvert_id", "found"].tolist() == [
        *("", "12")
    ]


def test_two_id_columns_that_fill_each_other_are_read_as_one(tmp_path):
    text = "rowid,pipe_id,crossing_ref,lat,lon\n1,,77,47.75,-87.5\n2,8,,47.76,-87.5\n"
    assert [*read_culverts(_write(tmp_path, text), PLAIN).table.index] == ["77", "8"]


def test_units_come_from_the_header_then_from_the_values(tmp_path):
    sizes = ["18", "24", "450", "1.5", "0.45", "36", "UNK", "0", "999999"]
    lines = [f"{n},{LAT + n * 0.003:.4f},{LON},{s}" for n, s in enumerate(sizes)]
    for header in ("pipe_id,lat,lon,DIAM_IN", "pipe_id,lat,lon,diameter"):
        read = read_culverts(_write(tmp_path, _rows(lines, header)), PLAIN)
        expected = [18 * INCH_M, 24 * INCH_M, 0.45, 1.5 * FOOT_M, 0.45, 36 * INCH_M]
        assert_allclose(read.table["rise_m"], [*expected, *[np.nan] * 3], rtol=1e-9)
        assert _told(read, "changed") == ["450 mm", "1.5 ft", "0.45 m"]
        assert "unknown" in _told(read, "refused")


def test_millimetres_written_as_inches_put_no_giant_pipe_on_the_map(tmp_path):
    read = read_culverts(_write(tmp_path, _town(["9,47.7511,-87.5,450 in"])), PLAIN)
    assert_allclose(read.table.loc["9", "rise_m"], 0.45)
    assert _told(read, "changed") == ["450 mm"]


def test_a_header_that_lies_about_feet_is_overruled_and_told(tmp_path):
    path = _write(tmp_path, _town([], "pipe_id,lat,lon,DIAMETER (ft)"))
    read = read_culverts(path, PLAIN)
    assert_allclose(read.table["rise_m"], 18 * INCH_M)
    assert _told(read, "changed") == ["in, by its values"]


def test_what_the_user_tells_wins_over_every_guess(tmp_path):
    text = "A,B,C,diameter,lat,lon\nk1,500,18,1,47.75,-87.5\n"
    reading = settings.Reading(
        columns={"culvert_id": "A", "diameter_m": "B", "length_m": "C"},
        units={"diameter_m": "mm", "length_m": "ft"},
    )
    table = read_culverts(_write(tmp_path, text), reading).table
    assert [*table.index] == ["k1"]
    assert_allclose(table["rise_m"], 0.5)
    assert_allclose(table["length_m"], 18 * FOOT_M)


def test_zero_length_and_cover_are_not_measured_and_told_once(tmp_path):
    lines = [f"{n},{LAT + n * 0.003:.4f},{LON},0,0" for n in range(4)]
    header = "pipe_id,lat,lon,length_ft,cover_ft"
    read = read_culverts(_write(tmp_path, _rows(lines, header)), PLAIN)
    assert read.table[["length_m", "recorded_cover_m"]].isna().all(axis=None)
    assert _told(read, "refused").count("not measured") == 2


def test_values_out_of_range_become_unknown_and_told_with_their_row(tmp_path):
    lines = ["a,47.75,-87.5,12", "b,47.76,-87.5,4000"]
    path = _write(tmp_path, _rows(lines, "pipe_id,lat,lon,length_m"))
    read = read_culverts(path, PLAIN)
    assert_allclose(read.table["length_m"], [12, np.nan])
    note = read.notes[read.notes["column"] == "length_m"].iloc[0]
    assert (note["culvert_id"], note["found"], note["kind"]) == ("b", "4000", "refused")
    assert note["understood"] == "unknown; must be from 1 to 400 m"


@pytest.mark.parametrize(
    ("header", "values", "expected"),
    [
        ("Slope (%)", ["2", "-1", "-99"], [0.02, -0.01, np.nan]),
        ("slope", ["1.5", "3", "-99"], [0.015, 0.03, np.nan]),
        ("slope", ["0.015", "0.03", ""], [0.015, 0.03, np.nan]),
        ("slope_pct", ["1:50", "flat", "2 %"], [0.02, 0.0, 0.02]),
    ],
)
def test_slopes_are_read_in_percent_or_fractions(tmp_path, header, values, expected):
    lines = [f"{n},{LAT + n * 0.01},{LON},{v}" for n, v in enumerate(values)]
    path = _write(tmp_path, _rows(lines, f"pipe_id,lat,lon,{header}"))
    table = read_culverts(path, PLAIN).table
    assert_allclose(table["recorded_slope_m_per_m"], expected)


def _column(tmp_path, header: str, values: list[str]) -> pd.DataFrame:
    lines = [f'{n},{LAT + n * 0.003:.4f},{LON},"{v}"' for n, v in enumerate(values)]
    path = _write(tmp_path, _rows(lines, f"pipe_id,lat,lon,{header}"))
    return read_culverts(path, PLAIN).table


def test_install_years_come_out_of_messy_dates(tmp_path):
    dates = ["3/4/19", "2019", "spring '14", "1900-01-00", "0", "43528", "12-Jun-85",
             "2003-05-01", "old", "05/06/1998"]  # fmt: skip
    table = _column(tmp_path, "INSTALLDAT", dates)
    assert_allclose(
        table["install_year"],
        [2019, 2019, 2014, np.nan, np.nan, 2019, 1985, 2003, np.nan, 1998],
    )


def test_silt_is_read_from_percent_bands_and_words(tmp_path):
    words = ["25", "<25", "25-50", ">75", "silted half", "", "clean", "60 %"]
    table = _column(tmp_path, "silt", words)
    expected = [0.25, 0.125, 0.375, 0.875, 0.5, np.nan, 0, 0.6]
    assert_allclose(table["silt_fraction"], expected)


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("material", {"CMP": "steel", "RCP": "concrete", "HDPE": "plastic",
                      "Wood stave": "timber", "CAP": "aluminium", "UNK": "unknown",
                      "masonry": "stone", "": "unknown"}),
        ("shape", {"Pipe Arch": "arch", "B": "unknown", "Round": "round",
                   "Ellipse H": "ellipse", "RCB": "box"}),
        ("entrance", {"PROJ": "projecting", "MIT": "mitred", "FES": "flared",
                      "Headwall": "headwall", "buried": "unknown"}),
        ("crossing_kind", {"ENT": "driveway", "CL": "cross", "Bridge": "bridge",
                           "ford": "ford", "DW": "driveway", "zzz": "unknown"}),
    ],
)  # fmt: skip
def test_words_of_the_trade_are_understood(tmp_path, column, words):
    table = _column(tmp_path, column, [*words])
    assert table[column].tolist() == [*words.values()]


def test_yes_and_no_are_numbers_and_blank_is_unknown(tmp_path):
    table = _column(tmp_path, "staked", ["Y", "no", "", "1", "0", "TRUE"])
    assert_allclose(table["is_staked"], [1, 0, np.nan, 1, 0, 1])


def test_bridges_stay_in_the_table_and_are_told(tmp_path):
    text = "pipe_id,lat,lon,size,type\na,47.75,-87.5,8 m,Bridge\nb,47.76,-87.5,,Ford\n"
    path = _write(tmp_path, text)
    read = read_culverts(path, PLAIN)
    assert read.table["crossing_kind"].tolist() == ["bridge", "ford"]
    assert "kept in the table, no pipe to score" in _told(read, "assumed")


def test_our_own_columns_read_back_as_they_are(tmp_path):
    values = {"culvert_id": "T1", "lat": LAT, "lon": LON, "rise_m": 0.6, "span_m": 0.9,
              "barrel_count": 2, "length_m": 14, "recorded_slope_m_per_m": -0.01,
              "recorded_cover_m": 0.5, "outlet_drop_m": 0.3, "silt_fraction": 0.4,
              "inlet_invert_m": 301.5, "outlet_invert_m": 301.2}  # fmt: skip
    path = tmp_path / "c.csv"
    pd.DataFrame([values]).to_csv(path, index=False)
    row = read_culverts(path, PLAIN).table.loc["T1"]
    for name, value in values.items():
        if name not in ("culvert_id", "lat", "lon"):
            assert_allclose(row[name], value, err_msg=name)


def test_the_blank_template_names_every_column_of_the_reader():
    header = Path(__file__).parent.parent / "shared/templates/culverts.csv"
    ours = {recognised(name) for name in header.read_text().strip().split(",")}
    names = tables.columns()
    made = {*names.index[names["made_by"] == "culverts"]} - {"source_row"}
    ends = {"inlet_x_m", "inlet_y_m", "outlet_x_m", "outlet_y_m"}
    assert ours >= made - ends
    assert {"culvert_id", "lat", "lon", "inlet_lat", "outlet_lon"} <= ours


def test_what_was_understood_reads_the_file_alike(tmp_path):
    text = _town(["9,47.7511,-87.5,450"], "pipe_id,lat,lon,diameter")
    path = _write(tmp_path, text)
    told = understand_culverts(path)
    assert told.columns["diameter_m"] == "diameter"
    assert told.units["diameter_m"] == "in"
    first, second = read_culverts(path, PLAIN).table, read_culverts(path, told).table
    pd.testing.assert_frame_equal(pd.DataFrame(first), pd.DataFrame(second))


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("none.csv", None,
         "none.csv: file must exist, got no such file. Correct the path; it starts "
         "from the town file's folder."),
        ("c.csv", "pipe_id,lat,lon\n",
         "c.csv: file must hold a header and rows, got no row under the header. "
         "Export it with its header and rows, or take it out of the town file."),
        ("c.csv", "pipe_id,lat,lon\n1,0,0\n2,,\n",
         "c.csv: file must hold a usable row, got none in 2 rows. See that the "
         'coordinates are filled; or tell their CRS: culverts.crs = "EPSG:...".'),
        ("c.csv", "pipe_id,size\n1,18\n",
         "c.csv: file must have coordinates: latitude and longitude, x and y, or the "
         "two ends, got the columns pipe_id, size. Name them in the town file: "
         'culverts.columns.lat = "...".'),
        ("c.docx", "x",
         "c.docx: file must be a CSV, XLSX, GeoJSON, GeoPackage, shapefile, "
         "FlatGeobuf or KML file, got the ending '.docx'. Export it again as one."),
    ],
    ids=["missing", "no rows", "no place", "no coordinates", "another kind"],
)  # fmt: skip
def test_a_file_that_cannot_be_used_gets_one_clear_message(
    tmp_path, name, text, message
):
    path = tmp_path / name if text is None else _write(tmp_path, text, name)
    with pytest.raises(InputError) as error:
        read_culverts(path, PLAIN)
    assert error.value.problems == (message,)


def test_all_wrong_keys_of_the_user_are_told_at_once(tmp_path):
    reading = settings.Reading(
        columns={"diametre": "size", "length_m": "LEN"}, units={"length_m": "furlongz"}
    )
    with pytest.raises(InputError) as error:
        read_culverts(_write(tmp_path, _town([])), reading)
    assert len(error.value.problems) == 3


def test_a_work_crs_in_degrees_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"town\.crs must be a projected"):
        read_culverts(_write(tmp_path, _town([])), PLAIN, "EPSG:4326")


@pytest.mark.parametrize(
    ("lat", "lon", "crs", "message"),
    [
        ("85.5", "47.75", "",
         "c.csv: file must lie where UTM reaches, from 80 S to 84 N, got a middle of "
         "85.50 N, 47.75 E. See which column is which; or tell town.crs."),
        ("47.75", "-87.5", "EPSG:2154x",
         "town file: town.crs must be a CRS such as EPSG:26916, got 'EPSG:2154x'. "
         "Correct it."),
        ("47.75", "92.5", "EPSG:32616",
         "town file: town.crs must reach every culvert, got 'EPSG:32616'. Take the UTM "
         "zone, or leave it blank."),
    ],
    ids=["pole", "no crs", "other side of the world"],
)  # fmt: skip
def test_places_that_no_work_crs_reaches_are_refused(tmp_path, lat, lon, crs, message):
    path = _write(tmp_path, f"pipe_id,lat,lon\n1,{lat},{lon}\n")
    with pytest.raises(InputError) as error:
        read_culverts(path, PLAIN, crs)
    assert error.value.problems == (message,)


def test_points_of_a_layer_keep_their_place(tmp_path):
    points = [Point(EAST_M + 100 * n, NORTH_M) for n in range(3)]
    frame = gpd.GeoDataFrame({"cvid": [1, 2, 3]}, geometry=points, crs=UTM)
    frame.to_file(tmp_path / "c.gpkg")
    read = read_culverts(tmp_path / "c.gpkg", PLAIN, UTM)
    assert_allclose(read.table.geometry.x, [p.x for p in points], atol=1e-3)
    assert read.table["inlet_x_m"].isna().all()


CELLS = st.sampled_from(
    ["", "0", "-99", "12.0", "1e400", "inf", "½", '18"', "4'-6\"", "2-24", "1:0", "%",
     "<25", "POINT (", "LINESTRING (0 0, 1 1)", "16T", "3/4/19", "'14", "CMP", "Bridge",
     "(2)", "٢٤", "²", "1/0", "47.75", "-87.5", "45000.5", "12345678"]
)  # fmt: skip
COLUMNS = ("lat", "lon", "diameter", "rise", "barrels", "length", "slope", "cover",
           "us_invert", "silt", "staked", "install_date", "type", "wkt", "inlet_lat",
           "inlet_lon", "utm_zone", "easting", "northing")  # fmt: skip


@hypothesis.settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture],
)
@hypothesis.given(
    st.lists(st.lists(CELLS, min_size=19, max_size=19), min_size=1, max_size=4)
)
def test_any_cells_give_a_table_or_one_clear_refusal(tmp_path, rows):
    path = tmp_path / "c.csv"
    pd.DataFrame([["", *row] for row in rows], columns=["pipe_id", *COLUMNS]).to_csv(
        path, index=False
    )
    try:
        read = read_culverts(path, PLAIN)
    except InputError as error:
        assert all(path.name in problem for problem in error.problems)
    else:
        assert 0 < len(read.table) <= len(rows)
        assert not (read.table[["rise_m", "span_m", "length_m"]] == 0).any(axis=None)


def test_well_known_text_gives_places(tmp_path):
    text = 'pipe_id,geom\na,"LINESTRING (-87.5 47.75, -87.5 47.7502)"\nb,\n'
    read = read_culverts(_write(tmp_path, text), PLAIN)
    assert [*read.table.index] == ["a"]
    assert_allclose(read.table.to_crs(4326).geometry.y, [47.7501], atol=1e-6)
