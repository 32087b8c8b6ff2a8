"""Rank bands: none where all is known, wide where much is not, the same every run."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.stages import rank_band
from culvertrisk.stages.freeze import add_freeze, modelled_chance
from culvertrisk.stages.history import fit_history, with_history
from culvertrisk.stages.rank_band import add_rank_band
from culvertrisk.tables import columns
from tests.history_made import TOWN, made_crossings, made_sun, made_weather

ON = date(2024, 2, 25)
COUNT = 40


@pytest.fixture(scope="module")
def weather():
    return made_weather(first="2022-10-01")


def _scored(crossings, weather):
    sun = made_sun(len(crossings))
    crossings = add_freeze(crossings, weather, sun, ON, TOWN)
    fit = fit_history(crossings, None, weather, sun, TOWN, ON)
    crossings = with_history(crossings, fit)
    loss = crossings["blocked_chance"] * 10.0
    rank = loss.rank(ascending=False, method="first")
    return crossings.assign(loss_avoided_person_h=loss, priority_rank=rank)


def _banded(crossings, weather):
    sun = made_sun(len(crossings))
    return add_rank_band(crossings, weather, sun, TOWN, ON)


def _known(count=COUNT):
    known = {"has_plough_plug": 0.0, "barrel_bearing_deg": 90.0}
    return made_crossings(count).assign(**known)


def _with_unknown(crossings, name, places):
    values = crossings[name].to_numpy(float).copy()
    values[places] = np.nan
    return crossings.assign(**{name: values})


def test_band_adds_exactly_its_columns_and_leaves_its_input_alone(weather):
    crossings = _scored(_known(), weather)
    before = crossings.copy()
    result = _banded(crossings, weather)
    made = columns().query("made_by == 'rank_band'")
    assert set(result.columns) - set(crossings.columns) == set(made.index)
    pd.testing.assert_frame_equal(crossings, before)
    assert (result["rank_low"] <= result["priority_rank"]).all()
    assert (result["rank_high"] >= result["priority_rank"]).all()
    assert set(result["rank_band"]) <= {"solid", "fragile"}


def test_unknown_size_widens_the_band_of_its_crossing(weather):
    known = _banded(_scored(_known(), weather), weather)
    unknown = _known()
    for name in ("rise_m", "silt_fraction", "barrel_slope_m_per_m"):
        unknown = _with_unknown(unknown, name, [7])
    result = _banded(_scored(unknown, weather), weather)
    width = result["rank_high"] - result["rank_low"]
    # known but for whether wind finds its ends open
    assert (known["rank_high"] - known["rank_low"]).iloc[7] <= 2
    assert width.iloc[7] > 10
    assert width.iloc[7] == width.max()
    assert known["rank_band"].iloc[7] == "solid"
    assert result["rank_band"].iloc[7] == "fragile"


def test_same_inputs_give_the_same_bands(weather):
    unknown = _with_unknown(_known(), "silt_fraction", np.arange(0, COUNT, 3))
    crossings = _scored(unknown, weather)
    pd.testing.assert_frame_equal(
        _banded(crossings, weather), _banded(crossings, weather)
    )


def test_crossing_without_a_chance_has_no_band(weather):
    kinds = ["bridge", *["cross"] * (COUNT - 1)]
    crossings = _scored(_known().assign(crossing_kind=kinds), weather)
    result = _banded(crossings, weather)
    assert np.isnan(result[["rank_low", "rank_high"]].iloc[0]).all()
    assert result["rank_band"].iloc[0] == ""
    assert_allclose(result["rank_high"].max(), COUNT - 1)


def test_draws_are_run_in_blocks_and_the_bands_do_not_tell(weather, monkeypatch):
    unknown = _known()
    for name in ("rise_m", "silt_fraction", "barrel_slope_m_per_m"):
        unknown = _with_unknown(unknown, name, np.arange(0, COUNT, 3))
    crossings = _scored(unknown, weather)
    whole = _banded(crossings, weather)
    sizes = []

    def counted(inputs, *args, **options):
        sizes.append(len(inputs.rise_m))
        return modelled_chance(inputs, *args, **options)

    monkeypatch.setattr(rank_band, "modelled_chance", counted)
    monkeypatch.setattr(rank_band, "_BLOCK", 100, raising=False)
    pd.testing.assert_frame_equal(_banded(crossings, weather), whole)
    assert len(sizes) > 2
    assert set(sizes[:-1]) == {100}
