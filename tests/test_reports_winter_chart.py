"""A winter's picture shows what the diary and the log hold."""

from datetime import date

import numpy as np
import pandas as pd

from culvertrisk.reports.winter_chart import winter_chart

MECHANISMS = (
    *("sag", "seep", "draught", "perched", "tailwater"),
    *("plug", "refreeze", "shallow"),
)


def _diary():
    days = pd.date_range("2024-10-01", periods=100, name="day")
    ice = {f"{name}_ice_m": np.linspace(0, 0.3, 100) for name in MECHANISMS}
    air = {"air_min_c": -9.0, "air_max_c": -1.0, "sun_j_m2": 2e6}
    return pd.DataFrame({**air, **ice}, index=days)


def test_winter_chart_draws_each_mechanism_the_full_barrel_and_the_log():
    thawed = [date(2024, 12, 1), date(2024, 12, 20)]
    figure = winter_chart(_diary(), 0.45, date(2025, 1, 5), thawed)
    ice = figure.axes[2]
    marks = [line for line in ice.lines if line.get_marker() == "v"]
    full = [line for line in ice.lines if set(line.get_ydata()) == {0.45}]
    assert (len(marks), len(full)) == (2, 1)
    named = [text.get_text() for text in ice.get_legend().get_texts()]
    assert named[:2] == ["standing water", "seep"]
    assert named[-1] == "thawed by a crew (log)"


def test_winter_chart_of_an_unknown_size_draws_no_full_barrel():
    figure = winter_chart(_diary(), float("nan"), date(2025, 1, 5))
    assert not [text for text in figure.axes[2].texts if "full" in text.get_text()]
