"""The table of known answers and the picture of the charts behind the notebook."""

import pytest
from numpy.testing import assert_allclose

from culvertrisk.reports.nomograph_chart import nomograph_chart
from culvertrisk.reports.published_values import check_inputs, published_values
from culvertrisk.tables import table
from tests.published import CHECKS


def test_every_known_answer_is_met_and_names_its_source():
    values = published_values(CHECKS)
    missed = values.loc[~values["is_met"], ["formula", "inputs", "expected", "ours"]]
    assert missed.empty, missed.to_string()
    assert set(values["formula"]) == {path.stem for path in CHECKS.glob("*.csv")}
    assert (values["source"].str.len() > 0).all()
    assert (values["inputs"] != "").all()


def test_a_wrong_answer_is_shown_as_not_met(tmp_path):
    (tmp_path / "circle_area.csv").write_text(
        "depth_m,diameter_m,expected,kind,source,where\n"
        "0.5,1,0.3927,hand,definition,pi/8\n"
        "0.5,1,0.3937,hand,definition,wrong in the third digit\n"
    )
    values = published_values(tmp_path)
    assert values["is_met"].tolist() == [True, False]
    assert_allclose(values["difference"], [0.0, -0.001], atol=1e-6)


def test_a_check_named_after_no_formula_is_refused(tmp_path):
    (tmp_path / "circle_aera.csv").write_text(
        "depth_m,expected,kind,source,where\n0,0,limit,definition,no such formula\n"
    )
    with pytest.raises(KeyError, match="circle_aera"):
        published_values(tmp_path)


def test_inputs_are_numbers_words_series_and_tables():
    row = {"a": "0.5", "b": "II", "c": "1 2", "d": "1 2; 3 4", "e": "", "kind": "hand"}
    found = check_inputs(row)
    assert (found["a"], found["b"], [*found["c"]]) == (0.5, "II", [1.0, 2.0])
    assert found["d"].tolist() == [[1.0, 2.0], [3.0, 4.0]]
    assert "e" not in found and "kind" not in found


def test_chart_readings_are_checked_with_the_rows_of_table_a_1():
    rows = published_values(CHECKS).query("formula == 'inlet_control_headwater'")
    rows = rows[rows["where"].str.match("chart (1B|2B|8B) ")]
    inlets = table("culvert_inlets").set_index("chart")
    assert len(rows) == 9
    for row in rows.itertuples():
        inlet = inlets.loc[row.where.partition("inlet ")[2].partition(":")[0]]
        given = dict(part.split(" ", 1) for part in row.inputs.split(", "))
        for name in ("form", "k", "m", "c", "y"):
            assert float(given[name]) == inlet[name]
        assert float(given["slope_term"]) == (0.7 if inlet["is_mitred"] else -0.5)


def test_nomograph_marks_each_reading_beside_its_line():
    figure = nomograph_chart(CHECKS)
    assert [axes.get_title()[:8] for axes in figure.axes] == ["Chart 1B", "Chart 2B"]
    for axes in figure.axes:
        assert len(axes.containers) == 3
        curves = [line for line in axes.lines if len(line.get_xdata()) > 2]
        assert len(curves) == 3
        assert axes.get_legend() is not None
