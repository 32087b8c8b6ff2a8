"""Where along its road a row of the thaw log lies, by the mile that it names."""

import re
from collections.abc import Hashable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.units import to_unit

Floats = NDArray[np.float64]

_AFTER = r" ?(?:about |marker |near )?"
_MILE = re.compile(
    rf"\b(mile|mi|km){_AFTER}(\d+(?:\.\d+)?)"
    # a road's own number may stand before: "Trunk 4 mile 1.2"
    rf"|\b(\d+(?:\.\d+)?) ?(mile|mi|km)\b(?!{_AFTER}\d)"
)
_METRES = {"mile": to_unit("1 mile", "m"), "mi": to_unit("1 mile", "m"), "km": 1000.0}


def written_distance(place: str) -> float:
    """Return the distance along the road that a place names [m], NaN if none.

    Examples
    --------
    >>> [round(written_distance(t)) for t in ("Wyke Rd mile 0.5", "2 km, at the dip")]
    [805, 2000]
    >>> round(written_distance("Trunk 4 mile about 2.0"))
    3219
    """
    found = _MILE.search(place.lower())
    if found is None:
        return float("nan")
    unit, number = found[1] or found[4], found[2] or found[3]
    return float(number) * _METRES[unit]


def along_road(xy_m: Floats) -> Floats:
    """Distance of each crossing of a road along the line through them.

    Parameters
    ----------
    xy_m : ndarray, shape (n, 2)
        Places of the crossings of one road, in any order [m].

    Returns
    -------
    along_m : ndarray, shape (n,)
        From one end of the road; straight from each crossing to the nearest one
        not yet passed, so a road that winds is longer [m].

    Examples
    --------
    >>> along_road(np.array([[0.0, 0.0], [300.0, 0.0], [100.0, 0.0]]))
    array([300.,   0., 200.])
    """
    away_m = np.hypot(*(xy_m[:, None, :] - xy_m[None, :, :]).transpose(2, 0, 1))
    here = int(away_m.sum(axis=1).argmax())
    along_m = np.zeros(len(xy_m))
    left = np.ones(len(xy_m), dtype=bool)
    left[here] = False
    passed_m = 0.0
    while left.any():
        steps_m = np.where(left, away_m[here], np.inf)
        here = int(steps_m.argmin())
        passed_m += steps_m[here]
        along_m[here] = passed_m
        left[here] = False
    return along_m


def nearest_along(
    along_m: Floats,
    anchors: pd.DataFrame,
    written_m: Floats,
    weight: Floats,
    coefficients: Mapping[str, float],
) -> tuple[NDArray[np.intp], Floats]:
    """Find the crossing of a road nearest to each written distance.

    Parameters
    ----------
    along_m : ndarray, shape (n,)
        Of the crossings of the road: see ``along_road``.
    anchors : DataFrame
        Rows of the log that name both a crossing and a distance: ``place`` of the
        crossing in ``along_m`` and ``written_m``.
    written_m : ndarray, shape (k,)
        Distances of the rows to be placed.
    weight : ndarray, shape (n,)
        How often crews go to such a crossing, 1 for the usual one.
    coefficients : mapping
        By name, of the history defaults.

    Returns
    -------
    place, confidence : ndarray, shape (k,)
        Number of the crossing and the chance that it is meant; 0 where the anchors
        do not tell where the road's miles begin and which way they run.
    """
    c = coefficients
    at_m = _written_along(along_m, anchors, c)
    if at_m is None:
        return np.zeros(len(written_m), dtype=np.intp), np.zeros(len(written_m))
    fitted_m, misfit_m = at_m
    spread_m = max(misfit_m, c["match_spread_m"])
    off = (written_m[:, None] - fitted_m[None, :]) / spread_m
    likely = weight * np.exp(-(off**2) / 2)
    best = likely.argmax(axis=1)
    none = c["match_none_weight"]
    confidence = likely.max(axis=1) / (likely.sum(axis=1) + none)
    return best, np.asarray(confidence, dtype=np.float64)


def _written_along(
    along_m: Floats, anchors: pd.DataFrame, coefficients: Mapping[str, float]
) -> tuple[Floats, float] | None:
    """Distance as the log counts it at each crossing, and its root mean square misfit.

    A straight line through the anchors: where the miles begin, which way they run.
    """
    c = coefficients
    known = anchors.groupby("place")["written_m"].median()
    x, y = along_m[known.index.to_numpy(int)], known.to_numpy(float)
    if len(known) < 2 or np.ptp(x) == 0:
        return None
    stretch = ((x - x.mean()) * (y - y.mean())).sum() / ((x - x.mean()) ** 2).sum()
    fitted_m = y.mean() + stretch * (along_m - x.mean())
    # two unknowns: as many anchors fit without a misfit, so one more is counted
    miss_m = fitted_m[known.index.to_numpy(int)] - y
    misfit_m = float(np.sqrt((miss_m**2).sum() / max(len(known) - 2, 1)))
    is_road = c["match_stretch_least"] <= abs(stretch) <= c["match_stretch_most"]
    return (fitted_m, misfit_m) if is_road and misfit_m <= c["match_misfit_m"] else None


def groups_of(keys: Mapping[str, Hashable]) -> dict[Hashable, list[str]]:
    """Turn name to key into key to its names, in their order."""
    groups: dict[Hashable, list[str]] = {}
    for name, key in keys.items():
        groups.setdefault(key, []).append(name)
    return groups
