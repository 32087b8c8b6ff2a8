"""The low place of a road on either side of a crossing, up to the next crests."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True)
def road_sags(
    profile_m: NDArray[np.float64], crest_fall_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find where water first goes over a road near each crossing.

    Parameters
    ----------
    profile_m : ndarray, shape (n, m)
        Elevation along the road at even steps, the crossing in the middle; NaN
        beyond the road's end or the data [m].
    crest_fall_m : float
        A rise of the road is a crest where the road falls by this again beyond it [m].

    Returns
    -------
    sag : ndarray, shape (n,)
        Step of the lowest place between the crests, the nearest of equals; -1 where
        the road's elevation at the crossing is unknown.
    crests : ndarray, shape (n, 2)
        Step of the crest before and after the crossing; -1 where the profile ends
        before one.

    Notes
    -----
    A crossing on a grade looks down the grade to the sag and up again to the crest
    beyond it; the crossing itself is no crest.

    Examples
    --------
    >>> road_m = np.array([[9.0, 12, 10, 7, 6.5, 8, 11, 5]])
    >>> road_sags(road_m[:, :7], 0.3)
    (array([4]), array([[ 1, -1]]))
    """
    count, middle = profile_m.shape[0], profile_m.shape[1] // 2
    sag = np.full(count, -1, np.int64)
    crests = np.full((count, 2), -1, np.int64)
    for i in range(count):
        if np.isnan(profile_m[i, middle]):
            continue
        sag[i] = middle
        for side in range(2):
            low, crests[i, side] = _look(profile_m[i], 2 * side - 1, crest_fall_m)
            is_lower = profile_m[i, low] < profile_m[i, sag[i]]
            is_level = profile_m[i, low] == profile_m[i, sag[i]]
            if is_lower or (is_level and abs(low - middle) < abs(sag[i] - middle)):
                sag[i] = low
    return sag, crests


@njit(cache=True)
def _look(road_m: NDArray, way: int, crest_fall_m: float) -> tuple[int, int]:
    middle = road_m.size // 2
    low = top = middle
    place = middle + way
    while 0 <= place < road_m.size and not np.isnan(road_m[place]):
        is_risen = road_m[top] - road_m[low] >= crest_fall_m
        if is_risen and road_m[top] - road_m[place] >= crest_fall_m:
            return low, top
        if road_m[place] < road_m[low]:
            low = top = place
        if road_m[place] > road_m[top]:
            top = place
        place += way
    return low, -1
