"""Design peaks from the yearly highest flows of a gauged stream nearby."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.frequency import gumbel_factor, log_pearson_factor
from culvertrisk.settings import Gauge
from culvertrisk.stages.design_peaks import MethodPeaks
from culvertrisk.stages.design_storm import PEAK_YEARS, DesignChoices, storm_defaults

Floats = NDArray[np.float64]


def gauged_peaks(crossings: GeoDataFrame, choices: DesignChoices) -> MethodPeaks | None:
    """Peaks of the gauge by its frequency curve, moved by area; None without one.

    Notes
    -----
    Log-Pearson type III with the station's own skew, or Gumbel, both by moments
    (usgs1982): no regional skew, no outliers set apart. Moved to the crossing by
    area to a power, within half and one and a half times the gauge's.
    """
    gauge = choices.gauge
    if gauge is None:
        return None
    defaults = storm_defaults()
    ratio = crossings["catchment_m2"].to_numpy(float) / gauge.catchment_m2
    low, high = defaults["gauge_ratio_low"], defaults["gauge_ratio_high"]
    is_outside = (ratio < low) | (ratio > high)
    at_gauge_m3s = choices.climate_factor * gauge_curve(gauge)
    count = len(gauge.peaks_m3s)
    return MethodPeaks(
        flow_m3s=np.power(ratio, gauge.area_exponent)[:, None] * at_gauge_m3s,
        refusals=(
            (
                f"catchment is outside {low:g} to {high:g} times that of the gauge",
                is_outside,
            ),
        ),
        limits=(
            (
                f"gauge has {count} years: peaks above {count} years are stretched",
                np.full(len(ratio), count < PEAK_YEARS[-1]),
            ),
        ),
    )


def gauge_curve(gauge: Gauge) -> Floats:
    """Peaks at a gauge for ``PEAK_YEARS``, shape (k,) [m3/s]."""
    from scipy.stats import skew  # slow to load; few towns have a gauge

    peaks_m3s = np.asarray(gauge.peaks_m3s, float)
    if gauge.distribution == "Gumbel":
        return peaks_m3s.mean() + peaks_m3s.std(ddof=1) * gumbel_factor(PEAK_YEARS)
    logs = np.log10(peaks_m3s)
    # flows all alike have no skew to tell
    lean = float(skew(logs, bias=False)) if logs.std() > 0 else 0.0
    factor = log_pearson_factor(lean, PEAK_YEARS)
    return np.asarray(10 ** (logs.mean() + logs.std(ddof=1) * factor))
