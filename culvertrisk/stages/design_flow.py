"""Design flow stage: peaks of 2 to 100 years, by the method whose limits hold."""

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.overtopping import peak_of_return
from culvertrisk.settings import Settings
from culvertrisk.stages.design_notes import Standing, method_words, peak_notes
from culvertrisk.stages.design_peaks import (
    MethodPeaks,
    curve_number_peaks,
    is_within,
    rational_peaks,
)
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    Rain,
    curve_numbers,
    rain_of,
)
from culvertrisk.stages.gauged_peaks import gauged_peaks
from culvertrisk.stages.limits import Words
from culvertrisk.stages.regional_peaks import regression_peaks

Floats = NDArray[np.float64]

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
    limits. Where no method's limits hold, the first one known stands. ``peak_note``
    says what each method that is used or compared passes, and why another is left
    out. The climate factor multiplies the rain, of gauge
    and regional equation the flow.
    """
    years = _design_years(crossings, settings)
    rain = rain_of(rainfall, settings.storm, choices)
    standing = _standing(crossings, rain, choices, years)
    peaks_m3s = np.full((len(crossings), len(PEAK_YEARS)), np.nan)
    for name, found in standing.methods.items():
        is_used = (standing.word == name)[:, None]
        peaks_m3s = np.where(is_used, found.flow_m3s, peaks_m3s)
    low_m3s, high_m3s = _band(standing)
    missing = [
        told
        for name, told in _missing(crossings, choices).items()
        if name not in standing.methods
    ]
    return crossings.assign(
        **dict(zip(PEAK_COLUMNS, peaks_m3s.T, strict=True)),
        design_flow_m3s=peak_of_return(years, PEAK_YEARS, peaks_m3s),
        design_flow_low_m3s=low_m3s,
        design_flow_high_m3s=high_m3s,
        design_flow_methods=method_words(standing),
        peak_method=standing.word,
        peak_note=peak_notes(crossings, standing, peaks_m3s, years, missing),
    )


def _standing(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices, years: Floats
) -> Standing:
    """Peaks of every method that the town's data allow, and which one stands."""
    found = {
        "rational": rational_peaks(crossings, rain, choices),
        "gauged stream": gauged_peaks(crossings, choices),
        "regional equation": regression_peaks(crossings, choices),
        "curve number": curve_number_peaks(crossings, rain, choices),
    }
    known = {name: peaks for name, peaks in found.items() if peaks is not None}
    design_m3s = {
        name: peak_of_return(years, PEAK_YEARS, peaks.flow_m3s)
        for name, peaks in known.items()
    }
    return Standing(known, design_m3s, _chosen(known, len(crossings)))


def _missing(crossings: GeoDataFrame, choices: DesignChoices) -> dict[str, str]:
    """What each method that the town may not know of needs."""
    has_number = not np.isnan(curve_numbers(crossings, choices)).all()
    return {
        "regional equation": "regional equation",
        "curve number": "24-hour rain for the curve number"
        if has_number
        else "curve number",
    }


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
            word[is_free & (is_within(found) if within else True)] = name
    return word


def _band(standing: Standing) -> tuple[Floats, Floats]:
    """Lowest and highest design flow of the methods within their limits."""
    lows: list[Floats] = []
    highs: list[Floats] = []
    for name, found in standing.methods.items():
        flow_m3s = np.where(is_within(found), standing.design_m3s[name], np.nan)
        error = np.nan_to_num(found.error_fraction)
        lows.append(flow_m3s * (1 - min(error, 1.0)))
        highs.append(flow_m3s * (1 + error))
    low_m3s, high_m3s = np.fmin.reduce(lows), np.fmax.reduce(highs)
    is_band = high_m3s > low_m3s
    return np.where(is_band, low_m3s, np.nan), np.where(is_band, high_m3s, np.nan)
