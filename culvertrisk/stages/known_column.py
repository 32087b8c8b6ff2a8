"""A column of the crossings table that an earlier stage may not have made."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray


def known_column(
    crossings: GeoDataFrame, name: str, otherwise: float = np.nan
) -> NDArray[np.float64]:
    """Return a column of numbers; where the table has none such, one value for all."""
    if name not in crossings:
        return np.full(len(crossings), otherwise)
    return crossings[name].to_numpy(float)
