"""The winter of one crossing, day by day: weather, frost and ice by mechanism."""

from dataclasses import fields, replace
from datetime import date
from typing import Any

import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.settings import Settings
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.outlook import middle_case, outlook_weather
from culvertrisk.stages.winter import (
    FreezeInputs,
    WinterIce,
    days_of_winter,
    freeze_coefficients,
    winter_by_day,
)
from culvertrisk.stages.winter_weather import sun_day_of, winter_weather, with_forecast


def winter_diary(
    crossings: GeoDataFrame,
    culvert_id: str,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    on: date,
    settings: Settings,
) -> pd.DataFrame:
    """Follow one crossing through the winter of a day and into a usual spring.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and, where known, site.
    culvert_id : str
        The crossing.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun by season at both ends, rows as in ``crossings``.
    on : date
        The day asked; later days are forecast, then a usual spring (``is_usual``).
    settings : Settings
        Start of the winter and typed forecast.

    Returns
    -------
    diary : DataFrame
        Indexed by ``day``: ``air_min_c``, ``air_max_c``, ``sun_j_m2`` (clear sky, at
        the shadier end), ``snow_m2k_w``, ``thaw_water_m``, ``afdd_cday``,
        ``frost_depth_m``, ``ground_c`` and, by mechanism, ``<name>_ice_m``: the ice
        there is if the mechanism is at work, unknowns at the middle of their points.

    Raises
    ------
    InputError
        If the weather of the winter has too many gaps.
    """
    c, first_day = freeze_coefficients(settings.freeze.defaults), settings.winter_of(on)
    inputs = freeze_inputs(crossings, sun, c)
    one = _only(inputs, crossings.index.get_loc(culvert_id))
    usual = middle_case(one)
    known = with_forecast(weather, on, settings.forecast)
    whole, last_day = outlook_weather(known, first_day, on)
    year_c = mean_annual_air(known, c)
    days = days_of_winter(whole, first_day, last_day, c, year_c)
    air = winter_weather(whole, first_day, last_day)
    rows = [_row(ice) for ice in winter_by_day(usual, days, c)]
    calendar = pd.DatetimeIndex(air.index)
    is_forecast = known.reindex(calendar)["is_forecast"].to_numpy() == 1
    return air[["air_min_c", "air_max_c"]].assign(
        is_usual=(calendar > pd.Timestamp(on)) & ~is_forecast,
        sun_j_m2=usual.sun_j_m2[0, sun_day_of(calendar)],
        snow_m2k_w=days.snow_m2k_w,
        thaw_water_m=days.thaw_water_m,
        **pd.DataFrame(rows, index=calendar),
    )


def _row(ice: WinterIce) -> dict[str, float]:
    return {
        "afdd_cday": ice.afdd_cday.item(),
        "frost_depth_m": ice.frost_depth_m.item(),
        "ground_c": ice.ground_c.item(),
        **{f"{name}_ice_m": ice.ice_m[name].item() for name in MECHANISMS},
    }


def _only(inputs: FreezeInputs, row: Any) -> FreezeInputs:
    arrays: dict[str, Any] = {
        item.name: getattr(inputs, item.name)[[row]]
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    points = {name: values[[row]] for name, values in inputs.points.items()}
    return replace(inputs, points=points, **arrays)
