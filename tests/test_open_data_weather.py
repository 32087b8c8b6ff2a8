"""Real winters: what the readers and the sums make of published daily weather."""

import os
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import spearmanr

from culvertrisk.formulas.cold import (
    freezing_degree_days,
    net_afdd,
    seasonal_freezing_index,
)
from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.inputs.weather import read_weather
from culvertrisk.settings import Reading
from culvertrisk.stages.mechanisms import middle_ice
from culvertrisk.stages.winter import (
    FreezeInputs,
    days_of_winter,
    freeze_coefficients,
    run_winter,
)
from culvertrisk.stages.winter_weather import has_weather, winter_weather

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)
SALMON = Path(FOLDER) / "bc_salmon_river_weather" / "daily_1990_2010.csv"
MITTADALEN = Path(FOLDER) / "sweden_harjedalen_weather" / "weather_mittadalen.csv"
COEFFICIENTS = freeze_coefficients()


@pytest.fixture(scope="module")
def salmon():
    return read_weather(SALMON, Reading())


@pytest.fixture(scope="module")
def mittadalen():
    return read_weather(MITTADALEN, Reading())


def test_all_days_of_the_salmon_river_are_read(salmon):
    """7670 days without a gap, lows to -45.5 °C over all years: its read-me."""
    raw = pd.read_csv(SALMON, parse_dates=["date"]).set_index("date")
    table = salmon.table
    assert len(table) == len(raw) == 7670
    usable = raw["tmin_c"] <= raw["tmax_c"]
    assert_allclose(table.loc[usable, "air_min_c"], raw.loc[usable, "tmin_c"])
    assert_allclose(table["rain_m"], raw["rain_mm"] / 1000)
    # basin means of a grid: on a few days of 2002 the lowest is above the highest
    assert_allclose(table.loc[~usable, "air_min_c"], raw.loc[~usable, "tmax_c"])
    assert (salmon.notes["kind"] == "changed").sum() == (~usable).sum() > 0


@pytest.mark.parametrize("year", range(1990, 2010))
def test_freezing_index_of_each_winter_is_found_in_two_ways(salmon, year):
    span = date(year, 10, 1), date(year + 1, 5, 31)
    days = winter_weather(salmon.table, *span, COEFFICIENTS)
    air = ((days["air_min_c"] + days["air_max_c"]) / 2).to_numpy()
    curve = np.concatenate([[0], np.cumsum(air)])
    # the definition word for word, and in O(n²): highest less a later lowest point
    by_definition = max(curve[i] - curve[i:].min() for i in range(len(curve)))
    assert_allclose(seasonal_freezing_index(air), by_definition, rtol=1e-12)
    assert_allclose(freezing_degree_days(air), -air[air < 0].sum(), rtol=1e-12)
    assert_allclose(net_afdd(air).max(), by_definition, rtol=1e-12)
    # central British Columbia at 54 °N: order of size, common practice, no source
    assert 300 < by_definition < 2000


def test_standing_ice_of_real_winters_follows_their_cold(salmon):
    """Over twenty winters the thickest ice of one barrel must rise with the freezing
    index of the season, though snow and thaws part the two."""
    coefficients = freeze_coefficients()
    half, none = np.array([0.5]), np.zeros(1)
    dark = np.zeros((1, SEASON_DAYS), dtype=np.float32)
    barrel = FreezeInputs(
        rise_m=half,
        silt_fraction=none,
        barrel_slope_m_per_m=none,
        cover_m=half,
        outlet_drop_m=none,
        length_m=20 * half,
        elevation_offset_m=none,
        barrel_bearing_deg=none,
        seep_chance=half,
        plug_chance=half,
        pond_chance=half,
        drained_chance=none,
        open_chance=half,
        tail_chance=half,
        sun_j_m2=dark,
        outlet_sun_j_m2=dark,
        open_sun_j_m2=dark,
        points={},
        opened_day=np.empty((1, 0)),
        left_fraction=np.empty((1, 0)),
        run_label=np.zeros(1, dtype=np.intp),
    )
    even_snow = salmon.table.assign(snow_depth_m=0.4)
    frost, ice_m, even_ice_m = [], [], []
    for year in range(1990, 2010):
        span = date(year, 10, 1), date(year + 1, 4, 30)
        ice, even = (
            run_winter(barrel, days_of_winter(w, *span, coefficients), coefficients)
            for w in (salmon.table, even_snow)
        )
        days = winter_weather(salmon.table, *span, coefficients)
        air = ((days["air_min_c"] + days["air_max_c"]) / 2).to_numpy()
        assert_allclose(ice.afdd_cday, net_afdd(air)[-1], rtol=1e-9)
        frost.append(freezing_degree_days(air))
        ice_m.append(ice.most_ice_m["sag"].item())
        even_ice_m.append(even.most_ice_m["sag"].item())
    assert spearmanr(frost, ice_m).statistic > 0.5
    assert spearmanr(frost, even_ice_m).statistic > 0.9
    assert 0.05 < min(ice_m) < max(ice_m) < 1.0


def test_snow_depth_in_centimetres_is_not_taken_for_millimetres(mittadalen):
    """Its read-me: the values 0 to 105 are centimetres, whatever upstream says."""
    depth = mittadalen.table["snow_depth_m"]
    assert depth.max() == pytest.approx(1.05)
    notes = mittadalen.notes.set_index("column")["understood"]
    assert notes["snow_depth_m"] == "read as cm"


def test_missing_days_of_mittadalen_stay_missing(mittadalen):
    """Its read-me: 2760 days; 60 lack snow, 67 the lowest and highest; no summers."""
    table = mittadalen.table
    raw = pd.read_csv(MITTADALEN, parse_dates=["date"])
    assert len(raw) == 2760
    assert int(table["air_min_c"].notna().sum()) == 2760 - 67
    assert int(table["snow_depth_m"].notna().sum()) == 2760 - 60
    assert table.loc["2008-05-01":"2008-09-30", "air_min_c"].isna().all()
    assert table["air_min_c"].min() == pytest.approx(-36.8)


def test_precipitation_of_mittadalen_is_parted_and_none_is_lost(mittadalen):
    table = mittadalen.table
    raw = pd.read_csv(MITTADALEN, parse_dates=["date"]).set_index("date")
    total = table["rain_m"] + table["snowfall_water_m"]
    known = total.notna()
    assert_allclose(total[known], raw["prec"].reindex(total.index)[known] / 1000)
    warm = (table["air_min_c"] + table["air_max_c"]) / 2 > 1
    assert (table.loc[known & ~warm, "rain_m"] == 0).all()
    assert (table.loc[known & warm, "snowfall_water_m"] == 0).all()


def test_most_winters_of_mittadalen_can_be_run(mittadalen):
    runs = [
        has_weather(
            mittadalen.table, date(year, 10, 1), date(year + 1, 4, 15), COEFFICIENTS
        )
        for year in range(2007, 2020)
    ]
    assert sum(runs) >= 11


def test_freezing_index_of_mittadalen_is_found_in_two_ways(mittadalen):
    """Every winter that can be run: by the definition word for word and in one pass.

    The gaps of the record are bridged first, the same for both.
    """
    index = []
    for year in range(2007, 2020):
        span = date(year, 10, 1), date(year + 1, 4, 15)
        if not has_weather(mittadalen.table, *span, COEFFICIENTS):
            continue
        days = winter_weather(mittadalen.table, *span, COEFFICIENTS)
        air = ((days["air_min_c"] + days["air_max_c"]) / 2).to_numpy()
        curve = np.concatenate([[0], np.cumsum(air)])
        twice = max(curve[i] - curve[i:].min() for i in range(len(curve)))
        assert_allclose(seasonal_freezing_index(air), twice, rtol=1e-12)
        assert_allclose(freezing_degree_days(air), -air[air < 0].sum(), rtol=1e-12)
        index.append(twice)
    assert len(index) >= 11
    # Swedish mountains at 62.7 °N, about 650 m: order of size, common practice
    assert 400 < min(index) < max(index) < 2500


def test_frost_under_a_ploughed_road_of_real_winters_is_of_a_known_size(salmon):
    """About 0.15 to 0.25 m of depth for 200 °C·days between the winters (a frost
    study's figure, from memory), and 0.5 to 2.5 m in a cold valley."""
    coefficients = freeze_coefficients()
    index, depth_m = [], []
    for year in range(1990, 2010):
        span = date(year, 10, 1), date(year + 1, 4, 30)
        days = days_of_winter(salmon.table, *span, coefficients)
        afdd = net_afdd(days.air_mean_c)
        index.append(afdd.max())
        depth_m.append((days.frost_depth_unit * np.sqrt(afdd)).max())
    assert 0.4 < min(depth_m) < max(depth_m) < 2.5
    slope = np.polyfit(index, depth_m, 1)[0] * 200
    assert 0.1 < slope < 0.3


def test_every_mechanism_runs_through_real_winters_and_ends_without_ice(salmon):
    """To the end of May all thin ice has melted; in between each has made some."""
    coefficients = freeze_coefficients()
    half, none = np.array([0.5]), np.zeros(1)
    lit = np.full((1, SEASON_DAYS), 5e6, dtype=np.float32)
    names = [item.name for item in fields(FreezeInputs) if item.name != "points"]
    barrel = FreezeInputs(**dict.fromkeys(names, half), points={})
    never = np.empty((1, 0))
    barrel = replace(barrel, opened_day=never, left_fraction=never)
    barrel = replace(barrel, elevation_offset_m=none, length_m=20 * half)
    barrel = replace(barrel, sun_j_m2=lit, outlet_sun_j_m2=lit, cover_m=half / 2)
    most, left = [], []
    for year in range(1990, 2010):
        span = date(year, 10, 1), date(year + 1, 5, 31)
        days = days_of_winter(salmon.table, *span, coefficients)
        ice = run_winter(barrel, days, coefficients)
        most.append([middle_ice(depth_m).item() for depth_m in ice.most_ice_m.values()])
        left.append([middle_ice(depth_m).item() for depth_m in ice.ice_m.values()])
    assert np.isfinite(most).all()
    assert (np.max(most, axis=0) > 0.02).all()
    assert (np.max(most, axis=0) < 2).all()
    assert (np.median(left, axis=0) < 0.01).all()
