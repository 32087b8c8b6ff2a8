"""The ways ice gets into a barrel, each a step of a day and a chance to be at work."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.ice import seep_ice_growth, standing_ice
from culvertrisk.units import ICE_DENSITY_KG_M3, WATER_DENSITY_KG_M3

Floats = NDArray[np.float64]
Coefficients = Mapping[str, Floats]

MECHANISMS = (
    *("sag", "seep", "draught", "perched", "tailwater"),
    *("plug", "refreeze", "shallow"),
)
SWELLING = WATER_DENSITY_KG_M3 / ICE_DENSITY_KG_M3  # depth of ice from one of water


@dataclass(frozen=True)
class ColdDay:
    """What one day does to n barrels, shape (n,) unless a scalar for the town.

    ``frost_cday`` and ``melt_m`` (ice melted by air and sun) hold at the shadier end,
    ``outlet_frost_cday`` and ``outlet_melt_m`` at the outlet; ``ground_cold_cday`` is
    the frost of the ground at the crown; the last three are the snow and the water of
    a thaw at the crossing's elevation.
    """

    frost_cday: Floats
    melt_m: Floats
    outlet_frost_cday: Floats
    outlet_melt_m: Floats
    ground_melt_m: Floats
    ground_cold_cday: Floats
    frost_depth_m: Floats
    snow_m2k_w: Floats
    snowmelt_m: Floats
    thaw_water_m: Floats


@dataclass(frozen=True)
class Barrel:
    """Of n barrels what the daily steps need, shape (n,)."""

    rise_m: Floats
    length_m: Floats
    outside_air_share: Floats


@dataclass(frozen=True)
class Pool:
    """Thaw water that freezes in layers: all ice, the newest layer, water left [m]."""

    ice_m: Floats
    layer_m: Floats
    water_m: Floats


def sag_ice(ice_m: Floats, day: ColdDay, c: Coefficients) -> Floats:
    """Ice on water that stands in a sag, a flat or a silted barrel.

    Grows downward under the snow at the shadier end (``standing_ice``; ashton1986);
    loses what ground, air and sun melt. Limits: still water deep enough to freeze;
    snow is that of level ground times a share (common practice, no source).
    """
    grown_m = standing_ice(
        ice_m,
        day.frost_cday,
        surface_w_m2k=c["ice_surface_w_m2k"],
        snow_m2k_w=day.snow_m2k_w,
    )
    return np.maximum(grown_m - day.ground_melt_m - day.melt_m, 0)


def seep_ice(ice_m: Floats, day: ColdDay, barrel: Barrel, c: Coefficients) -> Floats:
    """Icing fed by a seep, layer on layer, limited by cold or by water.

    ``seep_ice_growth`` at the shadier end (carey1983 for scope). Limits: order of
    magnitude; the trickle spreads over the barrel's bed.
    """
    growth_m = seep_ice_growth(
        day.frost_cday,
        surface_w_m2k=c["ice_surface_w_m2k"],
        trickle_m3s=c["trickle_m3s"],
        wet_area_m2=barrel.rise_m * barrel.length_m,
        snow_m2k_w=day.snow_m2k_w,
    )
    return np.maximum(ice_m + growth_m - day.melt_m, 0)


def draught_ice(ice_m: Floats, day: ColdDay, barrel: Barrel, c: Coefficients) -> Floats:
    """Ice on a wet bed in a barrel that the wind blows through.

    Barrel air lies between outside and ground (``outside_air_share``); no snow, and
    the surface coefficient of wind (ashton1986). Ground above 0 °C counts as none.
    Limits: both ends open; studies give the direction, not the size.
    """
    outside = barrel.outside_air_share
    frost_cday = outside * day.frost_cday + (1 - outside) * day.ground_cold_cday
    grown_m = standing_ice(ice_m, frost_cday, surface_w_m2k=c["open_surface_w_m2k"])
    return np.maximum(grown_m - day.ground_melt_m - day.melt_m, 0)


def perched_ice(ice_m: Floats, day: ColdDay, barrel: Barrel, c: Coefficients) -> Floats:
    """Cone of ice at a high lip, fed by a dribble, at the sun of the outlet.

    ``seep_ice_growth`` over the square of the rise. Limits: the height the cone must
    climb from below is not counted, so that it errs to the early side.
    """
    growth_m = seep_ice_growth(
        day.outlet_frost_cday,
        surface_w_m2k=c["ice_surface_w_m2k"],
        trickle_m3s=c["trickle_m3s"],
        wet_area_m2=barrel.rise_m**2,
        snow_m2k_w=day.snow_m2k_w,
    )
    return np.maximum(ice_m + growth_m - day.outlet_melt_m, 0)


def tailwater_ice(ice_m: Floats, day: ColdDay, c: Coefficients) -> Floats:
    """Ice backing into the outlet from water or an icing that stands below it.

    Grows downward on the water outside, under the snow and the sun of the outlet
    (``standing_ice``; ashton1986); the outlet closes as it reaches the bed. Open to the
    wind and without the ground's heat, it forms earlier than ice in the barrel. Limits:
    that the water stands to the crown is taken for granted, so that it errs to the
    early side; an icing that climbs from downstream counts as this water does.
    """
    grown_m = standing_ice(
        ice_m,
        day.outlet_frost_cday,
        surface_w_m2k=c["open_surface_w_m2k"],
        snow_m2k_w=day.snow_m2k_w,
    )
    return np.maximum(grown_m - day.outlet_melt_m, 0)


def plug_ice(pool: Pool, day: ColdDay, c: Coefficients) -> Pool:
    """Bank of ploughed snow at a mouth, wetted by melt and frozen.

    Melt of the level snow by degree-days gathers at its foot (``pool_ice``). Limits:
    how the bank is built is not followed; common practice, no source.
    """
    return pool_ice(pool, c["plug_gather"] * day.snowmelt_m, day, c)


def refreeze_ice(pool: Pool, day: ColdDay, c: Coefficients) -> Pool:
    """Water of a midwinter thaw that stands in the barrel when the cold is back.

    Melt and rain gather in the barrel (``pool_ice``). Limits: the same water
    for all of one elevation; common practice, no source.
    """
    return pool_ice(pool, c["refreeze_gather"] * day.thaw_water_m, day, c)


def pool_ice(pool: Pool, supply_m: Floats, day: ColdDay, c: Coefficients) -> Pool:
    """Freeze thaw water in layers: each thaw floods the ice and starts a new one.

    A layer grows as ``standing_ice`` without snow and no further than its water; what
    has not frozen drains. Limits: depth of water is bounded by ``thaw_pool_m``.
    """
    layer_m, water_m = pool.layer_m, pool.water_m
    if np.any(supply_m > 0):  # on most winter days nothing thaws
        layer_m = np.where(supply_m > 0, 0.0, layer_m)
        water_m = np.minimum(water_m + supply_m, c["thaw_pool_m"])
    grown_m = standing_ice(
        layer_m, day.frost_cday, surface_w_m2k=c["open_surface_w_m2k"]
    )
    frozen_m = np.minimum(grown_m - layer_m, water_m * SWELLING)
    gain_m = frozen_m - day.melt_m
    return Pool(
        ice_m=np.maximum(pool.ice_m + gain_m, 0),
        layer_m=np.maximum(layer_m + gain_m, 0),
        water_m=(water_m - frozen_m / SWELLING) * c["pool_keep_fraction"],
    )


def shallow_ice(ice_m: Floats, day: ColdDay, c: Coefficients) -> Floats:
    """Ice that frost through the road grows on a wet bed under too little cover.

    The wall is as cold as the frozen ground at the crown (``ground_temperature``; frost
    depth by modified Berggren, ufc2004); the bed freezes as ``standing_ice`` and melts
    with air and sun at the end. Limits: frost from above only; one soil.
    """
    surface = c["open_surface_w_m2k"]
    grown_m = standing_ice(ice_m, day.ground_cold_cday, surface_w_m2k=surface)
    return np.maximum(grown_m - day.melt_m, 0)
