"""Water at every crossing: today's, its hours, the design storms, the yearly risk."""

from datetime import date

import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.settings import Settings
from culvertrisk.stages.chain_area import add_chain_area
from culvertrisk.stages.chain_water import add_chain_water
from culvertrisk.stages.consequence import (
    add_consequence,
    add_design_depth,
    coming_night,
)
from culvertrisk.stages.design_flow import add_design_flow
from culvertrisk.stages.design_storm import design_choices
from culvertrisk.stages.flood import add_flood
from culvertrisk.stages.flood_weather import day_water, town_forest
from culvertrisk.stages.flow_spread import add_flow_spread
from culvertrisk.stages.ponding import PondGround
from culvertrisk.stages.sun_advice import add_sun_advice
from culvertrisk.stages.today_hours import add_today_hours
from culvertrisk.stages.yearly_flood import add_yearly_flood


def under_water(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    settings: Settings,
    on: date,
    rainfall: pd.DataFrame | None = None,
    pond: PondGround | None = None,
) -> GeoDataFrame:
    """Add the columns of flood, hours, chains, consequence, design, yearly, advice.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, ponding, access, freeze and history.
    weather : DataFrame
        The table of ``read_weather``.
    settings : Settings
        The town file.
    on : date
        The day asked.
    rainfall : DataFrame or None
        The table of ``read_rainfall``; without it the storm of the town file.
    pond : PondGround or None
        The ponds of the elevation raster, of the same rows; without it no open pipe's
        pond is taken into its chance.

    Returns
    -------
    crossings : GeoDataFrame
        Same rows, same order.
    """
    crossings = add_chain_area(crossings)
    water = day_water(weather, settings, on, town_forest(crossings))
    crossings = add_flood(crossings, water, settings, pond)
    crossings = add_flow_spread(crossings, settings)
    hours = add_today_hours(crossings, water, settings)
    hours = add_chain_water(hours, water, settings, pond)
    profile = None if pond is None else pond.profile
    night = coming_night(weather, on)
    shut = add_consequence(hours, water, settings, night, profile=profile)
    choices = design_choices(settings.design)
    peaks = add_design_flow(shut, settings, choices, rainfall)
    yearly = add_yearly_flood(add_design_depth(peaks, profile), settings)
    return add_sun_advice(yearly, settings, on)
