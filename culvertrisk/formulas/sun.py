"""Where the sun stands on a day of the season."""

from datetime import date, timedelta

import numpy as np
import pvlib
from numpy.typing import ArrayLike, NDArray

SEASON_START = (10, 1)  # month and day of index 0
SEASON_DAYS = 243  # 1 October to 31 May
DELTA_T_S = 69.2  # terrestrial less universal time, 2025; pvlib's documentation
SUN_RISE_REFRACTION_DEG = 0.5667  # at the horizon; reda2008, section 3.14
SUN_RADIUS_DEG = 0.26667  # reda2008, section 3.14
REFERENCE_WINTER = date(2025, 10, 1)  # no leap day; others differ by 0.1 degree
TURN_DEG = 360.0
_PASCAL_PER_HPA = 100.0


def season_day(day: date) -> int:
    """Index of a day in the season from 1 October to 31 May.

    Parameters
    ----------
    day : date
        Of any year.

    Returns
    -------
    index : int
        From 0 (1 October) to 242 (31 May); 29 February counts as the 28th.

    Raises
    ------
    ValueError
        If the day lies from June to September.

    References
    ----------
    definition.

    Examples
    --------
    >>> season_day(date(2026, 1, 1)), season_day(date(2024, 2, 29))
    (92, 150)
    """
    same_year = (day.month, day.day) >= SEASON_START
    year = REFERENCE_WINTER.year if same_year else REFERENCE_WINTER.year + 1
    is_leap_day = (day.month, day.day) == (2, 29)
    plain = day - timedelta(days=1) if is_leap_day else day
    index = (plain.replace(year=year) - REFERENCE_WINTER).days
    if index >= SEASON_DAYS:
        raise ValueError(f"{day} is not from 1 October to 31 May")
    return index


def declination(times_s: ArrayLike) -> NDArray[np.float64]:
    """Declination of the sun by the solar position algorithm of NREL.

    Parameters
    ----------
    times_s : array_like
        Seconds since 1970-01-01 00:00 universal time [s].

    Returns
    -------
    declination_deg : ndarray, shape as given
        Geocentric, north positive [deg].

    Notes
    -----
    The algorithm is pvlib's. Seen from the ground the sun stands up to 0.0024 degree
    lower (its parallax), which is left out.

    References
    ----------
    reda2008, section 3.

    Examples
    --------
    >>> declination([1_766_330_580.0]).round(2)  # solstice, 2025-12-21 15:03
    array([-23.44])
    """
    times = np.asarray(times_s, np.float64)
    found = pvlib.spa.solar_position_numpy(
        times.ravel(), 0.0, 0.0, 0.0, 0.0, 0.0, DELTA_T_S,
        SUN_RISE_REFRACTION_DEG, 1, sst=True,
    )  # fmt: skip
    return np.asarray(found[2], np.float64).reshape(times.shape)


def sun_elevation(
    latitude_deg: ArrayLike, declination_deg: ArrayLike, hour_angle_deg: ArrayLike
) -> NDArray[np.float64]:
    r"""Elevation of the sun without refraction.

    .. math:: \sin e = \sin\varphi \sin\delta + \cos\varphi \cos\delta \cos H

    Parameters
    ----------
    latitude_deg, declination_deg, hour_angle_deg : array_like
        Phi, delta and H; the hour angle is 0 at solar noon, positive after [deg].

    Returns
    -------
    elevation_deg : ndarray
        Negative below the horizon; NaN where an input is NaN [deg].

    Notes
    -----
    Exact for a distant sun.

    References
    ----------
    reda2008, equation 41.

    Examples
    --------
    >>> sun_elevation([0.0, 60.0], 0.0, 0.0)
    array([90., 30.])
    """
    phi, delta, hour = _in_radians(latitude_deg, declination_deg, hour_angle_deg)
    height = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(hour)
    return np.degrees(np.arcsin(np.clip(height, -1, 1)))


def day_length(
    latitude_deg: ArrayLike, declination_deg: ArrayLike
) -> NDArray[np.float64]:
    r"""Time from sunrise to sunset on a level horizon.

    .. math:: \cos H_0 = \frac{\sin h_0 - \sin\varphi \sin\delta}
              {\cos\varphi \cos\delta}, \quad N = \frac{2 H_0}{15}

    Parameters
    ----------
    latitude_deg, declination_deg : array_like
        Phi, and delta at the day's noon [deg].

    Returns
    -------
    day_length_h : ndarray
        0 in polar night, 24 in polar day; NaN where an input is NaN [h].

    Notes
    -----
    The sun rises when its upper rim shows: h0 is its radius and the refraction
    below the horizon, 0.8333 degree. The declination is held over the day, which
    the morning and the evening take in opposite directions: within a minute of the
    full algorithm up to 65 degrees north.

    References
    ----------
    reda2008, section A.2, equation A4.

    Examples
    --------
    >>> day_length([0.0, 62.0, 80.0], [0.0, -23.44, -23.44]).round(2)
    array([12.11,  5.15,  0.  ])
    """
    phi, delta = _in_radians(latitude_deg, declination_deg)
    rise = np.radians(-(SUN_RADIUS_DEG + SUN_RISE_REFRACTION_DEG))
    hour = (np.sin(rise) - np.sin(phi) * np.sin(delta)) / (np.cos(phi) * np.cos(delta))
    return np.asarray(2 * np.degrees(np.arccos(np.clip(hour, -1, 1))) / 15)


def sun_azimuth(
    latitude_deg: ArrayLike, declination_deg: ArrayLike, hour_angle_deg: ArrayLike
) -> NDArray[np.float64]:
    r"""Azimuth of the sun.

    .. math:: \tan A = \frac{-\cos\delta \sin H}
              {\cos\varphi \sin\delta - \sin\varphi \cos\delta \cos H}

    Parameters
    ----------
    latitude_deg, declination_deg, hour_angle_deg : array_like
        Phi, delta and H; the hour angle is 0 at solar noon, positive after [deg].

    Returns
    -------
    azimuth_deg : ndarray
        Clockwise from true north, from 0 to 360; NaN where an input is NaN [deg].

    Notes
    -----
    Exact for a distant sun; without meaning for a sun overhead.

    References
    ----------
    reda2008, equation 45, counted from north.

    Examples
    --------
    >>> sun_azimuth(45.0, 0.0, [-90.0, 0.0, 90.0]).round(6)
    array([ 90., 180., 270.])
    """
    phi, delta, hour = _in_radians(latitude_deg, declination_deg, hour_angle_deg)
    east = -np.cos(delta) * np.sin(hour)
    north = np.cos(phi) * np.sin(delta) - np.sin(phi) * np.cos(delta) * np.cos(hour)
    return np.degrees(np.arctan2(east, north)) % TURN_DEG


def _in_radians(*angles_deg: ArrayLike) -> list[NDArray[np.float64]]:
    return [np.radians(np.asarray(angle, np.float64)) for angle in angles_deg]


def refraction(
    elevation_deg: ArrayLike, pressure_pa: ArrayLike, air_c: ArrayLike
) -> NDArray[np.float64]:
    r"""Rise of the sun by the bend of its light.

    .. math:: \Delta e = \frac{P}{1010} \frac{283}{273 + T}
              \frac{1.02}{60 \tan(e + 10.3 / (e + 5.11))}

    Parameters
    ----------
    elevation_deg : array_like
        Elevation without refraction [deg].
    pressure_pa : array_like
        Air pressure; P above is in hectopascal [Pa].
    air_c : array_like
        Air temperature T [°C].

    Returns
    -------
    refraction_deg : ndarray, shape as given
        To be added; 0 where the sun is wholly below the horizon [deg].

    Notes
    -----
    As the algorithm's equation 42, below the sun's upper rim left at 0.

    References
    ----------
    reda2008, equation 42.

    Examples
    --------
    >>> refraction([0.0, 45.0], 101_000.0, 10.0).round(3)
    array([0.483, 0.017])
    """
    level = np.asarray(elevation_deg, np.float64)
    bend = np.tan(np.radians(level + 10.3 / (level + 5.11)))
    air = np.asarray(pressure_pa) / _PASCAL_PER_HPA / 1010
    air = air * 283 / (273 + np.asarray(air_c))
    is_down = level < -(SUN_RADIUS_DEG + SUN_RISE_REFRACTION_DEG)
    return np.where(is_down, 0.0, air * 1.02 / (60 * bend))
