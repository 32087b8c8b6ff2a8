"""Numbers typed for one morning: units as meant, refusals that name the option."""

from datetime import date

import pytest
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.forecast_model import Forecast, typed_numbers
from culvertrisk.settings import read_settings

NONE = {"--low": None, "--high": None, "--rain": None}


def _typed(units, **words):
    named = {f"--{name}": text for name, text in words.items()}
    return typed_numbers(NONE | named, units)


def _refused(units, **words):
    with pytest.raises(InputError) as caught:
        _typed(units, **words)
    return caught.value.problems


def test_bare_numbers_are_in_the_towns_units():
    """The scales of temperature: 14 °F is -10 °C, 41 °F is 5 °C; an inch is 25.4 mm."""
    us = _typed("us", low="14", high="41", rain="0.5")
    assert_allclose([*us.values()], [-10.0, 5.0, 0.0127], atol=1e-9)
    metric = _typed("metric", low="-9", high="6.5", rain="18")
    assert metric == {"air_min_c": -9.0, "air_max_c": 6.5, "rain_m": 0.018}
    assert _typed("us") == {}


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    ("text", "air_c"),
    [("14 F", -10), ("14°F", -10), ("14 degF", -10), ("-4 C", -4), ("−4 °C", -4),
     ("-4degC", -4)],
)  # fmt: skip
def test_a_unit_is_taken_as_said_in_either_town(units, text, air_c):
    assert_allclose(_typed(units, low=text)["air_min_c"], air_c, atol=1e-9)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    ("text", "rain_m"),
    [("0.5 in", 0.0127), ('0.5"', 0.0127), ("18 mm", 0.018), ("1.8cm", 0.018)],
)
def test_rain_with_a_unit_is_taken_as_said_in_either_town(units, text, rain_m):
    assert_allclose(_typed(units, rain=text)["rain_m"], rain_m, atol=1e-12)


def test_a_low_above_the_high_is_refused_with_the_options_name():
    assert _refused("us", low="43", high="16 F") == (
        "command line: --low must not be above --high, which is 16 F, got '43'. "
        "A number without a unit is in °F, the town's units.",
    )


def test_what_is_no_quantity_is_refused_all_at_once_with_its_option():
    problems = _refused("metric", low="cold", high="900", rain="18 C")
    assert problems == (
        "command line: --low must be a temperature from -70 to 60 °C, such as "
        '"16 F" or "-9 C", got \'cold\'. A number without a unit is in °C, the '
        "town's units.",
        "command line: --high must be a temperature from -70 to 60 °C, such as "
        '"16 F" or "-9 C", got \'900\'. A number without a unit is in °C, the '
        "town's units.",
        'command line: --rain must be rain from 0 to 1000 mm, such as "0.5 in" or '
        "\"18 mm\", got '18 C'. A number without a unit is in mm, the town's units.",
    )


def test_the_town_file_takes_people_s_spelling_of_units_and_si_when_bare():
    block = Forecast(air_min_c="14 F", air_max_c="-4 °C", rain_m='1"')
    assert_allclose([block.air_min_c, block.air_max_c, block.rain_m], [-10, -4, 0.0254])
    assert Forecast(air_min_c=-9, rain_m=0.018).rain_m == 0.018


def _town(tmp_path, block):
    path = tmp_path / "town.toml"
    path.write_text(f'[files]\nculverts = "c.csv"\n[forecast]\n{block}', "utf-8")
    return path


def test_the_town_file_s_forecast_has_a_date(tmp_path):
    for text in ("2025-02-25", '"2025-02-25"'):
        read = read_settings(_town(tmp_path, f"date = {text}\n"))
        assert read.forecast.date == date(2025, 2, 25)
    with pytest.raises(InputError, match=r"forecast\.date must be valid \(be a date"):
        read_settings(_town(tmp_path, "date = 20250225\n"))


def test_a_low_above_the_high_in_the_town_file_is_refused(tmp_path):
    block = 'air_min_c = 16\nair_max_c = "16 F"\n'
    with pytest.raises(InputError, match="have a low that is not above the high"):
        read_settings(_town(tmp_path, block))
