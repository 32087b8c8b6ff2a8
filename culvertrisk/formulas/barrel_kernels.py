"""Section of one barrel, compiled: round, box, pipe arch and open arch over a bed."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ROUND, BOX, PIPE_ARCH, OPEN_ARCH = 0, 1, 2, 3  # ``shape`` of a barrel
# Compiled once and kept; no lock on Python, and x / 0 is infinite as in numpy
kernel_jit = njit(cache=True, nogil=True, error_model="numpy")
# ncspa2008, layout of the twelve standard pipe arches (from memory), means of them:
_CORNER_HEIGHT = 0.334  # of the rise: centres of the corners over the floor, B
_CORNER_RADIUS = 0.848  # of that height: radius of the corners, Rc
_CHUNK = 4_096  # elements a thread takes at a time


def each(kernel: Callable[..., None], *fields: ArrayLike) -> Floats:
    """Run a kernel over broadcast fields, on all processors.

    Parameters
    ----------
    kernel : callable
        ``kernel(result, *fields)`` on flat arrays; fills its first argument.
    *fields : array_like, shape (n,) or scalar
        Broadcast against each other.

    Returns
    -------
    result : ndarray, shape (n,)
        What the kernel filled in.

    References
    ----------
    definition.
    """
    whole = [np.asarray(field, dtype=float) for field in fields]
    shape = np.broadcast_shapes(*(field.shape for field in whole))
    flat = [np.array(np.broadcast_to(field, shape)).reshape(-1) for field in whole]
    result = np.empty(flat[0].size)

    def run(start: int) -> None:
        chunk = slice(start, start + _CHUNK)
        kernel(result[chunk], *(field[chunk] for field in flat))

    if result.size <= _CHUNK:
        run(0)
    else:
        with ThreadPoolExecutor(cpu_count()) as pool:
            list(pool.map(run, range(0, result.size, _CHUNK)))
    return result.reshape(shape)


@kernel_jit
def section_of(rise, span, shape, bed_fraction):  # type: ignore[no-untyped-def]
    """The measures of one barrel that ``geometry`` needs.

    Parameters
    ----------
    rise, span : float
        Inside height and width [m].
    shape : float
        ``ROUND``, ``BOX``, ``PIPE_ARCH`` or ``OPEN_ARCH``.
    bed_fraction : float
        Share of the rise lost to silt and ice.

    Returns
    -------
    section : tuple
        shape, rise, span, bed and open height [m]; outline (see ``_outline``); area
        below the bed [m2], and what the bed adds to the wetted arc [m].

    References
    ----------
    chow1959, table 2-1.
    """
    height = rise * (1 - bed_fraction)
    bed = rise - height
    outline = _outline(rise, span, shape)
    clear = (shape, rise, span, 0.0, rise, outline, 0.0, 0.0)
    area, width, arc = geometry(bed, clear)
    return shape, rise, span, bed, height, outline, area, width - arc


@kernel_jit
def geometry(depth, section):  # type: ignore[no-untyped-def]
    """Area, top width and wetted perimeter at a depth; the crown is not wetted.

    Parameters
    ----------
    depth : float
        Over the bed, from 0 to the open height [m].
    section : tuple
        Of ``section_of``.

    Returns
    -------
    area_m2, top_width_m, perimeter_m : float
        As ``open_area``, ``surface_width`` and ``wetted_perimeter`` of ``sections``.

    References
    ----------
    chow1959, table 2-1.
    """
    shape, rise, span, bed, height, outline, bed_area, bed_wall = section
    if shape == BOX:
        return span * depth, span, span + 2 * depth
    stretch, around, low, high, arcs = outline
    z = rise if depth >= height else bed + depth
    diameter, foot, between, area, wall = (
        arcs[0] if z < low else (arcs[1] if z < high else arcs[2])
    )
    # The crown is the top of its circle, whatever rounding says
    above = diameter if depth >= height else z - foot
    theta, half = _angle(above, diameter)
    area += diameter**2 * theta / 8 * stretch + between * z
    area -= half * (1 - 2 * above / diameter) * diameter / 2 * stretch
    wall += diameter / 2 * _wall(theta, stretch, around)
    area -= bed_area
    return 0.0 if area < 0 else area, between + 2 * half * stretch, wall + bed_wall


@kernel_jit
def full_section(section):  # type: ignore[no-untyped-def]
    """Area and wetted perimeter of a barrel that flows full.

    Parameters
    ----------
    section : tuple
        Of ``section_of``.

    Returns
    -------
    area_m2, perimeter_m : float
        The crown of a box is wetted.

    References
    ----------
    chow1959, table 2-1.
    """
    area, _, perimeter = geometry(section[4], section)
    return area, perimeter + (section[2] if section[0] == BOX else 0.0)


@kernel_jit
def _outline(rise, span, shape):  # type: ignore[no-untyped-def]
    """The arcs of a barrel's wall, from the floor up.

    Stretch of widths and of the whole wall against a circle's; heights at which the
    second and the third arc begin; and for each arc the diameter of its circle, the
    height of that circle's foot, the width between the circles of both sides, and the
    area and wall below that are not the circle's. A round barrel is one arc; an open
    arch is the upper half of an ellipse. A pipe arch as high as wide is a circle, so
    a higher one is taken as an ellipse.
    """
    if shape == PIPE_ARCH and rise < span:
        return _three_arcs(rise, span)
    whole = 2 * rise if shape == OPEN_ARCH else rise
    h = ((span - whole) / (span + whole)) ** 2
    around = (span + whole) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h))) / (2 * whole)
    arc = (whole, rise - whole, 0.0, 0.0, 0.0)
    return span / whole, around, np.inf, np.inf, (arc, arc, arc)


@kernel_jit
def _three_arcs(rise, span):  # type: ignore[no-untyped-def]
    """The same of a pipe arch: floor, corners and top, each tangent to the next.

    The corners' centres rise where the top would else bulge beyond the span.
    """
    rest = max(_CORNER_HEIGHT * rise, rise - span / 2)
    corner = _CORNER_RADIUS * rest
    aside = span / 2 - corner
    over = rise - rest
    floor = (aside**2 + rest**2 - corner**2) / (2 * (rest - corner))
    top = (aside**2 + over**2 - corner**2) / (2 * (over - corner))
    low = floor - floor * (floor - rest) / (floor - corner)
    high = rise - top + top * (top - over) / (top - corner)
    first = (2 * floor, 0.0, 0.0, 0.0, 0.0)
    second = _next_arc(low, first, 2 * corner, rest - corner, 2 * aside)
    third = _next_arc(high, second, 2 * top, rise - 2 * top, 0.0)
    return 1.0, 1.0, low, high, (first, second, third)


@kernel_jit
def _next_arc(joint, below, diameter, foot, between):  # type: ignore[no-untyped-def]
    """An arc that goes on at a height from the one below."""
    area, wall = _to_height(joint, below)
    own_area, own_wall = _to_height(joint, (diameter, foot, between, 0.0, 0.0))
    return diameter, foot, between, area - own_area, wall - own_wall


@kernel_jit
def _to_height(z, arc):  # type: ignore[no-untyped-def]
    diameter, foot, between, area, wall = arc
    theta, half = _angle(z - foot, diameter)
    triangle = half * (1 - 2 * (z - foot) / diameter) * diameter / 2
    segment = diameter**2 * theta / 8 - triangle
    return area + segment + between * z, wall + theta * diameter / 2


@kernel_jit
def _wall(theta, stretch, around):  # type: ignore[no-untyped-def]
    """Arc of an ellipse over half the height of it, up to an angle of the circle's.

    Three terms of its Fourier series: exact at foot, flanks and for the whole.
    """
    if stretch == around:
        return around * theta
    flat, bent = (stretch - 1) / 2, ((stretch + 1) / 2 - around) / 2
    return around * theta + flat * np.sin(theta) + bent * np.sin(2 * theta)


@kernel_jit
def _angle(depth, diameter):  # type: ignore[no-untyped-def]
    """Angle of the wetted arc, and half the width of the surface."""
    half = np.sqrt(max(depth * (diameter - depth), 0.0))
    # Not the arc cosine: it is lost in rounding near floor and crown
    return 2 * np.arctan2(half, diameter / 2 - depth), half
