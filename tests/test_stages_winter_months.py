"""The chance of a block by month, over the winters known."""

from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.winter_months import (
    MONTHS,
    add_winter_months,
    monthly_blocked_chance,
)
from tests.test_stages_freeze import COEFFICIENTS, ON, TOWN, _crossings, _sun, _weather


@pytest.fixture(scope="module")
def weather():
    """Two and a half winters, the second colder."""
    weather = _weather(mean_c=2.0, first="2021-10-01", last="2024-02-25")
    weather.loc["2022-10-01":"2023-05-31", ["air_min_c", "air_max_c"]] -= 6.0
    return weather


def test_each_month_is_the_mean_of_the_days_chance_over_the_winters(weather):
    crossings = _crossings()
    chance = monthly_blocked_chance(crossings, weather, _sun(), TOWN, ON)
    assert chance.shape == (3, len(MONTHS))
    assert np.isnan(chance[2]).all()
    for month, years in ((1, (2022, 2023, 2024)), (4, (2022, 2023))):
        # what is known later is not known to the run of a day: of one winter at a time
        alone = [
            add_freeze(crossings, weather, _sun(), date(year, month, 15), TOWN)
            for year in years
        ]
        expected = np.mean([made["modelled_chance"] for made in alone], axis=0)
        assert_allclose(chance[:2, MONTHS.index(month)], expected[:2], rtol=1e-9)


def test_what_came_after_the_day_asked_is_not_looked_at(weather):
    before = monthly_blocked_chance(
        _crossings(), weather, _sun(), TOWN, date(2023, 7, 1)
    )
    later = weather.copy()
    later.loc["2023-07-02":, ["air_min_c", "air_max_c"]] = -30.0
    again = monthly_blocked_chance(_crossings(), later, _sun(), TOWN, date(2023, 7, 1))
    assert_allclose(before, again)
    forecast = weather.copy()
    forecast.loc["2024-01-01":, "is_forecast"] = 1.0
    assert_allclose(
        monthly_blocked_chance(_crossings(), forecast, _sun(), TOWN, ON),
        monthly_blocked_chance(
            _crossings(), weather.loc[:"2023-12-31"], _sun(), TOWN, ON
        ),
    )


def test_a_month_that_no_winter_reaches_is_unknown():
    weather = _weather(first="2023-10-01", last="2024-01-20")
    chance = monthly_blocked_chance(_crossings(), weather, _sun(), TOWN, ON)
    assert np.isfinite(chance[0]).tolist() == [True] * 4 + [False] * 4
    none = weather.loc["2023-12-01":]
    unknown = monthly_blocked_chance(_crossings(), none, _sun(), TOWN, ON)
    assert np.isnan(unknown).all()


def test_the_crossings_own_log_corrects_it(weather):
    plain = monthly_blocked_chance(_crossings(), weather, _sun(), TOWN, ON)
    told = _crossings(history_factor=[3.0, 1.0, np.nan])
    corrected = monthly_blocked_chance(told, weather, _sun(), TOWN, ON)
    assert_allclose(corrected[0], corrected_chance(plain[0], 3.0))
    assert_allclose(corrected[1], plain[1])


def test_the_flood_season_weighs_the_months_by_their_floods(weather):
    crossings = _crossings(history_factor=[1.0, 2.0, np.nan])
    monthly = monthly_blocked_chance(crossings, weather, _sun(), TOWN, ON)
    made = add_winter_months(crossings, weather, _sun(), ON, TOWN)
    share = COEFFICIENTS["flood_month_share"]
    assert share.sum() == pytest.approx(1)
    assert_allclose(made["winter_blocked_chance"], monthly @ share)
    assert [*made.columns] == [*crossings.columns, "winter_blocked_chance"]


def test_months_never_seen_are_left_out_and_without_any_the_day_stands():
    weather = _weather(first="2023-10-01", last="2024-01-20")
    crossings = _crossings(blocked_chance=[0.3, 0.4, np.nan])
    monthly = monthly_blocked_chance(crossings, weather, _sun(), TOWN, ON)[:, :4]
    share = COEFFICIENTS["flood_month_share"][:4]
    made = add_winter_months(crossings, weather, _sun(), ON, TOWN)
    assert_allclose(made["winter_blocked_chance"], monthly @ share / share.sum())
    late = weather.loc["2023-12-01":]
    made = add_winter_months(crossings, late, _sun(), ON, TOWN)
    assert made["winter_blocked_chance"].equals(
        crossings["blocked_chance"].rename("winter_blocked_chance")
    )


def test_a_late_start_of_the_winter_still_has_an_october(weather):
    late = TOWN.model_copy(
        update={"town": TOWN.town.model_copy(update={"winter_start": "11-01"})}
    )
    chance = monthly_blocked_chance(_crossings(), weather, _sun(), late, ON)
    assert np.isfinite(chance[:2]).all()
    assert (chance[:2, 0] < chance[:2, 3]).all()
