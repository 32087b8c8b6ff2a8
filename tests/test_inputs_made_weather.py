"""The made-up winter keeps the freezing index it was asked for."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from culvertrisk.inputs.made_weather import COLUMNS, made_weather


@given(st.floats(50, 3500))
def test_made_weather_has_the_freezing_index_asked_for(freezing_index_cday):
    weather = made_weather(freezing_index_cday, date(2025, 7, 1)).table
    mean_c = (weather["air_min_c"] + weather["air_max_c"]) / 2
    assert np.maximum(0, -mean_c).sum() == pytest.approx(freezing_index_cday, rel=0.02)


def test_made_weather_is_said_to_be_assumed():
    reading = made_weather(800.0, date(2025, 3, 1))
    assert reading.notes["kind"].tolist() == ["assumed"]
    assert [*reading.table.columns] == [*COLUMNS, "is_forecast"]
    assert reading.table["rain_m"].isna().all()
    assert reading.table.index[-1].date() == date(2025, 3, 1)
