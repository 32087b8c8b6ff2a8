"""Where to wait for the sun: it opens a crossing soon, and no water comes before."""

from datetime import date

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.settings import Settings
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.winter import freeze_coefficients

_WAIT = "wait for the sun if no water threatens road or house"


def add_sun_advice(
    crossings: GeoDataFrame, settings: Settings, on: date
) -> GeoDataFrame:
    """Add the advice to leave a crossing to the sun, where that is safe to say.

    Parameters
    ----------
    crossings : GeoDataFrame
        With ``self_opening_day`` and the columns of flood.
    settings : Settings
        How many days are soon: ``wait_days`` of the freeze defaults.
    on : date
        The day asked.

    Returns
    -------
    crossings : GeoDataFrame
        With ``freeze_advice``: "" where it does not open soon, where the flood score
        is not low, where water is likely enough to reach the road while it is shut,
        and where that is not known.
    """
    day = pd.to_datetime(crossings["self_opening_day"].where(lambda text: text != ""))
    wait = freeze_coefficients(settings.freeze.defaults)["wait_days"].item()
    is_soon = ((day - pd.Timestamp(on)).dt.days <= wait).to_numpy(bool)
    some = flood_defaults()["some_index"] / 100  # a score is a share of a hundred
    stays_dry = (crossings["flooded_blocked_chance"] < some).to_numpy(bool)
    is_low = (crossings["flood_class"] == "low").to_numpy(bool)
    is_safe = is_soon & stays_dry & is_low
    told = [
        _told(d) if is_told else "" for d, is_told in zip(day, is_safe, strict=True)
    ]
    return crossings.assign(freeze_advice=np.array(told, dtype=object))


def _told(day: pd.Timestamp) -> str:
    return f"{_WAIT}: opens by itself about {day.day} {day:%B}"
