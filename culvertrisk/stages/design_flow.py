"""Design flow stage: peaks of 2 to 100 years, by the method whose limits hold."""

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.overtopping import peak_of_return
from culvertrisk.settings import Settings
from culvertrisk.stages.design_peaks import (
    MethodPeaks,
    curve_number_peaks,
    rational_peaks,
    regression_peaks,
)
from culvertrisk.stages.design_storm import PEAK_YEARS, DesignChoices, rain_of
from culvertrisk.stages.gauged_peaks import gauged_peaks
from culvertrisk.stages.limits import Words, told_limits

Floats = NDArray[np.float64]

_RARE = ("gauged stream",)  # not missed where there is none
PEAK_COLUMNS = tuple(f"peak_{years:.0f}_years_m3s" for years in PEAK_YEARS)


def add_design_flow(
    crossings: GeoDataFrame,
    settings: Settings,
    choices: DesignChoices,
    rainfall: pd.DataFrame | None = None,
) -> GeoDataFrame:
    """Add design peaks, the method each comes from, and how far methods differ.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of site, and ``concentration_s`` and ``road_class``.
    settings : Settings
        One-hour rain, runoff shares and the design storm of each road class.
    choices : DesignChoices
        Rain type, ground, covers and the like.
    rainfall : DataFrame, optional
        The table of ``read_rainfall``; without it the one-hour rain of the settings
        stands, and the curve number method has no 24-hour rain.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``design_flow``; ``design_flow_m3s`` is the peak of
        the road class's design storm. The band is NaN where only one method applies.

    Notes
    -----
    Rational method up to 80 ha; above, the gauged stream within its areas, else the
    regional equation within its domain, else the curve number method within its
    limits. Where no method's limits hold, the first one known stands, and
    ``peak_note`` says what it passes. The climate factor multiplies the rain, of gauge
    and regional equation the flow.
    """
    rain = rain_of(rainfall, settings.storm, choices)
    methods = {
        "rational": rational_peaks(crossings, rain, choices),
        "gauged stream": gauged_peaks(crossings, choices),
        "regional equation": regression_peaks(crossings, choices),
        "curve number": curve_number_peaks(crossings, rain, choices),
    }
    known = {name: found for name, found in methods.items() if found is not None}
    word = _chosen(known, len(crossings))
    peaks_m3s = np.full((len(crossings), len(PEAK_YEARS)), np.nan)
    for name, found in known.items():
        peaks_m3s = np.where((word == name)[:, None], found.flow_m3s, peaks_m3s)
    years = _design_years(crossings, settings)
    low_m3s, high_m3s = _band(known, years)
    ours = crossings.get("catchment_note", [""] * len(crossings))
    return crossings.assign(
        **dict(zip(PEAK_COLUMNS, peaks_m3s.T, strict=True)),
        design_flow_m3s=peak_of_return(years, PEAK_YEARS, peaks_m3s),
        design_flow_low_m3s=low_m3s,
        design_flow_high_m3s=high_m3s,
        peak_method=word,
        peak_note=told_limits(_lines(methods, word, peaks_m3s, years), ours),
    )


def _design_years(crossings: GeoDataFrame, settings: Settings) -> Floats:
    classes = (settings.road_class(word) for word in crossings["road_class"])
    return np.array([item.design_return_years for item in classes], dtype=float)


def _chosen(known: dict[str, MethodPeaks], count: int) -> Words:
    """Name of the first method within its limits, else of the first with a peak."""
    word = np.full(count, "", dtype=object)
    has_peak = {
        name: ~np.isnan(found.flow_m3s).all(axis=1) for name, found in known.items()
    }
    for within in (True, False):
        for name, found in known.items():
            is_free = (word == "") & has_peak[name]
            word[is_free & (found.is_within if within else True)] = name
    return word


def _band(known: dict[str, MethodPeaks], years: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest design flow of the methods within their limits."""
    lows: list[Floats] = []
    highs: list[Floats] = []
    for found in known.values():
        flow_m3s = peak_of_return(years, PEAK_YEARS, found.flow_m3s)
        flow_m3s = np.where(found.is_within, flow_m3s, np.nan)
        error = np.nan_to_num(found.error_fraction)
        lows.append(flow_m3s * (1 - min(error, 1.0)))
        highs.append(flow_m3s * (1 + error))
    low_m3s, high_m3s = np.fmin.reduce(lows), np.fmax.reduce(highs)
    is_band = high_m3s > low_m3s
    return np.where(is_band, low_m3s, np.nan), np.where(is_band, high_m3s, np.nan)


def _lines(
    methods: dict[str, MethodPeaks | None],
    word: Words,
    peaks_m3s: Floats,
    years: Floats,
) -> list[tuple[str, NDArray[np.bool_]]]:
    """Limits passed by the method that stands, and methods that could not be used."""
    lines = [
        line
        for name, found in methods.items()
        if found is not None
        for line in _of_method(name, found, word)
    ]
    is_none, has_hole = word == "", np.isnan(peaks_m3s).any(axis=1)
    is_beyond = (years < PEAK_YEARS[0]) | (years > PEAK_YEARS[-1])
    missing = [n for n, found in methods.items() if found is None and n not in _RARE]
    if missing:
        lines.append((f"no {' and no '.join(missing)} given to compare", ~is_none))
    return [
        *lines,
        ("no peak: catchment or its path unknown", is_none),
        ("rain is not known for every return period", has_hole & ~is_none),
        (
            "design storm is outside the 2 to 100 years of the peaks: their end line "
            "is followed",
            is_beyond & ~is_none,
        ),
    ]


def _of_method(
    name: str, found: MethodPeaks, word: Words
) -> list[tuple[str, NDArray[np.bool_]]]:
    """Limits of the method where it stands; elsewhere, why it does not."""
    has_peak = ~np.isnan(found.flow_m3s).all(axis=1)
    is_left = has_peak & ~found.is_within & (word != name) & (word != "")
    return [
        *((sentence, is_true & (word == name)) for sentence, is_true in found.limits),
        (f"{name} left out: outside its limits", is_left),
    ]
