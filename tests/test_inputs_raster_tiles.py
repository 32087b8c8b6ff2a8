"""A DEM of several tiles reads like one file."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.testing import assert_array_equal

from culvertrisk.checks import InputError
from culvertrisk.inputs.rasters import read_terrain

CRS = "EPSG:32633"
GRID = Affine(10, 0, 500_000, 0, -10, 6_900_000)
RAMP_M = np.add.outer(np.arange(30) * 1.25, np.arange(40) * 0.25).astype(np.float32)


def _write(path, values, left=0, top=0, crs=CRS, nodata=None, grid=GRID):
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0],
        count=1, dtype=values.dtype, crs=crs, nodata=nodata,
        transform=grid @ Affine.translation(left, top),
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return path


@pytest.fixture
def folder(tmp_path):
    tiles = tmp_path / "tiles"
    tiles.mkdir()
    for name, rows, cols in (
        ("a", slice(0, 15), slice(0, 25)),
        ("b", slice(0, 15), slice(25, 40)),
        ("c", slice(15, 30), slice(0, 25)),
        ("d", slice(15, 30), slice(25, 40)),
    ):
        _write(tiles / f"{name}.tif", RAMP_M[rows, cols], cols.start, rows.start)
    (tiles / "readme.txt").write_text("tiles")
    return tiles


def test_folder_of_tiles_reads_like_one_file(folder, tmp_path):
    one = read_terrain(_write(tmp_path / "one.tif", RAMP_M), None, CRS, None)
    many = read_terrain(folder, None, CRS, None)
    assert_array_equal(many.elevation_m, one.elevation_m)
    assert (many.transform, many.vertical_step_m) == (one.transform, 0.0)


def test_place_of_a_missing_tile_is_unknown(folder):
    (folder / "d.tif").unlink()
    terrain = read_terrain(folder, None, CRS, None)
    assert np.isnan(terrain.elevation_m[15:, 25:]).all()
    assert_array_equal(terrain.elevation_m[:15], RAMP_M[:15])


def test_no_data_of_one_tile_lets_another_show(folder):
    hole_m = RAMP_M[10:20, 10:20].copy()
    hole_m[3:, :] = -9999
    _write(folder / "z.tif", hole_m, 10, 10, nodata=-9999)
    terrain = read_terrain(folder, None, CRS, None)
    assert_array_equal(terrain.elevation_m, RAMP_M)


def test_whole_metre_tiles_keep_their_step(tmp_path):
    values = np.round(RAMP_M).astype(np.uint32)
    values[3, 5] = 4294967295
    for name, cols in (("a", slice(0, 25)), ("b", slice(25, 40))):
        _write(tmp_path / f"{name}.tif", values[:, cols], cols.start, nodata=4294967295)
    terrain = read_terrain(tmp_path, None, CRS, None)
    assert terrain.vertical_step_m == 1.0
    assert np.argwhere(np.isnan(terrain.elevation_m)).tolist() == [[3, 5]]


def test_tiles_in_degrees_are_put_in_their_place(tmp_path):
    grid = Affine(1e-4, 0, 15.0, 0, -1e-4, 62.0)
    for name, left in (("w", 0), ("e", 20)):
        part_m = RAMP_M[:, left : left + 20]
        _write(tmp_path / f"{name}.tif", part_m, left, crs="EPSG:4326", grid=grid)
    terrain = read_terrain(tmp_path, None, CRS, None)
    assert terrain.crs == CRS
    known_m = terrain.elevation_m[~np.isnan(terrain.elevation_m)]
    assert (known_m >= RAMP_M.min()).all()
    assert (known_m <= RAMP_M.max()).all()
    assert known_m.size > 500


def test_vrt_file_reads_like_its_tiles(folder):
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">tiles/{name}.tif'
        "</SourceFilename><SourceBand>1</SourceBand>"
        f'<SrcRect xOff="0" yOff="0" xSize="{wide}" ySize="15"/>'
        f'<DstRect xOff="{left}" yOff="{top}" xSize="{wide}" ySize="15"/>'
        "</SimpleSource>"
        for name, left, top, wide in (
            ("a", 0, 0, 25), ("b", 25, 0, 15), ("c", 0, 15, 25), ("d", 25, 15, 15),
        )
    )  # fmt: skip
    path = folder.parent / "all.vrt"
    path.write_text(
        f'<VRTDataset rasterXSize="40" rasterYSize="30"><SRS>{CRS}</SRS>'
        "<GeoTransform>500000,10,0,6900000,0,-10</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1">{sources}</VRTRasterBand>'
        "</VRTDataset>"
    )
    assert_array_equal(read_terrain(path, None, CRS, None).elevation_m, RAMP_M)


def test_tiles_that_do_not_fit_are_refused(folder):
    _write(folder / "e.tif", RAMP_M[:5, :5], crs="EPSG:32632")
    with pytest.raises(InputError) as error:
        read_terrain(folder, None, CRS, None)
    assert error.value.problems == (
        "tiles: file must hold tiles of one CRS and one size of cell, north up, "
        "got 1 of 5 unlike a.tif: e.tif. "
        "Reproject them alike, or merge them into one file.",
    )


def test_folder_without_rasters_is_refused(tmp_path):
    (tmp_path / "dem").mkdir()
    with pytest.raises(InputError) as error:
        read_terrain(tmp_path / "dem", None, CRS, None)
    assert error.value.problems == (
        "dem: file must hold rasters, got none. "
        "Put the tiles into it, or name one file.",
    )
