"""Rain by duration and return period, as a weather office would hand it over."""

import pandas as pd

TITLE = (
    "Quennaskeld Township: rain by duration and return period. Invented like all of "
    "the demo: no weather office stands behind it. Annual maximum series."
)
RETURN_YEARS = (2, 5, 10, 25, 50, 100)
RAIN_MM = {  # minutes: one depth a return period
    5: (8.0, 10.3, 12.4, 15.4, 17.9, 20.6),
    10: (11.8, 15.0, 18.2, 22.6, 26.2, 30.2),
    15: (14.4, 18.3, 22.2, 27.6, 32.0, 37.0),
    30: (20.0, 25.4, 30.8, 38.4, 44.6, 51.6),
    60: (26.0, 33.0, 40.0, 50.0, 58.0, 67.0),
    120: (31.5, 40.0, 48.4, 60.6, 70.4, 81.4),
    180: (35.0, 44.4, 53.4, 66.8, 77.6, 89.6),
    360: (42.0, 53.2, 63.6, 79.0, 91.4, 105.0),
    720: (50.0, 64.0, 76.0, 93.8, 108.0, 124.0),
    1440: (58.0, 75.0, 88.0, 108.0, 124.0, 142.0),
}


def rainfall_text() -> str:
    """Return the rainfall file: a title that says it is invented, then one rain a row.

    The title has no commas, so that any reader of tables takes it as one cell.
    """
    rows = [
        (minutes, years, depth_mm)
        for minutes, depths_mm in RAIN_MM.items()
        for years, depth_mm in zip(RETURN_YEARS, depths_mm, strict=True)
    ]
    table = pd.DataFrame(rows, columns=["duration_min", "return_years", "rain_mm"])
    return f"{TITLE}\n{table.to_csv(index=False, lineterminator=chr(10))}"
