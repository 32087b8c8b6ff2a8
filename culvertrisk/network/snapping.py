"""Loose ends of road lines joined to the road they were meant to meet."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from culvertrisk.network.noding import NODE_M

ROUNDS = 2  # a second look, because the road an end was moved to may itself move

Lines = NDArray[Any]
Indexes = NDArray[np.int64]
Floats = NDArray[np.float64]


def snap_ends(
    lines: Lines, level: Indexes, *, reach_m: float
) -> tuple[Lines, NDArray[np.bool_]]:
    """Move loose ends to the nearest end or line within reach.

    Parameters
    ----------
    lines : ndarray of LineString, shape (n,)
        Road lines in a projected CRS [m].
    level : ndarray of int, shape (n,)
        Grade separation; an end goes to a line of its own level only.
    reach_m : float
        Farthest a loose end is moved [m].

    Returns
    -------
    lines : ndarray of LineString, shape (n,)
        The lines with moved ends; a line shorter than twice the reach stays.
    is_moved : ndarray of bool, shape (n, 2)
        Whether the start and the end of each line was moved.
    """
    lines = lines.copy()
    is_moved = np.zeros((len(lines), 2), bool)
    for _ in range(ROUNDS):
        end, target = _targets(lines, level, reach_m)
        for which, xy in zip(end, target, strict=True):
            line, side = which % len(lines), which // len(lines)
            corners = shapely.get_coordinates(lines[line])
            corners[-side] = xy
            lines[line] = shapely.LineString(corners)
            is_moved[line, side] = True
    return lines, is_moved


def _targets(lines: Lines, level: Indexes, reach_m: float) -> tuple[Indexes, Floats]:
    count = len(lines)
    ends = np.concatenate([shapely.get_point(lines, 0), shapely.get_point(lines, -1)])
    end, near = shapely.STRtree(lines).query(ends, "dwithin", reach_m)
    keep = (end % count != near) & (level[end % count] == level[near])
    end, near = end[keep], near[keep]
    away_m = shapely.distance(ends[end], lines[near])
    fixed = np.tile(shapely.is_closed(lines) | (shapely.length(lines) < 2 * reach_m), 2)
    fixed[end[away_m <= NODE_M]] = True
    group = _groups(ends, np.flatnonzero(~fixed), level, reach_m)
    goal: dict[int, tuple[float, Floats]] = {}
    loose = np.flatnonzero(~fixed).tolist()
    own = {(group[e], e % count) for e in loose}
    for e, line in zip(end.tolist(), near.tolist(), strict=True):
        if fixed[e] or (group[e], line) in own:
            continue
        far_m, xy = _place_on(ends[e], lines[line], reach_m)
        if far_m < goal.get(group[e], (np.inf, xy))[0]:
            goal[group[e]] = far_m, xy
    moved, target = [], []
    for e in loose:
        xy = goal.get(group[e], (0.0, shapely.get_coordinates(ends[group[e]])[0]))[1]
        if np.hypot(*(shapely.get_coordinates(ends[e])[0] - xy)) > 0:
            moved.append(e)
            target.append(xy)
    return np.array(moved, np.int64), np.array(target, np.float64).reshape(-1, 2)


def _groups(
    ends: Lines, loose: Indexes, level: Indexes, reach_m: float
) -> dict[int, int]:
    # loose ends that lie together go to one place; the first of them names it
    tree = shapely.STRtree(ends[loose])
    one, other = tree.query(ends[loose], "dwithin", reach_m)
    line = loose % len(level)
    keep = (level[line[one]] == level[line[other]]) & (line[one] != line[other])
    size = len(loose)
    links = coo_array((keep[keep], (one[keep], other[keep])), shape=(size, size))
    label = connected_components(links, directed=False)[1]
    first = np.unique(label, return_index=True)[1]
    return {
        int(e): int(loose[first[name]]) for e, name in zip(loose, label, strict=True)
    }


def _place_on(end: Any, line: Any, reach_m: float) -> tuple[float, Floats]:
    corners = shapely.get_coordinates(line)[[0, -1]]
    away_m = np.hypot(*(corners - shapely.get_coordinates(end)[0]).T)
    if away_m.min() <= reach_m:
        return float(away_m.min()), corners[int(away_m.argmin())]
    at_m = shapely.line_locate_point(line, end)
    place = shapely.line_interpolate_point(line, at_m)
    return float(shapely.distance(end, place)), shapely.get_coordinates(place)[0]
