"""Driving times and distances between crews, fill points and crossings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CREW = "crew:"
FILL = "fill:"


@dataclass(frozen=True)
class Travel:
    """Driving between every two places at the road's winter speed.

    Attributes
    ----------
    place_ids : tuple of str
        Culvert ids, ``crew:NAME`` for a crew's start, ``fill:NAME`` for a fill point.
    seconds : ndarray, shape (k, k)
        Driving time from row to column; infinite where there is no way [s].
    metres : ndarray, shape (k, k)
        Distance of that way [m].
    """

    place_ids: tuple[str, ...]
    seconds: NDArray[np.float64]
    metres: NDArray[np.float64]
