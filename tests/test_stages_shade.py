"""The shade stage on a made-up valley."""

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest

from culvertrisk.formulas.sun import SEASON_DAYS, season_day
from culvertrisk.stages.shade import add_shade, sun_by_season
from culvertrisk.stages.site import add_site, site_flow
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
    for name in made:
        assert done[name].dropna().between(0, 1).all()


def test_sun_has_a_day_for_every_crossing(sun):
    for part in (sun.inlet_j_m2, sun.outlet_j_m2, sun.open_j_m2):
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
    made = columns().query("made_by == 'shade'").index
    assert done.loc["far", made].isna().all()
    assert done.loc[INSIDE, made].notna().all(axis=None)


def test_without_a_dem_only_the_open_sun_is_known(table):
    sun = sun_by_season(table, None)
    assert np.isnan(sun.inlet_j_m2).all()
    assert np.isfinite(sun.open_j_m2).all()
    assert add_shade(table, sun, MARCH)["winter_shade_fraction"].isna().all()


def test_summer_day_has_unknown_shade_today(table, sun):
    done = add_shade(table, sun, date(2026, 7, 1))
    assert done["today_shade_fraction"].isna().all()
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
