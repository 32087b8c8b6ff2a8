"""The ways ice gets into a barrel, each a step of a day and a chance to be at work."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

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
    the frost of the ground at the crown; the last four are the snow on level ground,
    what of it insulates an end, what air above 0 °C melts of a bank of it and the water
    of a thaw, at the crossing's elevation.
    """

    frost_cday: Floats
    melt_m: Floats
    outlet_frost_cday: Floats
    outlet_melt_m: Floats
    ground_melt_m: Floats
    ground_cold_cday: Floats
    frost_depth_m: Floats
    snow_depth_m: Floats
    snow_m2k_w: Floats
    bank_melt_m: Floats
    thaw_water_m: Floats


@dataclass(frozen=True)
class Barrel:
    """Of n barrels what the daily steps need, shape (n,); ``seepage_m`` is (3, n)."""

    rise_m: Floats
    length_m: Floats
    outside_air_share: Floats
    seepage_m: Floats


@dataclass(frozen=True)
class Pool:
    """Thaw water that freezes in layers: all ice, the newest layer, water left [m]."""

    ice_m: Floats
    layer_m: Floats
    water_m: Floats


@dataclass(frozen=True)
class Soaking:
    """Water of a day for a pool: what comes, room for it [m], and what stays of it.

    ``keep_fraction`` is the share still there a day later, ``pore_fraction`` that of a
    layer which is water, the rest of it is ice already; ``snow_m2k_w`` lies on it.
    """

    supply_m: Floats
    room_m: Floats
    keep_fraction: Floats | float
    pore_fraction: Floats | float = 1.0
    snow_m2k_w: Floats | float = 0.0


def middle_ice(ice_m: Floats) -> Floats:
    """Take the middle one of equally likely depths, where there are several a barrel.

    Shape (k, n) or (n,) gives (n,).
    """
    return np.asarray(ice_m[len(ice_m) // 2] if ice_m.ndim > 1 else ice_m)


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

    ``seep_ice_growth`` at the shadier end (carey1983 for scope), shape (3, n): once
    for each of the trickles that are equally likely, as no seep is ever measured.
    Ends first: the water spreads over ``seep_reach_ratio`` rises of bed before it gets
    further in; how far it gets is ``icing_length``. Limits: order of magnitude.
    """
    by_cold_m = seep_ice_growth(
        day.frost_cday,
        surface_w_m2k=c["ice_surface_w_m2k"],
        trickle_m3s=np.inf,
        wet_area_m2=1.0,
        snow_m2k_w=day.snow_m2k_w,
    )
    grown_m = np.minimum(by_cold_m, barrel.seepage_m)
    grown_m += ice_m
    grown_m -= day.melt_m
    return np.maximum(grown_m, 0, out=grown_m)


def seepage(rise_m: Floats, length_m: Floats, c: Coefficients) -> Floats:
    """Most that each trickle can freeze in a day, shape (3, n) [m]: all its water."""
    reach_m = np.minimum(c["seep_reach_ratio"] * rise_m, length_m)
    return seep_ice_growth(
        np.inf,
        surface_w_m2k=c["ice_surface_w_m2k"],
        trickle_m3s=c["trickle_points_m3s"][:, None],
        wet_area_m2=rise_m * reach_m,
    )


def draught_ice(ice_m: Floats, day: ColdDay, barrel: Barrel, c: Coefficients) -> Floats:
    """Ice on a wet bed in a barrel that the wind blows through.

    Barrel air lies between outside and ground (``outside_air_share``: short and large
    is colder); no snow on the bed, and the surface coefficient of wind (ashton1986).
    Every ``draught_snow_m`` of snow at the ends leaves an e-th of the outside air.
    Ground above 0 °C counts as none. Limits: both ends open; studies give the
    direction, not the size.
    """
    ends_snow_m = c["snow_share_fraction"] * day.snow_depth_m
    outside = barrel.outside_air_share * np.exp(-ends_snow_m / c["draught_snow_m"])
    frost_cday = outside * day.frost_cday + (1 - outside) * day.ground_cold_cday
    grown_m = standing_ice(ice_m, frost_cday, surface_w_m2k=c["open_surface_w_m2k"])
    return np.maximum(grown_m - day.ground_melt_m - day.melt_m, 0)


def perched_ice(ice_m: Floats, day: ColdDay, barrel: Barrel, c: Coefficients) -> Floats:
    """Cone of ice at a high lip, fed by a dribble, at the sun of the outlet.

    ``seep_ice_growth`` over the square of the rise, by the middle one of the trickles:
    up to 1 m even the least brings more than a day of -20 °C freezes. Limits: the
    height the cone must climb from below is not counted, so that it errs to the early
    side.
    """
    growth_m = seep_ice_growth(
        day.outlet_frost_cday,
        surface_w_m2k=c["ice_surface_w_m2k"],
        trickle_m3s=np.median(c["trickle_points_m3s"]),
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
    """Bank of ploughed snow that fills a mouth from its bed, soaked and frozen.

    The bank is as deep as the plough makes it (``plug_bank_ratio`` times the level
    snow). Its own melt, by the air of any hour above 0 °C, and a thaw's water that
    runs to its foot fill the pores; they freeze under its snow, with so much less
    latent heat (``pool_ice``). Ice under snow does not melt from above. Limits: dry
    packed snow counts as open; how the bank was cast is not followed; common practice,
    no source.
    """
    pores = c["plug_pore_fraction"]
    bank_m = c["plug_bank_ratio"] * day.snow_depth_m
    room_m = pores / SWELLING * np.maximum(bank_m - pool.ice_m, 0)
    supply_m = day.bank_melt_m + c["plug_gather"] * day.thaw_water_m
    bare_m = np.maximum(pool.ice_m - bank_m, 0)
    bare = replace(day, melt_m=np.minimum(bare_m, day.melt_m))
    keeps = c["plug_keep_fraction"]
    soaked = Soaking(supply_m, room_m, keeps, pores, day.snow_m2k_w)
    return pool_ice(pool, soaked, bare, c)


def refreeze_ice(pool: Pool, day: ColdDay, barrel: Barrel, c: Coefficients) -> Pool:
    """Water of a midwinter thaw that stands in the barrel when the cold is back.

    Melt and rain of so much ditch (``refreeze_ditch_m2``) fill the barrel's own bed up
    to a share of its rise (``pool_ice``). Limits: what runs through is not followed;
    common practice, no source.
    """
    depth_m = c["refreeze_ditch_m2"] / (barrel.rise_m * barrel.length_m)
    most_m = c["thaw_pool_ratio"] * barrel.rise_m
    supply_m = depth_m * day.thaw_water_m
    return pool_ice(pool, Soaking(supply_m, most_m, c["pool_keep_fraction"]), day, c)


def pool_ice(pool: Pool, soaking: Soaking, day: ColdDay, c: Coefficients) -> Pool:
    """Freeze thaw water in layers: each thaw floods the ice and starts a new one.

    A layer grows as ``standing_ice`` and no further than its water; what has not
    frozen drains. Limits: no more water than there is room for.
    """
    supply_m, pores = soaking.supply_m, soaking.pore_fraction
    layer_m, water_m = pool.layer_m, pool.water_m
    if np.any(supply_m > 0):  # on most winter days nothing thaws
        layer_m = np.where(supply_m > 0, 0.0, layer_m)
        water_m = np.minimum(water_m + supply_m, soaking.room_m)
    grown_m = standing_ice(
        layer_m,
        day.frost_cday / pores,
        surface_w_m2k=c["open_surface_w_m2k"],
        snow_m2k_w=soaking.snow_m2k_w,
    )
    frozen_m = np.minimum(grown_m - layer_m, water_m * (SWELLING / pores))
    gain_m = frozen_m - day.melt_m
    return Pool(
        ice_m=np.maximum(pool.ice_m + gain_m, 0),
        layer_m=np.maximum(layer_m + gain_m, 0),
        water_m=(water_m - frozen_m * (pores / SWELLING)) * soaking.keep_fraction,
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
