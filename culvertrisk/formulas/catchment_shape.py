"""What the size of a catchment tells of its shape, where no elevations do."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MILE_M = 1609.344  # exact


def flow_path_by_area(catchment_m2: ArrayLike) -> Floats:
    r"""Longest flow path of a catchment known by its area alone (Hack).

    .. math:: L = 1.4\, A^{0.6}

    L in miles, A in square miles; given and returned in SI.

    Parameters
    ----------
    catchment_m2 : array_like, shape (n,)
        Area that drains to the inlet, 0 or more [m2].

    Returns
    -------
    flow_path_m : ndarray, shape (n,)
        From the outlet to the divide along the stream; NaN where the input is NaN
        [m].

    Notes
    -----
    From streams of some tenths to hundreds of square miles; single catchments lie
    half to twice as long. No published single value exists beside the equation.

    References
    ----------
    hack1957, from memory.

    Examples
    --------
    >>> flow_path_by_area([2_589_988.11]).round(0)
    array([2253.])
    """
    area_mi2 = np.asarray(catchment_m2, float) / _MILE_M**2
    return np.asarray(1.4 * np.power(area_mi2, 0.6) * _MILE_M)
