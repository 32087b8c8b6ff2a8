"""A DEM and an inventory that do not speak of one place, or not in one unit."""

import dataclasses
import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point

from culvertrisk.checks import InputError
from culvertrisk.inputs.rasters import read_terrain
from culvertrisk.inputs.town import read_town
from culvertrisk.settings import read_settings
from culvertrisk.stages.dem_fit import dem_fit
from culvertrisk.stages.site import add_site, site_flow
from tests.terrain_made import CRS, MIDDLE_X_M, NORTH_M, WEST_M, valley

FOOT_M = 0.3048
TOWN = Path(__file__).parent.parent / "data_demo" / "town" / "town.toml"
FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")


def _ground(times=1.0, plus_m=300.0):
    terrain = valley()
    elevation_m = ((terrain.elevation_m + plus_m) * times).astype(np.float32)
    return dataclasses.replace(terrain, elevation_m=elevation_m)


def _crossings(times=1.0, count=5):
    """On the valley's bed, with recorded beds 1.5 m below the ground."""
    y_m = NORTH_M - 3.0 * (np.arange(count) + 20.5)
    bed_m = 0.09 * (100 - np.arange(count)) + 300 - 1.5
    return gpd.GeoDataFrame(
        {"inlet_invert_m": bed_m * times, "outlet_invert_m": np.nan},
        index=pd.Index([f"A{i}" for i in range(count)], name="culvert_id"),
        geometry=[Point(MIDDLE_X_M, y) for y in y_m],
        crs=CRS,
    )


def test_a_dem_that_fits_is_passed_in_silence():
    assert dem_fit(_crossings(), _ground()) == []
    assert dem_fit(_crossings(), None) == []
    assert dem_fit(_crossings().iloc[:0], _ground()) == []


def test_a_dem_in_feet_is_refused():
    with pytest.raises(InputError) as refused:
        dem_fit(_crossings(), _ground(1 / FOOT_M), name="dem.tif")
    assert str(refused.value) == (
        "dem.tif: file must give heights in metres, got ground 3.30 times the recorded "
        "beds at 5 culverts, such as A2 (ground 1013.2, bed 307.3 m). Convert it to "
        "metres, for instance with a raster calculator: x 0.3048."
    )


def test_beds_in_feet_on_a_dem_in_metres_are_refused():
    with pytest.raises(InputError) as refused:
        dem_fit(_crossings(1 / FOOT_M), _ground(), name="dem.tif")
    assert str(refused.value) == (
        "dem.tif: file must agree with the beds of the inventory, got ground 0.31 "
        "times the recorded beds at 5 culverts, such as A2 (ground 308.8, bed 1008.3 "
        "m). The beds seem to be in feet: set inlet_invert_m and outlet_invert_m = "
        '"foot" under [culverts.units].'
    )


@pytest.mark.parametrize(
    ("crossings", "ground", "why"),
    [
        (_crossings(), _ground(1 / FOOT_M), "the raster's heights seem to be in feet"),
        (_crossings(1 / FOOT_M), _ground(), "the beds seem to be in feet"),
    ],
)
def test_two_beds_only_make_a_note(crossings, ground, why):
    (note,) = dem_fit(crossings.iloc[:2], ground)
    assert note.startswith("elevation raster and the recorded beds differ by ")
    assert note.endswith(f"\u202fm in the middle of 2 culverts: {why}")


def test_another_datum_is_noted_and_not_refused():
    assert dem_fit(_crossings(), _ground(plus_m=262.5)) == [
        "elevation raster and the recorded beds differ by 36\u202fm in the middle of 5 "
        "culverts: they may stand on different height datums, or one be of another "
        "place"
    ]


def test_one_wrong_bed_of_five_says_nothing():
    crossings = _crossings()
    crossings.loc["A1", "inlet_invert_m"] = 3.0
    assert dem_fit(crossings, _ground()) == []


def test_a_dem_of_another_place_is_refused():
    away = _crossings().set_geometry([Point(WEST_M + 9e5, NORTH_M)] * 5, crs=CRS)
    with pytest.raises(InputError) as refused:
        dem_fit(away, _ground(), name="dem.tif")
    assert str(refused.value) == (
        "dem.tif: file must cover the culverts, got none of them inside it. Check the "
        "CRS of both files, or give the DEM of this place."
    )


def test_crossings_outside_are_named():
    crossings = _crossings(count=8)
    points = [Point(WEST_M - 500, NORTH_M)] * 7 + [crossings.geometry.iloc[7]]
    assert dem_fit(crossings.set_geometry(points, crs=CRS), _ground()) == [
        "elevation raster does not cover 7 of 8 crossings: A0, A1, A2, A3, A4, ..."
    ]


def test_feet_and_crossings_outside_are_told_in_one_message():
    crossings = _crossings(count=6)
    points = [Point(WEST_M - 500, NORTH_M), *crossings.geometry.iloc[1:]]
    with pytest.raises(InputError) as refused:
        dem_fit(crossings.set_geometry(points, crs=CRS), _ground(1 / FOOT_M))
    in_feet, outside = refused.value.problems
    assert "must give heights in metres" in in_feet
    assert outside == "elevation raster does not cover 1 of 6 crossings: A0"


def test_steep_roads_hint_at_feet_where_no_bed_is_known():
    crossings = _crossings().assign(inlet_invert_m=np.nan)
    down = LineString([(MIDDLE_X_M, NORTH_M - 5), (MIDDLE_X_M, NORTH_M - 355)])
    roads = gpd.GeoDataFrame(geometry=[down], crs=CRS)
    assert dem_fit(crossings, _ground(), roads) == []
    assert dem_fit(crossings, _ground(4.0), roads) == [
        "elevation raster: roads climb by 12% in the middle: its heights may be in "
        "feet, not metres"
    ]
    steep = crossings.assign(flow_path_slope_m_per_m=0.9, barrel_slope_m_per_m=0.2)
    assert dem_fit(steep, _ground()) == [
        "elevation raster: flow paths fall by 90%, barrels fall by 20% in the middle: "
        "its heights may be in feet, not metres"
    ]


@pytest.fixture(scope="module")
def demo():
    return read_town(read_settings(TOWN))


def _in_feet(terrain):
    return dataclasses.replace(terrain, elevation_m=terrain.elevation_m / FOOT_M)


@pytest.mark.slow
def test_the_demo_fits_and_is_refused_in_feet(demo):
    site = site_flow(demo.crossings, demo.terrain, demo.roads)
    crossings = add_site(demo.crossings, demo.terrain, site)
    assert dem_fit(crossings, demo.terrain, demo.roads) == []
    no_beds = crossings.assign(inlet_invert_m=np.nan, outlet_invert_m=np.nan)
    assert dem_fit(no_beds, demo.terrain, demo.roads) == []
    with pytest.raises(InputError, match="give heights in metres"):
        dem_fit(crossings, _in_feet(demo.terrain), demo.roads)


@pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)
def test_a_real_hilly_place_makes_no_false_alarm():
    """Roads and crossings of the Bulkley valley, as their READMEs give them."""
    folder = Path(FOLDER)
    terrain = read_terrain(folder / "bc_bulkley_terrain/dem.tif", None, CRS_BC, None)
    roads = gpd.read_file(folder / "bc_bulkley_roads/roads.geojson").to_crs(CRS_BC)
    rows = pd.read_csv(folder / "bc_bulkley_crossings/crossings.csv")
    west, south, east, north = _bounds(terrain)
    points = gpd.GeoSeries.from_xy(rows["easting"], rows["northing"], crs="EPSG:26909")
    points = points.to_crs(CRS_BC)
    crossings = gpd.GeoDataFrame(
        {"inlet_invert_m": np.nan, "outlet_invert_m": np.nan},
        index=points.index.astype(str),
        geometry=points.to_numpy(),
        crs=CRS_BC,
    ).cx[west:east, south:north]
    assert len(crossings) > 0
    assert dem_fit(crossings, terrain, roads) == []


CRS_BC = "EPSG:3005"


def _bounds(terrain):
    grid, (rows, cols) = terrain.transform, terrain.elevation_m.shape
    inner = grid.a  # the last half cell has no sample
    return (
        grid.c + inner,
        grid.f - rows * inner + inner,
        grid.c + cols * inner - inner,
        grid.f - inner,
    )
