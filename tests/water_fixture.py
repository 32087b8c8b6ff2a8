"""Water in the small invented town: ponds, unlisted streams, rating curves."""

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import Point

from culvertrisk.reports.map_data import MapContent
from culvertrisk.tables import columns
from tests import report_fixture
from tests.report_fixture import SOUTH_M, WEST_M, WORK_CRS


def ponds() -> gpd.GeoDataFrame:
    """Ponds behind two crossings, one with an island."""
    points = report_fixture.crossings().geometry.iloc[:2].translate(0, 70)
    shapes = [points.iloc[0].buffer(60).difference(points.iloc[0].buffer(15))]
    shapes.append(points.iloc[1].buffer(60))
    return gpd.GeoDataFrame(geometry=shapes, index=points.index, crs=WORK_CRS)


def unmapped() -> gpd.GeoDataFrame:
    """Two streams that meet a road where no culvert is listed."""
    places = [(2500, 1300), (600, 1250)]
    return gpd.GeoDataFrame(
        {
            "catchment_m2": [1_746_000.0, 41_000.0],
            "road_name": ["Norrick Lane", "Harn Hill"],
            "confidence": ["likely", "doubtful"],
            "note": [
                "a large stream meets the road",
                "a known crossing lies 91\u202fm away",
            ],
        },
        geometry=[Point(WEST_M + e, SOUTH_M + n) for e, n in places],
        crs=WORK_CRS,
    )


def ratings() -> pd.DataFrame:
    """Rating curves of two crossings; the third has none."""
    flow_m3s = np.arange(1, 5) * 0.15
    curves = [
        pd.DataFrame(
            {
                "culvert_id": culvert_id,
                "flow_m3s": flow_m3s,
                "headwater_open_m": [0.3, 0.6, 1.1, 1.62],
                "headwater_iced_m": [0.6, 1.63, 1.66, 1.69],
                "over_road_m": [0.0, 0.03, 0.06, 0.09],
            }
        )
        for culvert_id in ("H1", "O5")
    ]
    unknown = curves[0].assign(
        culvert_id="U2",
        headwater_open_m=np.nan,
        headwater_iced_m=np.nan,
        over_road_m=np.nan,
    )
    return pd.concat([*curves, unknown], ignore_index=True)


def with_water(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The crossings with what today's water does if nothing passes."""
    count = len(table)
    return table.assign(
        headwater_limit_m=1.6,
        over_road_depth_m=[0.31, 0.0] + [np.nan] * (count - 2),
        over_road_length_m=[24.0, 0.0] + [np.nan] * (count - 2),
        closure_s=[50_400.0, 0.0] + [np.nan] * (count - 2),
        pond_dwelling_count=[2.0] + [0.0] * (count - 1),
        pond_depth_m=[2.13] + [0.0] * (count - 1),
        held_release_m3s=[0.84, 0.2] + [np.nan] * (count - 2),
        held_release_flooded_chance=[0.7] + [np.nan] * (count - 1),
        release_flow_m3s=[np.nan, 0.84] + [np.nan] * (count - 2),
        release_flooded_chance=[np.nan, 0.7] + [np.nan] * (count - 2),
        downstream_id=["O5"] + [""] * (count - 1),
        washout_class=["high", "low"] + [""] * (count - 2),
        flow_note=["cover unknown: 0.30\u202fm assumed"] + [""] * (count - 1),
        peak_note=["catchment is above the 80\u202fha limit"] + [""] * (count - 1),
        design_flow_low_m3s=[0.32] + [np.nan] * (count - 1),
        design_flow_high_m3s=[0.51] + [np.nan] * (count - 1),
        design_flow_methods=[
            "rational 0.320\u202fm³/s (used), curve number 0.510\u202fm³/s"
        ]
        + [""] * (count - 1),
        cure=["drain; heat cable"] + [""] * (count - 1),
        second_cause=["seep"] + [""] * (count - 1),
        rank_low=[1.0] * count,
        rank_high=[3.0] * count,
        rank_band=["fragile"] * count,
        self_opening_day=["2025-04-27"] + [""] * (count - 1),
    )


def content(**other: Any) -> MapContent:
    """The whole morning with ponds, unlisted streams and rating curves."""
    parts: dict[str, Any] = {
        "crossings": with_water(report_fixture.crossings()),
        "ponds": ponds(),
        "unmapped": unmapped(),
        "ratings": ratings(),
    }
    return report_fixture.content(**(parts | other))


def known_columns() -> pd.DataFrame:
    """The dictionary of columns; with those of water where it lacks them."""
    table = columns().copy().astype(object)
    units = {
        "over_road_depth_m": "m",
        "over_road_length_m": "m",
        "closure_s": "s",
        "release_flow_m3s": "m3/s",
        "release_flooded_chance": "chance",
        "washout_class": "text",
    }
    for name, unit in units.items():
        if name not in table.index:
            table.loc[name] = {"unit": unit, "made_by": "consequence"}
    return table
