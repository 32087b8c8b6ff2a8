"""A made-up valley with a road across it, for the tests of the ground's stages."""

import geopandas as gpd
import numpy as np
import pandas as pd
from affine import Affine
from shapely.geometry import LineString, Point

from culvertrisk.inputs.rasters import Terrain
from culvertrisk.tables import columns
from culvertrisk.terrain.downstream import upstream_cells

CRS = "EPSG:32633"
WEST_M, NORTH_M, CELL_M = 500_000.0, 6_900_000.0, 3.0
ROAD_M = 11.0  # elevation of the road
COLS, ROWS = 61, 120
MIDDLE_X_M = WEST_M + (COLS // 2 + 0.5) * CELL_M
ROAD_Y_M = NORTH_M - 60.5 * CELL_M


def valley(vertical_step_m=0.0):
    """A valley falling south at 3 %, its sides at 17 %, a road 15 m wide over it."""
    rows, cols = np.mgrid[0:ROWS, 0:COLS]
    ground_m = 0.5 * np.abs(cols - COLS // 2) + 0.09 * (ROWS - rows)
    is_road = (rows >= 58) & (rows <= 62)
    ground_m = np.where(is_road, np.maximum(ground_m, ROAD_M), ground_m)
    if vertical_step_m:
        ground_m = np.round(ground_m / vertical_step_m) * vertical_step_m
    grid = Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M)
    return Terrain(
        ground_m.astype(np.float32), grid, CRS, CELL_M, None, vertical_step_m
    )


def road():
    """The road, running east through row 60."""
    ends = [(WEST_M - 50, ROAD_Y_M), (WEST_M + COLS * CELL_M + 50, ROAD_Y_M)]
    return gpd.GeoDataFrame(geometry=[LineString(ends)], crs=CRS)


def crossings():
    """Point on the road, both ends mapped, both ends named the wrong way, far away."""
    inventory = columns().query("made_by == 'culverts'")
    blank = {n: "" if u == "text" else np.nan for n, u in inventory["unit"].items()}
    here = Point(MIDDLE_X_M, ROAD_Y_M)
    ends = {
        "inlet_x_m": MIDDLE_X_M, "inlet_y_m": ROAD_Y_M + 9,
        "outlet_x_m": MIDDLE_X_M, "outlet_y_m": ROAD_Y_M - 9,
    }  # fmt: skip
    wrong = ends | {"inlet_y_m": ROAD_Y_M - 9, "outlet_y_m": ROAD_Y_M + 9}
    rows = [{"length_m": 18.0}, ends, wrong, {}]
    index = pd.Index(["point", "ends", "wrong", "far"], name="culvert_id", dtype=object)
    return gpd.GeoDataFrame(
        [blank | {"rise_m": 0.6} | row for row in rows],
        index=index,
        geometry=[here, here, here, Point(WEST_M - 5000, NORTH_M)],
        crs=CRS,
    )


def upstream(direction, row, col):
    """Cells that drain through one cell, on the whole DEM."""
    mask = np.zeros(direction.size, np.bool_)
    mask[upstream_cells(direction, row, col)] = True
    return mask.reshape(direction.shape)
