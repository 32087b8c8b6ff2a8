"""Priority: loss avoided, rank, shares and reasons on a hand-made table."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from culvertrisk.stages.coalitions import GROUPS
from culvertrisk.stages.priority import add_priority
from culvertrisk.tables import columns

CHANCE = np.array([0.8, 0.4, 0.4, np.nan])


@pytest.fixture
def crossings():
    dictionary = columns()
    before = dictionary[dictionary["made_by"] != "priority"]
    table = {
        name: [""] * 4 if row["unit"] == "text" else [np.nan] * 4
        for name, row in before.iterrows()
    }
    frame = gpd.GeoDataFrame(
        table,
        index=pd.Index(["H1", "N4", "U2", "B1"], name="culvert_id"),
        geometry=gpd.points_from_xy([0, 1, 2, 3], [0, 0, 0, 0]),
    )
    return frame.assign(
        blocked_chance=CHANCE,
        freeze_index=100 * CHANCE,
        flooded_open_chance=[0.1, 0.0, np.nan, np.nan],
        flooded_blocked_chance=[0.9, 0.5, np.nan, np.nan],
        flooded_chance=[0.74, 0.2, np.nan, np.nan],
        flooded_loss_person_h=[100.0, 50.0, np.nan, 10.0],
        rise_m=[0.45, np.nan, 0.9, np.nan],
        barrel_slope_m_per_m=[0.002, 0.03, 0.03, np.nan],
        today_shade_fraction=[0.7, 0.1, np.nan, np.nan],
        logged_thaw_count=[5.0, 0.0, 0.0, 0.0],
        expected_thaw_count=[2.04, 0.5, 0.5, np.nan],
        is_only_way=[1.0, 0.0, np.nan, np.nan],
        cut_off_dwelling_count=[11.0, 0.0, np.nan, np.nan],
        cut_off_places=["1 dwelling: oxygen", "", "", ""],
        note=["", "", "holds water", ""],
    )


@pytest.fixture
def chances():
    """Shading alone brings a third of the chance, slope the rest."""
    coalition = np.arange(2 ** len(GROUPS))[:, None]
    shading, slope = coalition & 1, (coalition >> 1) & 1
    return CHANCE * (shading / 3 + slope * 2 / 3)


def test_priority_adds_exactly_its_columns_and_keeps_the_rest(crossings, chances):
    before = crossings.copy()
    scored = add_priority(crossings, chances)
    dictionary = columns()
    made = set(dictionary.index[dictionary["made_by"] == "priority"])
    assert set(scored.columns) - set(before.columns) == made
    assert scored.index.equals(before.index)
    pd.testing.assert_frame_equal(crossings, before)


def test_loss_avoided_is_chance_times_gain_times_consequence(crossings, chances):
    scored = add_priority(crossings, chances)
    # U2: mean gain of the known (0.8 and 0.5) and median loss (50) stand in
    expected = [0.8 * 0.8 * 100, 0.4 * 0.5 * 50, 0.4 * 0.65 * 50, np.nan]
    assert_allclose(scored["loss_avoided_person_h"], expected)
    assert scored["priority_rank"].tolist() == [1, 3, 2, 4]


def test_shares_add_up_to_the_score_over_the_reference(crossings, chances):
    scored = add_priority(crossings, chances)
    shares = scored[[f"share_{name}_index" for name in GROUPS]]
    assert_allclose(shares.sum(axis=1, skipna=False), 100 * CHANCE)
    assert_allclose(scored["share_shading_index"], 100 * CHANCE / 3)


def test_reasons_are_plain_sentences_and_unknowns_are_said(crossings, chances):
    scored = add_priority(crossings, chances)
    assert scored.loc["H1", "reasons"] == (
        "Flat: slope 0.2 %, water may stand in the barrel; "
        "Shade: the darker end gets 70 % less sun today than open ground; "
        "Only way to 11 dwellings, 1 dwelling: oxygen"
    )
    assert "size unknown" in scored.loc["N4", "unknowns"]
    assert "size unknown" not in scored.loc["H1", "unknowns"]
    remark = "standing water not measured: taken from a remark"
    told = scored["unknowns"].str.contains(remark).tolist()
    assert told == [False, False, True, False]


def test_gain_of_a_pipe_of_unknown_size_is_no_more_than_its_blocked_chance(
    crossings, chances
):
    flooded = crossings["flooded_blocked_chance"].to_numpy(float).copy()
    flooded[2] = 0.1  # below the mean gain of the known, 0.65
    scored = add_priority(crossings.assign(flooded_blocked_chance=flooded), chances)
    assert_allclose(scored["loss_avoided_person_h"].iloc[2], 0.4 * 0.1 * 50)
