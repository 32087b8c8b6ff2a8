"""Words on the design peaks: each method's flow, its limits, and what was not given."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.design_peaks import MethodPeaks, is_within
from culvertrisk.stages.design_storm import PEAK_YEARS
from culvertrisk.stages.limits import Limits, Words, told_limits
from culvertrisk.units import quantity

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_DIGITS = 3  # of a flow in words


@dataclass(frozen=True)
class Standing:
    """Which method's peaks stand at each crossing.

    ``methods`` in the order of preference; ``design_m3s`` is the design flow of each,
    shape (n,); ``word`` names the method that stands, blank where none has a peak.
    """

    methods: Mapping[str, MethodPeaks]
    design_m3s: Mapping[str, Floats]
    word: Words


def method_words(standing: Standing) -> Words:
    """Tell the design flow of each method within its limits, and which is used.

    Parameters
    ----------
    standing : Standing
        The methods and the one that stands.

    Returns
    -------
    words : ndarray of str, shape (n,)
        Such as "rational 0.301 m³/s (used), curve number 0.270 m³/s"; a method used
        beyond its limits is told as such.
    """
    told: list[list[str]] = [[] for _ in standing.word]
    for name, found in standing.methods.items():
        flow_m3s, error = standing.design_m3s[name], found.error_fraction
        stands, within = standing.word == name, is_within(found)
        for row in np.flatnonzero((stands | within) & np.isfinite(flow_m3s)):
            said = [*(["used"] if stands[row] else [])]
            said += [] if within[row] else ["beyond its limits"]
            if not np.isnan(error):
                parts = (1 - min(error, 1), 1 + error)
                low, high = (_flow_words(flow_m3s[row] * part) for part in parts)
                said.append(f"{low} to {high} by its standard error")
            note = f" ({', '.join(said)})" if said else ""
            told[row].append(f"{name} {_flow_words(flow_m3s[row])}{note}")
    return np.array([", ".join(words) for words in told], dtype=object)


def _flow_words(flow_m3s: float) -> str:
    decimals = _DIGITS - 1
    if flow_m3s > 0:
        decimals = max(_DIGITS - 1 - math.floor(math.log10(flow_m3s)), 0)
    return quantity(flow_m3s, "m³/s", decimals)


def peak_notes(
    crossings: GeoDataFrame,
    standing: Standing,
    peaks_m3s: Floats,
    years: Floats,
    missing: list[str],
) -> Words:
    """Tell what limits the peaks, and which methods do not apply and why.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the notes on the catchment, if there are any.
    standing : Standing
        The methods and the one that stands.
    peaks_m3s : ndarray, shape (n, k)
        The peaks that stand, for ``PEAK_YEARS``.
    years : ndarray, shape (n,)
        Return period of the design storm.
    missing : list of str
        What the town has not given.

    Returns
    -------
    notes : ndarray of str, shape (n,)
        Sentences joined by semicolons.
    """
    names = ["catchment_m2", "flow_path_m", "concentration_s"]
    is_none, has_hole = standing.word == "", np.isnan(peaks_m3s).any(axis=1)
    is_unknown = is_none & crossings[names].isna().any(axis=1).to_numpy()
    is_beyond = (years < PEAK_YEARS[0]) | (years > PEAK_YEARS[-1])
    lines = [
        (sentence, is_true & ~is_unknown)
        for name, found in standing.methods.items()
        for sentence, is_true in _of_method(name, found, standing)
    ]
    if missing:
        lines.append((f"no {' and no '.join(missing)} given to compare", ~is_none))
    lines += [
        ("no peak: catchment or its path unknown", is_unknown),
        ("rain is not known for every return period", has_hole & ~is_none),
        (
            "design storm is outside the 2 to 100 years of the peaks: their end line "
            "is followed",
            is_beyond & ~is_none,
        ),
    ]
    return told_limits(lines, crossings.get("catchment_note", [""] * len(crossings)))


def _of_method(name: str, found: MethodPeaks, standing: Standing) -> Limits:
    """Limits of a method where it stands or is compared; elsewhere, why it is not."""
    stands, within = standing.word == name, is_within(found)
    applies = within & np.isfinite(standing.design_m3s[name])
    beyond = f"no design peak is within its limits here: {name} is used beyond its own"
    return (
        (beyond, stands & ~within),
        *((sentence, is_true & stands) for sentence, is_true in found.refusals),
        *((told, is_true & (stands | applies)) for told, is_true in found.limits),
        *(
            (f"{sentence}, so the {name} design peak is left out", is_true & ~stands)
            for sentence, is_true in found.refusals
        ),
    )
