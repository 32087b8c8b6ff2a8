"""The side that water comes from, against streams mapped by others."""

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from culvertrisk.inputs.rasters import read_terrain
from culvertrisk.stages.site import site_flow
from tests.terrain_made import crossings

FOLDER = os.environ.get("CULVERTRISK_OPEN_DATA", "")
TERRAIN = Path(FOLDER) / "bc_bulkley_terrain"
ROADS = Path(FOLDER) / "bc_bulkley_roads"
ALBERS = "EPSG:3005"
APART_M, HALF_ROAD_M = 300.0, 100.0

pytestmark = pytest.mark.skipif(
    not FOLDER, reason="CULVERTRISK_OPEN_DATA names no folder of open data"
)


@pytest.fixture(scope="module")
def ground():
    return read_terrain(TERRAIN / "dem.tif", None, ALBERS, None)


@pytest.fixture(scope="module")
def streams():
    """Lines from the lower to the upper end, as the notes of the terrain tell."""
    lines = gpd.read_file(TERRAIN / "streams.gpkg").to_crs(ALBERS).geometry
    return shapely.get_parts(shapely.force_2d(lines.to_numpy()))


def _way_up(line, along_m, reach_m):
    low = shapely.line_interpolate_point(line, np.maximum(along_m - reach_m, 0))
    high = shapely.line_interpolate_point(line, along_m + reach_m)
    way = shapely.get_coordinates(high) - shapely.get_coordinates(low)
    return way / np.hypot(*way.T)[:, None]


def _sides(ground, roads, places, way_up):
    """Whether each upstream end lies up the stream, and whether it is told."""
    one = crossings().loc[["point"]].assign(crossing_kind="cross", length_m=np.nan)
    table = pd.concat([one] * len(places)).set_geometry(places, crs=ALBERS)
    table.index = pd.Index([str(k) for k in range(len(places))], name="culvert_id")
    ends = site_flow(table, ground, roads).ends
    east_m = ends.upstream_x_m - ends.downstream_x_m
    north_m = ends.upstream_y_m - ends.downstream_y_m
    return east_m * way_up[:, 0] + north_m * way_up[:, 1] > 0, ends.is_told


@pytest.mark.parametrize("name", ["roads.geojson", "railway.geojson"])
def test_mapped_streams_come_from_the_side_that_is_told(ground, streams, name):
    roads = gpd.read_file(ROADS / name).to_crs(ALBERS)
    pairs = roads.sindex.query(streams, predicate="intersects")
    places, way_up = [], []
    for i, k in pairs.T:
        meets = shapely.intersection(streams[i], roads.geometry.iloc[k])
        points = shapely.centroid(shapely.get_parts(meets))
        along_m = shapely.line_locate_point(streams[i], points)
        places += [*points]
        way_up += [*_way_up(streams[i], along_m, 30.0)]
    is_right, is_told = _sides(ground, roads, places, np.array(way_up))
    assert is_told.any()
    assert is_right[is_told].all()


def test_most_made_roads_at_an_angle_to_mapped_streams_are_told_right(ground, streams):
    """On 25 m ground in steps of 1 m; by the ground straight ahead 26 of 42 are."""
    places, way_up = [], []
    for line in streams:
        along_m = np.arange(APART_M / 2, line.length - APART_M / 2, APART_M)
        places += [*shapely.line_interpolate_point(line, along_m)]
        way_up += [*_way_up(line, along_m, 60.0)]
    way_up = np.array(way_up)
    turn = np.radians(np.resize([50.0, 90.0, 130.0], len(places)))
    east = way_up[:, 0] * np.cos(turn) - way_up[:, 1] * np.sin(turn)
    north = way_up[:, 0] * np.sin(turn) + way_up[:, 1] * np.cos(turn)
    half_m = HALF_ROAD_M * np.column_stack([east, north])
    here = shapely.get_coordinates(places)
    roads = shapely.linestrings(np.stack([here - half_m, here + half_m], axis=1))
    roads = gpd.GeoDataFrame(geometry=roads, crs=ALBERS)
    is_right, is_told = _sides(ground, roads, places, way_up)
    assert len(places) >= 40
    assert is_told.mean() > 0.75
    assert is_right[is_told].mean() > 0.7
    assert is_right.mean() > 0.65
