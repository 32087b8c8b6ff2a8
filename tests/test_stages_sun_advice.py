"""To wait for the sun is advised only where no water comes first."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from culvertrisk.settings import Files, Freeze, Settings
from culvertrisk.stages.sun_advice import add_sun_advice

ON = date(2024, 4, 15)
TOWN = Settings(files=Files(culverts="c.csv"))


def _advice(day="2024-04-18", word="low", if_shut=0.05, settings=TOWN):
    table = pd.DataFrame(
        {
            "self_opening_day": [day, ""],
            "flood_class": [word, word],
            "flooded_blocked_chance": [if_shut, if_shut],
        }
    )
    made = add_sun_advice(table, settings, ON)
    assert made["freeze_advice"].iloc[1] == ""
    assert "freeze_advice" not in table
    return made["freeze_advice"].iloc[0]


def test_near_its_opening_day_and_dry_the_advice_is_to_wait():
    assert _advice() == (
        "wait for the sun if no water threatens road or house: "
        "opens by itself about 18 April"
    )
    assert _advice(day="2024-04-19") == ""
    town = TOWN.model_copy(update={"freeze": Freeze(defaults={"wait_days": 4})})
    assert _advice(day="2024-04-19", settings=town) != ""


@pytest.mark.parametrize("word", ["some", "high", "severe", ""])
def test_water_that_may_come_before_the_sun_forbids_to_wait(word):
    assert _advice(word=word) == ""


@pytest.mark.parametrize("if_shut", [0.1, 0.9, np.nan])
def test_water_at_a_shut_pipe_forbids_to_wait_whatever_the_score(if_shut):
    assert _advice(if_shut=if_shut) == ""
