"""How much sun each end of a crossing loses to hills and trees, by the day."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.clear_sky import SunTable, sun_table
from culvertrisk.formulas.insolation import (
    daily_sun,
    sky_view_fraction,
    sky_view_under_canopy,
)
from culvertrisk.formulas.sun import REFERENCE_WINTER, SEASON_DAYS, season_day
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.stages.north import lat_lon
from culvertrisk.stages.sky import CONIFERS, Trees, crowns, end_places, horizons
from culvertrisk.terrain.canopy import ELEVATIONS_DEG
from culvertrisk.terrain.horizon import AZIMUTHS

BAND_DEG = 0.05  # of latitude that share one sun table
FIRST_SUN_H = 1.0  # direct sun on a day from which an end counts as sunny; our choice
ALL_WINTER, NOT_BY_MAY = "all winter", "after 05-31"
_WINTER = slice(season_day(date(2025, 12, 1)), season_day(date(2026, 3, 1)))
_SOLSTICE = season_day(date(2025, 12, 21))
_BLOCK = 4096  # ends worked on at a time, to bound memory

Bands = tuple[list[SunTable], NDArray[np.int64]]


@dataclass(frozen=True)
class SunBySeason:
    """Clear-sky sun on level ground at both ends, from 1 October to 31 May.

    ``inlet_j_m2``, ``outlet_j_m2`` and ``open_j_m2`` (no hills, no trees) have the
    shape (n, 243), one column a day [J/m2], and so have the hours of direct sun [h],
    in which trees count by what they let through; the sky view fractions the shape
    (n,). NaN where an end is unknown or outside the DEM. Inlet is the upstream end.
    """

    inlet_j_m2: NDArray[np.float32]
    outlet_j_m2: NDArray[np.float32]
    open_j_m2: NDArray[np.float32]
    inlet_direct_sun_h: NDArray[np.float32]
    outlet_direct_sun_h: NDArray[np.float32]
    open_direct_sun_h: NDArray[np.float32]
    inlet_sky_view_fraction: NDArray[np.float64]
    outlet_sky_view_fraction: NDArray[np.float64]


def sun_by_season(
    crossings: GeoDataFrame, terrain: Terrain | None, trees: Trees = CONIFERS
) -> SunBySeason:
    """Work out the sun of every day of the season at both ends of all crossings.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of the site stage.
    terrain : Terrain or None
        The DEM, with trees if known; without it only the open sun is known.
    trees : Trees, optional
        Kind and cover of the trees.

    Returns
    -------
    sun : SunBySeason
        Rows in the order of the crossings; the days are those of
        :func:`~culvertrisk.formulas.sun.season_day`.
    """
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    tables, band = _sun_tables(str(crossings.crs), x_m, y_m, terrain)
    plain = np.zeros((len(tables), AZIMUTHS), np.float32)
    each = np.arange(len(tables))
    no_trees = np.zeros((len(tables), AZIMUTHS, 0), np.float32)
    view = np.ones(len(tables))
    open_j_m2, open_h = _days((tables, each), plain, view, no_trees)
    known = band >= 0
    count = len(crossings)
    sun_j_m2, sun_h, sky = _at_ends(crossings, terrain, trees, (tables, band))
    return SunBySeason(
        sun_j_m2[:count], sun_j_m2[count:], _spread(open_j_m2, band, known),
        sun_h[:count], sun_h[count:], _spread(open_h, band, known),
        sky[:count], sky[count:],
    )  # fmt: skip


def add_shade(crossings: GeoDataFrame, sun: SunBySeason, on: date) -> GeoDataFrame:
    """Add the sky seen by both ends, the sun lost and when the sun comes back.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    sun : SunBySeason
        What :func:`sun_by_season` gave for the same rows.
    on : date
        The day asked; from June to September its shade is unknown.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``shade``; same rows, same order.
    """
    try:
        today = slice(season_day(on), season_day(on) + 1)
    except ValueError:
        today = slice(0, 0)
    darker_h = np.minimum(sun.inlet_direct_sun_h, sun.outlet_direct_sun_h)
    today_h = darker_h[:, today].astype(np.float64)
    unknown_h = np.full(len(crossings), np.nan)
    return crossings.assign(
        inlet_sky_view_fraction=sun.inlet_sky_view_fraction,
        outlet_sky_view_fraction=sun.outlet_sky_view_fraction,
        winter_shade_fraction=_lost_fraction(sun, _WINTER),
        today_shade_fraction=_lost_fraction(sun, today),
        today_direct_sun_h=today_h[:, 0] if today_h.size else unknown_h,
        first_sun_day=first_sun_day(darker_h),
    )


def first_sun_day(direct_sun_h: NDArray[np.float32]) -> NDArray[np.object_]:
    """Tell the first day from the solstice on with more than an hour of direct sun.

    Parameters
    ----------
    direct_sun_h : ndarray, shape (n, 243)
        Hours of direct sun of each day of the season [h].

    Returns
    -------
    first_sun_day : ndarray of str, shape (n,)
        Month and day, such as "02-14"; "all winter" where the solstice itself has
        more; "after 05-31" where no day has; "" where the sun is unknown.

    Examples
    --------
    >>> hours = np.zeros((3, 243)); hours[0] = 5; hours[1, 100:] = 2
    >>> first_sun_day(hours).tolist()
    ['all winter', '01-09', 'after 05-31']
    """
    is_sunny = direct_sun_h[:, _SOLSTICE:] > FIRST_SUN_H
    first = np.where(is_sunny.any(axis=1), is_sunny.argmax(axis=1), -1)
    dates = [REFERENCE_WINTER + timedelta(days=day) for day in range(SEASON_DAYS)]
    words = [ALL_WINTER, *(f"{day:%m-%d}" for day in dates[_SOLSTICE + 1 :])]
    told = np.array([*words, NOT_BY_MAY], dtype=object)[first]
    told[np.isnan(direct_sun_h).any(axis=1)] = ""
    return np.asarray(told, dtype=object)


def _lost_fraction(sun: SunBySeason, days: slice) -> NDArray[np.float64]:
    open_j_m2 = sun.open_j_m2[:, days].sum(axis=1, dtype=np.float64)
    inlet_j_m2 = sun.inlet_j_m2[:, days].sum(axis=1, dtype=np.float64)
    outlet_j_m2 = sun.outlet_j_m2[:, days].sum(axis=1, dtype=np.float64)
    # Where the sun does not rise at all there is none to lose.
    open_j_m2 = np.where(open_j_m2 > 0, open_j_m2, np.nan)
    return np.clip(1 - np.minimum(inlet_j_m2, outlet_j_m2) / open_j_m2, 0, 1)


def _sun_tables(
    work_crs: str, x_m: NDArray, y_m: NDArray, terrain: Terrain | None
) -> Bands:
    latitude_deg, longitude_deg = lat_lon(work_crs, x_m, y_m)
    altitude_m = 0.0 if terrain is None else float(np.nanmean(terrain.elevation_m))
    is_known = ~np.isnan(latitude_deg)
    band = np.full(len(x_m), -1, np.int64)
    if not is_known.any():
        return [], band
    middles, band[is_known] = np.unique(
        np.round(latitude_deg[is_known] / BAND_DEG) * BAND_DEG, return_inverse=True
    )
    middle_deg = float(longitude_deg[is_known].mean())
    tables = [
        sun_table(float(latitude), middle_deg, altitude_m=altitude_m)
        for latitude in middles
    ]
    return tables, band


def _spread(by_band: NDArray, band: NDArray, known: NDArray) -> NDArray[np.float32]:
    each = np.full((len(band), SEASON_DAYS), np.nan, np.float32)
    each[known] = by_band[band[known]]
    return each


def _at_ends(
    crossings: GeoDataFrame, terrain: Terrain | None, trees: Trees, by_band: Bands
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float64]]:
    total = np.full((2 * len(crossings), SEASON_DAYS), np.nan, np.float32)
    hours, sky = total.copy(), np.full(len(total), np.nan)
    if terrain is None:
        return total, hours, sky
    places = end_places(crossings, terrain)
    of_crossing = np.tile(np.arange(len(crossings)), 2)
    tangent = horizons(places, terrain)
    for start in range(0, len(total), _BLOCK):
        part = slice(start, start + _BLOCK)
        depth = crowns(places[part], terrain, trees)
        if depth.shape[2]:
            sky[part] = sky_view_under_canopy(tangent[part], depth, ELEVATIONS_DEG)
        else:
            sky[part] = sky_view_fraction(tangent[part])
        bands = (by_band[0], by_band[1][of_crossing[part]])
        total[part], hours[part] = _days(bands, tangent[part], sky[part], depth)
    return total, hours, sky


def _days(
    by_band: Bands, tangent: NDArray, sky: NDArray, depth: NDArray
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    tables, band = by_band
    total = np.full((len(tangent), SEASON_DAYS), np.nan, np.float32)
    hours = total.copy()
    levels_deg = ELEVATIONS_DEG[: depth.shape[2]]
    for k in np.unique(band[band >= 0]):
        here = band == k
        total[here], hours[here] = daily_sun(
            tables[k], tangent[here], sky[here], depth[here], levels_deg
        )
    return total, hours
