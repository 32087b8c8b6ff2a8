"""The sun against NREL's printed case, exact geometry and independent formulas."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import expn

from culvertrisk.formulas.clear_sky import (
    SLOTS,
    SunTable,
    clear_sky,
    clear_sun_fraction_sunshine,
    sun_table,
)
from culvertrisk.formulas.crowns import crown_extinction, transmitted_fraction
from culvertrisk.formulas.insolation import (
    daily_sun,
    sky_view_fraction,
    sky_view_under_canopy,
)
from culvertrisk.formulas.sun import (
    SEASON_DAYS,
    day_length,
    declination,
    refraction,
    season_day,
    sun_azimuth,
    sun_elevation,
)
from tests.published import published

NO_TREES = (np.zeros((1, 72, 0), np.float32), np.zeros(0))
LEVELS_DEG = np.array([1.0, 4.0, 8.0, 12.0, 17.0, 23.0, 31.0, 42.0, 58.0, 80.0])


def _endless_forest(depth):
    """Depth of a wood without end whose depth towards the zenith is given."""
    slanting = (depth / np.sin(np.radians(LEVELS_DEG))).astype(np.float32)
    return np.broadcast_to(slanting, (1, 72, LEVELS_DEG.size)), LEVELS_DEG


def _one_ray(elevation_deg):
    """A sun that stands still in the north."""
    still = np.full((1, SLOTS), elevation_deg)
    return SunTable(still, 0 * still, 0 * still, 0 * still)


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


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("day_length"))
def test_day_length_meets_its_sources(inputs, expected, atol):
    assert_allclose(day_length(**inputs), expected, rtol=0, atol=atol)


@pytest.mark.parametrize(
    ("inputs", "expected", "atol"), published("clear_sun_fraction_sunshine")
)
def test_clear_sun_fraction_from_sunshine_meets_its_sources(inputs, expected, atol):
    found = clear_sun_fraction_sunshine(**inputs)
    assert_allclose(found, expected, rtol=0, atol=atol)


@pytest.mark.parametrize(("inputs", "expected", "atol"), published("crown_extinction"))
def test_crown_extinction_meets_its_sources(inputs, expected, atol):
    assert_allclose(crown_extinction(**inputs), expected, rtol=0, atol=atol)


def test_sun_formulas_keep_missing_values_missing():
    missing = [np.nan, np.nan]
    assert np.isnan(day_length(missing, 0.0)).all()
    assert np.isnan(clear_sun_fraction_sunshine(missing, 8.0)).all()
    assert np.isnan(clear_sun_fraction_sunshine(0.0, 0.0))
    crowns = {"crown_width_m": 5.0, "leaf_off_factor": 0.4}
    assert np.isnan(crown_extinction(missing, **crowns)).all()
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


@pytest.mark.parametrize("latitude", [25.0, 45.0, 55.0, 62.0, 65.0])
def test_day_is_as_long_as_the_full_algorithm_says_within_a_minute(latitude):
    days = pd.date_range("2025-10-01", "2026-05-31", freq="7D", tz="UTC")
    sun = pvlib.solarposition.sun_rise_set_transit_spa(days, latitude, 0.0)
    # On the zero meridian a day of the sun is a day of the algorithm: elsewhere its
    # evening can belong to the day before, a minute and a half off in October.
    noon_s = np.array([time.timestamp() for time in sun["transit"]])
    wanted_s = (sun["sunset"] - sun["sunrise"]).dt.total_seconds()
    found_h = day_length(latitude, declination(noon_s))
    assert_allclose(found_h * 3600, wanted_s, rtol=0, atol=60)


@pytest.mark.parametrize("latitude", [45.0, 62.0])
def test_open_plain_has_sun_from_sunrise_to_sunset(latitude):
    table = sun_table(latitude, 0.0)
    plain = np.zeros((1, 72), np.float32)
    _, hours = daily_sun(table, plain, np.ones(1), *NO_TREES)
    noon_s = [
        pd.Timestamp("2025-10-01T12", tz="UTC").timestamp() + 86_400 * day
        for day in range(SEASON_DAYS)
    ]
    # A day counts from the upper rim, direct sun from the middle: 0.27 degree apart.
    late_h = day_length(latitude, declination(noon_s)) - hours[0]
    assert late_h.min() > 0
    assert late_h.max() < 0.25


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
    total, _ = daily_sun(table, np.zeros((1, 72), np.float32), np.ones(1), *NO_TREES)
    wanted = (table.beam_w_m2 + table.diffuse_w_m2).sum(axis=1) * 900.0
    assert_allclose(total[0], wanted, rtol=1e-6)


def test_wall_above_the_noon_sun_leaves_only_the_sky():
    table = sun_table(62.0, 25.0)
    wall = np.full((1, 72), np.tan(np.radians(10.0)), np.float32)
    total, _ = daily_sun(table, wall, np.array([0.97]), *NO_TREES)
    solstice = season_day(date(2025, 12, 21))  # noon at 62 N: 4.6 degrees
    wanted = 0.97 * table.diffuse_w_m2[solstice].sum() * 900.0
    assert total[0, solstice] == pytest.approx(wanted, rel=1e-6)
    assert total[0, 220] > 0.9 * (table.beam_w_m2[220].sum() * 900.0)


def test_sun_behind_an_even_hill_is_up_as_long_as_the_sphere_says():
    # cos H0 = (sin e - sin phi sin delta) / (cos phi cos delta), e = 10 degrees.
    latitude = 50.0
    hill = np.full((1, 72), np.tan(np.radians(10.0)), np.float32)
    _, hours = daily_sun(sun_table(latitude, 0.0), hill, np.ones(1), *NO_TREES)
    bent_deg = refraction(10.0 - 0.09, 101_325.0, 0.0)
    phi, seen = np.radians(latitude), np.radians(10.0 - bent_deg)
    noon_s = pd.Timestamp("2025-10-01T12", tz="UTC").timestamp()
    delta = np.radians(declination(noon_s + 86_400.0 * np.arange(SEASON_DAYS)))
    cosine = (np.sin(seen) - np.sin(phi) * np.sin(delta)) / np.cos(phi) / np.cos(delta)
    wanted_h = 2 * np.degrees(np.arccos(cosine)) / 15
    assert_allclose(hours[0], wanted_h, rtol=0, atol=0.03)


def test_hill_in_the_north_takes_no_winter_sun():
    table = sun_table(60.0, 25.0)
    azimuths_deg = np.arange(72) * 5.0
    hill = np.where(np.cos(np.radians(azimuths_deg)) > 0.5, 2.0, 0.0)[None]
    view = np.ones(1)
    open_sun, _ = daily_sun(table, 0 * hill.astype(np.float32), view, *NO_TREES)
    behind, _ = daily_sun(table, hill.astype(np.float32), view, *NO_TREES)
    assert_allclose(behind[0, 31:150], open_sun[0, 31:150])


def test_endless_forest_dims_the_beam_by_its_slanting_path():
    table = sun_table(55.0, 25.0)
    plain = np.zeros((1, 72), np.float32)
    total, hours = daily_sun(table, plain, np.zeros(1), *_endless_forest(0.3))
    slant = np.sin(np.radians(np.maximum(table.elevation_deg, LEVELS_DEG[0])))
    passed = np.exp(-0.3 / slant)
    assert_allclose(total[0], (passed * table.beam_w_m2).sum(axis=1) * 900, rtol=1e-4)
    is_up = table.elevation_deg > 0
    assert_allclose(hours[0], (passed * is_up).sum(axis=1) / 4, atol=0.1)


def test_depth_beyond_the_last_levels_keeps_its_slant():
    # Half way between 30 and 60 degrees by angle: the mean of depth times sine.
    depth = np.array([[[0.4, 0.1]]], np.float32)
    levels_deg = np.array([30.0, 60.0])
    sun = _one_ray(45.0)
    _, hours = daily_sun(sun, np.zeros((1, 1), np.float32), np.ones(1), depth,
                         levels_deg)  # fmt: skip
    wanted = (0.4 * 0.5 + 0.1 * np.sqrt(3) / 2) / 2 / np.sqrt(0.5)
    assert_allclose(hours, np.exp(-wanted) * SLOTS / 4, rtol=1e-5)


def test_unknown_horizon_gives_unknown_sun():
    unknown = np.full((1, 72), np.nan, np.float32)
    total, _ = daily_sun(sun_table(55.0, 25.0), unknown, np.ones(1), *NO_TREES)
    assert np.isnan(total).all()


@given(st.floats(0, 85))
def test_sky_view_under_no_trees_is_that_of_the_horizon(horizon_deg):
    tangent = np.full((1, 72), np.tan(np.radians(horizon_deg)), np.float32)
    found = sky_view_under_canopy(tangent, *_endless_forest(0.0))
    assert_allclose(found, np.cos(np.radians(horizon_deg)) ** 2, rtol=1e-4)


@pytest.mark.parametrize("depth", [0.05, 0.3, 1.0, 3.0])
def test_sky_view_under_an_endless_forest_is_the_exponential_integral(depth):
    # 2 sin e cos e exp(-D / sin e) over a quarter turn is 2 E3(D), with t = 1 / sin e.
    plain = np.zeros((1, 72), np.float32)
    found = sky_view_under_canopy(plain, *_endless_forest(depth))
    assert_allclose(found, 2 * expn(3, depth), rtol=0.005)


def test_sky_view_under_canopy_keeps_missing_values_missing():
    depths = np.zeros((1, 72, 2), np.float32)
    unknown = np.full((1, 72), np.nan, np.float32)
    assert np.isnan(sky_view_under_canopy(unknown, depths, np.array([1.0, 90.0]))).all()


TABLE = sun_table(56.0, 25.0)
HEIGHTS = st.lists(st.floats(0, 2), min_size=12, max_size=12)


def _season(tangent, depth=0.0):
    """Insolation and hours behind a horizon given at twelve azimuths."""
    around = np.interp(np.arange(72) / 6, np.arange(13), [*tangent, tangent[0]])
    horizon = around.astype(np.float32)[None]
    forest = _endless_forest(depth)
    view = sky_view_under_canopy(horizon, *forest)
    return np.concatenate(daily_sun(TABLE, horizon, view, *forest))


@given(HEIGHTS, st.integers(0, 11), st.floats(0, 1))
def test_higher_horizon_never_gives_more_sun(tangent, where, more):
    higher = [*tangent]
    higher[where] += more
    assert (_season(higher) <= _season(tangent) + 1e-3).all()


@given(HEIGHTS, st.floats(0, 3), st.floats(0, 1))
def test_more_trees_never_give_more_sun(tangent, depth, more):
    fewer, denser = _season(tangent, depth), _season(tangent, depth + more)
    assert (denser <= fewer * (1 + 1e-4) + 1e-3).all()


@given(st.floats(0.05, 0.8), st.floats(0, 180), st.floats(0, 180))
def test_more_northern_slope_never_gets_more_winter_sun(fall, one_deg, other_deg):
    # Ground that falls to the south rises, and hides the sky, in the north.
    south, north = sorted((one_deg, other_deg))
    away = np.radians(np.arange(12) * 30.0)
    slopes = [
        np.maximum(-fall * np.cos(away - np.radians(180 - turn)), 0)
        for turn in (south, north)
    ]
    sunny, shady = (_season(slope)[:, 31:150].sum(axis=1) for slope in slopes)
    assert (shady <= sunny * 1.01).all()


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_broadleaves_and_gaps_never_take_more_light(cover, broadleaved, kept):
    closed = crown_extinction(0.05, crown_width_m=5.0, leaf_off_factor=kept)
    found = crown_extinction(
        0.05, cover_fraction=cover, crown_width_m=5.0, leaf_off_factor=kept,
        deciduous_fraction=broadleaved,
    )  # fmt: skip
    assert -1e-12 <= found <= closed + 1e-12
