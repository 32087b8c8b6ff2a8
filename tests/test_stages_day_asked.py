"""The day asked: which it is, whose typed numbers hold for it, and what is said."""

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from culvertrisk.checks import InputError
from culvertrisk.inputs.reading import note_table
from culvertrisk.inputs.town import TownData
from culvertrisk.settings import Settings
from culvertrisk.stages import day_asked
from culvertrisk.stages.day_asked import asked_day, recorded_only

LAST_OBSERVED, TODAY, TOMORROW = (date(2025, 2, day) for day in (24, 25, 26))
BLOCK = {"air_min_c": -9, "air_max_c": 6, "rain_m": 0.018, "snow_water_m": 0.14}


def _weather(forecast_days=2):
    days = pd.date_range("2024-10-01", "2025-02-26", name="day")
    table = pd.DataFrame(
        {"air_min_c": -20.0, "air_max_c": -10.0, "rain_m": 0.0, "wind_m_s": 3.0},
        index=days,
    ).assign(snow_depth_m=0.3, snowfall_water_m=0.0)
    table["is_forecast"] = (days > "2025-02-24").astype(float)
    return table.iloc[: len(days) - 2 + forecast_days]


def _data(forecast=None, *, weather=None, file="w.csv", units="metric"):
    settings = Settings(
        files={"culverts": "c.csv", "weather": file},
        forecast=forecast or {},
        town={"units": units},
    )
    nothing = dict.fromkeys(
        ("roads", "terrain", "thaw_log", "places", "calls", "rainfall")
    )
    table = _weather() if weather is None else weather
    return TownData(
        settings=settings,
        crossings=gpd.GeoDataFrame(geometry=[]),
        weather=table,
        notes=note_table([]),
        **nothing,
    )


def _row(data, day):
    names = ["air_min_c", "air_max_c", "rain_m", "is_forecast"]
    return data.weather.loc[pd.Timestamp(day), names].tolist()


def test_a_forecast_without_a_date_is_for_the_first_forecast_day_only():
    data, asked = asked_day(_data(BLOCK))
    assert asked.on == TODAY
    assert _row(data, TODAY) == [-9.0, 6.0, 0.018, 1.0]
    assert data.settings.forecast.snow_water_m == 0.14
    assert asked.not_used == "" and data.notes.empty
    for other in (LAST_OBSERVED, TOMORROW, date(2025, 2, 1)):
        before = _data(BLOCK)
        data, asked = asked_day(before, other)
        pd.testing.assert_frame_equal(data.weather, before.weather)
        assert data.settings.forecast.snow_water_m is None
        assert asked.not_used == (
            f"The [forecast] block of the town file is not used for {other}: it has "
            "no date, so that it is for 2025-02-25 only; give it date = "
            f'"{other}" if it is for that day.'
        )
        assert data.notes["understood"].tolist() == [asked.not_used]
        assert data.notes["kind"].tolist() == ["refused"]


def test_a_forecast_with_a_date_is_for_that_day_only():
    block = BLOCK | {"date": "2025-02-26", "spread_fraction": 0.7}
    data, asked = asked_day(_data(block), TOMORROW)
    assert _row(data, TOMORROW)[:2] == [-9.0, 6.0]
    data, asked = asked_day(_data(block))
    assert asked.on == TODAY
    assert "it is for 2025-02-26" in asked.not_used
    assert data.settings.forecast.spread_fraction == 0.7  # is for every morning
    assert _row(data, TODAY)[:2] == [-20.0, -10.0]


def test_a_forecast_that_says_nothing_of_a_morning_is_not_missed():
    _, asked = asked_day(_data({"spread_fraction": 0.7}), date(2025, 2, 1))
    assert asked.not_used == ""


def test_numbers_typed_with_the_command_are_for_the_day_asked():
    data, asked = asked_day(_data(BLOCK), TOMORROW, {"air_min_c": -12.0})
    assert _row(data, TOMORROW)[:2] == [-12.0, -10.0]
    assert dict(asked.sources) == {
        "low": "typed with the command",
        "high": "weather file, forecast",
        "rain": "weather file, forecast",
    }
    data, asked = asked_day(_data(BLOCK), TODAY, {"air_min_c": -12.0})
    assert _row(data, TODAY)[:2] == [-12.0, 6.0]
    assert asked.sources["high"] == "typed in the town file"
    # no option tells the snow: it is the town file's whatever else is typed
    assert asked.sources["water in the snow"] == "typed in the town file"


def test_recorded_weather_is_told_from_a_forecast():
    _, asked = asked_day(_data(), LAST_OBSERVED)
    assert set(asked.sources.values()) == {"weather file, recorded"}
    _, asked = asked_day(_data(weather=_weather().assign(rain_m=np.nan)))
    assert asked.sources["rain"] == "unknown"


def test_without_forecast_rows_typed_numbers_are_for_the_day_after_the_last():
    recorded = _weather(forecast_days=0)
    _, asked = asked_day(_data(weather=recorded))
    assert asked.on == LAST_OBSERVED
    for forecast, typed in ((BLOCK, {}), ({}, {"air_min_c": -9.0})):
        data, asked = asked_day(_data(forecast, weather=recorded), None, typed)
        assert asked.on == TODAY
        assert _row(data, TODAY)[0] == -9.0
        assert _row(data, LAST_OBSERVED)[0] == -20.0
    data, asked = asked_day(_data(BLOCK | {"date": TODAY}, weather=recorded))
    assert asked.on == TODAY and asked.not_used == ""
    trailing = _weather().assign(is_forecast=0.0)
    trailing.loc["2025-02-25":, ["air_min_c", "air_max_c"]] = np.nan
    assert asked_day(_data(weather=trailing))[1].on == LAST_OBSERVED


def test_what_keeps_today_without_a_flow_is_told():
    unknown = _weather().assign(snow_depth_m=np.nan, snowfall_water_m=np.nan)
    rain = {"air_min_c": -9, "air_max_c": 6, "rain_m": 0.018}
    _, asked = asked_day(_data(rain, weather=unknown))
    assert asked.no_flow == (
        "Flood is not scored today: water in the snow unknown: type "
        "forecast.snow_water_m."
    )
    _, asked = asked_day(_data({**rain, "snow_water_m": 0.1}, weather=unknown))
    assert asked.no_flow == ""


def test_a_made_up_winter_is_told_and_has_no_first_forecast_day():
    made = _weather().assign(is_forecast=0.0)
    _, asked = asked_day(_data(weather=made, file=""), TOMORROW)
    assert asked.made_up.replace("\u202f", " ") == (
        "No weather file: a winter of 800 °C·days below freezing is assumed."
    )
    assert asked.sources["low"] == "made up"
    data, asked = asked_day(_data(BLOCK, weather=made, file=""), TOMORROW)
    assert "for the day of typing only" in asked.not_used
    assert _row(data, TOMORROW)[0] == -20.0
    data, asked = asked_day(_data(BLOCK, weather=made, file=""))
    assert _row(data, asked.on)[0] == -9.0


@pytest.mark.parametrize(
    ("units", "forecast", "typed", "problem"),
    [
        (
            "metric",
            {},
            {"air_min_c": 5.0},
            "command line: --low must not be above the day's high, -10.0 °C (weather "
            "file, forecast), got '5.0 °C'. Type both, the low and the high.",
        ),
        (
            "us",
            {"air_min_c": -5},
            {"air_max_c": -15.0},
            "command line: --high must not be below the day's low, 23 °F (typed in "
            "the town file), got '5 °F'. Type both, the low and the high.",
        ),
        (
            "metric",
            {"air_max_c": -30},
            {},
            "town file: forecast.air_max_c must not be below the day's low, -20.0 °C "
            "(weather file, forecast), got '-30.0 °C'. Type both, the low and the "
            "high.",
        ),
    ],
)
def test_a_low_above_the_other_source_s_high_is_refused(
    units, forecast, typed, problem
):
    with pytest.raises(InputError) as caught:
        asked_day(_data(forecast, units=units), None, typed)
    assert caught.value.problems == (problem,)


def test_the_proof_takes_no_number_typed_for_a_morning():
    settings = recorded_only(_data(BLOCK | {"spread_fraction": 0.7}).settings)
    assert settings.forecast.model_dump(exclude_none=True) == {"spread_fraction": 0.7}


def test_no_stage_but_this_one_puts_typed_numbers_into_the_weather():
    from pathlib import Path

    folder = Path(day_asked.__file__).parent
    users = {p.name for p in folder.glob("*.py") if "with_forecast(" in p.read_text()}
    assert users == {"day_asked.py", "winter_weather.py"}


def test_what_the_winters_weather_leaves_out_is_noted_and_said():
    weather = _weather()
    weather.loc["2025-02-02":"2025-02-04", "air_min_c"] = np.nan
    weather.loc["2025-02-10", "rain_m"] = np.nan
    data, asked = asked_day(_data(weather=weather))
    assert data.notes["file"].unique().tolist() == ["w.csv"]
    assert data.notes["kind"].unique().tolist() == ["assumed"]
    assert data.notes["column"].tolist() == ["air_min_c", "rain_m"]
    days = "of 148 days of this winter"
    assert asked.assumed == (
        f"Temperature unknown on 3 {days}: 2025-02-02 to 2025-02-04. Taken instead: a "
        "straight line between the days beside.",
        f"Rain unknown on 1 {days}: 2025-02-10. Taken instead: 1.5\u202fmm of rain "
        "assumed where the day's mean is above 1\u202f°C, else none.",
    )
    assert asked_day(_data())[1].assumed == ()
