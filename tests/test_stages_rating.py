"""Rating curves of hand-made crossings: open, iced, over the road, unknown."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shapely import Point

from culvertrisk.stages.flood_capacity import iced_openings, open_capacity, openings
from culvertrisk.stages.rating import (
    rating_curves,
    rating_for_pages,
    road_lengths,
    under_water_length,
    weir_curves,
)
from culvertrisk.stages.road_over_bed import headwater_limit
from culvertrisk.stages.road_profile import RoadProfile
from culvertrisk.stages.tailwater import channel_tailwater
from culvertrisk.tables import table

NAN = np.nan
PIPE = {
    "crossing_kind": "cross",
    "shape": "round",
    "material": "steel",
    "entrance": "projecting",
    "rise_m": 0.6096,
    "span_m": 0.6096,
    "barrel_count": 1.0,
    "length_m": 12.0,
    "silt_fraction": 0.0,
    "barrel_slope_m_per_m": 0.01,
    "cover_m": 0.3048,
    "road_elevation_m": NAN,
    "upstream_invert_m": NAN,
    "outlet_drop_m": 0.0,
    "blocked_fraction": 0.0,
    "design_flow_m3s": 0.4,
    "today_flow_m3s": 0.1,
}
COLUMNS = [
    "culvert_id",
    "flow_m3s",
    "headwater_open_m",
    "headwater_iced_m",
    "over_road_m",
]


def _crossings(*changes):
    rows = [{**PIPE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def test_a_curve_has_its_flows_and_never_falls():
    crossings = _crossings({}, {"blocked_fraction": 0.5}, {"blocked_fraction": 1.0})
    kept = crossings.copy()
    curves = rating_curves(crossings)
    pd.testing.assert_frame_equal(crossings, kept)
    assert list(curves) == COLUMNS
    assert curves["culvert_id"].value_counts().tolist() == [12, 12, 12]
    for _, curve in curves.groupby("culvert_id"):
        assert (np.diff(curve["flow_m3s"]) > 0).all()
        assert (np.diff(curve["headwater_open_m"]) > 0).all()
        assert (np.diff(curve["headwater_iced_m"]) >= 0).all()
        assert (curve["headwater_iced_m"] >= curve["headwater_open_m"]).all()
        assert curve["over_road_m"].iloc[-1] > 0


def test_without_ice_both_curves_are_one():
    curves = rating_curves(_crossings({}))
    assert (curves["headwater_open_m"] == curves["headwater_iced_m"]).all()


def test_the_curve_meets_the_road_at_the_open_capacity():
    crossings = _crossings({}, {"barrel_count": 2.0}, {"barrel_slope_m_per_m": 0.0})
    limit_m, _ = headwater_limit(crossings)
    capacity_m3s = open_capacity(openings(crossings), limit_m)
    curves = rating_curves(crossings, flow_count=48)
    for i, (_, curve) in enumerate(curves.groupby("culvert_id")):
        at_road = np.interp(limit_m[i], curve["headwater_open_m"], curve["flow_m3s"])
        assert_allclose(at_road, capacity_m3s[i], rtol=0.03)
    two, one = capacity_m3s[1], capacity_m3s[0]
    assert two == 2 * one


def test_a_barrel_full_of_ice_holds_water_up_to_the_road():
    curve = rating_curves(_crossings({"blocked_fraction": 1.0}))
    assert (curve["headwater_iced_m"] > 0.6096 + 0.3048).all()
    assert (curve["over_road_m"] > 0).all()


def test_what_is_not_a_pipe_or_not_known_has_no_curve():
    changes = {"crossing_kind": "bridge"}, {"rise_m": NAN}, {"blocked_fraction": NAN}
    curves = rating_curves(_crossings(*changes)).set_index("culvert_id")
    assert curves.loc[["A0", "A1"], COLUMNS[1:]].isna().all(axis=None)
    assert curves.loc["A2", "headwater_open_m"].notna().all()
    assert curves.loc["A2", ["headwater_iced_m", "over_road_m"]].isna().all(axis=None)


def test_the_curve_reaches_the_design_flow_and_todays():
    crossings = _crossings({"design_flow_m3s": 5.0}, {"today_flow_m3s": 7.0})
    tops = rating_curves(crossings).groupby("culvert_id")["flow_m3s"].max()
    assert_allclose(tops, [5.0, 7.0])


def test_a_tailwater_raises_the_curve():
    crossings = _crossings({"barrel_slope_m_per_m": 0.0})
    free = rating_curves(crossings)["headwater_open_m"]
    drowned = rating_curves(crossings, tailwater_m=np.array([0.7]))["headwater_open_m"]
    assert (drowned > free).iloc[:6].all()


def test_the_road_as_the_elevation_raster_shows_it_is_used():
    """A level road of 100 m holds less water than the assumed sag of two grades."""
    level = np.full((1, 51), 310.0)
    road = RoadProfile(
        line=np.array([0]),
        along_m=np.array([50.0]),
        step_m=2.0,
        x_m=level,
        y_m=level,
        elevation_m=level,
        sag=np.array([25]),
        crests=np.array([[0, 50]]),
    )
    crossings = _crossings({"blocked_fraction": 1.0})
    assumed = rating_curves(crossings)["over_road_m"].to_numpy()
    shown = rating_curves(crossings, profile=road)["over_road_m"].to_numpy()
    assert (shown < assumed).all()
    # Q = Cd L h^1.5 with L 100 m and Cr 2.5 + 0.6 HWr / 4 ft
    coefficient = np.sqrt(0.3048) * (2.5 + 0.6 * shown[-1] / 1.2192)
    flow_m3s = rating_curves(crossings)["flow_m3s"].iloc[-1]
    assert_allclose(coefficient * 100 * shown[-1] ** 1.5, flow_m3s, rtol=1e-4)


def test_pages_get_the_rows_asked_with_the_water_of_the_next_crossing():
    """The road below stands higher: its headwater backs up to this outlet."""
    crossings = _crossings(
        {"road_elevation_m": 100.0, "barrel_slope_m_per_m": 0.0},
        {"road_elevation_m": 101.0, "barrel_slope_m_per_m": 0.0, "today_flow_m3s": 0.5},
    ).assign(downstream_id=["A1", ""])
    curves = rating_for_pages(crossings, ["A1", "A0"])
    assert curves["culvert_id"].unique().tolist() == ["A1", "A0"]
    alone = rating_curves(crossings.iloc[:1])
    backed = curves[curves["culvert_id"] == "A0"]
    assert (backed["headwater_open_m"] > alone["headwater_open_m"].to_numpy()).all()
    free = rating_curves(crossings.iloc[1:])
    assert_allclose(curves.iloc[:12, 1:], free.iloc[:, 1:])


def test_high_water_below_drowns_the_road_too():
    crossings = _crossings({"blocked_fraction": 1.0})
    free = rating_curves(crossings)["over_road_m"]
    drowned = rating_curves(crossings, tailwater_m=1.4)["over_road_m"]
    assert (drowned > free).all()


def test_the_ditch_gives_a_tailwater_less_the_drop_at_the_outlet():
    crossings = _crossings({}, {"outlet_drop_m": 0.1}, {"outlet_drop_m": 3.0})
    depth_m = channel_tailwater(crossings, np.array([0.4, 0.4, 0.4]))
    assert depth_m[0] > 0.1
    assert_allclose(depth_m, [depth_m[0], depth_m[0] - 0.1, 0.0])


def test_iced_openings_let_no_more_in_than_the_inlet_and_lose_most():
    crossings = _crossings({"entrance": "headwall"}, {"shape": "box", "span_m": 1.0})
    limit_m, _ = headwater_limit(crossings)
    found = openings(crossings)
    iced = iced_openings(found, limit_m, np.array([0.3, 0.3]))
    own_inlet = replace(found, barrel=iced.barrel, conduit=iced.conduit)
    most_m3s = open_capacity(own_inlet, limit_m) * (1 + 1e-9)
    assert (open_capacity(iced, limit_m) <= most_m3s).all()
    assert (np.asarray(iced.conduit.entrance_loss) == 0.9).all()


def test_weir_curves_are_the_table_in_metres():
    """2.5 to 3.1 x sqrt(0.3048) = 0.5521, HWr 4 ft = 1.2192 m."""
    curves = weir_curves()
    assert_allclose(curves.low[0], [0, 1.2192])
    assert_allclose(curves.low[1], [1.3802, 1.7115], atol=1e-4)
    assert (table("weir_coefficients")["source"] == "fhwa2005").all()


def test_an_empty_table_has_no_curves():
    curves = rating_curves(_crossings({}).iloc[:0])
    assert list(curves) == COLUMNS
    assert curves.empty


@pytest.mark.parametrize("step_m", [2.0, 5.0])
def test_the_length_of_a_sag_runs_straight_between_the_places_looked_at(step_m):
    """2 % down to the sag and up again, 60 m each way, between places at any step."""
    count = int(60 / step_m)
    along_m = np.arange(-count, count + 1) * step_m
    height_m = 200 + 0.02 * np.abs(along_m)[None]
    road = RoadProfile(
        line=np.array([0]),
        along_m=np.array([50.0]),
        step_m=step_m,
        x_m=height_m,
        y_m=height_m,
        elevation_m=height_m,
        sag=np.array([count]),
        crests=np.array([[-1, -1]]),
    )
    lengths = road_lengths(np.array([1.2]), road)
    for depth_m in (0.01, 0.137, 0.5):
        length_m = under_water_length(np.array([depth_m]), lengths)
        assert_allclose(length_m, 100 * depth_m, rtol=1e-9)
