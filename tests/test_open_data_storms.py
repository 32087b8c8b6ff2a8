"""Storm rules against NOAA Atlas 14, volume 8, Ann Arbor (open data, not kept here)."""

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.formulas import rainfall
from culvertrisk.formulas.curve_number import runoff_depth
from culvertrisk.inputs.rainfall import read_rainfall
from culvertrisk.settings import Reading, Settings
from culvertrisk.stages.design_flow import add_design_flow
from culvertrisk.stages.design_storm import DesignChoices, rain_depths, rain_of

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)
INCH_M = 0.0254
MINUTE_S = 60


@pytest.fixture(scope="module")
def rows():
    """Rain in metres by the table's own row labels, first block: the estimate."""
    path = Path(FOLDER) / "atlas14_ann_arbor" / "All_Depth_English_PDS.csv"
    found = {}
    for line in path.read_text(encoding="latin-1").splitlines():
        label, colon, numbers = line.partition(":,")
        if colon and label.strip() not in found:
            found[label.strip()] = np.array([float(x) for x in numbers.split(",")])
    years = found.pop("by duration for ARI (years)")
    return years, {label: depth * INCH_M for label, depth in found.items()}


@pytest.mark.parametrize(
    ("label", "minutes"),
    [("10-min", 10), ("15-min", 15), ("30-min", 30), ("2-hr", 120)],
)
def test_rain_of_other_durations_is_within_a_tenth_of_the_atlas(rows, label, minutes):
    """2 to 100 years; Bell's one rule for all places against one place."""
    years, rain_m = rows
    usual = (years >= 2) & (years <= 100)
    atlas = rain_m[label][usual] / rain_m["60-min"][usual]
    assert_allclose(rainfall.rain_duration_ratio(minutes * MINUTE_S), atlas, rtol=0.1)


def test_rain_between_return_periods_is_within_one_hundredth_of_the_atlas(rows):
    """10, 50 and 100 years given; 25 asked."""
    years, rain_m = rows
    hour_m = dict(zip(years, rain_m["60-min"], strict=True))
    given = [10.0, 50.0, 100.0]
    ours = rainfall.storm_rain(25.0, given, [hour_m[year] for year in given])
    assert_allclose(ours, hour_m[25.0], rtol=0.01)


def test_design_peaks_of_the_atlas_file_are_the_hand_sums():
    """10 ha, C 0.3, one hour. A flow of 1 in 10 years is one of 9.49 years in this
    series: 1.44 + 0.26 ln(9.49 / 5) / ln 2 = 1.680 in. At 24 h, 2.82 + 0.44 * 0.9247
    = 3.227 in; with CN 80 (tr55, eq. 2-3: S 2.5 in) that runs off 1.423 in."""
    path = Path(FOLDER) / "atlas14_ann_arbor" / "All_Depth_English_PDS.csv"
    rain = read_rainfall(path, Reading()).table
    place = {
        "road_class": "C",
        "catchment_m2": 1e5,
        "flow_path_m": 500.0,
        "flow_path_slope_m_per_m": 0.05,
        "concentration_s": 3600.0,
    }
    town = Settings(
        files={"culverts": "culverts.csv"},
        road_classes={"C": {"design_return_years": 10}},
    )
    row = add_design_flow(
        gpd.GeoDataFrame([place]), town, DesignChoices(curve_number=80.0), rain
    ).iloc[0]
    assert_allclose(
        row["peak_10_years_m3s"], 0.3 * 1.680 * INCH_M / 3600 * 1e5, rtol=1e-3
    )
    assert row["design_flow_low_m3s"] < row["design_flow_high_m3s"]
    depth_m = rain_depths(
        rain_of(rain, town.storm, DesignChoices()), np.array([86_400.0])
    )[0, 1]
    assert_allclose(depth_m / INCH_M, 3.227, atol=1e-3)
    assert_allclose(runoff_depth(depth_m, 80.0) / INCH_M, 1.423, atol=1e-3)
