"""Water that a snowpack lets go: melt and rain beyond what it holds."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def released_water(
    air_mean_c: ArrayLike,
    inflow_m: ArrayLike,
    snow_water_m: ArrayLike,
    held_water_fraction: float,
) -> Floats:
    r"""Water that leaves the snow each day, held water first.

    .. math:: R_d = \max(0,\ H_{d-1} + I_d - f\,SWE_d), \qquad
              H_d = \min(H_{d-1} + I_d,\ f\,SWE_d)

    Parameters
    ----------
    air_mean_c : array_like, shape (days, ...)
        Mean temperature of the day; below 0 what is held freezes [°C].
    inflow_m : array_like, shape (days, ...)
        Melt and rain I of the day, 0 or more [m].
    snow_water_m : array_like, shape (days, ...)
        Water in the pack, SWE, 0 or more [m].
    held_water_fraction : float
        Liquid water the pack holds f, 0.02 to 0.05 [1].

    Returns
    -------
    released_m : ndarray, shape (days, ...)
        NaN where the day's inflow or pack is [m].

    Notes
    -----
    So an hour above 0 °C at noon does not fill a culvert under a cold pack. Rain on
    bare ground passes through. The pack's cold content is left out, which errs to
    the early side.

    References
    ----------
    usace1998, ch. 2; nws (snow model training page: 0.02 to 0.05).

    Examples
    --------
    >>> released_water([2.0, 2.0, -5.0, 2.0], [0.005, 0.005, 0.0, 0.005],
    ...                [0.2, 0.2, 0.2, 0.2], 0.03)
    array([0.   , 0.004, 0.   , 0.   ])
    """
    air, inflow = np.asarray(air_mean_c, float), np.asarray(inflow_m, float)
    capacity = held_water_fraction * np.asarray(snow_water_m, float)
    released, held_m = np.empty_like(inflow), np.zeros(inflow.shape[1:])
    for day, limit_m in enumerate(capacity):
        total_m = held_m + inflow[day]
        released[day] = np.maximum(total_m - limit_m, 0)
        held_m = np.where(air[day] < 0, 0.0, np.fmin(total_m, limit_m))
    return released
