"""Section of one barrel and depths in it, compiled: what the fast formulas share."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from culvertrisk.units import GRAVITY_M_S2

Floats = NDArray[np.float64]

CRITICAL, CONVEYANCE, HEAD = 0, 1, 2  # what ``depth_of`` can look for
# Compiled once and kept; no lock on Python, and x / 0 is infinite as in numpy
kernel_jit = njit(cache=True, nogil=True, error_model="numpy")
NO_TERMS = (0.0, 1.0, 1.0)  # for ``depth_of`` where the inlet equation is not asked
_POWERS = (4 / 7, 3 / 8, 1.0)  # make the wanted functions of depth nearly straight
_BELOW_CROWN = 1 - 1e-12  # critical flow in a closed section is infinite at the crown
_MOST_STEPS = 80
_CLOSE = 1e-14  # of the rise: width of the last bracket
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
def section_of(rise, span, is_box, bed_fraction):  # type: ignore[no-untyped-def]
    """The measures of one barrel that ``geometry`` needs.

    Parameters
    ----------
    rise, span : float
        Inside height and width [m].
    is_box : float
        1 for a box, 0 for a circle or ellipse.
    bed_fraction : float
        Share of the rise lost to silt and ice.

    Returns
    -------
    section : tuple of float
        is_box, rise, span, bed and open height [m], area of the circle of diameter
        ``rise`` below the bed [m2], its angle, its chord stretched to the span [m],
        and perimeter of the ellipse over that of the circle.

    References
    ----------
    chow1959, table 2-1.
    """
    height = rise * (1 - bed_fraction)
    bed = rise - height
    theta, half = _angle(bed, rise)
    area = rise**2 * theta / 8 - half * (1 - 2 * bed / rise) * rise / 2
    h = ((span - rise) / (span + rise)) ** 2
    around = np.pi / 2 * (span + rise) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    chord = span / rise * 2 * half
    return is_box, rise, span, bed, height, area, theta, chord, around / (np.pi * rise)


@kernel_jit
def geometry(depth, section):  # type: ignore[no-untyped-def]
    """Area, top width and wetted perimeter at a depth; the crown is not wetted.

    Parameters
    ----------
    depth : float
        Over the bed, from 0 to the open height [m].
    section : tuple of float
        Of ``section_of``.

    Returns
    -------
    area_m2, top_width_m, perimeter_m : float
        As ``open_area``, ``surface_width`` and ``wetted_perimeter`` of ``sections``.

    References
    ----------
    chow1959, table 2-1.
    """
    is_box, rise, span, bed, height, bed_area, bed_theta, chord, around = section
    if is_box == 1:
        return span * depth, span, span + 2 * depth
    z = rise if depth >= height else bed + depth
    theta, half = _angle(z, rise)
    area = rise**2 * theta / 8 - half * (1 - 2 * z / rise) * rise / 2 - bed_area
    arc = (theta - bed_theta) * rise / 2
    return span / rise * area, span / rise * 2 * half, arc * around + chord


@kernel_jit
def full_section(section):  # type: ignore[no-untyped-def]
    """Area and wetted perimeter of a barrel that flows full.

    Parameters
    ----------
    section : tuple of float
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
    return area, perimeter + section[0] * section[2]


@kernel_jit
def depth_of(kind, wanted, section, top, terms):  # type: ignore[no-untyped-def]
    """Depth at which a quantity that grows with depth takes a value.

    Parameters
    ----------
    kind : int
        ``CRITICAL`` flow [m3/s], ``CONVEYANCE`` A R^(2/3) [m^(8/3)], or ``HEAD`` of
        the inlet equation of form 1 over the open height.
    wanted : float
        The value.
    section : tuple of float
        Of ``section_of``.
    top : float
        Greatest depth looked at [m].
    terms : tuple of float
        For ``HEAD``: K, M and the flow at which q* is 1 [m3/s].

    Returns
    -------
    depth_m : float
        0 where the value is not above 0, ``top`` where it is not reached there, NaN
        where it or the barrel is unknown [m].

    Notes
    -----
    Chandrupatla's bracketing method on a power of the quantity that is nearly
    straight; no step leaves the bracket.

    References
    ----------
    chandrupatla1997.
    """
    power = _POWERS[kind]
    if np.isnan(wanted) or np.isnan(section[5] + section[8]):
        return np.nan
    goal = max(wanted, 0.0) ** power
    a, b = top * _BELOW_CROWN, 0.0
    fa, fb = _value(kind, a, section, terms) ** power - goal, -goal
    if fb >= 0:
        return 0.0
    if fa <= 0:
        return top
    share = fa / (fa - fb)
    for _ in range(_MOST_STEPS):
        x = a + share * (b - a)
        fx = _value(kind, x, section, terms) ** power - goal
        if (fx > 0) == (fa > 0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = x, fx
        if fa == 0 or abs(b - a) <= _CLOSE * section[1] + _CLOSE * abs(a):
            break
        share = _next_share(a, b, c, fa, fb, fc)
    return a if abs(fa) < abs(fb) else b


@kernel_jit
def _next_share(a, b, c, fa, fb, fc):  # type: ignore[no-untyped-def]
    """Chandrupatla's choice between inverse quadratic step and bisection."""
    xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
    share = 0.5
    if phi**2 < xi and (1 - phi) ** 2 < 1 - xi:
        near, far = fa / (fb - fa), fa / (fc - fa)
        share = near * (fc / (fb - fc)) + (c - a) / (b - a) * far * (fb / (fc - fb))
    least = 0.5 * _CLOSE * (abs(a) + 1e-300) / abs(b - a)
    return min(max(share, least), 1 - least)


@kernel_jit
def _value(kind, depth, section, terms):  # type: ignore[no-untyped-def]
    area, width, perimeter = geometry(depth, section)
    if kind == CONVEYANCE:
        return area * (area / perimeter) ** (2 / 3) if area > 0 else 0.0
    if area <= 0 or width <= 0:
        return 0.0 if area <= 0 else np.inf
    flow = area * np.sqrt(GRAVITY_M_S2 * area / width)
    if kind == CRITICAL:
        return flow
    k, m, unit = terms
    return (depth + area / (2 * width)) / section[4] + k * (flow / unit) ** m


@kernel_jit
def _angle(depth, diameter):  # type: ignore[no-untyped-def]
    """Angle of the wetted arc, and half the width of the surface."""
    cosine = min(max(1 - 2 * depth / diameter, -1.0), 1.0)
    return 2 * np.arccos(cosine), np.sqrt(max(depth * (diameter - depth), 0.0))
