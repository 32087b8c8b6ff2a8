"""Cold air through a barrel: how much of it gets in, and how fast a full pipe cools."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def outside_air_share(
    length_m: ArrayLike, rise_m: ArrayLike, stanton: ArrayLike
) -> Floats:
    r"""Share of the outside temperature that the air in an open barrel has.

    .. math:: w = \frac{1}{1 + N}, \qquad N = \frac{h A}{\dot m c} = \frac{4 St\, l}{D}

    Parameters
    ----------
    length_m : array_like
        Length of the barrel l, 0 or more [m].
    rise_m : array_like
        Clear height of the barrel D, above 0 [m].
    stanton : array_like
        Stanton number of the air along the wall, 0.003 to 0.010 [1].

    Returns
    -------
    outside_air_share : ndarray
        1 for air as cold as outside, 0 for air as warm as the ground; NaN where an
        input is NaN. The air is then at T = T_ground + w (T_outside - T_ground).

    Notes
    -----
    Barrel air as one mixed volume, both ends open, wind through it. No published
    case was found; studies show the direction: large, short and aligned is colder.

    References
    ----------
    definition, heat balance of a mixed volume.

    Examples
    --------
    >>> outside_air_share([0.0, 10.0], 0.5, 0.005).round(3)
    array([1.   , 0.714])
    """
    units = 4 * np.asarray(stanton) * np.asarray(length_m) / np.asarray(rise_m)
    return np.asarray(1 / (1 + units), dtype=float)


def wind_alignment(barrel_bearing_deg: ArrayLike, wind_from_deg: ArrayLike) -> Floats:
    r"""How far a barrel lies along the wind, either way round.

    .. math:: a = |\cos(\beta - \gamma)|

    Parameters
    ----------
    barrel_bearing_deg : array_like
        Compass bearing of the barrel [deg].
    wind_from_deg : array_like
        Compass bearing the wind comes from [deg].

    Returns
    -------
    wind_alignment : ndarray
        1 along, 0 across; its mean over all angles, 2/pi, where either is NaN.

    References
    ----------
    definition.

    Examples
    --------
    >>> wind_alignment([0.0, 90.0, np.nan], 180.0).round(3)
    array([1.   , 0.   , 0.637])
    """
    wind_deg = np.asarray(wind_from_deg, dtype=float)
    angle = np.radians(np.asarray(barrel_bearing_deg, dtype=float) - wind_deg)
    return np.where(np.isnan(angle), 2 / np.pi, np.abs(np.cos(angle)))


def prevailing_wind(wind_from_deg: ArrayLike, weight: ArrayLike) -> float:
    r"""Bearing of the line along which the wind mostly blows.

    .. math:: \gamma = \tfrac12 \arg \sum w \, e^{2 i \gamma_d}

    Parameters
    ----------
    wind_from_deg : array_like, shape (days,)
        Bearing the wind comes from; NaN is left out [deg].
    weight : array_like, shape (days,)
        Weight of each day, such as its wind speed; NaN is left out.

    Returns
    -------
    prevailing_wind_deg : float
        From 0 to 180: a line, not a direction; NaN if nothing is known [deg].

    Notes
    -----
    Doubling the angle lets wind from north and from south add up.

    References
    ----------
    definition, mean of axial data.

    Examples
    --------
    >>> round(prevailing_wind([350.0, 190.0, np.nan], [1.0, 1.0, 1.0]), 6) % 180
    0.0
    """
    from_deg = np.asarray(wind_from_deg, float)
    total = np.nansum(np.asarray(weight) * np.exp(2j * np.radians(from_deg)))
    if total == 0:
        return float("nan")
    return float(np.degrees(np.angle(total)) / 2 % 180)


def pipe_cooling_time(
    diameter_m: ArrayLike,
    resistance_mk_w: ArrayLike,
    *,
    start_c: ArrayLike,
    air_c: ArrayLike,
    water_heat_j_m3k: ArrayLike,
    end_c: ArrayLike = 0.0,
) -> Floats:
    r"""Time for still water in a pipe to cool.

    .. math:: t = \rho c \, \pi (D/2)^2 R \ln \frac{T_1 - T_a}{T_2 - T_a}

    Parameters
    ----------
    diameter_m : array_like
        Inside diameter D, above 0 [m].
    resistance_mk_w : array_like
        Thermal resistance R of a metre of insulation: ln(D3/D2)/(2 pi k) [m·K/W].
    start_c, end_c : array_like
        Temperature of the water before and after [°C].
    air_c : array_like
        Temperature outside, below both [°C].
    water_heat_j_m3k : array_like
        Density times heat capacity of water [J/(m3·K)].

    Returns
    -------
    time_s : ndarray
        NaN where an input is NaN [s].

    Notes
    -----
    No flow, pipe wall and air film without resistance, no ice yet.

    References
    ----------
    ashrae2009, ch. 23, eq. 1.

    Examples
    --------
    >>> float(pipe_cooling_time(0.0525, 3.0, start_c=5.0, air_c=-20.0,
    ...                         water_heat_j_m3k=4.19e6).round())
    6072.0
    """
    area_m2 = np.pi * (np.asarray(diameter_m) / 2) ** 2
    heat_j_mk = np.asarray(water_heat_j_m3k) * area_m2
    air = np.asarray(air_c, dtype=float)
    lapses = np.log((np.asarray(start_c) - air) / (np.asarray(end_c) - air))
    return np.asarray(heat_j_mk * np.asarray(resistance_mk_w) * lapses, dtype=float)
