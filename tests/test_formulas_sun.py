"""The sun against NREL's printed case, exact geometry and independent formulas."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.formulas.clear_sky import SLOTS, clear_sky, sun_table
from culvertrisk.formulas.insolation import (
    daily_insolation,
    sky_view_fraction,
    sky_view_under_canopy,
    transmitted_fraction,
)
from culvertrisk.formulas.sun import (
    SEASON_DAYS,
    declination,
    refraction,
    season_day,
    sun_azimuth,
    sun_elevation,
)
from tests.published import published

NO_TREES = (np.zeros((1, 72, 0), np.float32), np.zeros(0))


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("sun_elevation"))
def test_sun_elevation_meets_its_sources(inputs, expected, atol):
    assert_allclose(sun_elevation(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("sun_azimuth"))
def test_sun_azimuth_meets_its_sources(inputs, expected, atol):
    assert_allclose(sun_azimuth(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("refraction"))
def test_refraction_meets_its_sources(inputs, expected, atol):
    assert_allclose(refraction(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("sky_view_fraction"))
def test_sky_view_fraction_meets_its_sources(inputs, expected, atol):
    assert_allclose(sky_view_fraction(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("transmitted_fraction")
)
def test_transmitted_fraction_meets_its_sources(inputs, expected, atol):
    assert_allclose(transmitted_fraction(**inputs), expected, rtol=0, atol=atol)


def test_sun_formulas_keep_missing_values_missing():
    missing = [np.nan, np.nan]
    assert np.isnan(declination(missing)).all()
    assert np.isnan(sun_elevation(missing, 0.0, 0.0)).all()
    assert np.isnan(sun_azimuth(60.0, missing, 0.0)).all()
    assert np.isnan(refraction(missing, 101_000.0, 0.0)).all()
    assert np.isnan(sky_view_fraction([missing])).all()
    assert np.isnan(transmitted_fraction(missing)).all()


@given(st.floats(-60, 60), st.floats(-23, 23), st.floats(-180, 180))
def test_morning_mirrors_the_afternoon(latitude, declination_deg, hour_angle_deg):
    here = (latitude, declination_deg)
    morning, evening = (sun_elevation(*here, s * hour_angle_deg) for s in (-1, 1))
    assert_allclose(morning, evening, atol=1e-9)
    assert morning <= sun_elevation(*here, 0.0) + 1e-9


def test_shade_deepens_with_horizon_and_trees():
    assert (np.diff(sky_view_fraction(np.linspace(0, 3, 20)[:, None])) < 0).all()
    assert (np.diff(transmitted_fraction(np.linspace(0, 9, 20))) < 0).all()


def test_sun_stands_where_nrel_printed_it():
    # reda2008, table A5.1: 2003-10-17 12:30:30 UTC-7, 39.742476 N, 105.1786 W,
    # 820 hPa, 11 °C: zenith 50.11162, azimuth 194.34024. We leave out the parallax:
    # at most 8.8 seconds of arc, 0.0024 degree.
    seconds = np.array([pd.Timestamp("2003-10-17T12:30:30-07:00").timestamp()])
    sidereal, ascension, _ = pvlib.spa.solar_position_numpy(
        seconds, 0.0, 0.0, 0.0, 0.0, 0.0, 67.0, 0.5667, 1, sst=True
    )
    place = (39.742476, declination(seconds), sidereal - 105.1786 - ascension)
    level_deg = sun_elevation(*place)
    level_deg = level_deg + refraction(level_deg, 82_000.0, 11.0)
    assert_allclose(90 - level_deg, 50.11162, rtol=0, atol=0.0025)
    assert_allclose(sun_azimuth(*place), 194.34024, rtol=0, atol=0.0025)


@pytest.mark.parametrize(
    "day", ["2025-10-20", "2025-12-21", "2026-03-20", "2026-05-25"]
)
def test_table_equals_the_full_algorithm_slot_by_slot(day):
    latitude, longitude = 62.45, -114.4
    table = sun_table(latitude, longitude)
    start = pd.Timestamp(day, tz="UTC") - pd.Timedelta(days=longitude / 360)
    clock = start + pd.to_timedelta((np.arange(SLOTS) + 0.5) / SLOTS, unit="D")
    # The sun's clock: put its noon at the transit of that day.
    middle = pvlib.solarposition.get_solarposition(
        clock, latitude, longitude, temperature=0.0, delta_t=69.2
    )
    clock = clock - pd.to_timedelta(middle["equation_of_time"].to_numpy(), unit="min")
    full = pvlib.solarposition.get_solarposition(
        clock, latitude, longitude, temperature=0.0, delta_t=69.2
    )
    row = season_day(date.fromisoformat(day))
    is_up = full["apparent_elevation"].to_numpy() > 0
    found_deg = table.elevation_deg[row]
    wanted_deg = full["apparent_elevation"].to_numpy()
    assert_allclose(found_deg[is_up], wanted_deg[is_up], rtol=0, atol=0.01)
    found_deg = table.azimuth_deg[row]
    assert_allclose(found_deg[is_up], full["azimuth"].to_numpy()[is_up], atol=0.02)


@pytest.mark.parametrize(
    ("zenith_deg", "haurwitz_w_m2"), [(0, 1035.1), (60, 487.9), (80, 135.7)]
)
def test_clear_sky_is_near_haurwitz(zenith_deg, haurwitz_w_m2):
    # haurwitz1945: 1098 cos z exp(-0.059 / cos z), one mean sky for all places.
    beam, diffuse = clear_sky(90.0 - zenith_deg, 0.0, 2.5)
    assert beam + diffuse == pytest.approx(haurwitz_w_m2, rel=0.15)


def test_clear_sky_keeps_missing_values_missing():
    assert np.isnan(clear_sky([np.nan], 0.0, 2.5)).all()


def test_season_has_a_day_for_every_date():
    days = [date(2023, 10, 1) + timedelta(days=k) for k in range(244)]
    assert sorted({season_day(day) for day in days}) == [*range(SEASON_DAYS)]
    assert season_day(date(2024, 2, 29)) == season_day(date(2024, 2, 28))
    assert season_day(date(2024, 5, 31)) == SEASON_DAYS - 1


def test_summer_day_is_outside_the_season():
    with pytest.raises(
        ValueError, match=r"^2026-07-01 is not from 1 October to 31 May$"
    ):
        season_day(date(2026, 7, 1))


def test_open_plain_gets_the_whole_sky():
    table = sun_table(55.0, 25.0)
    total = daily_insolation(
        table, np.zeros((1, 72), np.float32), np.ones(1), *NO_TREES
    )
    wanted = (table.beam_w_m2 + table.diffuse_w_m2).sum(axis=1) * 900.0
    assert_allclose(total[0], wanted, rtol=1e-6)


def test_wall_above_the_noon_sun_leaves_only_the_sky():
    table = sun_table(62.0, 25.0)
    wall = np.full((1, 72), np.tan(np.radians(10.0)), np.float32)
    total = daily_insolation(table, wall, np.array([0.97]), *NO_TREES)
    solstice = season_day(date(2025, 12, 21))  # noon at 62 N: 4.6 degrees
    wanted = 0.97 * table.diffuse_w_m2[solstice].sum() * 900.0
    assert total[0, solstice] == pytest.approx(wanted, rel=1e-6)
    assert total[0, 220] > 0.9 * (table.beam_w_m2[220].sum() * 900.0)


def test_hill_in_the_north_takes_no_winter_sun():
    table = sun_table(60.0, 25.0)
    azimuths_deg = np.arange(72) * 5.0
    hill = np.where(np.cos(np.radians(azimuths_deg)) > 0.5, 2.0, 0.0)[None]
    view = np.ones(1)
    open_sun = daily_insolation(table, 0 * hill.astype(np.float32), view, *NO_TREES)
    behind = daily_insolation(table, hill.astype(np.float32), view, *NO_TREES)
    assert_allclose(behind[0, 31:150], open_sun[0, 31:150])


def test_even_forest_dims_beam_by_its_transmission():
    table = sun_table(55.0, 25.0)
    plain = np.zeros((1, 72), np.float32)
    depth = np.full((1, 72, 2), 0.7, np.float32)
    total = daily_insolation(table, plain, np.zeros(1), depth, np.array([0.0, 90.0]))
    wanted = np.exp(-0.7) * table.beam_w_m2.sum(axis=1) * 900.0
    assert_allclose(total[0], wanted, rtol=1e-5)


def test_unknown_horizon_gives_unknown_sun():
    unknown = np.full((1, 72), np.nan, np.float32)
    total = daily_insolation(sun_table(55.0, 25.0), unknown, np.ones(1), *NO_TREES)
    assert np.isnan(total).all()


@given(st.floats(0, 85), st.floats(0, 5))
def test_sky_view_under_even_trees_is_exact(horizon_deg, depth):
    tangent = np.full((1, 72), np.tan(np.radians(horizon_deg)), np.float32)
    depths = np.full((1, 72, 3), depth, np.float32)
    levels_deg = np.array([0.0, 30.0, 90.0])
    found = sky_view_under_canopy(tangent, depths, levels_deg)
    wanted = np.cos(np.radians(horizon_deg)) ** 2 * np.exp(-depth)
    assert_allclose(found, wanted, rtol=1e-4)


def test_sky_view_under_canopy_keeps_missing_values_missing():
    depths = np.zeros((1, 72, 2), np.float32)
    unknown = np.full((1, 72), np.nan, np.float32)
    assert np.isnan(sky_view_under_canopy(unknown, depths, np.array([0.0, 90.0]))).all()
