"""Latitudes, longitudes and true north at places of the work CRS."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Transformer

STEP_DEG = 1e-4  # about 11 m to the north


def lat_lon(
    work_crs: str, x_m: ArrayLike, y_m: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Latitude and longitude of places.

    Parameters
    ----------
    work_crs : str
        Projected CRS in metres.
    x_m, y_m : array_like, shape (n,)
        Eastings and northings [m].

    Returns
    -------
    latitude_deg, longitude_deg : ndarray, shape (n,)
        WGS 84; NaN where a place is unknown [deg].

    Examples
    --------
    >>> lat_lon("EPSG:32633", [500_000.0], [0.0])
    (array([0.]), array([15.]))
    """
    to_degrees = Transformer.from_crs(work_crs, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(
        np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    )
    is_place = np.isfinite(longitude) & np.isfinite(latitude)
    return np.where(is_place, latitude, np.nan), np.where(is_place, longitude, np.nan)


def grid_north(work_crs: str, x_m: ArrayLike, y_m: ArrayLike) -> NDArray[np.float64]:
    """Grid bearing of true north: what to take off a grid bearing to get a true one.

    Parameters
    ----------
    work_crs : str
        Projected CRS in metres.
    x_m, y_m : array_like, shape (n,)
        Eastings and northings [m].

    Returns
    -------
    north_rad : ndarray, shape (n,)
        Clockwise from the grid's up; 0 on a central meridian [rad].

    Examples
    --------
    >>> float(np.degrees(grid_north("EPSG:32633", [500_000.0], [6.9e6])[0]).round(6))
    0.0
    """
    latitude, longitude = lat_lon(work_crs, x_m, y_m)
    to_grid = Transformer.from_crs("EPSG:4326", work_crs, always_xy=True)
    east, north = to_grid.transform(longitude, latitude + STEP_DEG)
    turn = np.arctan2(np.asarray(east) - x_m, np.asarray(north) - y_m)
    return np.where(np.isfinite(turn), turn, np.nan)
