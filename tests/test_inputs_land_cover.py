"""Land cover rasters are read onto the terrain's grid by the codes of their legend."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.testing import assert_array_equal
from rasterio.warp import transform_bounds

from culvertrisk.checks import InputError
from culvertrisk.inputs.file_kinds import guess_kind
from culvertrisk.inputs.land_cover import UNKNOWN, read_land_cover
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.tables import table

GRID = Affine(10, 0, 457_700, 0, -10, 5_284_000)


def _terrain():
    return Terrain(np.zeros((20, 30), np.float32), GRID, "EPSG:32616", 10.0)


def _raster(tmp_path, values, transform=GRID, crs="EPSG:32616", nodata=None):
    path = tmp_path / "classes.tif"
    rows, cols = values.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=1, dtype="uint8",
        crs=crs, transform=transform, nodata=nodata,
    ) as file:  # fmt: skip
        file.write(values.astype(np.uint8), 1)
    return path


def _covers(cover):
    names = [*cover.legend["cover"], *[""] * (UNKNOWN + 1 - len(cover.legend))]
    return np.array(names, dtype=object)[cover.classes]


def test_codes_tell_the_legend_and_become_covers(tmp_path):
    values = np.full((20, 30), 41)
    values[:, 10:20], values[:, 20:] = 82, 0
    cover = read_land_cover(_raster(tmp_path, values), _terrain())
    assert cover.name == "nlcd"
    assert_array_equal(_covers(cover)[:, :10], "woods")
    assert_array_equal(_covers(cover)[:, 10:20], "cultivated")
    assert (cover.classes[:, 20:] == UNKNOWN).all()


def test_another_legend_is_known_by_its_codes(tmp_path):
    values = np.full((20, 30), 10)
    values[:, 15:] = 50
    cover = read_land_cover(_raster(tmp_path, values), _terrain())
    assert cover.name == "worldcover"
    assert set(_covers(cover).ravel()) == {"woods", "paved"}


def test_a_raster_in_degrees_keeps_its_codes_and_what_it_does_not_reach_is_unknown(
    tmp_path,
):
    """Nearest cells: reprojected codes are still codes, never means of them."""
    bounds = transform_bounds("EPSG:32616", "EPSG:4326", 457_600, 5_283_700,
                              457_850, 5_284_100)  # fmt: skip
    values = np.full((60, 40), 11)
    values[::2] = 95
    west, south, east, north = bounds
    grid = Affine((east - west) / 40, 0, west, 0, -(north - south) / 60, north)
    path = _raster(tmp_path, values, grid, "EPSG:4326")
    cover = read_land_cover(path, _terrain())
    assert set(_covers(cover)[:, :12].ravel()) == {"water", "wetland"}
    assert (cover.classes[:, 18:] == UNKNOWN).all()


def test_codes_of_no_legend_are_refused_in_one_message(tmp_path):
    values = np.full((20, 30), 41)
    values[0, :7] = [7, 8, 9, 13, 14, 15, 16]
    with pytest.raises(InputError) as error:
        read_land_cover(_raster(tmp_path, values), _terrain())
    (problem,) = error.value.problems
    assert problem.startswith("classes.tif: values must be class codes of nlcd, the ")
    assert "got '7, 8, 9, 13, 14 and 2 more'" in problem
    assert problem.endswith(
        "Translate the codes into one of the legends nlcd, worldcover, or tell which "
        "with design.land_cover_legend; without the raster design.covers stands."
    )


def test_a_legend_told_stands(tmp_path):
    path = _raster(tmp_path, np.full((20, 30), 90))
    assert read_land_cover(path, _terrain(), "worldcover").name == "worldcover"
    with pytest.raises(InputError, match="codes of worldcover, the legend told"):
        read_land_cover(
            _raster(tmp_path, np.full((20, 30), 41)), _terrain(), "worldcover"
        )


def test_every_class_of_a_legend_has_a_cover_with_numbers():
    rows = table("land_cover_legends")
    known = set(table("land_covers")["cover"])
    assert set(rows["cover"].dropna()) <= known
    assert not rows.duplicated(["legend", "code"]).any()
    sealed = rows["impervious_fraction"].dropna()
    assert sealed.between(0, 1).all()


def test_a_raster_of_class_codes_is_told_from_elevations_and_trees(tmp_path):
    values = np.random.default_rng(1).choice([11, 41, 42, 82], (20, 30))
    assert guess_kind(_raster(tmp_path, values)) == "land_cover"
    metres = np.random.default_rng(1).integers(0, 30, (20, 30))
    path = _raster(tmp_path, metres).rename(tmp_path / "trees.tif")
    assert guess_kind(path) == "canopy"


def test_a_raster_that_lies_elsewhere_is_refused(tmp_path):
    grid = Affine(10, 0, 600_000, 0, -10, 5_284_000)
    path = _raster(tmp_path, np.full((20, 30), 41), grid)
    with pytest.raises(InputError) as error:
        read_land_cover(path, _terrain())
    assert error.value.problems == (
        "classes.tif: file must lie over the elevation raster, got no code there. "
        "Correct its CRS or its extent.",
    )
