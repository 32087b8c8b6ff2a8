"""Road lines to segments that meet only at their ends, with level kept apart."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

NODE_M = 0.1  # ends closer than this are one place [m]; common practice, no source

Lines = NDArray[Any]  # of LineStrings
Indexes = NDArray[np.int64]
Floats = NDArray[np.float64]


def cut_line(line: shapely.LineString, at_m: Floats, at_xy: Floats) -> list[Floats]:
    """Cut one line at places along it.

    Parameters
    ----------
    line : LineString
        The line.
    at_m : ndarray, shape (k,)
        Where to cut, from the start of the line, ascending [m].
    at_xy : ndarray, shape (k, 2)
        The point that both parts get at each cut [m].

    Returns
    -------
    parts : list of ndarray, each of shape (p, 2)
        The k + 1 parts in the direction of the line.
    """
    corners = shapely.get_coordinates(line)
    steps_m = np.hypot(*np.diff(corners, axis=0).T)
    along_m = np.concatenate([[0.0], np.cumsum(steps_m)])
    stops_m = np.concatenate([at_m, along_m[-1:]])
    stops_xy = np.vstack([at_xy, corners[-1:]])
    parts, low_m, low_xy = [], 0.0, corners[0]
    for high_m, high_xy in zip(stops_m, stops_xy, strict=True):
        inner = corners[1:-1][(along_m[1:-1] > low_m) & (along_m[1:-1] < high_m)]
        parts.append(np.vstack([low_xy, inner, high_xy]))
        low_m, low_xy = high_m, high_xy
    return parts


def node_lines(lines: Lines, level: Indexes) -> tuple[Lines, Indexes]:
    """Cut lines where they meet, so that they meet only at ends.

    Lines of different levels do not meet on their way (an overpass); where
    both have an end at one place they do, as a ramp does.

    Parameters
    ----------
    lines : ndarray of LineString, shape (n,)
        Road lines in a projected CRS [m].
    level : ndarray of int, shape (n,)
        Grade separation; 0 on the ground.

    Returns
    -------
    parts : ndarray of LineString, shape (m,)
        The segments, in the order and direction of their lines.
    parent : ndarray of int, shape (m,)
        The line each segment is a part of.
    """
    pieces, parent = _loosen(lines)
    line, xy = _meetings(pieces, level[parent])
    at_m = shapely.line_locate_point(pieces[line], shapely.points(xy))
    order = np.lexsort((at_m, line))
    line, at_m, xy = line[order], at_m[order], xy[order]
    inside = (at_m > NODE_M) & (at_m < shapely.length(pieces[line]) - NODE_M)
    line, at_m, xy = line[inside], at_m[inside], xy[inside]
    new = np.ones(len(line), bool)
    new[1:] = (np.diff(line) > 0) | (np.diff(at_m) > NODE_M)
    parts, part_of = cut_lines(pieces, line[new], at_m[new], xy[new])
    return parts, parent[part_of]


def cut_lines(
    lines: Lines, line: Indexes, at_m: Floats, at_xy: Floats
) -> tuple[Lines, Indexes]:
    """Cut many lines at places sorted by line and along it.

    Parameters
    ----------
    lines : ndarray of LineString, shape (n,)
        The lines.
    line : ndarray of int, shape (k,)
        Line of each cut, ascending.
    at_m : ndarray, shape (k,)
        Place of each cut along its line, ascending within a line [m].
    at_xy : ndarray, shape (k, 2)
        Point that both parts get [m].

    Returns
    -------
    parts : ndarray of LineString, shape (n + k,)
        All parts; a line without a cut is its own part.
    parent : ndarray of int, shape (n + k,)
        The line each part comes from, ascending.
    """
    counts = np.bincount(line, minlength=len(lines)) + 1
    parent = np.repeat(np.arange(len(lines)), counts)
    first = np.cumsum(counts) - counts
    parts = lines[parent]
    starts = np.concatenate([[0], np.cumsum(counts - 1)])
    for index in np.unique(line):
        cuts = slice(starts[index], starts[index + 1])
        pieces = cut_line(lines[index], at_m[cuts], at_xy[cuts])
        parts[first[index] : first[index] + len(pieces)] = [
            shapely.linestrings(piece) for piece in pieces
        ]
    return parts, parent


def _loosen(lines: Lines) -> tuple[Lines, Indexes]:
    # a line that meets itself is taken apart into its straight pieces first, so
    # that the noding below, which only compares different lines, sees them all
    tangled = ~shapely.is_simple(lines)
    if not tangled.any():
        return lines, np.arange(len(lines))
    pieces: list[Any] = []
    parent: list[int] = []
    for index, line in enumerate(lines):
        corners = shapely.get_coordinates(line)
        own = [line]
        if tangled[index]:
            steps = np.hypot(*np.diff(corners, axis=0).T) > 0
            pairs = np.stack([corners[:-1], corners[1:]], axis=1)[steps]
            own = list(shapely.linestrings(pairs))
        pieces += own
        parent += [index] * len(own)
    return np.array(pieces, dtype=object), np.array(parent, dtype=np.int64)


def _meetings(lines: Lines, level: Indexes) -> tuple[Indexes, Floats]:
    tree = shapely.STRtree(lines)
    one, other = tree.query(lines, predicate="intersects")
    keep = (one < other) & (level[one] == level[other])
    one, other = one[keep], other[keep]
    parts, pair = shapely.get_parts(
        shapely.intersection(lines[one], lines[other]), return_index=True
    )
    stretch = shapely.get_dimensions(parts) == 1
    # lines that run on one another part where the shared stretch ends
    parts[stretch] = shapely.boundary(parts[stretch])
    points, part = shapely.get_parts(parts, return_index=True)
    pair = pair[part]
    xy = shapely.get_coordinates(points)
    ends = np.concatenate([shapely.get_point(lines, 0), shapely.get_point(lines, -1)])
    end, near = tree.query(ends, predicate="dwithin", distance=NODE_M)
    own = end % len(lines)
    keep = (own != near) & (level[own] == level[near])
    return (
        np.concatenate([one[pair], other[pair], near[keep]]),
        np.vstack([xy, xy, shapely.get_coordinates(ends[end[keep]])]),
    )
