"""Years that a remark gives: the pipe's own, done and dated, or none."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_array_equal

from culvertrisk.inputs.laid_years import with_remarked_years, year_of_remark


@pytest.mark.parametrize(
    ("remark", "year"),
    [
        ("rebuilt after 2022 washout", 2022),
        ("Replaced 2019", 2019),
        ("replaced, 2019", 2019),
        ("holds water; new pipe 2018, deep ditch", 2018),
        ("re-laid in 2015", 2015),
        ("2021: pipe replaced", 2021),
        ("culvert was laid 1998. Replaced again 2016", 2016),
        ("headwall cracked; replaced pipe 2011", 2011),
        ("driveway culvert replaced 2014", 2014),
    ],
)
def test_year_is_read_where_the_pipe_itself_is_new(remark, year):
    assert year_of_remark(remark) == year


@pytest.mark.parametrize(
    "remark",
    [
        "",
        "replaced that summer, same number kept",
        "replaced headwall 2020",
        "new outlet end 2020, pipe is fine",
        "stakes replaced 2021",
        "road rebuilt 2015",
        "to be replaced 2027",
        "not replaced in 2019",
        "needs new pipe, 2026 budget",
        "replaced before 2000",
        "new pipe 2019?",
        "pipe of 1968 replaced 2021",
        "2019 flood came over the road",
        "relined 2017",
        "replaced 20195",
    ],
)
def test_no_year_is_read_where_that_is_not_clear(remark):
    assert np.isnan(year_of_remark(remark))


def test_a_recorded_year_stands_and_every_remark_is_noted():
    years = pd.Series([np.nan, 1999.0, 2022.0, np.nan], index=[1, 2, 3, 4])
    remarks = pd.Series([*["rebuilt after 2022 washout"] * 3, "red barn"], years.index)
    filled, notes = with_remarked_years(years, remarks)
    assert_array_equal(filled, [2022.0, 1999.0, 2022.0, np.nan])
    assert [(n["row"], n["column"], n["understood"]) for n in notes] == [
        (1, "note", "install_year 2022, taken from a remark"),
        (2, "note", "install_year 1999 as recorded stands: correct it if it is old"),
    ]
