"""Person-hours lost to delay and isolation while a road is shut."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import DAY_S, HOUR_S


def detour_delay(
    daily_traffic_count: ArrayLike,
    people_per_vehicle: ArrayLike,
    detour_s: ArrayLike,
    closure_s: ArrayLike,
) -> NDArray[np.float64]:
    r"""Delay of the traffic that drives round a closure.

    .. math:: E = Q \frac{T}{24\,\mathrm{h}} \, o \, \Delta t

    Parameters
    ----------
    daily_traffic_count : array_like, shape (n,)
        Q, vehicles a day, both directions [1/day].
    people_per_vehicle : array_like, shape (n,) or scalar
        o, people in a vehicle.
    detour_s : array_like, shape (n,)
        Delta t, extra travel time of the way round [s].
    closure_s : array_like, shape (n,) or scalar
        T, time the road is shut [s].

    Returns
    -------
    delay_person_h : ndarray, shape (n,)
        NaN where an input is NaN [person-h].

    Notes
    -----
    The time part of the user cost of a detour, before it is priced; the
    vehicles' extra distance is not in it. Traffic is taken as even over the
    day, and nobody is taken to stay at home. No published value in hours is
    known to us; the check rows work out the time part of the priced example.

    References
    ----------
    mndot2017, appendix A (user cost = traffic x time x occupancy x price).

    Examples
    --------
    >>> detour_delay(1000.0, 1.5, 900.0, 86400.0)
    array(375.)
    """
    vehicles_a_day = np.asarray(daily_traffic_count, np.float64)
    people_a_day = vehicles_a_day * np.asarray(people_per_vehicle, np.float64)
    closure_day = np.asarray(closure_s, np.float64) / DAY_S
    extra_h = np.asarray(detour_s, np.float64) / HOUR_S
    return np.asarray(people_a_day * closure_day * extra_h)


def waiting_delay(
    daily_traffic_count: ArrayLike,
    people_per_vehicle: ArrayLike,
    closure_s: ArrayLike,
) -> NDArray[np.float64]:
    r"""Delay of the traffic that has no way round and waits for the road.

    .. math:: E = Q \frac{T}{24\,\mathrm{h}} \, o \, \frac{T}{2}

    Parameters
    ----------
    daily_traffic_count : array_like, shape (n,)
        Q, vehicles a day, both directions [1/day].
    people_per_vehicle : array_like, shape (n,) or scalar
        o, people in a vehicle.
    closure_s : array_like, shape (n,) or scalar
        T, time the road is shut [s].

    Returns
    -------
    delay_person_h : ndarray, shape (n,)
        NaN where an input is NaN [person-h].

    Notes
    -----
    Who arrives evenly over the closure waits half of it on average. This is
    :func:`detour_delay` with a detour of half the closure. No published value
    is known to us.

    References
    ----------
    definition.

    Examples
    --------
    >>> waiting_delay(240.0, 1.5, 21600.0)
    array(270.)
    """
    half_s = np.asarray(closure_s, np.float64) / 2
    return detour_delay(daily_traffic_count, people_per_vehicle, half_s, closure_s)


def isolation(people_count: ArrayLike, closure_s: ArrayLike) -> NDArray[np.float64]:
    r"""Person-hours that people at home are cut off.

    .. math:: E = N T

    Parameters
    ----------
    people_count : array_like, shape (n,)
        N, people who cannot be reached.
    closure_s : array_like, shape (n,) or scalar
        T, time the road is shut [s].

    Returns
    -------
    isolation_person_h : ndarray, shape (n,)
        NaN where an input is NaN [person-h].

    Notes
    -----
    Every hour counts alike: that help cannot come is named beside it
    (``cut_off_places``), not weighed into it. No published value is known to us.

    References
    ----------
    definition.

    Examples
    --------
    >>> isolation(25.3, 21600.0)
    array(151.8)
    """
    hours = np.asarray(closure_s, np.float64) / HOUR_S
    return np.asarray(np.asarray(people_count, np.float64) * hours)
