"""Sentences of one crossing: a cause is only likely where its input is not recorded."""

import pandas as pd
import pytest

from culvertrisk.stages.reasons import reasons_of

NAN = float("nan")
ROW = {
    **dict.fromkeys(
        [
            "share_shading_index",
            "share_slope_index",
            "share_size_index",
            "share_history_index",
            "share_water_index",
            "share_weather_index",
            "has_seep",
            "barrel_slope_m_per_m",
            "outlet_drop_m",
            "silt_fraction",
            "is_only_way",
            "detour_s",
            "flooded_blocked_chance",
        ],
        NAN,
    ),
    "cure": "drain; heat cable",
    "freeze_advice": "",
}


@pytest.mark.parametrize(
    ("cause", "column", "value"),
    [
        ("seep", "has_seep", 1.0),
        ("sag", "barrel_slope_m_per_m", 0.001),
        ("perched", "outlet_drop_m", 0.5),
        ("silt", "silt_fraction", 0.4),
    ],
)
def test_a_cause_is_likely_until_its_input_is_recorded(cause, column, value):
    row = pd.Series({**ROW, "freeze_cause": cause}, dtype=object)
    assert reasons_of(row).startswith("Likely cause: ")
    row[column] = value
    assert reasons_of(row).startswith("Cause: ")
    assert reasons_of(row).endswith(", cure: drain")
