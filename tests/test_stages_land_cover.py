"""Land cover of catchments: means by area, unknown ground, and what follows."""

import numpy as np
import pandas as pd
import pytest
import rasterio
from numpy.testing import assert_allclose

from culvertrisk.inputs.land_cover import UNKNOWN, LandCover
from culvertrisk.settings import Settings
from culvertrisk.stages.design_flow import add_design_flow
from culvertrisk.stages.design_storm import DesignChoices
from culvertrisk.stages.land_cover import Land, add_land_cover, land_of
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.tables import columns, table
from tests.terrain_made import crossings, road, valley


@pytest.fixture(scope="module")
def made():
    terrain = valley()
    table_ = crossings()
    site = site_flow(table_, terrain, road())
    return add_site(table_, terrain, site), site, terrain


def _settings(**design):
    return Settings(files={"culverts": "culverts.csv"}, design=design)


def _cover(terrain, codes):
    """Cover of the whole grid by the codes of one legend, 0 unknown."""
    rows = table("land_cover_legends").query("legend == 'nlcd'").dropna(subset="cover")
    legend = rows.astype({"code": int}).reset_index(drop=True)
    classes = np.full(terrain.elevation_m.shape, UNKNOWN, np.uint8)
    for place, code in enumerate(legend["code"]):
        classes[codes == code] = place
    return LandCover(classes, legend, "nlcd")


def _west_and_east(terrain, west, east):
    codes = np.full(terrain.elevation_m.shape, west)
    codes[:, terrain.elevation_m.shape[1] // 2 + 1 :] = east
    return codes


def test_add_land_cover_adds_exactly_its_columns_and_leaves_its_input_alone(made):
    before, site, _ = made
    kept = before.copy()
    after = add_land_cover(before, site, Land(), _settings())
    declared = set(columns().query("made_by == 'land_cover'").index)
    assert set(after) - set(before) == declared
    pd.testing.assert_frame_equal(before, kept)
    pd.testing.assert_frame_equal(after[before.columns], kept)


def test_without_a_raster_the_towns_covers_stand(made):
    before, site, _ = made
    town = _settings(covers={"woods": 0.5, "paved": 0.5}, soil_group="C")
    after = add_land_cover(before, site, Land(), town)
    assert (after["curve_number"] == (70 + 98) / 2).all()  # tr55, table 2-2
    assert after["unknown_cover_fraction"].isna().all()
    plain = add_land_cover(before, site, Land(), _settings())
    assert plain["curve_number"].isna().all()
    assert (plain["runoff_fraction"] == 0.3).all()


def test_numbers_are_means_by_area(made):
    """Woods of group C 70, row crops 85 (tr55, table 2-2); the valley is even."""
    before, site, terrain = made
    cover = _cover(terrain, _west_and_east(terrain, 41, 82))
    row = add_land_cover(before, site, Land(cover), _settings()).loc["point"]
    mask_share = round((row["curve_number"] - 70) / (85 - 70), 6)
    assert 0.4 < mask_share < 0.6
    woods, crops = 0.05 + 2 / 3 * 0.2, 0.08 + 2 / 3 * 0.33  # C at two thirds
    assert_allclose(
        row["runoff_fraction"], woods + mask_share * (crops - woods), rtol=1e-6
    )
    assert row["cover_note"].startswith(("woods 5", "cultivated 5"))
    assert row["unknown_cover_fraction"] == 0


def test_developed_ground_is_composed_of_lawn_and_sealed_ground(made):
    """nlcd 23: 64.5 % sealed on lawn of group C: 74 + 0.645 * 24 = 89.48."""
    before, site, terrain = made
    cover = _cover(terrain, np.full(terrain.elevation_m.shape, 23))
    row = add_land_cover(before, site, Land(cover), _settings()).loc["ends"]
    assert_allclose(row["curve_number"], 74 + 0.645 * (98 - 74))


def test_unknown_ground_takes_the_towns_number_and_is_counted(made):
    before, site, terrain = made
    cover = _cover(terrain, _west_and_east(terrain, 41, 0))
    town = _settings(curve_number=90)
    after = add_land_cover(before, site, Land(cover), town)
    row = after.loc["point"]
    share = row["unknown_cover_fraction"]
    assert 0.4 < share < 0.6
    assert_allclose(row["curve_number"], 70 + share * 20)
    assert f"unknown {share:.0%}".replace("%", " %") in row["cover_note"]
    bare = add_land_cover(before, site, Land(cover), _settings()).loc["point"]
    assert_allclose(bare["curve_number"], 70)  # no number of the town to fill in
    far = after.loc["far"]
    assert far["curve_number"] == 90
    assert far["cover_note"] == "land cover not known: the town's own numbers stand"


def test_ponds_and_swamps_are_a_share_of_the_catchment_or_of_the_town(made):
    """nlcd 11 is open water, 90 and 95 wetland, 41 forest."""
    before, site, terrain = made
    town = _settings(pond_fraction=0.02)
    for wet in (11, 90, 95):
        cover = _cover(terrain, _west_and_east(terrain, wet, 41))
        after = add_land_cover(before, site, Land(cover), town)
        assert 0.4 < after.loc["point", "swamp_fraction"] < 0.6
        assert after.loc["far", "swamp_fraction"] == 0.02  # the raster does not tell
    assert (add_land_cover(before, site, Land(), town)["swamp_fraction"] == 0.02).all()


def test_dense_forest_is_a_share_of_the_catchment(made):
    before, site, terrain = made
    dense = _west_and_east(terrain, 1, 0).astype(np.uint8)
    after = add_land_cover(before, site, Land(None, dense), _settings())
    assert 0.4 < after.loc["point", "forest_fraction"] < 0.6
    assert np.isnan(after.loc["far", "forest_fraction"])


def test_trees_by_height_are_dense_where_they_cover_the_ground_round_about():
    terrain = valley()
    trees_m = np.zeros(terrain.elevation_m.shape, np.float32)
    trees_m[:60] = 12.0
    with_trees = type(terrain)(
        terrain.elevation_m, terrain.transform, terrain.crs, terrain.cell_m, trees_m
    )
    dense = land_of(with_trees, _settings()).dense
    assert (dense[:40] == 1).all()
    assert (dense[80:] == 0).all()
    assert land_of(terrain, _settings()).dense is None


def test_design_peaks_follow_the_catchments_own_cover(made):
    before, site, terrain = made
    peaks = []
    for code in (41, 24):
        cover = _cover(terrain, np.full(terrain.elevation_m.shape, code))
        after = add_land_cover(before, site, Land(cover), _settings())
        after = after.assign(road_class="C", concentration_s=600.0)
        found = add_design_flow(after, _settings(), DesignChoices())
        peaks.append(found.loc["point", "design_flow_m3s"])
    woods = 0.05 + 2 / 3 * 0.2
    lawn, paved = 0.05 + 2 / 3 * 0.3, 0.70 + 2 / 3 * 0.25
    city = lawn + 0.9 * (paved - lawn)
    assert_allclose(peaks[1] / peaks[0], city / woods)


def test_the_rasters_of_the_town_file_are_read(tmp_path):
    terrain = valley()
    rows, cols = terrain.elevation_m.shape
    with rasterio.open(
        tmp_path / "classes.tif", "w", driver="GTiff", width=cols, height=rows,
        count=1, dtype="uint8", crs=terrain.crs, transform=terrain.transform, nodata=0,
    ) as file:  # fmt: skip
        file.write(np.full((rows, cols), 10, np.uint8), 1)
    files = {"culverts": "culverts.csv", "land_cover": "classes.tif"}
    town = Settings(files=files, folder=tmp_path)
    cover = land_of(terrain, town).cover
    assert (cover.name, set(cover.legend.loc[np.unique(cover.classes), "cover"])) == (
        "worldcover",
        {"woods"},
    )
    assert land_of(None, town).cover is None
