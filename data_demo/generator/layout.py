"""Where the invented town lies: grid, units and small helpers of all its makers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

EPSG = 32616  # WGS 84 / UTM zone 16N; the square lies on open lake water
WEST_M = 457_700.0
SOUTH_M = 5_283_800.0
SIDE_M = 9_600.0
FOOT_M = 0.3048
INCH_M = 0.0254
MILE_M = 1609.344
HECTARE_M2 = 10_000.0

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Raster:
    """A square grid of the town; row 0 is the north edge, ``cell_m`` wide cells."""

    values: Array
    cell_m: float

    def rows_columns(self, xy: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return row and column of places in metres from the south-west corner."""
        last = self.values.shape[0] - 1
        column = np.clip((xy[:, 0] / self.cell_m).astype(int), 0, last)
        row = np.clip(last - (xy[:, 1] / self.cell_m).astype(int), 0, last)
        return row, column

    def at(self, xy: Array) -> Array:
        """Return the value of the cell that holds each place."""
        return self.values[self.rows_columns(xy)]


def latitude_longitude(xy: Array) -> Array:
    """Turn metres from the south-west corner into latitude and longitude."""
    transformer = Transformer.from_crs(EPSG, 4326, always_xy=True)
    longitude, latitude = transformer.transform(xy[:, 0] + WEST_M, xy[:, 1] + SOUTH_M)
    return np.column_stack([latitude, longitude])


def state_plane_feet(xy: Array) -> Array:
    """Turn metres from the south-west corner into state-plane feet (EPSG:2251)."""
    transformer = Transformer.from_crs(EPSG, 2251, always_xy=True)
    east_ft, north_ft = transformer.transform(xy[:, 0] + WEST_M, xy[:, 1] + SOUTH_M)
    return np.column_stack([north_ft, east_ft])


def ranks(values: Array) -> Array:
    """Return each value's place in order, from just above 0 to just below 1."""
    order = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return (order + 0.5) / len(values)
