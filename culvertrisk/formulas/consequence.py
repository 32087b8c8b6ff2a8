"""What a flood does to a road: how long it is above what the pipe passes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def time_over_capacity(
    peak_m3s: ArrayLike, capacity_m3s: ArrayLike, base_s: ArrayLike
) -> NDArray[np.float64]:
    r"""Time for which a triangular flood is above a capacity.

    .. math:: t = T_b \left( 1 - \frac{Q_c}{Q} \right), \; Q > Q_c

    Parameters
    ----------
    peak_m3s : array_like, shape (n,)
        Peak Q of the flood, 0 or more [m3/s].
    capacity_m3s : array_like, shape (n,)
        Flow Qc passed before water reaches the road, 0 or more [m3/s].
    base_s : array_like, shape (n,) or scalar
        Time T_b from the first to the last of the flood [s].

    Returns
    -------
    time_over_capacity_s : ndarray, shape (n,)
        0 where the capacity holds the peak; NaN where an input is NaN [s].

    Notes
    -----
    By similar triangles, wherever the peak lies within the base. The pond is left
    out. No published value is known to us.

    References
    ----------
    definition.

    Examples
    --------
    >>> time_over_capacity([0.5, 1.0, 4.0], 1.0, 7200.0)
    array([   0.,    0., 5400.])
    """
    peak, capacity = np.asarray(peak_m3s, float), np.asarray(capacity_m3s, float)
    share = 1 - capacity / np.where(peak > 0, peak, np.inf)
    share = np.where(peak > capacity, share, 0)
    known = np.where(np.isnan(peak + capacity), np.nan, share)
    return np.asarray(known * np.asarray(base_s, float))
