"""Yearly flood stage: which storm a crossing holds, and how often it is flooded."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.overtopping import (
    floods_per_year,
    limiting_return_years,
    overtopping_per_year,
)
from culvertrisk.settings import Design
from culvertrisk.stages.design_flow import PEAK_COLUMNS
from culvertrisk.stages.design_storm import PEAK_YEARS, storm_defaults

Floats = NDArray[np.float64]


def add_yearly_flood(
    crossings: GeoDataFrame,
    winter_blocked_chance: ArrayLike,
    iced_season_fraction: float = Design().iced_season_fraction,
    thaw_floods_per_year: float = Design().thaw_floods_per_year,
) -> GeoDataFrame:
    """Add the limiting storm and the floodings a year, open and with winter ice.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood and design flow.
    winter_blocked_chance : array_like, shape (n,)
        Chance that a flood of the iced season meets a blocked pipe; of monthly
        chances take ``season_blocked_chance``.
    iced_season_fraction : float
        Share of a year's floods that come in the iced season.
    thaw_floods_per_year : float
        Floods of a winter that a blocked pipe meets.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``yearly_flood``. Over n years n times as many
        floodings are expected. Bridges and fords are NaN.

    Notes
    -----
    If no crew comes: what crews save is not taken off. Capacity is what passes
    before water reaches the road, the pond's room left out; return periods are held
    within ``shortest_return`` and ``longest_return``, beyond which five peaks do not
    tell.
    """
    open_years = _return_years(crossings, "open_capacity_m3s")
    open_per_year = floods_per_year(open_years)
    per_year = overtopping_per_year(
        open_per_year,
        floods_per_year(_return_years(crossings, "iced_capacity_m3s")),
        winter_blocked_chance,
        iced_season_fraction,
        thaw_floods_per_year,
    )
    return crossings.assign(
        limiting_return_years=open_years,
        overtopping_open_per_year=open_per_year,
        overtopping_per_year=per_year,
        overtopping_open_chance=-np.expm1(-open_per_year),
        overtopping_chance=-np.expm1(-per_year),
    )


def _return_years(crossings: GeoDataFrame, capacity: str) -> Floats:
    defaults = storm_defaults()
    years = limiting_return_years(
        crossings[capacity].to_numpy(float),
        PEAK_YEARS,
        crossings[[*PEAK_COLUMNS]].to_numpy(float),
    )
    return np.clip(years, defaults["shortest_return"], defaults["longest_return"])
