"""What is left of a loss at each hour, on a hand-made table."""

import geopandas as gpd
import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.settings import Settings
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.loss_by_hour import avoided_by_hour

HOUR_S = 3600.0
RAIN = DayWater(0.036, 0.0, 8 * HOUR_S, 10 * HOUR_S, is_frozen=True)
PIPE = {
    "crossing_kind": "cross",
    "catchment_m2": 100_000.0,
    "concentration_s": 600.0,
    "pond_room_m3": 100.0,
}


def _crossings(**changes):
    table = pd.DataFrame([{**PIPE, **changes}], index=["A1"])
    return gpd.GeoDataFrame(table, geometry=[Point(0, 0)], crs="EPSG:32616")


def _settings(**parts):
    forecast = {"rain_start": "08:00", "rain_end": "16:00", "spread_fraction": 1e-6}
    parts = {"forecast": forecast, **parts}
    return Settings(files={"culverts": "culverts.csv"}, **parts)


def test_all_is_left_before_the_water_and_the_rest_of_the_closure_after():
    # 0.036 m on 10 ha at C = 0.7 are 2,520 m3, a triangle over 8 h: a pond of 1,000 m3
    # is full when 0.397 = 2 x^2 of it has come, x = 0.4455, so 3.56 h after 08:00, and
    # half a time of concentration of 10 min later: 11.65 h. The step is 0.25 h.
    settings = _settings(prices={"closure_s": "4 h"})
    left = avoided_by_hour(_crossings(pond_room_m3=1000.0), RAIN, settings).iloc[0]
    assert left[11 * HOUR_S] == 1
    assert_allclose(left[13.75 * HOUR_S], 1 - (13.75 - 11.65) / 4, atol=0.125 / 4)
    assert left[16 * HOUR_S] == 0


def test_own_closure_of_a_crossing_goes_before_that_of_the_town():
    settings = _settings(prices={"closure_s": "4 h"})
    known = _crossings(pond_room_m3=1000.0, flooded_closure_s=8 * HOUR_S)
    left = avoided_by_hour(known, RAIN, settings).iloc[0]
    assert_allclose(left[15.75 * HOUR_S], 1 - (15.75 - 11.65) / 8, atol=0.125 / 8)


def test_unknown_water_leaves_all_of_the_loss_at_any_hour():
    left = avoided_by_hour(_crossings(catchment_m2=np.nan), RAIN, _settings())
    assert (left == 1).all(axis=None)


def test_water_that_leaves_over_lower_ground_takes_no_share_of_the_loss():
    spill = {"today_flow_m3s": 0.15, "spill_capacity_m3s": 1.0}
    left = avoided_by_hour(_crossings(**spill), RAIN, _settings())
    assert (left == 1).all(axis=None)


@given(st.floats(1, 5000), st.floats(0.05, 2))
def test_share_never_rises_and_stays_between_none_and_all(room_m3, spread_fraction):
    settings = _settings(forecast={"spread_fraction": spread_fraction})
    left = avoided_by_hour(_crossings(pond_room_m3=room_m3), RAIN, settings).iloc[0]
    assert left.iloc[0] == 1
    assert (np.diff(left) <= 1e-12).all()
    assert left.between(-1e-9, 1).all()
