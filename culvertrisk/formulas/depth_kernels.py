"""Depth of water in one barrel at which a quantity takes a value, compiled."""

import numpy as np

from culvertrisk.formulas.barrel_kernels import geometry, kernel_jit
from culvertrisk.units import GRAVITY_M_S2

CRITICAL, CONVEYANCE, HEAD, AREA = 0, 1, 2, 3  # what ``depth_of`` can look for
NO_TERMS = (0.0, 1.0, 1.0)  # for ``depth_of`` where the inlet equation is not asked
_POWERS = (4 / 7, 3 / 8, 1.0, 2 / 3)  # make the wanted functions nearly straight
_BELOW_CROWN = 1 - 1e-12  # critical flow in a closed section is infinite at the crown
_MOST_STEPS = 80
_CLOSE = 1e-14  # of the rise: width of the last bracket


@kernel_jit
def depth_of(kind, wanted, section, top, terms):  # type: ignore[no-untyped-def]
    """Depth at which a quantity that grows with depth takes a value.

    Parameters
    ----------
    kind : int
        ``CRITICAL`` flow [m3/s], ``CONVEYANCE`` A R^(2/3) [m^(8/3)], ``AREA`` [m2], or
        ``HEAD`` of the inlet equation of form 1 over the open height.
    wanted : float
        The value.
    section : tuple
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
    if np.isnan(wanted) or np.isnan(section[4] + section[2]):
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
    if kind == AREA:
        return area
    if kind == CONVEYANCE:
        return area * (area / perimeter) ** (2 / 3) if area > 0 else 0.0
    if area <= 0 or width <= 0:
        return 0.0 if area <= 0 else np.inf
    flow = area * np.sqrt(GRAVITY_M_S2 * area / width)
    if kind == CRITICAL:
        return flow
    k, m, unit = terms
    return (depth + area / (2 * width)) / section[4] + k * (flow / unit) ** m
