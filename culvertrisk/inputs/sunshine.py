"""Recorded sunshine as the share of the clear-sky sun that each day lets through."""

import geopandas as gpd
import numpy as np
import pandas as pd

from culvertrisk.formulas.clear_sky import clear_sun_fraction_sunshine
from culvertrisk.formulas.sun import day_length, declination


def with_clear_sun(weather: pd.DataFrame, crossings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Add the share of the clear-sky sun where hours of sunshine are recorded.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    crossings : GeoDataFrame
        The town's crossings; their median latitude tells the length of the day.

    Returns
    -------
    weather : DataFrame
        With ``clear_sun_fraction``, NaN on days without a record; as it was where
        the file has no sunshine.
    """
    if "sunshine_h" not in weather:
        return weather
    latitude_deg = float(np.median(crossings.geometry.to_crs(4326).y))
    noon = pd.DatetimeIndex(weather.index) + pd.Timedelta(hours=12)
    times_s = noon.as_unit("s").asi8.astype(float)
    length_h = day_length(latitude_deg, declination(times_s))
    share = clear_sun_fraction_sunshine(weather["sunshine_h"], length_h)
    return weather.assign(clear_sun_fraction=share)
