"""The thaw job: parts, ranges, ends and refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from culvertrisk.plans.thaw_job import COLUMNS, thaw_jobs
from culvertrisk.settings import Crew
from culvertrisk.tables import sources, table

PLACE = {"start_lat": 0.0, "start_lon": 0.0}
JETTER = Crew(
    name="T1",
    method="hot water",
    flow_m3s="5 gpm",
    water_c="175 degF",
    burner_input_w="400000 Btu/h",
    hose_m="300 ft",
    tank_m3="800 gal",
    fuel_tank_m3="30 gal",
    **PLACE,
)
STEAMER = Crew(
    name="T2",
    method="steam",
    flow_m3s=4.41e-5,
    burner_input_w="490000 Btu/h",
    hose_m="150 ft",
    tank_m3="210 gal",
    fuel_tank_m3="30 gal",
    **PLACE,
)
DIGGER = Crew(name="T3", method="no heat", **PLACE)


def crossings(**columns):
    table = pd.DataFrame(columns)
    table.index = pd.Index([f"A{n}" for n in range(len(table))], name="culvert_id")
    return table


def one(crew=JETTER, air_c=-9.0, **columns):
    words = {"length_m": 12.0, "rise_m": 0.45, "blocked_fraction": 1.0} | columns
    frame = crossings(**{key: [value] for key, value in words.items()})
    return thaw_jobs(frame, (crew,), air_c).iloc[0]


def test_thaw_jobs_gives_a_row_for_each_crossing_and_crew_and_keeps_its_input():
    table = crossings(length_m=[12.0, np.nan], rise_m=[0.45, 0.6])
    before = table.copy()
    jobs = thaw_jobs(table, (JETTER, STEAMER, DIGGER), -9.0)
    assert list(jobs.columns) == list(COLUMNS)
    assert len(jobs) == 6
    assert jobs[["culvert_id", "crew"]].drop_duplicates().shape == (6, 2)
    pd.testing.assert_frame_equal(table, before)


def test_thaw_jobs_of_no_crew_is_an_empty_table():
    assert list(thaw_jobs(crossings(length_m=[12.0]), (), -9.0)) == list(COLUMNS)


def test_solid_pipe_takes_length_over_the_solid_advance():
    job = one(length_m=12.0)
    # 12 m / 0.0023 m/s; set-up 12 min, dig 14 min, open-up check 12 min
    assert job.pilot_s == pytest.approx(5217, abs=1)
    assert (job.set_up_s, job.dig_s, job.check_s, job.purge_s) == (720, 840, 720, 0)
    assert job.job_s == pytest.approx(5217 + 720 + 840 + 720, abs=1)
    assert job.water_m3 == pytest.approx(5217 * 3.15451e-4, rel=1e-3)


def test_weak_flow_is_governed_by_heat_and_not_by_advance():
    weak = JETTER.model_copy(update={"flow_m3s": 3e-5, "hose_m": 60.0})
    assert one(weak).pilot_s > 1.2 * one().pilot_s


def test_staked_end_halves_the_dig():
    assert one(is_staked=1.0).dig_s == one(is_staked=np.nan).dig_s / 2


def test_purge_is_added_below_minus_15():
    assert [one(air_c=a).purge_s for a in (-15.0, -15.1)] == [0.0, 480.0]


def test_pipe_longer_than_the_reach_is_opened_from_both_ends():
    near, both, far = (
        one(STEAMER, length_m=m, blocked_fraction=0.5) for m in (30.0, 60.0, 80.0)
    )
    assert (near.ends, both.ends, far.ends) == ("outlet", "both ends", "dig only")
    assert both.set_up_s == 2 * near.set_up_s
    assert both.dig_s == 2 * near.dig_s
    assert far.why_not == "hose too short: 71\u202fm from both ends, barrel 80\u202fm"
    assert not far.is_possible


def test_crew_without_heat_opens_nothing_and_uses_nothing():
    job = one(DIGGER)
    assert (job.is_possible, job.ends, job.water_m3, job.fuel_m3) == (
        False,
        "dig only",
        0.0,
        0.0,
    )
    assert job.why_not == "no heat: digs, scouts and signs only"


def test_crew_with_blanks_in_the_town_file_is_told_which():
    blank = Crew(name="T9", method="hot water", **PLACE)
    assert one(blank).why_not == (
        "the town file gives no flow_m3s, hose_m, tank_m3, fuel_tank_m3"
    )


def test_job_larger_than_the_tanks_is_refused_with_the_reason():
    small = JETTER.model_copy(update={"tank_m3": 0.3})
    assert one(small).why_not == "takes more water than one tank"
    dry = JETTER.model_copy(update={"fuel_tank_m3": 1e-4})
    assert one(dry).why_not == "takes more fuel than the tank holds"


def test_bridge_is_not_thawed():
    job = one(crossing_kind="bridge")
    assert job.why_not == "a bridge or ford is not thawed by hose"


def test_unknown_air_temperature_gives_no_job():
    job = one(air_c=np.nan)
    assert np.isnan(job.job_s)
    assert not job.is_possible


@given(
    st.sampled_from([JETTER, STEAMER]),
    st.floats(1, 40),
    st.floats(0.2, 2),
    st.floats(0, 1),
    st.floats(-30, 5),
)
def test_jobs_are_positive_within_their_range_and_grow_with_length_and_ice(
    crew, length_m, rise_m, blocked_fraction, air_c
):
    table = crossings(
        length_m=[length_m, 1.5 * length_m, length_m],
        rise_m=[rise_m] * 3,
        blocked_fraction=[blocked_fraction, blocked_fraction, 1.0],
    )
    jobs = thaw_jobs(table, (crew,), air_c)
    assert (jobs[["job_s", "water_m3", "fuel_m3"]] > 0).all(axis=None)
    assert (jobs["job_low_s"] <= jobs["job_s"]).all()
    assert (jobs["job_s"] <= jobs["job_high_s"]).all()
    assert jobs.job_s[0] <= jobs.job_s[1]
    assert jobs.job_s[0] <= jobs.job_s[2]
    assert jobs.pilot_s[0] < jobs.pilot_s[1]


@pytest.mark.parametrize("name", ["thaw_defaults", "cautions"])
def test_table_names_a_known_source_on_every_row(name):
    rows = table(name)
    assert set(rows["source"]) <= set(sources().index)
    assert rows["where"].notna().all()


def test_every_default_lies_in_its_range():
    rows = table("thaw_defaults").dropna(subset=["low", "high"])
    assert ((rows["low"] <= rows["value"]) & (rows["value"] <= rows["high"])).all()


def test_a_jet_pushes_back_with_what_its_pump_gives():
    """0.0526 x 5 gpm x sqrt(3000 psi) = 14.4 lbf = 64.1 N; constant from memory."""
    washer = JETTER.model_copy(update={"pressure_pa": 20_684_271.0})
    assert one(washer)["jet_reaction_n"] == pytest.approx(64.1, abs=0.45)
    for crew in (JETTER, STEAMER, DIGGER):  # no pressure told, no jet
        assert np.isnan(one(crew)["jet_reaction_n"])


def test_a_hose_that_takes_the_whole_pressure_is_told():
    """90 psi per 100 ft of 1/2 in at 10 gpm (formula): 6.2 MPa on 1000 ft."""
    long_hose = {"flow_m3s": 0.000630902, "hose_m": 304.8, "tank_m3": 9.0}
    weak = JETTER.model_copy(update=long_hose | {"pressure_pa": 5e6})
    why_not = "the hose takes 6.2\u202fMPa, the pump gives 5.0\u202fMPa"
    assert one(weak)["why_not"] == why_not
    strong = weak.model_copy(update={"pressure_pa": 10e6})
    assert "MPa" not in one(strong)["why_not"]
