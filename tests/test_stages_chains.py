"""Chains of crossings and crossings not in the inventory, on made-up ground."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from affine import Affine
from shapely.geometry import LineString, Point

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.chains import add_chains
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.unmapped import unmapped_crossings
from culvertrisk.tables import columns
from tests.terrain_made import CRS, NORTH_M, WEST_M, crossings, road

CELL_M = 5.0
ROWS, COLS = 160, 81
ROADS = (40, 80, 120)  # rows of three roads, each over the same valley
MIDDLE_M = WEST_M + (COLS // 2 + 1 / 2) * CELL_M


def _y(row):
    return NORTH_M - (row + 1 / 2) * CELL_M


@pytest.fixture(scope="module")
def terrain():
    """A valley falling south with three banks 15 m wide over it."""
    rows, cols = np.mgrid[0:ROWS, 0:COLS]
    ground_m = 0.5 * np.abs(cols - COLS // 2) + 0.1 * (ROWS - rows)
    for row in ROADS:
        is_bank = np.abs(rows - row) <= 1
        crest_m = 0.5 * np.abs(cols - COLS // 2) + 0.1 * (ROWS - row) + 2
        ground_m = np.where(is_bank, crest_m.clip(0.1 * (ROWS - row) + 3), ground_m)
    grid = Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M)
    return Terrain(ground_m.astype(np.float32), grid, CRS, CELL_M)


@pytest.fixture(scope="module")
def roads():
    lines = [
        LineString([(WEST_M - 50, _y(row)), (WEST_M + 500, _y(row))]) for row in ROADS
    ]
    names = ["Upper Rd", "Middle Rd", "Lower Rd"]
    table = road().iloc[[0, 0, 0]].reset_index(drop=True)
    return table.set_geometry(lines, crs=CRS).assign(road_name=names)


def _table(places, names, kinds="cross"):
    point = crossings().loc[["point"]]
    table = pd.concat([point] * len(places)).set_geometry(
        [Point(p) for p in places], crs=CRS
    )
    table.index = pd.Index(names, name="culvert_id", dtype=object)
    return table.assign(crossing_kind=kinds)


@pytest.fixture(scope="module")
def three():
    return _table([(MIDDLE_M, _y(row)) for row in ROADS], ["a", "b", "c"])


def _done(table, terrain, roads):
    site = site_flow(table, terrain, roads)
    return add_site(table, terrain, site), site


def test_water_of_each_crossing_comes_to_the_next_one(three, terrain, roads):
    table, site = _done(three, terrain, roads)
    done = add_chains(table, terrain, site)
    assert done["downstream_id"].to_dict() == {"a": "b", "b": "c", "c": ""}
    # Forty rows of 5 m apart; up to 10 m either side count as the inlet.
    assert done["downstream_distance_m"].iloc[:2].between(180, 210).all()
    assert np.isnan(done.loc["c", "downstream_distance_m"])


def test_chains_add_exactly_their_columns_and_keep_the_rows(three, terrain, roads):
    table, site = _done(three, terrain, roads)
    before = table.copy()
    done = add_chains(table, terrain, site)
    made = columns().query("made_by == 'chains'").index
    assert set(done.columns) - set(table.columns) == set(made)
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(done[table.columns], table)


def test_without_ground_no_chain_is_known(three, roads):
    table, site = _done(three, None, roads)
    done = add_chains(table, None, site)
    assert (done["downstream_id"] == "").all()
    assert done["downstream_distance_m"].isna().all()


def test_relief_pipe_drains_along_the_ditch_to_the_lower_pipe(terrain, roads):
    places = [(MIDDLE_M + 60, _y(80)), (MIDDLE_M, _y(80))]
    table = _table(places, ["relief", "brook"]).assign(road_name="Middle Rd")
    done, site = _done(table, terrain, roads)
    chained = add_chains(done, terrain, site)
    assert chained["downstream_id"].to_dict() == {"relief": "brook", "brook": ""}


def test_no_crossing_comes_twice_in_a_chain(terrain, roads):
    generator = np.random.default_rng(5)
    places = np.column_stack(
        [
            generator.uniform(WEST_M, WEST_M + COLS * CELL_M, 60),
            np.repeat([_y(row) for row in ROADS], 20),
        ]
    )
    table = _table(places, [f"c{i}" for i in range(60)])
    done, site = _done(table, terrain, roads)
    after = add_chains(done, terrain, site)["downstream_id"]
    assert (after != "").any()
    for start in after.index:
        seen = [start]
        while after[seen[-1]]:
            seen.append(after[seen[-1]])
            assert len(seen) == len(set(seen))


def test_stream_without_a_crossing_is_listed_once(three, terrain, roads):
    table = three.loc[["a", "c"]]
    _, site = _done(table, terrain, roads)
    found = unmapped_crossings(table, terrain, roads, site)
    assert [*found["road_name"]] == ["Middle Rd"]
    assert found.geometry.distance(Point(MIDDLE_M, _y(80))).max() < 25
    # 80 rows above the road less its bank, 81 cells of 25 m2 wide.
    assert found["catchment_m2"].iloc[0] == pytest.approx(78 * 81 * 25, rel=0.05)
    assert found["confidence"].iloc[0] == "clear"
    assert found.crs == table.crs


def test_all_streams_are_listed_where_the_inventory_knows_none(terrain, roads):
    far = _table([(WEST_M - 5000, NORTH_M)], ["far"])
    _, site = _done(far, terrain, roads)
    found = unmapped_crossings(far, terrain, roads, site)
    assert sorted(found["road_name"]) == ["Lower Rd", "Middle Rd", "Upper Rd"]
    assert found["catchment_m2"].is_monotonic_decreasing


def test_known_crossings_are_never_listed(three, terrain, roads):
    _, site = _done(three, terrain, roads)
    assert unmapped_crossings(three, terrain, roads, site).empty


@pytest.mark.parametrize("kept", [0, 2])
def test_without_ground_or_roads_nothing_is_listed(three, terrain, roads, kept):
    ground = terrain if kept == 0 else None
    site = site_flow(three, ground, roads.iloc[:kept])
    found = unmapped_crossings(three, ground, roads.iloc[:kept], site)
    assert found.empty
    assert [*found.columns] == [
        "catchment_m2", "road_name", "confidence", "note", "geometry",
    ]  # fmt: skip


def test_crossing_mapped_off_its_road_takes_the_stream_on_that_road(terrain, roads):
    off = _table([(MIDDLE_M + 20, _y(80) - 90)], ["off"]).assign(
        road_name="MIDDLE road"
    )
    done, _ = _done(off, terrain, roads)
    assert done.loc["off", "catchment_m2"] == pytest.approx(78 * 81 * 25, rel=0.05)
    assert done.loc["off", "stream_note"] == (
        "mapped off its road: taken to be where a stream meets that road"
    )
    # Another road's stream is not taken.
    done, _ = _done(off.assign(road_name="Elsewhere Rd"), terrain, roads)
    assert done.loc["off", "stream_note"].startswith("no stream near")


SLOPE_ROW = 80  # row of a road along a slope falling east


@pytest.fixture(scope="module")
def hillside():
    """Ground falling 2 % east, a bank 15 m wide along it, a ditch on either side."""
    rows, cols = np.mgrid[0:ROWS, 0:COLS]
    ground_m = 100 - 0.1 * cols + 0.02 * np.abs(rows - SLOPE_ROW)
    ground_m[np.abs(rows - SLOPE_ROW) <= 1] += 1.5
    grid = Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M)
    return Terrain(ground_m.astype(np.float32), grid, CRS, CELL_M)


def _ditch_town(side):
    """Driveways on both sides, and a pipe whose inlet is on one side (1 is north)."""
    y_m = _y(SLOPE_ROW)
    places = [
        (WEST_M + 50, y_m + 12), (WEST_M + 100, y_m - 12), (WEST_M + 130, y_m + 12),
        (WEST_M + 160, y_m - 12), (WEST_M + 200, y_m),
    ]  # fmt: skip
    names = ["north 1", "south 1", "north 2", "south 2", "pipe"]
    table = _table(places, names, ["driveway"] * 4 + ["cross"])
    x_m = WEST_M + 200
    ends = {
        "inlet_x_m": x_m, "inlet_y_m": y_m + 11 * side,
        "outlet_x_m": x_m, "outlet_y_m": y_m - 11 * side,
        "inlet_invert_m": 2.0, "outlet_invert_m": 1.0,
    }  # fmt: skip
    for name, value in ends.items():
        table.loc["pipe", name] = value
    return table.assign(road_name="Middle Rd")


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("is_split", [False, True])
def test_ditch_links_pipes_on_one_side_of_the_road_only(
    hillside, roads, side, is_split
):
    """Driveway pipes follow one another along a ditch: common practice, no source."""
    line = roads.iloc[[1]]
    if is_split:  # two lines of one road, drawn towards one another
        a, b = line.geometry.iloc[0].coords
        middle = (WEST_M + 115, a[1])
        line = line.iloc[[0, 0]].set_geometry(
            [LineString([a, middle]), LineString([b, middle])], crs=CRS
        )
    table, site = _done(_ditch_town(side), hillside, line)
    after = add_chains(table, hillside, site)["downstream_id"]
    assert after["north 1"] == "north 2"
    assert after["south 1"] == "south 2"
    ours, other = ("north 2", "south 2") if side == 1 else ("south 2", "north 2")
    assert after[ours] == "pipe"
    assert after[other] == ""
    assert after["pipe"] == ""


@pytest.mark.parametrize("side", [1, -1])
def test_water_under_a_road_comes_to_the_next_pipe_on_the_far_side(
    hillside, roads, side
):
    """A pipe's outlet lies in the ditch beyond the road: by definition of a pipe."""
    table = _ditch_town(1).loc[["pipe", "pipe"]]
    table.index = pd.Index(["upper", "lower"], name="culvert_id", dtype=object)
    table = table.set_geometry(
        [Point(WEST_M + x_m, _y(SLOPE_ROW)) for x_m in (60, 200)], crs=CRS
    )
    for end, sign in (("inlet", np.array([1, side])), ("outlet", -np.array([1, side]))):
        table[f"{end}_x_m"] = table.geometry.x
        table[f"{end}_y_m"] = _y(SLOPE_ROW) + 11 * sign
    # The flow over the DEM is left out: the ditch alone is asked.
    done, site = _done(table, hillside, roads.iloc[[1]])
    nowhere = np.full(len(table), -1, np.int64)
    site = replace(site, catchment_row=nowhere, catchment_col=nowhere)
    after = add_chains(done, hillside, site)["downstream_id"]
    assert after.to_dict() == {"upper": "lower", "lower": ""}


def test_pipe_in_a_ditch_without_a_road_line_has_no_side(hillside, roads):
    table, site = _done(_ditch_town(1), hillside, None)
    after = add_chains(table, hillside, site)["downstream_id"]
    assert not after.isin(["north 1", "north 2", "south 1", "south 2"]).any()
