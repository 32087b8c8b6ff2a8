"""Given area stage: catchments the inventory or the town tells, where no DEM does."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.catchment_shape import flow_path_by_area
from culvertrisk.stages.design_storm import storm_defaults
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.units import quantity, to_unit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Words = NDArray[np.object_]

_HECTARE_M2 = to_unit("1 ha", "m**2")


def add_given_area(
    crossings: GeoDataFrame, default_m2: float | None = None
) -> GeoDataFrame:
    """Settle which catchment counts: of the DEM, as recorded, or the town's default.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site.
    default_m2 : float, optional
        The town's catchment where nothing tells one [m2].

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``given_area``; ``catchment_m2``, ``flow_path_m`` and
        ``flow_path_slope_m_per_m`` are replaced where the DEM's do not count.

    Notes
    -----
    The DEM's catchment counts where it is whole and its outlet was not filled deeply;
    a recorded area that differs by more than a factor of two is then said. Elsewhere
    the recorded area counts, else the DEM's lower bound, else the default. An area
    not of the DEM has its path by ``flow_path_by_area`` and, where the DEM tells none,
    an assumed slope.
    """
    dem_m2 = crossings["catchment_m2"].to_numpy(float)
    recorded_m2 = crossings["recorded_catchment_m2"].to_numpy(float)
    is_recorded = ~np.isnan(recorded_m2) & (np.isnan(dem_m2) | _is_doubtful(crossings))
    is_assumed = np.isnan(dem_m2) & ~is_recorded & (default_m2 is not None)
    assumed_m2 = np.nan if default_m2 is None else default_m2
    area_m2 = np.select([is_recorded, is_assumed], [recorded_m2, assumed_m2], dem_m2)
    is_given = is_recorded | is_assumed
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    no_slope = is_given & np.isnan(slope)
    path_m = crossings["flow_path_m"].to_numpy(float)
    told = (is_recorded, is_assumed, no_slope, _is_apart(dem_m2, recorded_m2))
    return crossings.assign(
        catchment_m2=area_m2,
        flow_path_m=np.where(is_given, flow_path_by_area(area_m2), path_m),
        flow_path_slope_m_per_m=np.where(
            no_slope, storm_defaults()["assumed_path_slope"], slope
        ),
        catchment_source=np.select(
            [is_recorded, is_assumed, ~np.isnan(dem_m2)],
            ["recorded", "assumed", "dem"],
            "unknown",
        ).astype(object),
        catchment_note=_notes(area_m2, dem_m2, recorded_m2, told),
    )


def _is_doubtful(crossings: GeoDataFrame) -> Bools:
    fill_m = crossings["fill_depth_m"].to_numpy(float)
    is_cut = crossings["is_catchment_cut"].to_numpy(float) == 1
    return np.asarray(is_cut | (fill_m > flood_defaults()["doubtful_fill"]))


def _is_apart(dem_m2: Floats, recorded_m2: Floats) -> Bools:
    most = storm_defaults()["area_ratio_limit"]
    is_known = ~np.isnan(dem_m2 + recorded_m2)
    return is_known & (
        np.fmax(dem_m2, recorded_m2) > most * np.fmin(dem_m2, recorded_m2)
    )


def _hectares(area_m2: float) -> str:
    return quantity(area_m2 / _HECTARE_M2, "ha", 1)


def _notes(
    area_m2: Floats,
    dem_m2: Floats,
    recorded_m2: Floats,
    told: tuple[Bools, Bools, Bools, Bools],
) -> Words:
    """Where an area comes from, and what was assumed with it."""
    slope = storm_defaults()["assumed_path_slope"]
    notes = []
    for area, dem, recorded, *row in zip(
        area_m2, dem_m2, recorded_m2, *told, strict=True
    ):
        is_recorded, is_assumed, no_slope, is_apart = row
        lines = {
            f"catchment {_hectares(area)} as recorded in the inventory, its path by "
            "Hack's relation to the area": is_recorded,
            f"catchment {_hectares(area)} assumed for the whole town, its path by "
            "Hack's relation to the area": is_assumed,
            f"slope of the path unknown: {slope:g} assumed": no_slope,
            f"catchment is {_hectares(recorded)} in the inventory and {_hectares(dem)} "
            "by the elevation raster: more than a factor of two apart": is_apart,
        }
        notes.append("; ".join(line for line, holds in lines.items() if holds))
    return np.array(notes, dtype=object)
