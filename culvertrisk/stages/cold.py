"""Cold by crossing: what the log says of the model, then ice and the freeze score."""

from dataclasses import replace
from datetime import date

import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.settings import Settings
from culvertrisk.stages.causes import weak_where_log_outweighs
from culvertrisk.stages.freeze import add_freeze
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.history import HistoryFit, fit_history, with_history, with_log
from culvertrisk.stages.opened_history import factor_of_day
from culvertrisk.stages.openings import with_openings
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_months import add_winter_months


def under_cold(
    crossings: GeoDataFrame,
    log: pd.DataFrame | None,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    day: date,
) -> tuple[GeoDataFrame, Settings, HistoryFit]:
    """Fit the freeze model to the log, run the winter with it and score the day.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, shade and access.
    log : DataFrame or None
        The table of ``read_thaw_log``.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun at both ends by day of the season.
    settings : Settings
        The town file.
    day : date
        The day asked.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns of freeze, history and winter months.
    settings : Settings
        With the fragility that the log gave: for all that runs the winter again.
    fit : HistoryFit
        What the log said.
    """
    crossings = with_openings(crossings, log, settings, day)
    fit = fit_history(crossings, log, weather, sun, settings, day)
    crossings, settings = with_log(crossings, settings, fit)
    factor = factor_of_day(crossings, weather, sun, day, settings, fit)
    fit = replace(fit, history_factor=factor)
    crossings = crossings.assign(history_factor=factor)  # cause and days follow it
    crossings = add_freeze(crossings, weather, sun, day, settings)
    crossings = with_history(crossings, fit, settings).copy()  # one block again: quick
    sureness = weak_where_log_outweighs(
        crossings["cause_sureness"].to_numpy(dtype=object),
        fit.usual_factor,
        freeze_coefficients(settings.freeze.defaults),
    )
    usual = crossings.assign(history_factor=fit.usual_factor, cause_sureness=sureness)
    usual = add_winter_months(usual, weather, sun, day, settings)
    return usual.assign(history_factor=fit.history_factor), settings, fit
