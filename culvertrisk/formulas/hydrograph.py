"""The course of a day's water: rain and melt by the clock, and when a pond is full."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def rain_fallen_fraction(elapsed_s: ArrayLike, duration_s: ArrayLike) -> Floats:
    r"""Share of a triangular rain that has fallen.

    .. math:: F = 2 x^2, \; x \le 1/2; \quad F = 1 - 2 (1 - x)^2, \; x > 1/2

    with x the elapsed share of the duration, held within 0 and 1.

    Parameters
    ----------
    elapsed_s : array_like, shape (n,)
        Time since the rain began; before is below 0 [s].
    duration_s : array_like, shape (n,) or scalar
        Length of the rain, above 0 [s].

    Returns
    -------
    fallen_fraction : ndarray, shape (n,)
        0 before the rain, 1 after it; NaN where an input is NaN.

    Notes
    -----
    The rain of ``burst_intensity``: a triangle, common practice without a source. No
    published value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> rain_fallen_fraction([-1.0, 900.0, 1800.0, 9999.0], 3600.0)
    array([0.   , 0.125, 0.5  , 1.   ])
    """
    share = np.clip(np.asarray(elapsed_s, float) / np.asarray(duration_s), 0, 1)
    return np.where(share <= 1 / 2, 2 * share**2, 1 - 2 * (1 - share) ** 2)


def melt_released_fraction(elapsed_s: ArrayLike, duration_s: ArrayLike) -> Floats:
    r"""Share of a day's melt that has left the snow.

    .. math:: F = (1 - \cos \pi x) / 2

    with x the elapsed share of the duration, held within 0 and 1.

    Parameters
    ----------
    elapsed_s : array_like, shape (n,)
        Time since the melt began; before is below 0 [s].
    duration_s : array_like, shape (n,) or scalar
        Length of the melt, above 0 [s].

    Returns
    -------
    released_fraction : ndarray, shape (n,)
        0 before the melt, 1 after it; NaN where an input is NaN.

    Notes
    -----
    The melt of ``melt_intensity``: half a sine over the warm hours, common practice
    without a source. No published value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> melt_released_fraction([-1.0, 1200.0, 1800.0, 9999.0], 3600.0).round(3)
    array([0.  , 0.25, 0.5 , 1.  ])
    """
    share = np.clip(np.asarray(elapsed_s, float) / np.asarray(duration_s), 0, 1)
    return (1 - np.cos(np.pi * share)) / 2


def fill_time(
    flow_m3s: ArrayLike, clock_s: ArrayLike, outflow_m3s: ArrayLike, room_m3: ArrayLike
) -> Floats:
    r"""Clock time at which water that a pipe does not pass fills the room above it.

    .. math:: V_t = \max(V_{t-1} + (Q - Q_o) \Delta t,\, 0), \quad V_t > V_{room}

    Parameters
    ----------
    flow_m3s : array_like, shape (n, k)
        Flow Q to the inlet at each clock time [m3/s].
    clock_s : array_like, shape (k,)
        Clock times, growing [s of the day].
    outflow_m3s : array_like, shape (n,) or scalar
        Most the pipe passes Qo; the inflow where that is less [m3/s].
    room_m3 : array_like, shape (n,) or scalar
        Water held below the road, 0 or more; at 0 the flow alone decides [m3].

    Returns
    -------
    fill_time_s : ndarray, shape (n,)
        NaN where the room is not filled by the last clock time, or an input is NaN
        [s of the day].

    Notes
    -----
    The pipe passes its most from the first on, though its headwater is still low:
    water comes over the road rather earlier than told. Mean flow of each step, and a
    straight line within it. No published value exists; its limits are exact.

    References
    ----------
    definition.

    Examples
    --------
    >>> flow_m3s = [[1.0, 1.0, 1.0]] * 3
    >>> fill_time(flow_m3s, [0.0, 100.0, 200.0], [0.0, 0.5, 1.0], [50.0, 75.0, 0.0])
    array([ 50., 150.,  nan])
    """
    flow_m3s, clock_s = np.asarray(flow_m3s, float), np.asarray(clock_s, float)
    outflow = np.broadcast_to(np.asarray(outflow_m3s, float), flow_m3s.shape[:1])
    room = np.broadcast_to(np.asarray(room_m3, float), flow_m3s.shape[:1])[:, None]
    excess = (flow_m3s[:, 1:] + flow_m3s[:, :-1]) / 2 - outflow[:, None]
    total = np.cumsum(excess * np.diff(clock_s), axis=1)
    kept = total - np.minimum(np.minimum.accumulate(total, axis=1), 0)
    kept = np.hstack([np.zeros((len(kept), 1)), kept])
    is_over = kept > room
    after = np.maximum(is_over.argmax(axis=1), 1)[:, None]
    upper, lower = (np.take_along_axis(kept, a, axis=1) for a in (after, after - 1))
    rise = np.where(upper > lower, upper - lower, 1)
    share = np.clip((room - lower) / rise, 0, 1)
    time_s = clock_s[after - 1] + share * (clock_s[after] - clock_s[after - 1])
    return np.where(is_over.any(axis=1), time_s[:, 0], np.nan)
