"""The sun of clear days over the season at a latitude."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pvlib
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from culvertrisk.formulas.sun import (
    REFERENCE_WINTER,
    SEASON_DAYS,
    TURN_DEG,
    declination,
    refraction,
    sun_azimuth,
    sun_elevation,
)
from culvertrisk.units import DAY_S

SLOTS = 96  # quarters of an hour in a day
LINKE_TURBIDITY = 2.5  # cold clean air, 2 to 3; common practice, no source
WINTER_AIR_C = 0.0  # for the refraction; 20 degrees change it by 0.04 degree
_EPOCH = date(1970, 1, 1)
_NOON_DEG = 180.0  # hour angle of midnight


@dataclass(frozen=True)
class SunTable:
    """Sun and clear sky over a season at one latitude, in local solar time.

    All arrays have the shape (243, 96), by day and quarter of an hour, at interval
    midpoints: ``elevation_deg`` with refraction, ``azimuth_deg`` clockwise from true
    north, ``beam_w_m2`` and ``diffuse_w_m2`` on level ground under a clear sky.
    """

    elevation_deg: NDArray[np.float64]
    azimuth_deg: NDArray[np.float64]
    beam_w_m2: NDArray[np.float64]
    diffuse_w_m2: NDArray[np.float64]


def clear_sky(
    elevation_deg: ArrayLike, altitude_m: float, linke_turbidity: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Beam and diffuse sun on level ground under a clear sky (Ineichen and Perez).

    Parameters
    ----------
    elevation_deg : array_like
        Elevation of the sun with refraction [deg].
    altitude_m : float
        Of the place [m].
    linke_turbidity : float
        How much dimmer the air is than clean dry air; 2 to 3 in a cold winter.

    Returns
    -------
    beam_w_m2, diffuse_w_m2 : ndarray, shape as given
        0 with the sun below the horizon [W/m2].

    Notes
    -----
    The model is pvlib's and is given the turbidity, so that no table is read. The
    Earth's mean distance from the sun is used: winter is up to 3 % stronger. It
    was checked against Haurwitz's formula, which knows no altitude or turbidity.

    References
    ----------
    haurwitz1945, as an independent check.

    Examples
    --------
    >>> beam_w_m2, diffuse_w_m2 = clear_sky([-5.0, 30.0], 500.0, 2.5)
    >>> beam_w_m2.round(), diffuse_w_m2.round()
    (array([  0., 443.]), array([ 0., 49.]))
    """
    level_deg = np.asarray(elevation_deg, np.float64)
    is_up = level_deg > 0
    zenith_deg = 90 - np.where(is_up, level_deg, 90)
    air_mass = pvlib.atmosphere.get_relative_airmass(zenith_deg)
    pressure_pa = pvlib.atmosphere.alt2pres(altitude_m)
    air_mass = pvlib.atmosphere.get_absolute_airmass(air_mass, pressure_pa)
    found = pvlib.clearsky.ineichen(
        zenith_deg, air_mass, linke_turbidity, altitude=altitude_m
    )
    beam_w_m2 = found["dni"] * np.cos(np.radians(zenith_deg))
    diffuse_w_m2 = np.maximum(found["ghi"] - beam_w_m2, 0)
    beam_w_m2, diffuse_w_m2 = beam_w_m2 * is_up, diffuse_w_m2 * is_up
    is_missing = np.isnan(level_deg)
    return (
        np.where(is_missing, np.nan, beam_w_m2),
        np.where(is_missing, np.nan, diffuse_w_m2),
    )


def clear_sun_fraction_sunshine(
    sunshine_h: ArrayLike, day_length_h: ArrayLike
) -> NDArray[np.float64]:
    r"""Share of the clear-sky sun let through, from the hours of sunshine (Angström).

    .. math:: c = \frac{0.25 + 0.50 \, n / N}{0.75}

    Parameters
    ----------
    sunshine_h : array_like
        n, bright sunshine of the day [h].
    day_length_h : array_like
        N, from sunrise to sunset, above 0 [h].

    Returns
    -------
    clear_sun_fraction : ndarray
        From 1/3, overcast, to 1, clear; NaN where an input is NaN or the sun does not
        rise.

    Notes
    -----
    The coefficients are those recommended where none were fitted on the spot. Hours
    above the day's length count as the whole day.

    References
    ----------
    allen1998, eq. 35 to 37, example 10, from memory.

    Examples
    --------
    >>> clear_sun_fraction_sunshine([0.0, 7.1, 10.9], 10.9).round(3)
    array([0.333, 0.768, 1.   ])
    """
    length_h = np.asarray(day_length_h, np.float64)
    share = np.asarray(sunshine_h) / np.where(length_h > 0, length_h, np.nan)
    return np.asarray((0.25 + 0.50 * np.minimum(share, 1)) / 0.75)


def sun_table(
    latitude_deg: float,
    longitude_deg: float,
    *,
    altitude_m: float = 0.0,
    linke_turbidity: float = LINKE_TURBIDITY,
) -> SunTable:
    """Sun and clear sky over the season at a latitude, by quarters of an hour.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Of the place; the longitude only tells the date line of the declination [deg].
    altitude_m : float, optional
        Of the place [m].
    linke_turbidity : float, optional
        See :func:`clear_sky`.

    Returns
    -------
    table : SunTable
        In local solar time, at interval midpoints.

    Notes
    -----
    Declination by the algorithm of NREL; hour angle by the clock of
    the sun; so a table serves all points of a band of latitude. Sampling at
    hour marks in place of midpoints put mid-December days off by a third.

    References
    ----------
    reda2008, section 3.

    Examples
    --------
    >>> float(sun_table(60.0, 25.0).elevation_deg[81].max().round(1))
    6.7
    """
    share = (np.arange(SLOTS) + 1 / 2) / SLOTS
    day = np.arange(SEASON_DAYS + 1) - longitude_deg / TURN_DEG
    start = (REFERENCE_WINTER - _EPOCH).days
    # Once a day will do: between, a spline meets the algorithm to 0.00001 degree.
    by_day = CubicSpline(np.arange(day.size), declination((start + day) * DAY_S))
    declination_deg = by_day(np.arange(SEASON_DAYS)[:, None] + share)
    hour_angle_deg = share * TURN_DEG - _NOON_DEG
    level_deg = sun_elevation(latitude_deg, declination_deg, hour_angle_deg)
    pressure_pa = float(pvlib.atmosphere.alt2pres(altitude_m))
    level_deg = level_deg + refraction(level_deg, pressure_pa, WINTER_AIR_C)
    azimuth_deg = sun_azimuth(latitude_deg, declination_deg, hour_angle_deg)
    beam_w_m2, diffuse_w_m2 = clear_sky(level_deg, altitude_m, linke_turbidity)
    return SunTable(level_deg, azimuth_deg, beam_w_m2, diffuse_w_m2)
