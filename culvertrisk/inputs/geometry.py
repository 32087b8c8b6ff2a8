"""Points and the two ends of culverts from geometries, in the file's own CRS."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Points = NDArray[np.float64]

_LONG_SHAPE_RATIO = 1.5  # longer than this many widths: the long axis is the barrel
_LINES = (1, 5)  # shapely's ids of line and multi-line
_RING_CORNERS = 4


@dataclass(frozen=True)
class Places:
    """Where culverts lie, one row each, shape (n, 2), NaN where unknown.

    ``are_ends_named`` is True where the file says which end is the inlet.
    """

    point: Points
    inlet: Points
    outlet: Points
    are_ends_named: bool


def empty_points(count: int) -> Points:
    """Return points that are all unknown, shape (count, 2)."""
    return np.full((count, 2), np.nan)


def places_of_geometries(
    geometries: Sequence[Any] | NDArray[Any], is_geographic: bool
) -> Places:
    """Return the point and the ends of points, lines, multi-lines and polygons.

    Parameters
    ----------
    geometries : sequence of shapely geometries, shape (n,)
        Missing and empty ones stay unknown.
    is_geographic : bool
        True if the coordinates are degrees; a polygon's width is then compared
        with its length on the ground.

    Returns
    -------
    places : Places
        A point's own place; a line's middle, with its first vertex as inlet and
        its last as outlet; a point on a polygon's surface, with the ends of its
        long axis where it is longer than one and a half widths.
    """
    shapes = np.array(geometries, dtype=object)
    shapes[shapely.is_empty(shapes)] = None
    shapes = shapely.force_2d(shapes)
    kinds = shapely.get_type_id(shapes)
    is_line = np.isin(kinds, _LINES)
    is_point = kinds == 0
    is_area = ~is_line & ~is_point & (kinds > 0)
    count = len(shapes)
    point, inlet, outlet = (empty_points(count) for _ in range(3))
    point[is_point] = _coordinates(shapes[is_point])
    if is_line.any():
        lines = shapely.line_merge(shapes[is_line])
        point[is_line] = _coordinates(
            shapely.line_interpolate_point(lines, 1 / 2, normalized=True)
        )
        inlet[is_line], outlet[is_line] = _line_ends(lines)
    if is_area.any():
        areas = shapes[is_area]
        point[is_area] = _coordinates(shapely.point_on_surface(areas))
        inlet[is_area], outlet[is_area] = _area_ends(areas, is_geographic)
    return Places(point, inlet, outlet, are_ends_named=False)


def _coordinates(points: NDArray[Any]) -> Points:
    return np.column_stack([shapely.get_x(points), shapely.get_y(points)])


def _line_ends(lines: NDArray[Any]) -> tuple[Points, Points]:
    parts = shapely.get_num_geometries(lines)
    first = shapely.get_geometry(lines, 0)
    last = shapely.get_geometry(lines, parts - 1)
    return (
        _coordinates(shapely.get_point(first, 0)),
        _coordinates(shapely.get_point(last, -1)),
    )


def _area_ends(areas: NDArray[Any], is_geographic: bool) -> tuple[Points, Points]:
    """Return the ends of the long axis of each minimum rotated rectangle."""
    middle = shapely.get_y(shapely.centroid(areas))
    width = np.cos(np.deg2rad(np.nanmedian(middle))) if is_geographic else 1.0
    ground = shapely.transform(areas, lambda xy: xy * [width, 1.0])
    boxes = shapely.oriented_envelope(ground)
    inlet, outlet = empty_points(len(areas)), empty_points(len(areas))
    is_box = shapely.get_type_id(boxes) == shapely.GeometryType.POLYGON
    corners = shapely.get_coordinates(boxes[is_box]).reshape(-1, _RING_CORNERS + 1, 2)
    sides = np.linalg.norm(np.diff(corners[:, :3], axis=1), axis=2)
    is_first_long = sides[:, 0] >= sides[:, 1]
    a, b, c, d = (corners[:, i] for i in range(_RING_CORNERS))
    start = np.where(is_first_long[:, None], (a + d) / 2, (a + b) / 2)
    end = np.where(is_first_long[:, None], (b + c) / 2, (c + d) / 2)
    is_long = sides.max(axis=1) > _LONG_SHAPE_RATIO * sides.min(axis=1)
    start[~is_long], end[~is_long] = np.nan, np.nan
    inlet[is_box], outlet[is_box] = start / [width, 1.0], end / [width, 1.0]
    return inlet, outlet
