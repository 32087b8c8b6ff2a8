"""Where trees stand, and how much winter sun a place loses to slope and trees."""

import numpy as np
from layout import SIDE_M, Array, Raster
from roads import Roads, along
from scipy import ndimage
from terrain import fractal, slough_weight

CANOPY_CELL_M = 20.0
NORTH_WEST_DEG = 315.0
CLEAR_M = 18.0  # the roads' right of way is kept clear
SOUTH_CELLS = 4  # trees as far as this to the south of a place take its sun


def aspect_slope(ground: Raster) -> tuple[Array, Array]:
    """Return the compass bearing the ground faces [deg] and its slope [m/m]."""
    smooth = ndimage.gaussian_filter(ground.values, 4)
    toward_south, toward_east = np.gradient(smooth, ground.cell_m)
    bearing = np.degrees(np.arctan2(-toward_east, toward_south)) % 360
    return bearing, np.hypot(toward_east, toward_south)


def north_west_weight(ground: Raster) -> Array:
    """Return 1 on steep ground that faces north-west, 0 on other ground."""
    bearing, slope = aspect_slope(ground)
    facing = np.cos(np.radians(bearing - NORTH_WEST_DEG)).clip(0)
    return facing * np.clip(slope / 0.08, 0, 1)


def make_canopy(ground: Raster, roads: Roads, seed: int) -> Raster:
    """Return the height of the trees [m]: spruce on north-west slopes, woodlots."""
    rng = np.random.default_rng([seed, 3])
    step = round(CANOPY_CELL_M / ground.cell_m)
    shady = north_west_weight(ground)[::step, ::step]
    count = shady.shape[0]
    line = (np.arange(count) + 0.5) * CANOPY_CELL_M / 1000
    x, y = np.meshgrid(line, line[::-1])
    patch = fractal(count, 1.2, rng)
    spruce = shady + 0.22 * patch > 0.45
    woodlot = (patch > 0.75) & ~spruce
    height = np.where(spruce, 13 + 2.4 * fractal(count, 0.8, rng), 0.0)
    height = np.where(spruce, height.clip(8, 18), height)
    low = (4 + 5 * rng.random(height.shape)) * (1 - 0.6 * slough_weight(x, y))
    height = np.where(woodlot, low, height)
    village = np.hypot(x - 5.4, y - 5.3) < 0.55
    height[village] = 0.0
    canopy = Raster(np.round(height), CANOPY_CELL_M)
    return _cleared(canopy, roads)


def _cleared(canopy: Raster, roads: Roads) -> Raster:
    """Cut the trees along the roads."""
    open_ground = np.zeros(canopy.values.shape, dtype=bool)
    last = canopy.values.shape[0] - 1
    for line in roads.lines.values():
        places, _ = along(line)
        row, column = canopy.rows_columns(places)
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                i, j = np.clip(row + dr, 0, last), np.clip(column + dc, 0, last)
                x = (j + 0.5) * canopy.cell_m - places[:, 0]
                y = (last - i + 0.5) * canopy.cell_m - places[:, 1]
                near = np.hypot(x, y) < CLEAR_M
                open_ground[i[near], j[near]] = True
    return Raster(np.where(open_ground, 0.0, canopy.values), canopy.cell_m)


def shade_score(places: Array, ground: Raster, canopy: Raster) -> Array:
    """Score how much winter sun a place loses: aspect, and trees to its south.

    This is the invented town's truth. It is a plain count of tall trees to the
    south, south-east and south-west and the slope's facing, not a sun model.
    """
    score = 1.0 * Raster(north_west_weight(ground), ground.cell_m).at(places)
    for east, south in ((0, 1), (-0.6, 0.8), (0.6, 0.8)):
        for cells in range(1, SOUTH_CELLS + 1):
            shift = cells * CANOPY_CELL_M * np.array([east, -south])
            beyond = np.clip(places + shift, 1, SIDE_M - 1)
            score += 0.35 * canopy.at(beyond) / 18 / cells
    return score
