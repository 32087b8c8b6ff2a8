"""Two real inventories, read as they are; expected counts are those of their notes.

The counts come from the README beside each file or are counted in the file itself,
never from what the reader returned.
"""

import os
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from numpy.testing import assert_allclose

from culvertrisk import pipeline, settings, tables
from culvertrisk.inputs.culverts import read_culverts, understand_culverts
from culvertrisk.inputs.file_kinds import guess_kind

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)
PLAIN = settings.Reading()
INCH_M = 0.0254  # exact, international inch (NIST SP 811, B.8)
FOOT_M = 0.3048  # exact, international foot (NIST SP 811, B.8)


def _file(name: str) -> Path:
    path = Path(FOLDER) / name
    if not path.exists():
        pytest.skip(f"{name} is not in the folder of open data")
    return path


@pytest.fixture(scope="module")
def bulkley():
    return read_culverts(_file("bc_bulkley_crossings/crossings.csv"), PLAIN)


@pytest.fixture(scope="module")
def columbus():
    return read_culverts(_file("columbus_culverts/culverts.geojson"), PLAIN)


@pytest.fixture(scope="module")
def bulkley_rows():
    """The file as a plain table, its rows numbered from 1."""
    rows = pd.read_csv(_file("bc_bulkley_crossings/crossings.csv"))
    rows.index = pd.RangeIndex(1, len(rows) + 1)
    return rows


def _of_rows(read, rows):
    """Return the file's rows of those that the reader kept, in the table's order."""
    return rows.loc[read.table["source_row"].astype(int)]


def test_bulkley_leaves_out_only_the_second_surveys(bulkley):
    # README: 223 rows, 15 of which repeat another row's coordinates.
    left_out = bulkley.notes["understood"].str.startswith("left out: second survey")
    assert left_out.sum() == 15
    assert len(bulkley.table) == 223 - 15


def test_bulkley_ids_come_from_two_columns_that_fill_each_other(bulkley, bulkley_rows):
    kept = _of_rows(bulkley, bulkley_rows)
    ids = kept["pscis_crossing_id"].fillna(kept["my_crossing_reference"])
    assert [*bulkley.table.index] == [f"{number:.0f}" for number in ids]


def test_bulkley_lies_where_its_notes_say(bulkley, bulkley_rows):
    # README: UTM zone 9N; about 54.0 to 55.2 N and 127.7 to 126.0 W.
    assert bulkley.table.crs.to_epsg() == 32609
    west, south, east, north = bulkley.table.to_crs(4326).total_bounds
    assert west > -127.75 and east < -125.95
    assert south > 53.95 and north < 55.3
    kept = _of_rows(bulkley, bulkley_rows)
    assert_allclose(bulkley.table.geometry.x, kept["easting"], atol=0.01)


@pytest.mark.parametrize(
    ("subtype", "count", "column", "word"),
    [  # README: crossing_subtype
        ("Round Culvert", 119, "shape", "round"),
        ("Bridge", 64, "crossing_kind", "bridge"),
        ("Ford", 20, "crossing_kind", "ford"),
        ("Oval Culvert", 14, "shape", "ellipse"),
        ("Pipe Arch", 3, "shape", "arch"),
        ("Wood Box Culvert", 2, "material", "timber"),
        ("Concrete Box", 1, "material", "concrete"),
    ],
)
def test_bulkley_words_are_understood(
    bulkley, bulkley_rows, subtype, count, column, word
):
    assert (bulkley_rows["crossing_subtype"] == subtype).sum() == count
    kept = _of_rows(bulkley, bulkley_rows)
    is_subtype = (kept["crossing_subtype"] == subtype).to_numpy()
    assert ((bulkley.table[column] == word).to_numpy() == is_subtype).all()


def test_bulkley_numbers_are_metres_and_fractions(bulkley, bulkley_rows):
    kept = _of_rows(bulkley, bulkley_rows)
    is_pipe = (kept["crossing_subtype"] == "Round Culvert").to_numpy()
    pipes, rows = bulkley.table[is_pipe], kept[is_pipe]
    assert_allclose(pipes["rise_m"], rows["diameter_or_span_meters"])
    assert_allclose(pipes["length_m"], rows["length_or_width_meters"])
    assert_allclose(pipes["recorded_cover_m"], rows["fill_depth_meters"])
    slope = rows["culvert_slope_percent"] / 100
    assert_allclose(pipes["recorded_slope_m_per_m"], slope)


def test_bulkley_bridge_of_fifty_metres_is_no_size(bulkley, bulkley_rows):
    # README: 50 is a bridge span; the dictionary ends at 30 m.
    row = bulkley_rows.index[bulkley_rows["diameter_or_span_meters"] == 50][0]
    kept = bulkley.table[bulkley.table["source_row"] == row]
    assert kept["span_m"].isna().all()
    notes = bulkley.notes[bulkley.notes["row"] == row]
    assert [*notes["kind"]] == ["refused"]


def test_columbus_sizes_are_as_few_as_its_notes_say(columbus):
    # README: 5330 rows; DIMENSION1 is Unknown in 4144 and empty in 22, so that 22 %
    # have a size.
    said = columbus.notes.loc[columbus.notes["column"] == "span_m", "found"]
    assert "4166 of 5330 rows without a size" in [*said]
    share = columbus.table["span_m"].notna().mean()
    assert 0.20 < share < 0.225
    assert not (columbus.table["rise_m"] == 0).any()


def test_columbus_sizes_are_inches(columbus):
    told = columbus.notes.set_index("column")["understood"]
    assert "in, by its values" in [*told.loc[["diameter_m"]]]
    # README: sizes run from 6 to 240 in (a few smaller ones stand in the file).
    assert columbus.table["rise_m"].max() == pytest.approx(240 * INCH_M)


def test_columbus_rows_with_several_barrels_are_counted(columbus):
    path = _file("columbus_culverts/culverts.geojson")
    words = pyogrio.read_dataframe(path, read_geometry=False)["DIMENSION1"].fillna("")
    words.index = pd.RangeIndex(1, len(words) + 1)
    in_file = words.str.extract(r"\((\d)\)$")[0].dropna().astype(float)
    table = columbus.table.set_index("source_row")["barrel_count"]
    kept = in_file[in_file.index.isin(table.index)]
    assert len(kept) > 10
    assert_allclose(table.loc[kept.index], kept)


def test_columbus_lengths_are_feet(columbus):
    # README: SHAPE_2_Le is the length in feet, from 2.5 to 1187 ft; beyond the
    # dictionary's 1 to 400 m none is kept.
    assert columbus.table["length_m"].max() == pytest.approx(1187 * FOOT_M, abs=FOOT_M)
    assert "length of the drawn line, 'SHAPE_2_Le' in ft" in [
        *columbus.notes["understood"]
    ]
    ends = columbus.table[["inlet_x_m", "inlet_y_m", "outlet_x_m", "outlet_y_m"]]
    a, b = ends.to_numpy()[:, :2], ends.to_numpy()[:, 2:]
    straight_m = np.linalg.norm(a - b, axis=1)
    assert (columbus.table["length_m"].dropna() > 0).all()
    ratio = np.nanmedian(columbus.table["length_m"] / straight_m)
    assert ratio == pytest.approx(1.0, abs=0.02)


def test_columbus_ids_are_those_that_last(columbus):
    # MAINID is blank, OBJECTID is made by the export; HYDROID names every row.
    path = _file("columbus_culverts/culverts.geojson")
    ids = pyogrio.read_dataframe(path, read_geometry=False)["HYDROID"]
    kept = ids.iloc[columbus.table["source_row"].astype(int) - 1]
    assert [*columbus.table.index] == [str(number) for number in kept]


@pytest.mark.parametrize("name", ["bulkley", "columbus"])
def test_open_inventories_stay_within_the_dictionary(name, request):
    table = request.getfixturevalue(name).table
    assert table.index.is_unique
    for row in tables.columns().query("made_by == 'culverts'").itertuples():
        values = table[row.Index]
        if not pd.isna(row.low):
            inside = values.isna() | values.between(row.low, row.high)
            assert inside.all(), row.Index


def test_what_was_understood_of_bulkley_reads_it_alike(bulkley):
    path = _file("bc_bulkley_crossings/crossings.csv")
    again = read_culverts(path, understand_culverts(path)).table
    pd.testing.assert_frame_equal(pd.DataFrame(again), pd.DataFrame(bulkley.table))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("bc_bulkley_crossings/crossings.csv", "culverts"),
        ("columbus_culverts/culverts.geojson", "culverts"),
        ("columbus_culverts/major_roads.geojson", "roads"),
        ("bc_bulkley_roads/roads.geojson", "roads"),
        ("bc_bulkley_roads/railway.geojson", "unknown"),
        ("bc_bulkley_terrain/dem.tif", "dem"),
        ("bc_bulkley_terrain/streams.gpkg", "unknown"),
        ("bc_bulkley_terrain/waterbodies.gpkg", "unknown"),
        ("shutesbury_roads/roads.geojson", "roads"),
        ("shutesbury_roads/massdot_roadinv_raw.geojson", "roads"),
        ("lakes_basin_dem_canopy/dem.tif", "dem"),
        ("lakes_basin_dem_canopy/veg_height.tif", "canopy"),
        ("bc_salmon_river_weather/daily_1990_2010.csv", "weather"),
        ("sweden_harjedalen_weather/weather_mittadalen.csv", "weather"),
        ("sweden_harjedalen_weather/Temperatur_max_min_dygn_Dravagen.csv", "weather"),
        ("atlas14_ann_arbor/All_Depth_English_PDS.csv", "rainfall"),
    ],
)
def test_guess_kind_knows_open_data(name, kind):
    assert guess_kind(_file(name)) == kind


def test_columbus_is_read(benchmark):
    path = _file("columbus_culverts/culverts.geojson")
    read = benchmark(read_culverts, path, PLAIN)
    assert len(read.table) > 5000


WET_DAY = {"date": "2025-02-25", "air_min_c": -2, "air_max_c": 6}
WET_DAY |= {"rain_m": 0.02, "snow_water_m": 0.05}
FLOOD = ("today_flow_m3s", "flooded_chance", "design_flow_m3s", "overtopping_chance")


@pytest.fixture(scope="module")
def columbus_part(tmp_path_factory):
    """120 pipes whose size is told, and a column of areas as an inventory has it."""
    path = _file("columbus_culverts/culverts.geojson")
    rows = pyogrio.read_dataframe(path)
    is_told = rows["DIMENSION1"].fillna("").str.fullmatch(r"\d+")
    part = rows[is_told].head(120).drop(columns="SHAPE_2_Le")
    folder = tmp_path_factory.mktemp("columbus")
    plain, with_area = folder / "plain.geojson", folder / "with_area.geojson"
    pyogrio.write_dataframe(part, plain)
    area_ac = np.where(np.arange(len(part)) % 2, 25.0, np.nan)
    pyogrio.write_dataframe(part.assign(DRAIN_AREA_AC=area_ac), with_area)
    return plain, with_area


def _assessed(path, **design):
    town = settings.Settings(
        files={"culverts": path.name},
        folder=path.parent,
        design=design,
        forecast=WET_DAY,
    )
    return pipeline.assess(town, date(2025, 2, 25)).crossings


@pytest.mark.slow
def test_columbus_has_no_flows_without_an_area_and_says_why(columbus_part):
    crossings = _assessed(columbus_part[0])
    assert crossings[[*FLOOD]].isna().all(axis=None)
    assert crossings["open_capacity_m3s"].notna().any()
    assert crossings["flow_note"].str.startswith("catchment unknown: no flow").all()
    assert (crossings["peak_note"] == "no peak: catchment or its path unknown").all()


@pytest.mark.slow
def test_columbus_has_flows_with_an_area_of_the_town(columbus_part):
    crossings = _assessed(columbus_part[0], catchment_m2="10 acre")
    has_size = crossings["rise_m"].notna()
    assert has_size.sum() > 60
    assert crossings.loc[has_size, [*FLOOD]].notna().all(axis=None)
    assert (crossings["today_flow_m3s"] > 0).all()
    acre_m2 = 43_560 * FOOT_M**2  # the survey acre is 4e-6 larger
    assert_allclose(crossings["catchment_m2"], 10 * acre_m2, rtol=1e-5)
    for name in ("flow_note", "peak_note"):
        assert crossings[name].str.contains("assumed for the whole town").all()
    assert crossings["unknowns"].str.contains("catchment assumed").all()


@pytest.mark.slow
def test_columbus_takes_recorded_areas_before_the_towns(columbus_part):
    crossings = _assessed(columbus_part[1], catchment_m2="10 acre")
    counts = crossings["catchment_source"].value_counts()
    assert counts["recorded"] > 40 and counts["assumed"] > 40
    recorded = crossings["catchment_source"] == "recorded"
    area_m2 = crossings.loc[recorded, "catchment_m2"]
    assert_allclose(area_m2, 25 * 43_560 * FOOT_M**2, rtol=1e-5)  # survey acre
    larger, smaller = (crossings.loc[rows, "design_flow_m3s"].median()
                       for rows in (recorded, ~recorded))  # fmt: skip
    assert larger > 1.5 * smaller
