"""What each end of a crossing sees of the sky: hills and trees, all round."""

from dataclasses import dataclass

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.crowns import crown_extinction
from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.stages.north import grid_north
from culvertrisk.terrain.canopy import canopy_depth
from culvertrisk.terrain.horizon import AZIMUTHS, horizon_tangent

EYE_M = 0.5  # of a barrel's end above the ground round it; our choice
_ENDS = ("upstream", "downstream")


@dataclass(frozen=True)
class Trees:
    """What the trees of the canopy raster are like in winter.

    Extinction of crowns in leaf or needle [1/m]; the share of it that broadleaves keep
    when bare; the share of trees that are broadleaves and the share of the ground under
    crowns, each one number or on the terrain's grid (NaN counts as the default); and
    the width of a crown [m]. All defaults: common practice, no source.
    """

    leaf_extinction_per_m: float = 0.05
    leaf_off_factor: float = 0.4
    deciduous_fraction: float | NDArray[np.floating] = 0.0
    cover_fraction: float | NDArray[np.floating] = 1.0
    crown_width_m: float = 5.0


CONIFERS = Trees()


@dataclass(frozen=True)
class Sky:
    """The horizon and the crowns seen from n places.

    ``horizon_tangent`` has the shape (n, 72), by true azimuth 0, 5 ... 355 degrees;
    ``optical_depth`` (n, 72, 10), by azimuth and ``ELEVATIONS_DEG``, or (n, 72, 0)
    where no canopy is known.
    """

    horizon_tangent: NDArray[np.float32]
    optical_depth: NDArray[np.float32]


def end_places(crossings: GeoDataFrame, terrain: Terrain) -> NDArray[np.float64]:
    """Places of all inlet ends, then all outlet ends, on the terrain's grid.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of the site stage.
    terrain : Terrain
        The DEM.

    Returns
    -------
    places : ndarray, shape (2 n, 3)
        Row, column and grid bearing of true north [rad]; NaN where unknown.
    """
    x_m = np.concatenate([crossings[f"{end}_x_m"] for end in _ENDS], dtype=np.float64)
    y_m = np.concatenate([crossings[f"{end}_y_m"] for end in _ENDS], dtype=np.float64)
    rows, cols = cells(terrain, x_m, y_m)
    return np.column_stack([rows, cols, grid_north(terrain.crs, x_m, y_m)])


def horizons(places: NDArray[np.float64], terrain: Terrain) -> NDArray[np.float32]:
    """Tangent of the horizon's elevation angle seen from places of the terrain."""
    rows, cols, north_rad = places.T
    return horizon_tangent(
        terrain.elevation_m, rows, cols,
        cell_m=terrain.cell_m, eye_m=EYE_M, north_rad=north_rad,
    )  # fmt: skip


def crowns(
    places: NDArray[np.float64], terrain: Terrain, trees: Trees
) -> NDArray[np.float32]:
    """Optical depth of the crowns round places; no levels without a canopy raster."""
    if terrain.canopy_height_m is None:
        return np.zeros((len(places), AZIMUTHS, 0), np.float32)
    cover = np.asarray(trees.cover_fraction, np.float64)
    deciduous = np.asarray(trees.deciduous_fraction, np.float64)
    extinction_per_m = crown_extinction(
        trees.leaf_extinction_per_m,
        cover_fraction=np.where(np.isnan(cover), 1.0, cover),
        crown_width_m=trees.crown_width_m,
        deciduous_fraction=np.where(np.isnan(deciduous), 0.0, deciduous),
        leaf_off_factor=trees.leaf_off_factor,
    )
    return canopy_depth(
        terrain.elevation_m, terrain.canopy_height_m, places,
        cell_m=terrain.cell_m, extinction_per_m=extinction_per_m,
    )  # fmt: skip


def end_skies(
    crossings: GeoDataFrame, terrain: Terrain, trees: Trees = CONIFERS
) -> tuple[Sky, Sky]:
    """Return what the inlet and the outlet ends of crossings see of the sky.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of the site stage.
    terrain : Terrain
        The DEM, with trees if known.
    trees : Trees, optional
        Kind and cover of the trees.

    Returns
    -------
    inlet, outlet : Sky
        In the order of the crossings; NaN where an end is unknown.
    """
    places, count = end_places(crossings, terrain), len(crossings)
    tangent, depth = horizons(places, terrain), crowns(places, terrain, trees)
    return Sky(tangent[:count], depth[:count]), Sky(tangent[count:], depth[count:])
