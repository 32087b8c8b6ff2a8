"""A DEM too large for one piece: averaged as a whole, fine window by window."""

from dataclasses import replace
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from numpy.testing import assert_allclose
from shapely.geometry import LineString, Point

from culvertrisk.inputs.rasters import read_terrain
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.windows import refine_by_window
from tests.terrain_made import CRS, crossings

CELL_M, SIDE = 5.0, 480
WEST_M, NORTH_M = 500_000.0, 6_900_000.0
VALLEY = 60  # a valley every so many columns
ROAD_ROW = 240


@pytest.fixture(scope="module")
def dem(tmp_path_factory):
    """Eight valleys falling south off a ridge, a road bank over all, some noise."""
    rows, cols = np.mgrid[0:SIDE, 0:SIDE]
    away = np.abs(cols % VALLEY - VALLEY // 2)
    ground_m = 0.4 * away + 0.15 * (SIDE - np.maximum(rows, 120 - rows % 120))
    ground_m = ground_m - 0.3 * np.maximum(120 - rows, 0)
    is_bank = np.abs(rows - ROAD_ROW) <= 1
    ground_m = np.where(is_bank, ground_m.clip(0.15 * (SIDE - ROAD_ROW) + 3), ground_m)
    ground_m += np.random.default_rng(2).uniform(0, 0.02, ground_m.shape)
    path = tmp_path_factory.mktemp("large") / "dem.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=SIDE, height=SIDE, count=1, dtype="float32",
        crs=CRS, transform=Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M),
    ) as raster:  # fmt: skip
        raster.write(ground_m.astype(np.float32), 1)
    return path


@pytest.fixture(scope="module")
def road():
    y_m = NORTH_M - (ROAD_ROW + 1 / 2) * CELL_M
    line = LineString([(WEST_M - 50, y_m), (WEST_M + SIDE * CELL_M + 50, y_m)])
    return gpd.GeoDataFrame({"road_name": ["Long Rd"]}, geometry=[line], crs=CRS)


@pytest.fixture(scope="module")
def table():
    y_m = NORTH_M - (ROAD_ROW + 1 / 2) * CELL_M
    east_m = WEST_M + (np.arange(SIDE // VALLEY) * VALLEY + VALLEY // 2 + 0.5) * CELL_M
    point = crossings().loc[["point"]].assign(crossing_kind="cross")
    many = pd.concat([point] * len(east_m)).set_geometry(
        [Point(x, y_m) for x in east_m], crs=CRS
    )
    many.index = pd.Index([f"c{i}" for i in range(len(many))], name="culvert_id")
    return many


def _site(table, terrain, road):
    return add_site(table, terrain, site_flow(table, terrain, road))


@pytest.fixture(scope="module")
def whole(dem, table, road):
    return _site(table, read_terrain(dem, None, CRS, None), road)


@pytest.fixture(scope="module")
def averaged(dem):
    terrain = read_terrain(dem, None, CRS, None, max_cells=SIDE * SIDE // 9)
    assert terrain.averaged_times == 3
    return terrain


@pytest.fixture(scope="module")
def coarse(averaged, table, road):
    return _site(table, averaged, road)


def _read(dem, bounds):
    return read_terrain(dem, None, CRS, bounds, margin_m=0.0)


def _counting(dem, counts):
    def read(bounds):
        terrain = _read(dem, bounds)
        counts.append(terrain.elevation_m.size)
        return terrain

    return read


@pytest.mark.parametrize("times", [2.0, 1.0, 0.7])
def test_windows_give_the_catchments_of_the_whole_dem(
    dem, averaged, road, whole, coarse, times
):
    refined = refine_by_window(
        coarse, averaged, road, partial(_read, dem),
        window_cells=times * SIDE * SIDE, margin_m=150.0,
    )  # fmt: skip
    is_inner = (whole["is_catchment_cut"] == 0).to_numpy()
    assert is_inner.sum() >= 4
    for name in ("catchment_m2", "flow_path_m", "catchment_slope_m_per_m"):
        assert_allclose(refined[name][is_inner], whole[name][is_inner], rtol=0.01)
    pd.testing.assert_index_equal(refined.index, whole.index)
    assert [*refined.columns] == [*whole.columns]


def test_averaged_dem_is_near_the_whole_one(whole, coarse):
    ratio = coarse["catchment_m2"] / whole["catchment_m2"]
    assert ratio.between(0.75, 1.25).all()


def _spread(table, count, seed):
    """Crossings all over the DEM, of small catchments."""
    places = np.random.default_rng(seed).uniform(50, SIDE * CELL_M - 50, (count, 2))
    many = pd.concat([table.iloc[[0]]] * count).set_geometry(
        [Point(WEST_M + x, NORTH_M - y) for x, y in places], crs=CRS
    )
    many.index = pd.Index([f"s{i}" for i in range(count)], name="culvert_id")
    return many


@pytest.mark.parametrize("parts", [2, 4, 9, 16])
def test_fine_cells_are_read_once_and_the_margins_of_each_window_again(
    dem, averaged, table, parts
):
    """Windows of one size part the DEM, so only their margins are read twice."""
    margin_m = 50.0
    done = _site(_spread(table, 200, 3), averaged, None)
    done = done.assign(catchment_m2=done["catchment_m2"].clip(upper=100_000.0))
    done = done.assign(flow_path_m=done["flow_path_m"].clip(upper=50.0))
    counts: list[int] = []
    refine_by_window(
        done, averaged, None, _counting(dem, counts),
        window_cells=SIDE * SIDE / parts, margin_m=margin_m,
    )  # fmt: skip
    assert len(counts) >= parts - 1
    one_cell = 2  # windows end at whole cells
    reach = (margin_m + 50.0) / CELL_M + one_cell
    assert max(counts) <= SIDE * SIDE / parts + 4 * one_cell * SIDE
    margins = sum(4 * reach * np.sqrt(count) for count in counts)
    assert sum(counts) <= SIDE * SIDE + margins


def test_few_crossings_far_apart_read_little(dem, averaged, table):
    done = _site(_spread(table, 3, 8), averaged, None).assign(flow_path_m=20.0)
    counts: list[int] = []
    refine_by_window(done, averaged, None, _counting(dem, counts), margin_m=80.0)
    side = 2 * 100 / CELL_M + 2
    assert sum(counts) <= 3 * side**2


def test_large_catchment_asks_for_no_window_unless_cells_are_too_wide(
    dem, averaged, coarse
):
    large = coarse.iloc[[0, 3, 7]].assign(catchment_m2=20_000 * averaged.cell_m**2)
    counts: list[int] = []
    read = _counting(dem, counts)
    wide = refine_by_window(large, averaged, None, read, margin_m=60.0)
    assert sum(counts) <= len(large) * (2 * 60 / CELL_M + 2) ** 2
    assert counts
    pd.testing.assert_series_equal(wide["catchment_m2"], large["catchment_m2"])
    fine = replace(averaged, cell_m=4.0)
    same = large.assign(catchment_m2=20_000 * 16.0)
    pd.testing.assert_frame_equal(refine_by_window(same, fine, None, _fail), same)


def test_catchment_larger_than_its_window_stays_that_of_the_averaged_dem(
    dem, averaged, road, coarse
):
    short = coarse.assign(flow_path_m=0.0)
    refined = refine_by_window(
        short, averaged, road, partial(_read, dem), margin_m=100.0
    )
    pd.testing.assert_series_equal(refined["catchment_m2"], coarse["catchment_m2"])
    assert (refined["dem_elevation_m"] != coarse["dem_elevation_m"]).any()


def test_crossing_off_the_dem_asks_for_no_window(averaged, road, table):
    off = table.iloc[[0]].set_geometry([Point(WEST_M - 9e5, NORTH_M)], crs=CRS)
    done = _site(off, averaged, road)
    pd.testing.assert_frame_equal(refine_by_window(done, averaged, road, _fail), done)


def _fail(bounds):
    raise AssertionError(f"{bounds} was asked")


def test_reading_by_window_leaves_the_table_alone(dem, averaged, road, coarse):
    before = coarse.copy()
    refine_by_window(coarse, averaged, road, partial(_read, dem), window_cells=60_000)
    pd.testing.assert_frame_equal(coarse, before)
