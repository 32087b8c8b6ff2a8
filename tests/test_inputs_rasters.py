"""Rasters of any kind become one clean grid, or one clear refusal."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from rasterio.warp import transform

from culvertrisk.checks import InputError
from culvertrisk.inputs.rasters import Terrain, cells, read_terrain
from culvertrisk.terrain.sampling import sample

CRS = "EPSG:32633"
GRID = Affine(10, 0, 500_000, 0, -10, 6_900_000)
RAMP_M = np.add.outer(np.arange(30) * 1.25, np.arange(40) * 0.25).astype(np.float32)


def _write(path, values, crs=CRS, grid=GRID, nodata=None):
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0],
        count=1, dtype=values.dtype, crs=crs, transform=grid, nodata=nodata,
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return path


def test_dem_in_the_work_crs_stays_as_stored(tmp_path):
    terrain = read_terrain(_write(tmp_path / "dem.tif", RAMP_M), None, CRS, None)
    assert_array_equal(terrain.elevation_m, RAMP_M)
    assert terrain.elevation_m.dtype == np.float32
    assert terrain.transform == GRID
    assert (terrain.crs, terrain.cell_m, terrain.canopy_height_m) == (CRS, 10.0, None)


@pytest.mark.parametrize(
    ("dtype", "nodata"),
    [
        ("uint32", 4294967295),
        ("int16", -32768),
        ("float32", -3.4e38),
        ("float32", None),
    ],
)
def test_no_data_becomes_unknown(tmp_path, dtype, nodata):
    values = np.round(RAMP_M).astype(dtype)
    values[3, 5] = np.nan if nodata is None else nodata
    for declared in {nodata, None}:
        path = _write(tmp_path / "dem.tif", values, nodata=declared)
        terrain = read_terrain(path, None, CRS, None)
        assert np.isnan(terrain.elevation_m[3, 5])
        assert np.count_nonzero(np.isnan(terrain.elevation_m)) == 1


@pytest.mark.parametrize(("step_m", "found_m"), [(1.0, 1.0), (0.5, 0.5), (0.1, 0.0)])
def test_vertical_step_is_seen(tmp_path, step_m, found_m):
    values = (np.round(RAMP_M / step_m) * step_m).astype(np.float32)
    terrain = read_terrain(_write(tmp_path / "dem.tif", values), None, CRS, None)
    assert terrain.vertical_step_m == pytest.approx(found_m)


@pytest.mark.parametrize("crs", ["EPSG:32632", "EPSG:3857", "EPSG:4326"])
def test_dem_in_another_crs_is_put_in_its_place(tmp_path, crs):
    # A plane over a square place, written in another CRS, read back in the work CRS.
    x, y = transform(CRS, crs, [505_000.0], [6_895_000.0])
    size = 40 if crs != "EPSG:4326" else 0.0004
    grid = Affine(size, 0, x[0] - 50 * size, 0, -size, y[0] + 50 * size)
    east = grid.c + (np.arange(100) + 0.5) * size
    north = grid.f - (np.arange(100) + 0.5) * size
    mesh = np.meshgrid(east, north)
    back = transform(crs, CRS, mesh[0].ravel().tolist(), mesh[1].ravel().tolist())
    plane = (np.array(back[0]) - 500_000) * 0.02 + (
        np.array(back[1]) - 6_890_000
    ) * 0.01
    values = plane.reshape(100, 100).astype(np.float32)
    path = _write(tmp_path / "dem.tif", values, crs, grid)
    terrain = read_terrain(path, None, CRS, None)
    rows, cols = cells(terrain, [505_000.0, 505_300.0], [6_895_000.0, 6_895_200.0])
    found_m = sample(terrain.elevation_m, rows, cols)
    assert_allclose(found_m, [100 + 50, 106 + 52], atol=0.05)
    assert terrain.crs == CRS
    assert terrain.transform.a == -terrain.transform.e == terrain.cell_m


def test_oblong_cells_become_square(tmp_path):
    grid = Affine(10, 0, 500_000, 0, -20, 6_900_000)
    terrain = read_terrain(
        _write(tmp_path / "d.tif", RAMP_M, grid=grid), None, CRS, None
    )
    assert terrain.cell_m == pytest.approx(200**0.5, rel=1e-6)


def test_only_the_crossings_surroundings_are_read(tmp_path):
    grid = Affine(1000, 0, 500_000, 0, -1000, 6_900_000)
    path = _write(tmp_path / "dem.tif", RAMP_M, grid=grid)
    place = (510_500.0, 6_885_500.0, 511_500.0, 6_886_500.0)
    terrain = read_terrain(path, None, CRS, place)
    assert terrain.transform.c == 502_000.0
    assert terrain.transform.f == 6_895_000.0
    assert terrain.elevation_m.shape == (18, 18)
    assert_array_equal(terrain.elevation_m, RAMP_M[5:23, 2:20])


def test_canopy_comes_onto_the_grid_of_the_dem(tmp_path):
    trees = np.full((15, 20), 12.0, np.float32)
    trees[0] = -9999
    trees[1] = 255
    canopy = _write(
        tmp_path / "trees.tif", trees, grid=Affine(20, 0, 500_000, 0, -20, 6_900_000)
    )
    dem = _write(tmp_path / "dem.tif", RAMP_M)
    terrain = read_terrain(dem, canopy, CRS, None)
    assert terrain.canopy_height_m.shape == RAMP_M.shape
    assert_allclose(terrain.canopy_height_m[8:28, 2:38], 12.0)
    assert_array_equal(terrain.canopy_height_m[:2], 0)


def test_all_problems_of_both_files_are_told(tmp_path):
    (tmp_path / "trees.tif").write_text("not a raster")
    with pytest.raises(InputError) as error:
        read_terrain(tmp_path / "dem.tif", tmp_path / "trees.tif", CRS, None)
    assert error.value.problems == (
        "dem.tif: file must exist, got no such file. Correct its path.",
        "trees.tif: file must be a raster, got another kind. "
        "Export it again, for instance as GeoTIFF.",
    )


def test_dem_without_a_crs_is_refused(tmp_path):
    path = _write(tmp_path / "dem.tif", RAMP_M, crs=None)
    with pytest.raises(InputError) as error:
        read_terrain(path, None, CRS, None)
    assert error.value.problems == (
        "dem.tif: file must declare its CRS, got none. "
        "Export it with its CRS, or assign the CRS in a GIS.",
    )


@pytest.mark.parametrize(
    ("crs", "place"),
    [
        (CRS, (600_000, 6_600_000, 601_000, 6_601_000)),
        (CRS, (505_000, 6_899_900, 506_000, 6_899_950)),  # within the margin only
        ("EPSG:4326", (600_000, 6_600_000, 601_000, 6_601_000)),
    ],
)
def test_dem_of_another_place_is_refused(tmp_path, crs, place):
    grid = GRID if crs == CRS else Affine(0.001, 0, -80, 0, -0.001, 40)
    path = _write(tmp_path / "dem.tif", RAMP_M, crs=crs, grid=grid)
    with pytest.raises(InputError) as error:
        read_terrain(path, None, CRS, place)
    assert error.value.problems == (
        "dem.tif: file must cover the culverts, got none of them inside it. "
        "Check the CRS of both files, or give the DEM of this place.",
    )


@given(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_cells_go_there_and_back(east_m, north_m):
    terrain = Terrain(RAMP_M, GRID, CRS, 10.0)
    rows, cols = cells(terrain, GRID.c + east_m, GRID.f + north_m)
    assert_allclose((cols + 0.5) * 10, east_m, atol=1e-6)
    assert_allclose((rows + 0.5) * -10, north_m, atol=1e-6)


def test_single_crossing_inside_is_enough(tmp_path):
    path = _write(tmp_path / "dem.tif", RAMP_M)
    terrain = read_terrain(path, None, CRS, (500_200, 6_899_900) * 2)
    assert_array_equal(terrain.elevation_m, RAMP_M)


def test_very_large_dem_is_averaged(tmp_path):
    path = _write(tmp_path / "dem.tif", RAMP_M)
    terrain = read_terrain(path, None, CRS, None, max_cells=400)
    assert terrain.elevation_m.shape == (15, 20)
    assert_allclose(terrain.elevation_m, RAMP_M.reshape(15, 2, 20, 2).mean(axis=(1, 3)))
    assert (terrain.cell_m, terrain.averaged_times) == (20.0, 2)
