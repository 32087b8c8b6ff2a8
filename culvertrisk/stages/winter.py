"""The daily run over a winter: frost, sun and snow to ice in every barrel."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.cold import freezing_part, sol_air_temperature
from culvertrisk.formulas.ice import melt_depth, seep_ice_growth, standing_ice
from culvertrisk.stages.winter_weather import winter_days, winter_weather
from culvertrisk.tables import table
from culvertrisk.units import (
    DAY_S,
    FUSION_HEAT_J_KG,
    ICE_DENSITY_KG_M3,
    LAPSE_C_M,
    WATER_DENSITY_KG_M3,
)

Floats = NDArray[np.float64]

_SWELLING = WATER_DENSITY_KG_M3 / ICE_DENSITY_KG_M3


@dataclass(frozen=True)
class FreezeInputs:
    """What the freeze model knows of n crossings; NaN is unknown.

    ``sun_j_m2`` is the clear-sky sun of each day at the shadier end, shape
    (n, 243), and ``open_sun_j_m2`` the same on open ground. ``seep_chance`` is
    never NaN. ``points`` holds, by field name (``sun_fraction`` for the sun),
    three equally likely values to stand in where a field is unknown, shape (n, 3).
    """

    rise_m: Floats
    silt_fraction: Floats
    barrel_slope_m_per_m: Floats
    cover_m: Floats
    outlet_drop_m: Floats
    seep_chance: Floats
    length_m: Floats
    elevation_offset_m: Floats
    sun_j_m2: NDArray[np.floating]
    open_sun_j_m2: NDArray[np.floating]
    points: Mapping[str, Floats]


@dataclass(frozen=True)
class WinterIce:
    """Frost and ice of n crossings on the last day, and the most there was."""

    afdd_cday: Floats
    standing_ice_m: Floats
    seep_ice_m: Floats
    most_standing_ice_m: Floats
    most_seep_ice_m: Floats


def freeze_coefficients() -> dict[str, Floats]:
    """Return every coefficient of the freeze model by name, as an array."""
    rows = table("freeze_defaults").set_index("name")["value"].astype(str)
    return {str(k): np.array([float(v) for v in t.split()]) for k, t in rows.items()}


def run_winter(
    inputs: FreezeInputs,
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
) -> WinterIce:
    """Run the winter day by day over all crossings at once.

    Parameters
    ----------
    inputs : FreezeInputs
        Crossings whose rise, cover, length and sun are known, shape (n,).
    weather : DataFrame
        The table of ``read_weather``.
    first_day, last_day : date
        First day, without ice, and last day, included.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    ice : WinterIce
        NaN where an input is NaN. ``standing_ice_m`` is the ice if water stands,
        ``seep_ice_m`` the icing if a seep feeds the end; neither is bounded by
        the rise, so that it tells by how much the cold exceeds what is needed.

    Raises
    ------
    InputError
        If the weather has too many gaps: see ``winter_weather``.
    """
    days = winter_days(winter_weather(weather, first_day, last_day), coefficients)
    lapse_c = LAPSE_C_M * np.nan_to_num(inputs.elevation_offset_m)
    sun_w_m2 = np.ascontiguousarray(inputs.sun_j_m2.T) / DAY_S
    ground_m = _ground_melt(inputs.cover_m, coefficients)
    ice = WinterIce(*np.zeros((5, len(lapse_c))))
    for day, snow_m2k_w in enumerate(days.snow_m2k_w):
        air_c = days.air_mean_c[day] - lapse_c
        sun = sun_w_m2[days.sun_day[day]] * days.clear_sun_fraction[day]
        frost, melt_m = _frost_and_melt(
            air_c, sun, days.half_range_c[day], coefficients
        )
        standing_m, seep_m = _grown(ice, frost, snow_m2k_w, inputs, coefficients)
        ice = _next_day(ice, air_c, standing_m - ground_m - melt_m, seep_m - melt_m)
    return ice


def _grown(
    ice: WinterIce,
    frost: Floats,
    snow_m2k_w: float,
    inputs: FreezeInputs,
    coefficients: Mapping[str, Floats],
) -> tuple[Floats, Floats]:
    surface_w_m2k = coefficients["ice_surface_w_m2k"]
    standing_m = standing_ice(
        ice.standing_ice_m,
        frost,
        surface_w_m2k=surface_w_m2k,
        snow_m2k_w=snow_m2k_w,
    )
    growth_m = seep_ice_growth(
        frost,
        surface_w_m2k=surface_w_m2k,
        trickle_m3s=coefficients["trickle_m3s"],
        wet_area_m2=inputs.rise_m * inputs.length_m,
        snow_m2k_w=snow_m2k_w,
    )
    return standing_m, ice.seep_ice_m + growth_m


def _next_day(
    ice: WinterIce, air_c: Floats, standing_m: Floats, seep_m: Floats
) -> WinterIce:
    standing_m, seep_m = np.maximum(standing_m, 0), np.maximum(seep_m, 0)
    return WinterIce(
        afdd_cday=np.maximum(ice.afdd_cday - air_c, 0),
        standing_ice_m=standing_m,
        seep_ice_m=seep_m,
        most_standing_ice_m=np.maximum(ice.most_standing_ice_m, standing_m),
        most_seep_ice_m=np.maximum(ice.most_seep_ice_m, seep_m),
    )


def _ground_melt(cover_m: Floats, coefficients: Mapping[str, Floats]) -> Floats:
    share = cover_m / (cover_m + coefficients["cover_half_m"])
    heat_j_m2 = coefficients["ground_heat_w_m2"] * share * DAY_S
    return heat_j_m2 / (ICE_DENSITY_KG_M3 * FUSION_HEAT_J_KG)


def _frost_and_melt(
    air_c: Floats, sun: Floats, half_c: float, coefficients: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Frost [°C·day] and ice melted [m] on one day at the shadier end."""
    warm_c = sol_air_temperature(
        air_c,
        sun,
        absorbed_fraction=coefficients["absorbed_fraction"],
        surface_w_m2k=coefficients["sol_air_surface_w_m2k"],
    )
    frost = freezing_part(warm_c, half_c)
    melt_m = melt_depth(warm_c + frost, coefficients["ice_melt_coefficient"])
    return frost, melt_m * _SWELLING
