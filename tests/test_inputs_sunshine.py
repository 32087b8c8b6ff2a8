"""Recorded sunshine and wind direction are read, and sunshine dims the sun."""

from datetime import date

import geopandas as gpd
import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.inputs.sunshine import with_clear_sun
from culvertrisk.inputs.weather import read_weather
from culvertrisk.settings import Reading
from culvertrisk.stages.winter import days_of_winter, freeze_coefficients

TEXT = """date,tmin_c,tmax_c,rain_mm,snowfall_mm_w_e,sunshine_h,wind_direction
2024-10-01,-5,5,0,0,0,310
2024-10-02,-5,5,0,0,,300
2024-10-03,-5,5,0,0,6,290
"""


@pytest.fixture
def weather(tmp_path):
    path = tmp_path / "weather.csv"
    path.write_text(TEXT, "utf-8")
    place = gpd.GeoDataFrame(geometry=gpd.points_from_xy([-87.5], [47.75]), crs=4326)
    return with_clear_sun(read_weather(path, Reading()).table, place)


def test_optional_columns_are_read_where_the_file_has_them(weather):
    assert weather["wind_from_deg"].tolist() == [310, 300, 290]
    assert_allclose(weather["sunshine_h"], [0, np.nan, 6])


def test_sunshine_dims_the_sun_by_angstrom(weather):
    """No sun: 0.25 / 0.75. Six of 11.6 h (equator of the year just past)."""
    share = weather["clear_sun_fraction"].to_numpy()
    assert_allclose(share[0], 0.25 / 0.75)
    assert np.isnan(share[1])
    assert_allclose(share[2], (0.25 + 0.5 * 6 / 11.6) / 0.75, atol=0.005)


def test_a_day_without_a_record_takes_the_daily_range(weather):
    coefficients = freeze_coefficients()
    span = date(2024, 10, 1), date(2024, 10, 3)
    told = days_of_winter(weather, *span, coefficients).clear_sun_fraction
    bare = weather.drop(columns="clear_sun_fraction")
    by_range = days_of_winter(bare, *span, coefficients).clear_sun_fraction
    assert_allclose(told[[0, 2]], weather["clear_sun_fraction"].to_numpy()[[0, 2]])
    assert_allclose(told[1], by_range[1])
