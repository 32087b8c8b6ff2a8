"""Rain tables of every layout, and what is refused."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.formulas.rainfall import rain_depth
from culvertrisk.inputs.rainfall import COLUMNS, read_rainfall
from culvertrisk.inputs.rainfall_layouts import duration_s, return_years
from culvertrisk.settings import Reading

INCH_M = 0.0254
HOUR_S = 3600.0
OPEN_DATA = os.environ.get("CULVERTRISK_OPEN_DATA", "")
# the rows are those of atlas14v9, point 26.6 N 81.9 W
ATLAS = """\
Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 9 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Project area: Southeastern States
Latitude: 26.6000°
Longitude: -81.9000°

PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
30-min:, 1.60,1.79,2.11,2.37,2.74,3.02,3.31,3.60,3.99,4.28
60-min:, 2.14,2.38,2.79,3.13,3.62,4.00,4.38,4.78,5.32,5.74
24-hr:, 4.01,4.76,6.09,7.28,9.05,10.5,12.1,13.7,16.1,18.0

PRECIPITATION FREQUENCY ESTIMATES AT UPPER BOUND OF 90% CONFIDENCE INTERVAL
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
30-min:, 2,2,3,3,3,4,4,4,5,5

Date/time (GMT):  Thu Jul 11 21:12:30 2019
"""


def _read(tmp_path, text, encoding="utf-8", **reading):
    path = tmp_path / "rain.csv"
    path.write_text(text, encoding=encoding)
    return read_rainfall(path, Reading(**reading))


def _grid(table):
    return table.pivot(index="duration_s", columns="return_years", values="rain_m")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_atlas_file_gives_its_first_block_and_its_bounds(tmp_path, encoding):
    table = _read(tmp_path, ATLAS, encoding).table
    assert list(table.columns) == [*COLUMNS]
    assert set(table["series"]) == {"partial"}
    grid = _grid(table)
    assert_allclose(grid.loc[1800, 100], 3.31 * INCH_M)
    assert_allclose(grid.loc[24 * HOUR_S, 2], 4.76 * INCH_M)
    high_m = table.set_index(["duration_s", "return_years"])["rain_high_m"]
    assert_allclose(high_m[1800, 100], 4 * INCH_M)
    assert np.isnan(high_m[3600, 100])
    assert table["rain_low_m"].isna().all()


def test_rain_between_the_rows_of_an_atlas_file_is_the_hand_sum(tmp_path):
    """atlas14v9: 10 years, 45 min: 2.789 in (log-log); 3.718 in/h."""
    grid = _grid(_read(tmp_path, ATLAS).table)
    depth_m = rain_depth([2700.0], 10.0, grid.index, grid.columns, grid.to_numpy())
    assert_allclose(depth_m / INCH_M, 2.789, atol=0.0005)
    assert_allclose(depth_m / INCH_M / 0.75, 3.718, atol=0.001)


def test_the_order_of_rows_and_titles_does_not_matter(tmp_path):
    head, block = ATLAS.split("PRECIPITATION FREQUENCY ESTIMATES\n")[:2]
    lines = block.split("\n\n")[0].splitlines()
    turned = "\n".join([lines[0], *lines[:0:-1]])
    plain = _read(tmp_path, f"Rainfall depth in inches, partial duration\n{turned}\n")
    whole = _read(tmp_path, head + "PRECIPITATION FREQUENCY ESTIMATES\n" + block)
    left, right = plain.table.drop(columns="series"), whole.table.drop(columns="series")
    kept = [name for name in left if not name.startswith("rain_")] + ["rain_m"]
    pd.testing.assert_frame_equal(left[kept], right[kept])


def test_wide_table_in_millimetres_with_semicolons_and_decimal_commas(tmp_path):
    text = "Duration (min);2-yr;10-yr;100-yr\n5;8,5;12,1;19,0\n60;25;40;66\n"
    grid = _grid(_read(tmp_path, text, units={"rain_m": "mm"}).table)
    assert_allclose(grid.to_numpy(), [[0.0085, 0.0121, 0.019], [0.025, 0.04, 0.066]])
    assert list(grid.index) == [300, 3600]


def test_yearly_chances_are_read_as_return_periods(tmp_path):
    text = (
        "Annual maximum, precipitation depth (mm)\n"
        "by duration for AEP:,1/2,1/10,1%\n60-min:,25,40,66\n24-hr:,60,90,130\n"
    )
    table = _read(tmp_path, text).table
    assert sorted(set(table["return_years"])) == [2, 10, 100]
    assert set(table["series"]) == {"annual"}


def test_intensities_become_depths(tmp_path):
    text = (
        "Precipitation intensity (inches/hour)\n"
        "by duration for ARI (years):,2,10\n30-min:,3.58,4.74\n2-hr:,1.5,2.0\n"
    )
    grid = _grid(_read(tmp_path, text).table)
    inches = grid.to_numpy() / INCH_M
    assert_allclose(inches, [[1.79, 2.37], [3.0, 4.0]], rtol=1e-12)


def test_one_rain_a_row_is_read_by_its_names(tmp_path):
    text = "duration_h,return_years,rain_mm\n1,2,25\n1,10,40\n24,10,90\n24,2,60\n"
    grid = _grid(_read(tmp_path, text).table)
    assert_allclose(grid.to_numpy(), [[0.025, 0.040], [0.060, 0.090]])


def test_columns_can_be_told(tmp_path):
    text = "how long (min),T,P (mm)\n60,2,25\n60,10,40\n120,2,30\n120,10,50\n"
    columns = {
        "duration_s": "how long (min)",
        "return_years": "T",
        "rain_m": "P (mm)",
    }
    grid = _grid(_read(tmp_path, text, columns=columns).table)
    assert_allclose(grid.to_numpy(), [[0.025, 0.040], [0.030, 0.050]])


def test_a_formula_is_written_out_as_a_table(tmp_path):
    """i = 1000 / (t + 10)^0.8 mm/h: 60 min gives 33.38 mm (70^0.8 = 29.93)."""
    text = "return_years,a (mm/h),b,c\n10,1000,10,0.8\n100,1500,10,0.8\n"
    text = text.replace("a (mm/h)", "a").replace("return", "Intensity mm/h\nreturn", 1)
    result = _read(tmp_path, text)
    grid = _grid(result.table)
    assert_allclose(grid.loc[3600, 10], 0.0334, atol=0.00005)
    assert_allclose(grid.loc[3600, 100], 1.5 * grid.loc[3600, 10])
    assert "written out" in " ".join(result.notes["understood"])


def test_a_row_with_a_hole_is_left_out_and_said(tmp_path):
    text = ATLAS.replace("60-min:, 2.14,2.38", "60-min:, 2.14,-")
    result = _read(tmp_path, text)
    assert set(result.table["duration_s"]) == {1800, 24 * HOUR_S}
    assert "duration not used: rain is missing" in set(result.notes["understood"])
    assert "-" in set(result.notes["found"])


def test_series_that_is_not_told_is_assumed_and_said(tmp_path):
    text = "Depth (mm)\nduration (min),2,10\n60,25,40\n"
    notes = _read(tmp_path, text).notes
    assert notes.loc[notes["column"] == "series", "kind"].tolist() == ["assumed"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "hello\n",
            "rain.csv: file must hold rain by duration and return period, got none "
            "that is told. Correct the file, or hand over depth by duration and return "
            "period as CSV.",
        ),
        (
            "duration (min),2,10\n60,25,40\n",
            "rain.csv: rainfall.units.rain_m must be told: mm or inch, mm/h or inch/h, "
            "got ''. Write rain_m = \"mm\" under [rainfall.units] in the town file.",
        ),
        (
            "Depth (mm)\nduration (min),2,10\n60,25,24\n120,30,50\n",
            "rain.csv: column 'rain_m' must be above 0 m and grow with duration and "
            "return period; 1 of 4 rows is not: 3600 s, 10 years (0.024). Correct the "
            "file, or hand over depth by duration and return period as CSV.",
        ),
        (
            "Depth (mm)\nduration (min),2,10\n60,25,\n",
            "rain.csv: file must have at least one duration with rain for every return "
            "period, got none. Correct the file, or hand over depth by duration and "
            "return period as CSV.",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(tmp_path, text, message):
    with pytest.raises(InputError) as refused:
        _read(tmp_path, text)
    assert refused.value.problems == (message,)


def test_rains_that_are_no_numbers_are_told_where_they_leave_no_table(tmp_path):
    rows = "duration_min,return_years,rain_mm\n5,2,8 mm\n10,2\n15,2,x\n"
    with pytest.raises(InputError) as refused:
        _read(tmp_path, rows)
    assert refused.value.problems[0] == (
        "rain.csv: column 'rain_m' must hold numbers; 2 of 3 rows are not: 2 (8 mm), "
        "4 (x). Write the number alone; its unit belongs into the column's name."
    )


def test_a_short_row_is_told_and_not_passed_over(tmp_path):
    rows = "duration_min,return_years,rain_mm\n5,2,8\n10,2\n15,2,12\n"
    notes = _read(tmp_path, rows).notes
    assert "1 rows with fewer cells than the header's 3: line 3 (2)" in [
        *notes["found"]
    ]
    assert "duration not used: rain is missing" in [*notes["understood"]]


def test_missing_and_binary_files_are_refused(tmp_path):
    with pytest.raises(InputError, match="must exist, got no such file"):
        read_rainfall(tmp_path / "none.csv", Reading())
    (tmp_path / "rain.csv").write_bytes(b"\x00\x01")
    with pytest.raises(InputError, match="must be text, got bytes that are no text"):
        read_rainfall(tmp_path / "rain.csv", Reading())


@given(
    minutes=st.lists(st.integers(1, 5000), min_size=1, max_size=6, unique=True),
    years=st.lists(st.integers(1, 1000), min_size=1, max_size=6, unique=True),
    preamble=st.text(alphabet="abc :°", max_size=30),
)
def test_every_table_that_is_written_is_read_back(
    tmp_path_factory, minutes, years, preamble
):
    """Rain that grows with both, in any order of rows and columns."""
    path = tmp_path_factory.mktemp("rain") / "rain.csv"
    lines = [
        f"{preamble}",
        "Depth (mm)",
        ",".join(["duration (min)", *map(str, years)]),
    ]
    lines += [",".join([str(m), *(str(m * y) for y in years)]) for m in minutes]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    table = read_rainfall(path, Reading()).table
    assert len(table) == len(minutes) * len(years)
    expected_m = table["duration_s"] / 60 * table["return_years"] / 1000
    assert_allclose(table["rain_m"], expected_m)


def test_labels_that_are_no_labels_are_unknown():
    assert np.isnan(
        [duration_s("PRECIPITATION"), duration_s("60"), duration_s("")]
    ).all()
    assert np.isnan(
        [return_years("abc"), return_years("0.5"), return_years("0 %")]
    ).all()


@pytest.mark.skipif(not OPEN_DATA, reason="CULVERTRISK_OPEN_DATA names no folder")
def test_the_atlas_table_of_ann_arbor_is_read_whole():
    """atlas14v8: 19 durations, 10 intervals, both bounds; cells as printed."""
    path = Path(OPEN_DATA) / "atlas14_ann_arbor" / "All_Depth_English_PDS.csv"
    result = read_rainfall(path, Reading())
    table = result.table.set_index(["duration_s", "return_years"])
    assert len(table) == 190
    day = table.loc[(24 * HOUR_S, 100)]
    inches = day[["rain_m", "rain_low_m", "rain_high_m"]].to_numpy(float) / INCH_M
    assert_allclose(inches, [5.11, 4.22, 6.16])
    assert_allclose(table.loc[(60 * 24 * HOUR_S, 1000), "rain_m"] / INCH_M, 18.9)
    assert result.notes.empty
