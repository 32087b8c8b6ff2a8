"""Shares are read onto the terrain's grid, as fractions."""

import numpy as np
import pytest
import rasterio
from affine import Affine

from culvertrisk.checks import InputError
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.inputs.share_rasters import read_share

GRID = Affine(10, 0, 457_700, 0, -10, 5_284_000)


def _terrain():
    return Terrain(np.zeros((20, 30), np.float32), GRID, "EPSG:32616", 10.0)


def _raster(tmp_path, values):
    path = tmp_path / "cover.tif"
    rows, cols = values.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=1, dtype="float32",
        crs="EPSG:32616", transform=GRID, nodata=-9999,
    ) as file:  # fmt: skip
        file.write(values.astype(np.float32), 1)
    return path


def test_percent_is_read_as_a_share_and_nodata_stays_unknown(tmp_path):
    values = np.full((20, 30), 40.0)
    values[:, 20:] = -9999
    share = read_share(_raster(tmp_path, values), _terrain())
    np.testing.assert_allclose(share[:, :18], 0.4, rtol=1e-6)
    assert np.isnan(share[:, 22:]).all()


def test_fractions_stay_as_they_are(tmp_path):
    share = read_share(_raster(tmp_path, np.full((20, 30), 0.7)), _terrain())
    np.testing.assert_allclose(share, 0.7, rtol=1e-6)


def test_other_numbers_are_refused(tmp_path):
    with pytest.raises(InputError, match=r"cover\.tif: values must lie from 0 to 1"):
        read_share(_raster(tmp_path, np.full((20, 30), 250.0)), _terrain())
