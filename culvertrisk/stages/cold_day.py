"""What one day of the winter does to the barrels: frost, melt, ground and snow."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.cold import freezing_part, sol_air_temperature
from culvertrisk.formulas.frost import ground_temperature
from culvertrisk.formulas.ice import melt_depth
from culvertrisk.stages import mechanisms
from culvertrisk.stages.mechanisms import ColdDay
from culvertrisk.stages.snow_by_elevation import ElevationPlace
from culvertrisk.stages.winter_weather import WinterDays
from culvertrisk.units import DAY_S, FUSION_HEAT_J_KG, ICE_DENSITY_KG_M3

Floats = NDArray[np.float64]


def cold_day(
    day: int,
    days: WinterDays,
    air_and_sun: tuple[Floats, ...],
    cover_and_place: tuple[Floats, ElevationPlace],
    coefficients: Mapping[str, Floats],
) -> ColdDay:
    """Return what a day of the winter does to n barrels.

    Parameters
    ----------
    day : int
        Place of the day in ``days``.
    days : WinterDays
        Complete weather.
    air_and_sun : tuple of ndarray, shape (n,)
        Mean of the air [°C], its net frost so far [°C·day], and the sun at the shadier
        end and at the outlet [W/m2].
    cover_and_place : ndarray of shape (n,) and ElevationPlace
        Cover of the barrel [m], and where the crossings lie among the bands.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    cold_day : ColdDay
        Of all n barrels.
    """
    air_c, afdd_cday, sun, outlet_sun = air_and_sun
    cover_m, place = cover_and_place
    half_c = float(days.half_range_c[day])
    frost, melt_m = _frost_and_melt(air_c, sun, half_c, coefficients)
    outlet_frost, outlet_melt_m = _frost_and_melt(
        air_c, outlet_sun, half_c, coefficients
    )
    depth_m = days.frost_depth_unit[day] * np.sqrt(afdd_cday)
    ground_c = ground_temperature(cover_m, days.road_surface_c[day], depth_m)
    return ColdDay(
        frost_cday=frost,
        melt_m=melt_m,
        outlet_frost_cday=outlet_frost,
        outlet_melt_m=outlet_melt_m,
        ground_melt_m=_ground_melt(cover_m, depth_m, coefficients),
        ground_cold_cday=-ground_c,
        frost_depth_m=depth_m,
        snow_depth_m=place.of_day(days.snow_depth_m[day]),
        snow_m2k_w=place.of_day(days.snow_m2k_w[day]),
        bank_melt_m=place.of_day(days.bank_melt_m[day]),
        thaw_water_m=place.of_day(days.thaw_water_m[day]),
    )


def _ground_melt(
    cover_m: Floats, frost_m: Floats, coefficients: Mapping[str, Floats]
) -> Floats:
    """Ice melted by the ground's heat, cut as frost nears and passes the barrel."""
    depth_m = cover_m + frost_m
    share = np.where(depth_m > 0, cover_m / np.where(depth_m > 0, depth_m, 1), 1)
    heat_j_m2 = coefficients["ground_heat_w_m2"] * share * DAY_S
    return heat_j_m2 / (ICE_DENSITY_KG_M3 * FUSION_HEAT_J_KG)


def _frost_and_melt(
    air_c: Floats, sun: Floats, half_c: float, coefficients: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Frost [°C·day] and ice melted [m] on one day at an end."""
    warm_c = sol_air_temperature(
        air_c,
        sun,
        absorbed_fraction=coefficients["absorbed_fraction"],
        surface_w_m2k=coefficients["sol_air_surface_w_m2k"],
    )
    frost = freezing_part(warm_c, half_c)
    melt_m = melt_depth(warm_c + frost, coefficients["ice_melt_coefficient"])
    return frost, melt_m * mechanisms.SWELLING
