"""The daily run over a winter: frost, sun and snow to ice in every barrel."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.draught import outside_air_share
from culvertrisk.stages import mechanisms
from culvertrisk.stages.cold_day import cold_day
from culvertrisk.stages.ground_frost import mean_annual_air
from culvertrisk.stages.mechanisms import MECHANISMS, Barrel, ColdDay, Pool
from culvertrisk.stages.snow_by_elevation import ElevationPlace
from culvertrisk.stages.winter_weather import WinterDays, winter_days, winter_weather
from culvertrisk.town_defaults import default_values
from culvertrisk.units import DAY_S

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FreezeInputs:
    """What the freeze model knows of n crossings; NaN is unknown.

    ``sun_j_m2`` is the clear-sky sun of each day at the shadier end, shape (n, 243),
    ``outlet_sun_j_m2`` that at the outlet and ``open_sun_j_m2`` that on open ground.
    The six chances are never NaN: of a seep, of a snow plug, of water that stands by
    a remark, of none by a remark, of both ends open to the wind, of ice backing in
    from below. ``points`` holds, by field name
    (``sun_fraction`` for the sun), three equally likely values to stand in where a
    field is unknown, shape (n, 3). ``opened_day`` holds the days, since the winter's
    first, on which a crew opened the pipe, and ``left_fraction`` the share of the ice
    in the barrel that it left, both of shape (n, k) and NaN where there were fewer.
    Rows of one ``run_label`` are alike in all that the daily run feels; -1 is alike
    to none.
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
    drained_chance: Floats
    open_chance: Floats
    tail_chance: Floats
    sun_j_m2: NDArray[np.floating]
    outlet_sun_j_m2: NDArray[np.floating]
    open_sun_j_m2: NDArray[np.floating]
    points: Mapping[str, Floats]
    opened_day: Floats
    left_fraction: Floats
    run_label: NDArray[np.intp]


@dataclass(frozen=True)
class WinterIce:
    """Frost and ice of n crossings on a day, by mechanism, and the most there was.

    ``found_ice_m`` is what there was when a crew last opened the pipe, else 0.
    """

    afdd_cday: Floats
    frost_depth_m: Floats
    ground_c: Floats
    ice_m: Mapping[str, Floats]
    most_ice_m: Mapping[str, Floats]
    found_ice_m: Mapping[str, Floats]
    pools: Mapping[str, Pool]


def freeze_coefficients(town: Mapping[str, Any] | None = None) -> dict[str, Floats]:
    """Return every coefficient of the freeze model by name, as an array.

    Parameters
    ----------
    town : mapping, optional
        The town's own values by the names of the ``freeze_defaults`` table, in its
        units or as text with another; the rest is as in the table.

    Returns
    -------
    coefficients : dict of str to ndarray, shape (k,)
        One value, or three for points.

    Raises
    ------
    InputError
        If ``default_values`` refuses any of them; all at once.
    """
    return default_values("freeze", town)


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
    complete = winter_weather(weather, first_day, last_day, coefficients)
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
    seepage_m = mechanisms.seepage(inputs.rise_m, inputs.length_m, coefficients)
    barrel = Barrel(inputs.rise_m, inputs.length_m, share, seepage_m)
    at_ends = inputs.sun_j_m2, inputs.outlet_sun_j_m2
    sun_w_m2 = [np.ascontiguousarray(sun.T) / DAY_S for sun in at_ends]
    lapse_c = coefficients["lapse_c_per_m"] * np.nan_to_num(inputs.elevation_offset_m)
    place = ElevationPlace.of(days.offset_m, inputs.elevation_offset_m)
    ice = _no_ice(len(lapse_c))
    for day, mean_c in enumerate(days.air_mean_c):
        air_c = mean_c - lapse_c
        lit = days.clear_sun_fraction[day]
        sun = [lit * end[days.sun_day[day]] for end in sun_w_m2]
        afdd_cday = np.maximum(ice.afdd_cday - air_c, 0)
        weather = air_c, afdd_cday, *sun
        felt = cold_day(day, days, weather, (inputs.cover_m, place), coefficients)
        ice = _next_day(ice, afdd_cday, felt, barrel, coefficients)
        ice = _opened(ice, inputs, day)
        yield ice


def _no_ice(count: int) -> WinterIce:
    none = np.zeros(count)
    pool = Pool(none, none, none)
    ice_m = dict.fromkeys(MECHANISMS, none)
    pools = {"plug": pool, "refreeze": pool}
    return WinterIce(none, none, none, ice_m, ice_m, ice_m, pools)


def opened_on(inputs: FreezeInputs, day: int) -> tuple[NDArray[np.bool_], Floats]:
    """Tell which pipes a crew opened on a day, and the share of the ice it left."""
    is_now = inputs.opened_day == day
    left = np.where(is_now, inputs.left_fraction, 1)
    return is_now.any(axis=1), left.min(axis=1, initial=1)


def _opened(ice: WinterIce, inputs: FreezeInputs, day: int) -> WinterIce:
    """Take out what crews took out on a day: the rest is a share of the barrel."""
    opened, left = opened_on(inputs, day)
    if not opened.any():
        return ice

    def rest(depth_m: Floats) -> Floats:
        return np.where(opened, left * np.minimum(depth_m, inputs.rise_m), depth_m)

    def drained(pool: Pool) -> Pool:
        water_m = np.where(opened, 0, pool.water_m)
        return Pool(rest(pool.ice_m), rest(pool.layer_m), water_m)

    found = ice.found_ice_m
    return replace(
        ice,
        ice_m={name: rest(depth_m) for name, depth_m in ice.ice_m.items()},
        found_ice_m={k: np.where(opened, v, found[k]) for k, v in ice.ice_m.items()},
        pools={name: drained(pool) for name, pool in ice.pools.items()},
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
        "refreeze": mechanisms.refreeze_ice(ice.pools["refreeze"], day, barrel, c),
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
    found_m = ice.found_ice_m
    return WinterIce(
        afdd_cday, day.frost_depth_m, ground_c, ice_m, most_m, found_m, pools
    )
