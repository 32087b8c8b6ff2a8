"""How much sun each end of a crossing loses to hills and trees, by the day."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.clear_sky import SunTable, sun_table
from culvertrisk.formulas.insolation import (
    daily_insolation,
    sky_view_fraction,
    sky_view_under_canopy,
)
from culvertrisk.formulas.sun import SEASON_DAYS, season_day
from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.north import grid_north, lat_lon
from culvertrisk.terrain.canopy import ELEVATIONS_DEG, canopy_depth
from culvertrisk.terrain.horizon import AZIMUTHS, horizon_tangent

EYE_M = 0.5  # of a barrel's end above the ground round it; our choice
BAND_DEG = 0.05  # of latitude that share one sun table
_WINTER = slice(season_day(date(2025, 12, 1)), season_day(date(2026, 3, 1)))


@dataclass(frozen=True)
class SunBySeason:
    """Clear-sky sun on level ground at both ends, from 1 October to 31 May.

    ``inlet_j_m2``, ``outlet_j_m2`` and ``open_j_m2`` (no hills, no trees) have the
    shape (n, 243), one column a day [J/m2]; the sky view fractions the shape (n,).
    NaN where an end is unknown or outside the DEM. Inlet is the upstream end.
    """

    inlet_j_m2: NDArray[np.float32]
    outlet_j_m2: NDArray[np.float32]
    open_j_m2: NDArray[np.float32]
    inlet_sky_view_fraction: NDArray[np.float64]
    outlet_sky_view_fraction: NDArray[np.float64]


def sun_by_season(crossings: GeoDataFrame, terrain: Terrain | None) -> SunBySeason:
    """Work out the sun of every day of the season at both ends of all crossings.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of the site stage.
    terrain : Terrain or None
        The DEM, with trees if known; without it only the open sun is known.

    Returns
    -------
    sun : SunBySeason
        Rows in the order of the crossings; the days are those of
        :func:`~culvertrisk.formulas.sun.season_day`.
    """
    x_m, y_m = crossings.geometry.x.to_numpy(), crossings.geometry.y.to_numpy()
    tables, band = _sun_tables(str(crossings.crs), x_m, y_m, terrain)
    plain = np.zeros((1, AZIMUTHS), np.float32)
    none, no_trees = np.zeros(0), np.zeros((1, AZIMUTHS, 0), np.float32)
    open_j_m2 = np.full((len(crossings), SEASON_DAYS), np.nan, np.float32)
    for k, table in enumerate(tables):
        open_j_m2[band == k] = daily_insolation(
            table, plain, np.ones(1), no_trees, none
        )
    inlet, inlet_view = _at_ends(crossings, "upstream", terrain, (tables, band))
    outlet, outlet_view = _at_ends(crossings, "downstream", terrain, (tables, band))
    return SunBySeason(inlet, outlet, open_j_m2, inlet_view, outlet_view)


def add_shade(crossings: GeoDataFrame, sun: SunBySeason, on: date) -> GeoDataFrame:
    """Add the sky seen by both ends and the sun lost, in winter and on a day.

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
    return crossings.assign(
        inlet_sky_view_fraction=sun.inlet_sky_view_fraction,
        outlet_sky_view_fraction=sun.outlet_sky_view_fraction,
        winter_shade_fraction=_lost_fraction(sun, _WINTER),
        today_shade_fraction=_lost_fraction(sun, today),
    )


def _lost_fraction(sun: SunBySeason, days: slice) -> NDArray[np.float64]:
    open_j_m2 = sun.open_j_m2[:, days].sum(axis=1, dtype=np.float64)
    inlet_j_m2 = sun.inlet_j_m2[:, days].sum(axis=1, dtype=np.float64)
    outlet_j_m2 = sun.outlet_j_m2[:, days].sum(axis=1, dtype=np.float64)
    # Where the sun does not rise at all there is none to lose.
    open_j_m2 = np.where(open_j_m2 > 0, open_j_m2, np.nan)
    return np.clip(1 - np.minimum(inlet_j_m2, outlet_j_m2) / open_j_m2, 0, 1)


def _sun_tables(
    work_crs: str, x_m: NDArray, y_m: NDArray, terrain: Terrain | None
) -> tuple[list[SunTable], NDArray[np.int64]]:
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


def _at_ends(
    crossings: GeoDataFrame,
    end: str,
    terrain: Terrain | None,
    by_band: tuple[list[SunTable], NDArray[np.int64]],
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    total = np.full((len(crossings), SEASON_DAYS), np.nan, np.float32)
    if terrain is None:
        return total, np.full(len(crossings), np.nan)
    x_m = crossings[f"{end}_x_m"].to_numpy(np.float64)
    y_m = crossings[f"{end}_y_m"].to_numpy(np.float64)
    tangent, depth, levels_deg = _hidden(x_m, y_m, terrain)
    view = sky_view_fraction(tangent)
    if levels_deg.size:
        view = sky_view_under_canopy(tangent, depth, levels_deg)
    tables, band = by_band
    for k, table in enumerate(tables):
        here = band == k
        total[here] = daily_insolation(
            table, tangent[here], view[here], depth[here], levels_deg
        )
    return total, view


def _hidden(
    x_m: NDArray, y_m: NDArray, terrain: Terrain
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float64]]:
    rows, cols = cells(terrain, x_m, y_m)
    north_rad = grid_north(terrain.crs, x_m, y_m)
    tangent = horizon_tangent(
        terrain.elevation_m, rows, cols,
        cell_m=terrain.cell_m, eye_m=EYE_M, north_rad=north_rad,
    )  # fmt: skip
    if terrain.canopy_height_m is None:
        return tangent, np.zeros((len(rows), AZIMUTHS, 0), np.float32), np.zeros(0)
    depth = canopy_depth(
        terrain.elevation_m,
        terrain.canopy_height_m,
        np.column_stack([rows, cols, north_rad]),
        cell_m=terrain.cell_m,
    )
    return tangent, depth, ELEVATIONS_DEG
