"""The daily run over a winter: frost, sun and snow to ice in every barrel."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.checks import refuse, value_problem
from culvertrisk.formulas.cold import freezing_part, sol_air_temperature
from culvertrisk.formulas.draught import outside_air_share
from culvertrisk.formulas.frost import ground_temperature
from culvertrisk.formulas.ice import melt_depth
from culvertrisk.stages import mechanisms
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS, Barrel, ColdDay, Pool
from culvertrisk.stages.snow_by_elevation import ElevationPlace
from culvertrisk.stages.winter_weather import WinterDays, winter_days, winter_weather
from culvertrisk.tables import table
from culvertrisk.units import (
    DAY_S,
    FUSION_HEAT_J_KG,
    ICE_DENSITY_KG_M3,
    LAPSE_C_M,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FreezeInputs:
    """What the freeze model knows of n crossings; NaN is unknown.

    ``sun_j_m2`` is the clear-sky sun of each day at the shadier end, shape (n, 243),
    ``outlet_sun_j_m2`` that at the outlet and ``open_sun_j_m2`` that on open ground.
    The four chances are never NaN: of a seep, of a snow plug, of water that stands by
    a remark, of ice backing in from below. ``points`` holds, by field name
    (``sun_fraction`` for the sun), three equally likely values to stand in where a
    field is unknown, shape (n, 3).
    """

    rise_m: Floats
    silt_fraction: Floats
    barrel_slope_m_per_m: Floats
    cover_m: Floats
    outlet_drop_m: Floats
    length_m: Floats
    elevation_offset_m: Floats
    barrel_bearing_deg: Floats
    seep_chance: Floats
    plug_chance: Floats
    pond_chance: Floats
    tail_chance: Floats
    sun_j_m2: NDArray[np.floating]
    outlet_sun_j_m2: NDArray[np.floating]
    open_sun_j_m2: NDArray[np.floating]
    points: Mapping[str, Floats]


@dataclass(frozen=True)
class WinterIce:
    """Frost and ice of n crossings on a day, by mechanism, and the most there was."""

    afdd_cday: Floats
    frost_depth_m: Floats
    ground_c: Floats
    ice_m: Mapping[str, Floats]
    most_ice_m: Mapping[str, Floats]
    pools: Mapping[str, Pool]


def freeze_coefficients(
    town: Mapping[str, float | Sequence[float]] | None = None,
) -> dict[str, Floats]:
    """Return every coefficient of the freeze model by name, as an array.

    Parameters
    ----------
    town : mapping, optional
        The town's own values by the names of the ``freeze_defaults`` table, in its
        units; the rest is as in the table.

    Returns
    -------
    coefficients : dict of str to ndarray, shape (k,)
        One value, or three for points.

    Raises
    ------
    InputError
        If a name is not in the table or the number of values is another; all at once.
    """
    rows = table("freeze_defaults").set_index("name")["value"].astype(str)
    known = {str(k): np.array([float(v) for v in t.split()]) for k, t in rows.items()}
    own = {k: np.atleast_1d(np.asarray(v, float)) for k, v in (town or {}).items()}
    refuse(
        value_problem(
            "town file",
            f"freeze.defaults.{name}",
            "be a name of the freeze_defaults table with as many values as there",
            values.tolist(),
            "Correct the spelling or the values.",
        )
        for name, values in own.items()
        if name not in known or known[name].shape != values.shape
    )
    return known | own


def days_of_winter(
    weather: pd.DataFrame,
    first_day: date,
    last_day: date,
    coefficients: Mapping[str, Floats],
    mean_annual_c: float | None = None,
) -> WinterDays:
    """Return what the daily run needs of the weather, gaps bridged.

    ``mean_annual_c`` is that of ``mean_annual_air`` unless given [°C].

    Raises
    ------
    InputError
        If the weather has too many gaps: see ``winter_weather``.
    """
    complete = winter_weather(weather, first_day, last_day)
    if mean_annual_c is None:
        mean_annual_c = mean_annual_air(weather, coefficients)
    return winter_days(complete, coefficients, mean_annual_c)


def run_winter(
    inputs: FreezeInputs, days: WinterDays, coefficients: Mapping[str, Floats]
) -> WinterIce:
    """Run the winter day by day over all crossings at once.

    Parameters
    ----------
    inputs : FreezeInputs
        Crossings whose rise, cover, length and sun are known, shape (n,).
    days : WinterDays
        Of ``days_of_winter``; before the first of them there is no ice.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    ice : WinterIce
        NaN where an input is NaN. The ice of a mechanism is what there is if it is at
        work; it is not bounded by the rise, so that it tells by how much the cold
        exceeds what is needed.
    """
    for ice in winter_by_day(inputs, days, coefficients):
        last = ice
    return last


def winter_by_day(
    inputs: FreezeInputs, days: WinterDays, coefficients: Mapping[str, Floats]
) -> Iterator[WinterIce]:
    """Yield the ice at the end of each day; arguments are those of ``run_winter``."""
    share = outside_air_share(inputs.length_m, inputs.rise_m, coefficients["stanton"])
    barrel = Barrel(inputs.rise_m, inputs.length_m, share)
    at_ends = inputs.sun_j_m2, inputs.outlet_sun_j_m2
    sun_w_m2 = [np.ascontiguousarray(sun.T) / DAY_S for sun in at_ends]
    lapse_c = LAPSE_C_M * np.nan_to_num(inputs.elevation_offset_m)
    place = ElevationPlace.of(days.offset_m, inputs.elevation_offset_m)
    ice = _no_ice(len(lapse_c))
    for day, mean_c in enumerate(days.air_mean_c):
        air_c = mean_c - lapse_c
        lit = days.clear_sun_fraction[day]
        sun = [lit * end[days.sun_day[day]] for end in sun_w_m2]
        afdd_cday = np.maximum(ice.afdd_cday - air_c, 0)
        weather = air_c, afdd_cday, *sun
        felt = _cold_day(day, days, weather, (inputs.cover_m, place), coefficients)
        ice = _next_day(ice, afdd_cday, felt, barrel, coefficients)
        yield ice


def _no_ice(count: int) -> WinterIce:
    none = np.zeros(count)
    pool = Pool(none, none, none)
    ice_m = dict.fromkeys(MECHANISMS, none)
    pools = {"plug": pool, "refreeze": pool}
    return WinterIce(none, none, none, ice_m, ice_m, pools)


def _cold_day(
    day: int,
    days: WinterDays,
    air_and_sun: tuple[Floats, ...],
    cover_and_place: tuple[Floats, ElevationPlace],
    coefficients: Mapping[str, Floats],
) -> ColdDay:
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
        snow_m2k_w=place.of_day(days.snow_m2k_w[day]),
        snowmelt_m=place.of_day(days.snowmelt_m[day]),
        thaw_water_m=place.of_day(days.thaw_water_m[day]),
    )


def _next_day(
    ice: WinterIce,
    afdd_cday: Floats,
    day: ColdDay,
    barrel: Barrel,
    coefficients: Mapping[str, Floats],
) -> WinterIce:
    c, had = coefficients, ice.ice_m
    pools = {
        "plug": mechanisms.plug_ice(ice.pools["plug"], day, c),
        "refreeze": mechanisms.refreeze_ice(ice.pools["refreeze"], day, c),
    }
    ice_m = {
        "sag": mechanisms.sag_ice(had["sag"], day, c),
        "seep": mechanisms.seep_ice(had["seep"], day, barrel, c),
        "draught": mechanisms.draught_ice(had["draught"], day, barrel, c),
        "perched": mechanisms.perched_ice(had["perched"], day, barrel, c),
        "tailwater": mechanisms.tailwater_ice(had["tailwater"], day, c),
        **{name: pool.ice_m for name, pool in pools.items()},
        "shallow": mechanisms.shallow_ice(had["shallow"], day, c),
    }
    most_m = {name: np.maximum(ice.most_ice_m[name], ice_m[name]) for name in ice_m}
    ground_c = -day.ground_cold_cday
    return WinterIce(afdd_cday, day.frost_depth_m, ground_c, ice_m, most_m, pools)


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
