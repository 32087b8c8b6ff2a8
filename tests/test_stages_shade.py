"""The shade stage on a made-up valley."""

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest

from culvertrisk.formulas.sun import SEASON_DAYS, season_day
from culvertrisk.stages.shade import add_shade, first_sun_day, sun_by_season
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.sky import Trees, end_skies
from culvertrisk.tables import columns
from tests.terrain_made import crossings, road, valley

INSIDE = ["point", "ends", "wrong"]
MARCH = date(2026, 3, 20)


@pytest.fixture(scope="module")
def table():
    inventory = crossings()
    return add_site(inventory, valley(), site_flow(inventory, valley(), road()))


@pytest.fixture(scope="module")
def sun(table):
    return sun_by_season(table, valley())


def test_shade_adds_exactly_its_columns_and_leaves_its_input_alone(table, sun):
    before = table.copy()
    done = add_shade(table, sun, MARCH)
    made = columns().query("made_by == 'shade'").index
    assert set(done.columns) - set(table.columns) == set(made)
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(done[table.columns], table)
    for name, low, high in columns().loc[made, ["low", "high"]].itertuples():
        if name != "first_sun_day":
            assert done[name].dropna().between(float(low), float(high)).all()


def test_sun_has_a_day_for_every_crossing(sun):
    names = [f.name for f in dataclasses.fields(sun) if "sky_view" not in f.name]
    for part in (getattr(sun, name) for name in names):
        assert part.shape == (4, SEASON_DAYS)
        assert part.dtype == np.float32
    assert np.isfinite(sun.open_j_m2).all()
    assert (sun.inlet_j_m2[:3] <= sun.open_j_m2[:3] * (1 + 1e-6)).all()


def test_end_north_of_the_bank_loses_more_sun(sun):
    # The road stands south of the upstream end: at 62 N it hides the December sun.
    solstice = season_day(date(2025, 12, 21))
    assert (sun.inlet_j_m2[:3, solstice] < 0.8 * sun.outlet_j_m2[:3, solstice]).all()


def test_shade_is_deeper_in_midwinter_than_in_may(table, sun):
    done = add_shade(table, sun, date(2026, 5, 20))
    assert (done["winter_shade_fraction"] > done["today_shade_fraction"])[:3].all()


def test_place_outside_the_dem_has_unknown_shade(table, sun):
    done = add_shade(table, sun, MARCH)
    made = columns().query("made_by == 'shade' and unit != 'text'").index
    assert done.loc["far", made].isna().all()
    assert done.loc["far", "first_sun_day"] == ""
    assert done.loc[INSIDE, made].notna().all(axis=None)
    assert (done.loc[INSIDE, "first_sun_day"] != "").all()


def test_without_a_dem_only_the_open_sun_is_known(table):
    sun = sun_by_season(table, None)
    assert np.isnan(sun.inlet_j_m2).all()
    assert np.isfinite(sun.open_j_m2).all()
    assert np.isnan(sun.outlet_direct_sun_h).all()
    assert np.isfinite(sun.open_direct_sun_h).all()
    done = add_shade(table, sun, MARCH)
    assert done["winter_shade_fraction"].isna().all()
    assert done["today_direct_sun_h"].isna().all()
    assert (done["first_sun_day"] == "").all()


def test_summer_day_has_unknown_shade_today(table, sun):
    done = add_shade(table, sun, date(2026, 7, 1))
    assert done["today_shade_fraction"].isna().all()
    assert done["today_direct_sun_h"].isna().all()
    assert done.loc[INSIDE, "winter_shade_fraction"].notna().all()


def test_trees_take_sun_and_sky(table, sun):
    terrain = valley()
    trees_m = np.full(terrain.elevation_m.shape, 10.0, np.float32)
    forest = sun_by_season(table, dataclasses.replace(terrain, canopy_height_m=trees_m))
    assert (forest.inlet_j_m2[:3] < 0.9 * sun.inlet_j_m2[:3]).all()
    assert (forest.inlet_sky_view_fraction < sun.inlet_sky_view_fraction)[:3].all()


def test_bare_ground_under_a_canopy_raster_changes_nothing(table, sun):
    terrain = valley()
    bare_m = np.zeros(terrain.elevation_m.shape, np.float32)
    bare = sun_by_season(table, dataclasses.replace(terrain, canopy_height_m=bare_m))
    np.testing.assert_allclose(bare.inlet_j_m2, sun.inlet_j_m2, rtol=1e-4)


def test_sun_comes_back_at_both_ends_together(table, sun):
    # Behind the bank the December sun is lost; the darker end tells the day.
    done = add_shade(table, sun, date(2025, 12, 21))
    darker_h = np.minimum(sun.inlet_direct_sun_h, sun.outlet_direct_sun_h)
    solstice = season_day(date(2025, 12, 21))
    np.testing.assert_allclose(done["today_direct_sun_h"], darker_h[:, solstice])
    for row, told in enumerate(done["first_sun_day"].iloc[:3]):
        month, day = map(int, told.split("-"))
        found = season_day(date(2026, month, day))
        assert darker_h[row, found] > 1 >= darker_h[row, found - 1]


def test_first_sun_day_knows_its_limits():
    hours = np.zeros((4, SEASON_DAYS), np.float32)
    hours[0, :] = 1.25
    hours[1, season_day(date(2026, 2, 28)) :] = 1.25
    hours[2, :] = 1.0
    hours[3, 5] = np.nan
    assert first_sun_day(hours).tolist() == [
        "all winter", "02-28", "after 05-31", "",
    ]  # fmt: skip


def test_open_sky_has_the_most_direct_sun(sun):
    assert (sun.inlet_direct_sun_h[:3] <= sun.open_direct_sun_h[:3]).all()
    assert (sun.outlet_direct_sun_h[:3] <= sun.open_direct_sun_h[:3]).all()


def _forest(table, trees, trees_m=10.0):
    terrain = valley()
    height_m = np.full(terrain.elevation_m.shape, trees_m, np.float32)
    wooded = dataclasses.replace(terrain, canopy_height_m=height_m)
    return sun_by_season(table, wooded, trees)


def test_bare_broadleaves_and_gaps_let_more_sun_through(table):
    conifers = _forest(table, Trees())
    broadleaves = _forest(table, Trees(deciduous_fraction=1.0))
    cover = np.full(valley().elevation_m.shape, 0.3)
    cover[0] = np.nan  # counts as closed
    open_wood = _forest(table, Trees(cover_fraction=cover))
    for thinner in (broadleaves, open_wood):
        assert (thinner.inlet_j_m2[:3] > conifers.inlet_j_m2[:3]).all()
        more = thinner.inlet_direct_sun_h - conifers.inlet_direct_sun_h
        assert (more[:3].sum(axis=1) > 10).all()


def test_wood_without_cover_is_no_wood(table, sun):
    bare = _forest(table, Trees(cover_fraction=0.0))
    np.testing.assert_allclose(bare.inlet_j_m2, sun.inlet_j_m2, rtol=1e-4)


def test_both_ends_see_the_bank(table):
    skies = end_skies(table, valley())
    inlet, outlet = (sky.horizon_tangent for sky in skies)
    assert skies[0].optical_depth.shape == (4, 72, 0)
    assert inlet.shape == outlet.shape == (4, 72)
    # The upstream end lies north of the road: it stands in the south there.
    assert inlet[1, 36] > inlet[1, 0]
    assert outlet[1, 0] > outlet[1, 36]
    assert np.isnan(inlet[3]).all()
