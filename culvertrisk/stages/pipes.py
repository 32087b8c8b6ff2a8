"""Which crossings are pipes: the rest neither freeze shut nor have a capacity."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

_NOT_PIPES = ("bridge", "ford")


def pipes_of(crossings: GeoDataFrame) -> NDArray[np.bool_]:
    """Tell for each crossing whether it is a pipe, neither bridge nor ford."""
    return ~crossings["crossing_kind"].isin(_NOT_PIPES).to_numpy(bool)
