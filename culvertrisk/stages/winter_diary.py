"""The winter of one crossing, day by day: weather, frost and ice by mechanism."""

from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.ice import cylinder_freezing_time, ice_thickness
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS, middle_ice
from culvertrisk.stages.openings import opening_inputs
from culvertrisk.stages.outlook import middle_case, outlook_weather
from culvertrisk.stages.snow_by_elevation import ElevationPlace
from culvertrisk.stages.winter import (
    FreezeInputs,
    WinterIce,
    days_of_winter,
    freeze_coefficients,
    winter_by_day,
)
from culvertrisk.stages.winter_weather import sun_day_of, winter_weather
from culvertrisk.units import DAY_S

Floats = NDArray[np.float64]


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
        With the columns of culverts and, where known, site and ``opened_days``: the
        ice drops on the day that a crew opened the pipe.
    culvert_id : str
        The crossing.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun by season at both ends, rows as in ``crossings``.
    on : date
        The day asked; later days are forecast, then a usual spring (``is_usual``).
    settings : Settings
        Start of the winter.

    Returns
    -------
    diary : DataFrame
        Indexed by ``day``: ``air_min_c``, ``air_max_c``, ``sun_j_m2`` (clear sky, at
        the shadier end), ``snow_m2k_w``, ``thaw_water_m``, ``afdd_cday``,
        ``frost_depth_m``, ``ground_c`` and, by mechanism, ``<name>_ice_m``: the ice
        there is if the mechanism is at work, unknowns at the middle of their points.
        Beside them two plain formulas that take the air's frost as it is:
        ``stefan_ice_m``, the ice of an average river with snow, and
        ``full_barrel_frost_fraction``, the frost so far over that which freezes a
        barrel standing full, cold on all sides, to its core (1 is solid).

    Raises
    ------
    InputError
        If the weather of the winter has too many gaps.
    """
    c, first_day = freeze_coefficients(settings.freeze.defaults), settings.winter_of(on)
    inputs = opening_inputs(crossings, sun, (first_day, on), c)
    usual = middle_case(_only(inputs, crossings.index.get_loc(culvert_id)))
    whole, last_day = outlook_weather(weather, first_day, on, c)
    year_c = mean_annual_air(weather, c)
    days = days_of_winter(whole, first_day, last_day, c, year_c)
    air = winter_weather(whole, first_day, last_day, c)
    place = ElevationPlace.of(days.offset_m, usual.elevation_offset_m)
    rows = [_row(ice) for ice in winter_by_day(usual, days, c)]
    calendar = pd.DatetimeIndex(air.index)
    is_forecast = weather.reindex(calendar)["is_forecast"].to_numpy() == 1
    return air[["air_min_c", "air_max_c"]].assign(
        is_usual=(calendar > pd.Timestamp(on)) & ~is_forecast,
        sun_j_m2=usual.sun_j_m2[0, sun_day_of(calendar)],
        snow_m2k_w=[place.of_day(row)[0] for row in days.snow_m2k_w],
        thaw_water_m=[place.of_day(row)[0] for row in days.thaw_water_m],
        **pd.DataFrame(rows, index=calendar),
        **_comparisons(usual.rise_m.item(), c),
    )


def _comparisons(
    rise_m: float, coefficients: Mapping[str, Floats]
) -> dict[str, Callable[[pd.DataFrame], Floats]]:
    """Plain formulas beside the model: an open river, and a barrel standing full."""
    per_kelvin_s = cylinder_freezing_time(
        rise_m / 2,
        0.0,
        below_freezing_k=1.0,
        surface_w_m2k=coefficients["open_surface_w_m2k"],
    )
    alpha = coefficients["stefan_coefficient"]
    return {
        "stefan_ice_m": lambda t: ice_thickness(t["afdd_cday"].to_numpy(), alpha),
        "full_barrel_frost_fraction": lambda t: np.minimum(
            t["afdd_cday"].to_numpy() * DAY_S / per_kelvin_s, 1
        ),
    }


def _row(ice: WinterIce) -> dict[str, float]:
    return {
        "afdd_cday": ice.afdd_cday.item(),
        "frost_depth_m": ice.frost_depth_m.item(),
        "ground_c": ice.ground_c.item(),
        **{f"{name}_ice_m": middle_ice(ice.ice_m[name]).item() for name in MECHANISMS},
    }


def _only(inputs: FreezeInputs, row: Any) -> FreezeInputs:
    arrays: dict[str, Any] = {
        item.name: getattr(inputs, item.name)[[row]]
        for item in fields(FreezeInputs)
        if item.name != "points"
    }
    points = {name: values[[row]] for name, values in inputs.points.items()}
    return replace(inputs, points=points, **arrays)
