"""Frost in the ground under a ploughed road, day by day."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.cold import net_afdd
from culvertrisk.formulas.frost import (
    berggren_lambda,
    frost_depth,
    soil_fusion_heat,
    soil_heat_capacity,
)

Floats = NDArray[np.float64]

_MONTHS = 12


def mean_annual_air(weather: pd.DataFrame, coefficients: Mapping[str, Floats]) -> float:
    """Mean temperature of the year, each month weighing alike.

    Parameters
    ----------
    weather : DataFrame
        The table of ``read_weather``.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    mean_annual_c : float
        That of the defaults table where a month of the year is never known [°C].
    """
    mean_c = weather[["air_min_c", "air_max_c"]].mean(axis=1, skipna=False)
    by_month = mean_c.groupby(pd.DatetimeIndex(weather.index).month).mean()
    if by_month.notna().sum() < _MONTHS:
        return float(coefficients["mean_annual_c"].item())
    return float(by_month.mean())


def frost_by_day(
    air_mean_c: Floats, mean_annual_c: float, coefficients: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Frost of the ground by day: depth for one degree-day, and surface temperature.

    Parameters
    ----------
    air_mean_c : ndarray, shape (days,)
        Mean of each day of the winter [°C].
    mean_annual_c : float
        Of ``mean_annual_air`` [°C].
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    unit_depth, surface_c : ndarray, shape (days,)
        Depth over the root of the air's frost so far [m·(°C·day)^-1/2], and the mean
        temperature of the road since freeze-up [°C].

    Notes
    -----
    Modified Berggren with the exact lambda of each day, for a road without snow.
    """
    c, factor = coefficients, coefficients["road_freezing_factor"].item()
    grain = c["soil_dry_density_kg_m3"], c["soil_water_fraction"]
    fusion = soil_fusion_heat(*grain)
    afdd_cday = net_afdd(air_mean_c)
    day = np.arange(1, len(afdd_cday) + 1)
    days_frozen = day - np.maximum.accumulate(np.where(afdd_cday > 0, 0, day))
    frozen = days_frozen > 0
    below_c = factor * afdd_cday / np.where(frozen, days_frozen, 1)
    safe_c = np.where(frozen, below_c, 1.0)
    capacity = soil_heat_capacity(*grain, c["soil_grain_heat_j_kgk"])
    correction = berggren_lambda(
        capacity * safe_c / fusion, max(mean_annual_c, 0) / safe_c
    )
    unit_depth = frost_depth(
        factor,
        conductivity_w_mk=c["soil_conductivity_w_mk"],
        fusion_heat_j_m3=fusion,
        berggren_lambda=correction,
    )
    return unit_depth, -below_c
