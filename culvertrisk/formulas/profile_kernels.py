"""Water surface of one barrel, compiled: what ``water_profile`` runs over many."""

import numpy as np

from culvertrisk.formulas.barrel_kernels import full_section, geometry, kernel_jit
from culvertrisk.formulas.depth_kernels import CRITICAL, NO_TERMS, depth_of
from culvertrisk.formulas.uniform_flow import normal_depths
from culvertrisk.units import GRAVITY_M_S2

_PANELS = 24  # of the depths a curve runs through up to a limit that it reaches
_FOLDS_A_PANEL = 0.5  # towards normal depth: each panel nears it by exp(0.5)
_MOST_PANELS = 60  # more than it takes
_AT_NORMAL = 1e-8  # of normal depth: as near as rounding lets the curve be followed
_REFINEMENTS = 30  # of the last panel
_NEAR = 1e-12  # of the panel: the last one is found to this
_STILL_M3S = 1e-9  # less is no flow: its depth is lost in rounding
# Three-point Gauss-Legendre rule on 0 to 1
_GAUSS = ((0.5 - 0.15**0.5, 5 / 18), (0.5, 4 / 9), (0.5 + 0.15**0.5, 5 / 18))


@kernel_jit
def outlet_headwater(flow, section, conduit):  # type: ignore[no-untyped-def]
    """Headwater over the invert of one barrel: see ``profile_headwater``.

    Parameters
    ----------
    flow : float
        Of one barrel [m3/s].
    section : tuple
        Of ``section_of``.
    conduit : tuple of float
        The fields of ``Conduit``.

    Returns
    -------
    headwater_m : float
        Over the invert of the pipe [m].

    References
    ----------
    fhwa2012, outlet control.
    """
    height, loss = section[4], conduit[2]
    bed = section[1] - height
    if height <= 0:
        return bed + (np.inf if flow > 0 else 0.0 * flow)
    depth, left = inlet_depth(flow, section, conduit)
    if depth <= 0 or flow <= _STILL_M3S:
        return bed + max(depth, 0.0) + 0 * loss
    if np.isnan(depth + loss):
        return np.nan
    critical = depth_of(CRITICAL, flow, section, height, NO_TERMS)
    critical_lost = loss * _velocity_head(critical, flow, section)
    critical_lost *= _mild_share(critical, flow, section, conduit) ** 2
    least = critical + _velocity_head(critical, flow, section) + critical_lost
    speed = _velocity_head(depth, flow, section)
    lost = loss * speed if depth >= height else min(loss * speed, critical_lost)
    head = depth + speed + lost
    return bed + (max(head, least) if left <= 0 else least)


@kernel_jit
def inlet_depth(flow, section, conduit):  # type: ignore[no-untyped-def]
    """Depth at the inlet, and the length over which the flow there is critical.

    Parameters
    ----------
    flow : float
        Of one barrel [m3/s].
    section : tuple
        Of ``section_of``.
    conduit : tuple of float
        The fields of ``Conduit``.

    Returns
    -------
    depth_m, length_m : float
        Depth over the bed, or pressure head; the length is 0 in a mild barrel [m].

    References
    ----------
    chow1959, ch. 9 and 10.
    """
    length, slope, _, roughness, tailwater = conduit
    height = section[4]
    tail = tailwater - (section[1] - height)
    if np.isnan(flow + tail + length + slope + roughness + section[4] + section[2]):
        return np.nan, 0.0
    if flow <= _STILL_M3S:
        return max(tail, 0.0) - slope * length, 0.0
    critical = depth_of(CRITICAL, flow, section, height, NO_TERMS)
    # Over the invert, not over the bed: there the bed's rounding would decide a tie
    is_full = tailwater >= section[1] or critical >= height
    depth = max(critical, tail, height) if is_full else min(max(critical, tail), height)
    full_grade = _full_friction(flow, section, roughness) - slope
    if is_full:
        reach = (depth - height) / -full_grade if full_grade < 0 else np.inf
        if reach >= length:
            return depth + full_grade * length, 0.0
        length, depth = length - reach, height
        if critical >= height:
            return height, length
    return _open_depth((critical, depth), length, flow, section, conduit)


@kernel_jit
def _velocity_head(depth, flow, section):  # type: ignore[no-untyped-def]
    area = geometry(min(depth, section[4]), section)[0]
    return (flow / area) ** 2 / (2 * GRAVITY_M_S2)


@kernel_jit
def _mild_share(critical, flow, section, conduit):  # type: ignore[no-untyped-def]
    """Critical slope over the barrel's, at most 1: 1 in a mild barrel."""
    grade = _friction(critical, flow, section, conduit[3])
    if critical >= section[4]:
        grade = _full_friction(flow, section, conduit[3])
    return min(grade / conduit[1], 1.0) if conduit[1] > 0 else 1.0


@kernel_jit
def _open_depth(start, length, flow, section, conduit):  # type: ignore[no-untyped-def]
    """The same, where the surface is open at the start of ``length``."""
    critical, depth = start
    slope, roughness, height = conduit[1], conduit[3], section[4]
    lower, upper = normal_depths(flow, section, slope, roughness)
    rises = _friction(depth, flow, section, roughness) > slope
    if rises and depth > lower and upper == np.inf:
        return lower, 0.0  # at normal depth, but for rounding
    is_normal = depth < lower < height if rises else lower > critical
    limit = height if rises else critical
    limit = lower if is_normal else limit
    ends = (depth, limit, is_normal)
    depth, left = _curve(ends, length, flow, section, (slope, roughness))
    if left > 0 and rises and not is_normal:
        grade = _full_friction(flow, section, roughness) - slope
        return height + grade * left, 0.0
    return depth, 0.0 if is_normal else left


@kernel_jit
def _curve(ends, length, flow, section, grades):  # type: ignore[no-untyped-def]
    """Depth at a length up the curve, and what is left of it at its far end."""
    if length <= 0 or ends[0] == ends[1]:
        return ends[0], length
    step = _FOLDS_A_PANEL if ends[2] else 1 / _PANELS
    for panel in range(_MOST_PANELS if ends[2] else _PANELS):
        start = panel * step
        if ends[2] and abs(_depth_at(start, ends)[1]) <= _AT_NORMAL * ends[1]:
            return ends[1], length
        reach = _panel_length(start, start + step, ends, flow, section, grades)
        if reach >= length:
            break
        length -= reach
    else:
        return ends[1], length
    place = _place(start, step, length, ends, flow, section, grades)
    return _depth_at(place, ends)[0], 0.0


@kernel_jit
def _place(start, step, length, ends, flow, section, grades):  # type: ignore[no-untyped-def]
    """Place in a panel up to which the curve has a length (Illinois method)."""
    low, high, found, side = start, start + step, start, 0
    at_low = -length
    at_high = _panel_length(start, high, ends, flow, section, grades) - length
    for _ in range(_REFINEMENTS):
        found = high - at_high * (high - low) / (at_high - at_low)
        gap = _panel_length(start, found, ends, flow, section, grades) - length
        if abs(gap) <= _NEAR * length or high - low <= _NEAR * step:
            break
        if gap > 0:
            high, at_high = found, gap
            at_low = at_low / 2 if side > 0 else at_low
            side = 1
        else:
            low, at_low = found, gap
            at_high = at_high / 2 if side < 0 else at_high
            side = -1
    return found


@kernel_jit
def _panel_length(begin, end, ends, flow, section, grades):  # type: ignore[no-untyped-def]
    """Length of barrel between two places on the curve [m]."""
    total = 0.0
    for place, weight in _GAUSS:
        depth, change = _depth_at(begin + place * (end - begin), ends)
        area, width, perimeter = geometry(depth, section)
        velocity2 = (flow / area) ** 2
        froude2 = velocity2 * width / (GRAVITY_M_S2 * area)
        friction = grades[1] ** 2 * velocity2 * (perimeter / area) ** (4 / 3)
        total += weight * (1 - froude2) * change / (friction - grades[0])
    return total * (end - begin)


@kernel_jit
def _depth_at(place, ends):  # type: ignore[no-untyped-def]
    """Depth at a place on the curve, and its change with the place."""
    start, limit, is_normal = ends
    if is_normal:
        left = (limit - start) * np.exp(-place)
        return limit - left, left
    return start + (limit - start) * place, limit - start


@kernel_jit
def _friction(depth, flow, section, roughness):  # type: ignore[no-untyped-def]
    area, _, perimeter = geometry(depth, section)
    return (roughness * flow / area) ** 2 * (perimeter / area) ** (4 / 3)


@kernel_jit
def _full_friction(flow, section, roughness):  # type: ignore[no-untyped-def]
    area, perimeter = full_section(section)
    return (roughness * flow / area) ** 2 * (perimeter / area) ** (4 / 3)
