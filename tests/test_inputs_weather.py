"""Daily weather from every layout, and what is refused, assumed or changed."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as rules
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from culvertrisk.checks import InputError
from culvertrisk.inputs.weather import COLUMNS, read_weather
from culvertrisk.settings import Reading

PLAIN = Reading()


def _read(folder, text, reading=PLAIN, name="weather.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return read_weather(path, reading)


def _kinds(reading):
    return {(n.column, n.kind) for n in reading.notes.itertuples()}


def test_plain_table_is_read_into_our_units_with_gaps_as_missing_days(tmp_path):
    reading = _read(
        tmp_path,
        "date,tmin_c,tmax_c,rain_mm,snowfall_mm_w_e,snow_depth_cm,wind_km_h,kind\n"
        "2024-02-24,-12,-2,0,4.5,52,36,observed\n"
        "2024-02-26,-9,6,18,0,50,,forecast\n",
    )
    table = reading.table
    assert [*table.columns] == [*COLUMNS]
    assert table.index.name == "day"
    assert table.dtypes.eq(np.float64).all()
    assert len(table) == 3
    assert_allclose(table.loc["2024-02-24"], [-12, -2, 0, 0.0045, 0.52, 10, 0])
    assert table.loc["2024-02-25"].drop("is_forecast").isna().all()
    assert table.loc["2024-02-26", "is_forecast"] == 1
    assert ("day", "assumed") in _kinds(reading)


def test_blank_is_never_zero(tmp_path):
    reading = _read(tmp_path, "date,tmin,tmax,rain_mm\n2024-01-01,-5,1,\n")
    assert np.isnan(reading.table["rain_m"].iloc[0])
    assert np.isnan(reading.table["snow_depth_m"].iloc[0])


def test_total_precipitation_is_split_at_one_degree_and_said_to_be(tmp_path):
    reading = _read(
        tmp_path,
        "date,prec,temp_min,temp_max\n"
        "2024-01-01,10,-6,2\n2024-01-02,10,0,4\n2024-01-03,10,,\n",
    )
    assert_allclose(reading.table["rain_m"], [0, 0.01, np.nan])
    assert_allclose(reading.table["snowfall_water_m"], [0.01, 0, np.nan])
    assert ("precipitation_m", "assumed") in _kinds(reading)


@pytest.mark.parametrize(
    ("depths", "expected", "unit"),
    [
        (("0", "105"), 1.05, "cm"),
        (("0.31", "1.05"), 1.05, "m"),
        (("0", "1050"), 1.05, "mm"),
    ],
)
def test_unit_of_snow_depth_is_found_from_its_values(tmp_path, depths, expected, unit):
    reading = _read(
        tmp_path,
        "date,tmin,tmax,snow_depth\n"
        f"2024-01-01,-9,-1,{depths[0]}\n2024-01-02,-9,-1,{depths[1]}\n",
    )
    assert_allclose(reading.table["snow_depth_m"].iloc[1], expected)
    notes = reading.notes[reading.notes["column"] == "snow_depth_m"]
    assert notes["understood"].tolist() == [f"read as {unit}"]


def test_told_units_and_columns_stand_above_what_names_say(tmp_path):
    told = Reading(
        columns={"air_min_c": "cold", "air_max_c": "warm"},
        units={"air_min_c": "degF", "air_max_c": "degF", "snow_depth_m": "inch"},
    )
    reading = _read(
        tmp_path,
        "date,cold,warm,tmin,snow_depth\n2024-01-01,14,32,99,10\n",
        told,
    )
    row = reading.table.iloc[0]
    assert_allclose(row[["air_min_c", "air_max_c"]].astype(float), [-10, 0], atol=1e-9)
    assert_allclose(row["snow_depth_m"], 0.254)


def test_fahrenheit_and_tenths_are_found_from_values(tmp_path):
    warm = _read(tmp_path, "date,tmin,tmax\n2024-07-01,50,86\n2024-01-01,5,23\n")
    assert_allclose(warm.table["air_max_c"].iloc[[0, -1]], [-5, 30])
    tenths = _read(tmp_path, "date,TMIN,TMAX\n2024-01-01,-150,-50\n")
    assert_allclose(tenths.table["air_min_c"], [-15])
    assert ("air_min_c", "changed") in _kinds(tenths)


def _dly(element, values, flag=" "):
    cells = [f"{value:5d} {flag} " for value in values]
    cells += ["-9999   "] * (31 - len(cells))
    return f"XX000000001202401{element}" + "".join(cells) + "\n"


def test_fixed_width_archive_rows_are_read_in_tenths_without_failed_values(tmp_path):
    text = (
        _dly("TMAX", [-20, 15])
        + _dly("TMIN", [-110, -45])
        + _dly("SNWD", [300, 310])
        + _dly("PRCP", [25, 40], flag="X")
    )
    reading = _read(tmp_path, text, name="XX000000001.dly")
    table = reading.table
    assert len(table) == 2
    assert_allclose(table["air_min_c"], [-11, -4.5])
    assert_allclose(table["air_max_c"], [-2, 1.5])
    assert_allclose(table["snow_depth_m"], [0.3, 0.31])
    assert table["rain_m"].isna().all()
    assert ("precipitation_m", "refused") in _kinds(reading)


@pytest.mark.parametrize(
    "header", ["", "ID,DATE,ELEMENT,VALUE,M_FLAG,Q_FLAG,S_FLAG,TIME\n"]
)
def test_rows_of_one_element_each_are_read(tmp_path, header):
    reading = _read(
        tmp_path,
        header + "XX000000001,20240101,TMAX,-20,,,7,0700\n"
        "XX000000001,20240101,TMIN,-110,,,7,0700\n"
        "XX000000001,20240101,WT01,1,,,7,\n"
        "XX000000001,20240102,TMAX,15,,,7,\n"
        "XX000000001,20240102,TMIN,-45,,I,7,\n",
    )
    assert_allclose(reading.table["air_max_c"], [-2, 1.5])
    assert_allclose(reading.table["air_min_c"], [-11, np.nan])


def test_wide_archive_table_with_flag_columns_keeps_its_tenths(tmp_path):
    reading = _read(
        tmp_path,
        "STATION,DATE,NAME,PRCP,PRCP_ATTRIBUTES,SNWD,SNWD_ATTRIBUTES,TMAX,"
        "TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n"
        'XX000000001,2024-01-01,"A, TOWN",25,",,7",300,",,7",-20,",,7",-110,",,7"\n',
    )
    row = reading.table.iloc[0]
    assert_allclose(row["air_min_c"], -11)
    assert_allclose(row["snow_depth_m"], 0.3)
    assert_allclose(row["snowfall_water_m"], 0.0025)


def test_table_with_year_month_day_and_units_in_brackets_is_read(tmp_path):
    reading = _read(
        tmp_path,
        '"Station Name","Date/Time","Year","Month","Day","Max Temp (°C)",'
        '"Max Temp Flag","Min Temp (°C)","Mean Temp (°C)","Total Rain (mm)",'
        '"Total Snow (cm)","Total Precip (mm)","Snow on Grnd (cm)"\n'
        '"A","2024-01-01","2024","01","01","-2.0","","-11.0","-6.5","0.0","3.0","2.5","30"\n'
        '"A","2024-01-02","2024","01","02","1.5","M","-4.5","-1.5","T","","","31"\n',
    )
    table = reading.table
    assert_allclose(table["air_max_c"], [-2, 1.5])
    assert_allclose(table["rain_m"], [0, 0])
    assert_allclose(table["snowfall_water_m"], [0.0025, np.nan])
    assert_allclose(table["snow_depth_m"], [0.3, 0.31])


def test_bad_cells_are_refused_and_the_rest_is_used(tmp_path):
    reading = _read(
        tmp_path,
        "date,tmin,tmax,rain_mm\n"
        "2024-01-01,-9,-1,lots\n"
        "sometime,-9,-1,0\n"
        "2024-01-02,4,-3,0\n"
        "2024-01-03,-90,-1,0\n"
        "2024-01-01,-8,-1,1\n",
    )
    table = reading.table
    assert_allclose(table["air_min_c"], [-8, -3, np.nan])
    assert_allclose(table["rain_m"].iloc[0], 0.001)
    assert (reading.notes["kind"] == "refused").sum() == 4
    assert ("air_min_c", "changed") in _kinds(reading)


def test_observed_day_stands_above_its_forecast(tmp_path):
    reading = _read(
        tmp_path,
        "date,tmin,tmax,is_forecast\n2024-01-01,-9,-1,0\n2024-01-01,-3,2,1\n",
    )
    assert_allclose(reading.table["air_min_c"], [-9])
    assert reading.table["is_forecast"].tolist() == [0]


def test_only_a_mean_stands_for_both_extremes_and_is_said_to(tmp_path):
    reading = _read(tmp_path, "date,tavg\n2024-01-01,-6.5\n")
    assert_allclose(reading.table.iloc[0, :2].astype(float), [-6.5, -6.5])
    assert ("air_mean_c", "assumed") in _kinds(reading)


def test_missing_file_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        read_weather(tmp_path / "weather.csv", PLAIN)
    assert caught.value.problems == (
        "weather.csv: file must exist, got no such file. Correct files.weather in the "
        "town file, or save the table as CSV.",
    )


def test_table_without_temperature_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "date,rain\n2024-01-01,4\n")
    assert caught.value.problems == (
        "weather.csv: file must have a header with a date and a lowest, highest or "
        "mean temperature, got 'date', 'rain'. Rename the columns (date, tmin_c, "
        "tmax_c, rain_mm, ...) or name them under [weather.columns] in the town file.",
    )


def test_table_without_a_usable_row_is_told(tmp_path):
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "date,tmin,tmax\nx,1,2\n2024-01-01,,\n")
    assert caught.value.problems == (
        "weather.csv: file must have at least one row with a date, a lowest and a "
        "highest temperature, got none in 2 rows. Check the dates and the columns; "
        "name them under [weather.columns].",
    )


def test_wrong_told_column_and_unit_are_told(tmp_path):
    told = Reading(columns={"rain_m": "wet"}, units={"rains": "mm"})
    with pytest.raises(InputError) as caught:
        _read(tmp_path, "date,tmin,tmax\n2024-01-01,-2,2\n", told)
    unit, column = caught.value.problems
    assert unit.startswith("weather.csv: weather.units must be one of 'air_max_c', ")
    assert column == (
        "weather.csv: weather.columns.rain_m must be a column of the file "
        "(date, tmin, tmax), got 'wet'. Correct the spelling in the town file."
    )
    with pytest.raises(InputError) as caught:
        _read(
            tmp_path,
            "date,tmin,tmax,rain\n2024-01-01,-2,2,1\n",
            Reading(units={"rain_m": "kg"}),
        )
    assert caught.value.problems == (
        "weather.csv: weather.units.rain_m must be a unit that turns into m, got "
        "'kg'. Correct the spelling.",
    )


@rules(deadline=None, max_examples=10)
@given(
    lows=st.lists(st.floats(-60, 40), min_size=1, max_size=20),
    spans=st.floats(0, 19),
)
def test_what_is_written_is_read_back(tmp_path_factory, lows, spans):
    days = pd.date_range("2024-01-01", periods=len(lows))
    frame = pd.DataFrame({"day": days, "air_min_c": lows})
    frame["air_max_c"] = frame["air_min_c"] + spans
    # above 50 °C the reader would rightly ask whether this is °F
    frame["air_max_c"] = frame["air_max_c"].clip(upper=49)
    frame["is_forecast"] = 0
    path = tmp_path_factory.mktemp("weather") / "weather.csv"
    frame.to_csv(path, index=False)
    table = read_weather(path, PLAIN).table
    assert_allclose(table["air_min_c"], frame["air_min_c"])
    assert_allclose(table["air_max_c"], frame["air_max_c"])


def test_missing_values_of_archives_are_blank_before_a_unit_is_judged(tmp_path):
    reading = _read(
        tmp_path,
        "date,tmin_c,tmax_c,rain_mm\n2024-02-01,-9999,-1,0\n2024-02-02,-8,2,-9999\n",
    )
    assert_allclose(reading.table["air_min_c"], [np.nan, -8.0])
    assert_allclose(reading.table["air_max_c"], [-1.0, 2.0])
    assert_allclose(reading.table["rain_m"], [0.0, np.nan])
    told = reading.notes[["column", "found", "understood"]].to_numpy().tolist()
    assert told == [
        ["air_min_c", "1 rows of -9999", "unknown: a missing value"],
        ["rain_m", "1 rows of -9999", "unknown: a missing value"],
    ]


def test_minus_signs_of_word_processors_are_minus_signs(tmp_path):
    reading = _read(
        tmp_path, "date,tmin_c,tmax_c\n2024-02-01,\u22129.5,\u20131\n2024-02-02,-8,2\n"
    )
    assert_allclose(reading.table["air_min_c"], [-9.5, -8.0])
    assert_allclose(reading.table["air_max_c"], [-1.0, 2.0])


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "cp1252"])
def test_weather_of_a_spreadsheet_is_read_with_decimal_commas(tmp_path, encoding):
    text = (
        "Wetter Quenna\r\n\r\ndate;tmin_c;tmax_c;rain_mm\r\n"
        "45231;-9,5;1,5;0,25\r\n45232,5;-8,5;2,5;1,75\r\n"
    )
    (tmp_path / "w.csv").write_bytes(text.encode(encoding))
    reading = read_weather(tmp_path / "w.csv", PLAIN)
    # 45231 days after 30 December 1899 is 1 November 2023
    assert [f"{day:%Y-%m-%d}" for day in reading.table.index] == [
        "2023-11-01",
        "2023-11-02",
    ]
    assert_allclose(reading.table["air_min_c"], [-9.5, -8.5])
    assert_allclose(reading.table["rain_m"], [0.00025, 0.00175])


def test_a_repeated_column_of_the_weather_is_told(tmp_path):
    reading = _read(
        tmp_path, "date,tmin_c,tmax_c,tmin_c\n2024-02-01,-9,1,5\n2024-02-02,-8,2,5\n"
    )
    assert_allclose(reading.table["air_min_c"], [-9.0, -8.0])
    assert reading.notes.loc[0, ["column", "found"]].tolist() == [
        "tmin_c",
        "columns 2 and 4 with one name",
    ]
