"""Storm rules against NOAA Atlas 14, volume 8, Ann Arbor (open data, not kept here)."""

import os
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from culvertrisk.formulas import rainfall

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
