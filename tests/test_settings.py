"""The town file: quantities in words, defaults, and refusals all at once."""

from datetime import date

import pytest

from culvertrisk.checks import InputError
from culvertrisk.settings import Settings, read_settings

CREW = """
[[crews]]
name = "T1"
method = "hot water"
flow_m3s = "5 gpm"
water_c = "175 degF"
shift_start = "05:40"
shift_s = "9.5 h"
start_lat = 47.75
start_lon = -87.5
"""


def _write(tmp_path, text):
    path = tmp_path / "town.toml"
    path.write_text('[files]\nculverts = "c.csv"\n' + text, "utf-8")
    return path


def test_quantities_in_words_are_converted(tmp_path):
    crew = read_settings(_write(tmp_path, CREW)).crews[0]
    assert crew.flow_m3s == pytest.approx(5 * 6.309020e-5, rel=1e-6)  # methods table
    assert crew.water_c == pytest.approx(79.444, abs=0.001)
    assert crew.shift_start == 5 * 3600 + 40 * 60
    assert crew.shift_s == 34_200


def test_every_problem_of_a_town_file_is_told_at_once(tmp_path):
    text = CREW.replace("9.5 h", "9.5 apples") + 'hoze_m = 3\n[town]\nunits = "both"\n'
    with pytest.raises(InputError) as caught:
        read_settings(_write(tmp_path, text))
    told = "\n".join(caught.value.problems)
    assert len(caught.value.problems) == 3
    assert "town.toml: crews[0].hoze_m must be a key of the town file, got 3." in told
    assert "crews[0].shift_s" in told and "9.5 apples" in told
    assert "town.units" in told and "both" in told


def test_a_name_that_stands_twice_is_refused(tmp_path):
    with pytest.raises(InputError, match="T1 stands twice"):
        read_settings(_write(tmp_path, CREW + CREW))


def test_a_file_that_is_not_toml_is_refused(tmp_path):
    path = tmp_path / "town.toml"
    path.write_text("[files\n", "utf-8")
    with pytest.raises(InputError, match=r"town\.toml: file must be TOML"):
        read_settings(path)


def test_winter_of_a_day_begins_before_it():
    settings = Settings(files={"culverts": "c.csv"})
    assert settings.winter_of(date(2025, 2, 25)) == date(2024, 10, 1)
    assert settings.winter_of(date(2024, 10, 1)) == date(2024, 10, 1)
