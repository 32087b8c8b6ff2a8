"""Design peaks by each method, and where each method's published limits end."""

from dataclasses import dataclass

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.curve_number import (
    flow_graphical_peak,
    retention,
    runoff_depth,
    unit_peak,
)
from culvertrisk.formulas.runoff import flow_rational
from culvertrisk.stages.concentrations import (
    concentration_limits,
    concentration_time,
    lag_area_limits,
    lag_number_limits,
    lag_time,
    rational_limits,
    slope_limits,
    time_limits,
)
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    Rain,
    curve_numbers,
    rain_depths,
    runoff_fractions,
    storm_defaults,
)
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.limits import Limits
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, HOUR_S, to_unit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_PERCENT = 100.0  # exact
_MINUTE_S = to_unit("1 min", "s")
_INITIAL_LOSS = 0.2  # of the retention: tr55, eq. 2-2


@dataclass(frozen=True)
class MethodPeaks:
    """Peaks of one method, shape (n, k) for ``PEAK_YEARS``, and its limits.

    Sentences for the reader, each with the crossings it is true of: where one of
    ``refusals`` is true the method does not apply; ``limits`` are what its numbers
    are held at or stretched to where it does.
    """

    flow_m3s: Floats
    refusals: Limits
    limits: Limits = ()
    error_fraction: float = np.nan


def is_within(found: MethodPeaks) -> Bools:
    """Where none of a method's refusals is true, shape (n,)."""
    refused = [is_true for _, is_true in found.refusals]
    return ~np.any(refused, axis=0)


def rational_peaks(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices
) -> MethodPeaks:
    """Peaks by the rational method with the frequency factor."""
    area_m2 = _area(crossings)
    fraction = runoff_fractions(crossings, rain.storm, choices)
    time_s = concentration_time(crossings, rain, choices)
    rows = table("frequency_factors")
    factors = np.interp(PEAK_YEARS, rows["return_years"], rows["frequency_factor"])
    intensity_m_s = rain_depths(rain, time_s) / time_s[:, None]
    return MethodPeaks(
        flow_m3s=flow_rational(
            area_m2[:, None], intensity_m_s, fraction[:, None], factors
        ),
        refusals=(*rational_limits(area_m2), *_rain_refusals(rain, choices, time_s)),
        limits=(
            (
                "runoff share times frequency factor is held at 1",
                fraction * factors.max() > 1,
            ),
            *_rain_limits(rain, choices, time_s),
            *concentration_limits(crossings, choices),
            *slope_limits(crossings),
            *time_limits(time_s),
        ),
    )


def _rain_refusals(rain: Rain, choices: DesignChoices, time_s: Floats) -> Limits:
    """Rain that the rational method asks for and the rain table does not hold."""
    day_s = np.full(len(time_s), DAY_S)
    is_velocity = choices.concentration == "velocity"
    of_day = _reach_limits(rain, day_s, "rain of the velocity method, 24 h,")
    reach = _reach_limits(rain, time_s, "time of concentration")
    return (*reach, *(of_day if is_velocity else ()))


def _reach_limits(rain: Rain, duration_s: Floats, what: str) -> Limits:
    """Durations that the rain table does not reach; it is not stretched."""
    if rain.grid is None:
        return ()
    ends_s = float(rain.grid.index.min()), float(rain.grid.index.max())
    low, high = (_duration_words(end_s) for end_s in ends_s)
    sentence = f"{what} is outside the {low} to {high} of the rain table"
    return ((sentence, (duration_s < ends_s[0]) | (duration_s > ends_s[1])),)


def _duration_words(duration_s: float) -> str:
    if duration_s < HOUR_S:
        return f"{duration_s / _MINUTE_S:g} min"
    return f"{duration_s / HOUR_S:g} h"


def _rain_limits(rain: Rain, choices: DesignChoices, time_s: Floats) -> Limits:
    """What the rule for rain durations, used without a rain table, is stretched to."""
    if rain.grid is not None:
        return ()
    is_velocity = np.full(len(time_s), choices.concentration == "velocity")
    return (
        (
            "time of concentration is above the 2 h of the rule for rain durations",
            time_s > storm_defaults()["short_rain_limit"],
        ),
        ("24-hour rain of the velocity method is stretched from one hour", is_velocity),
    )


def curve_number_peaks(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices
) -> MethodPeaks | None:
    """Peaks by curve number and graphical peak; None without CN or 24-hour rain."""
    number = curve_numbers(crossings, choices)
    if np.isnan(number).all() or rain.grid is None:
        return None
    area_m2, day_s = _area(crossings), np.full(len(crossings), DAY_S)
    day_m = rain_depths(rain, day_s)
    time_s = lag_time(crossings, number)
    loss_ratio = _INITIAL_LOSS * retention(number)[:, None] / day_m
    ponds = known_column(crossings, "swamp_fraction", choices.pond_fraction)
    return MethodPeaks(
        flow_m3s=flow_graphical_peak(
            area_m2[:, None],
            runoff_depth(day_m, number[:, None]),
            _unit_peak(time_s, loss_ratio, choices.rain_type),
            _pond_factor(ponds)[:, None],
        ),
        refusals=(
            *lag_area_limits(area_m2),
            *_graphical_refusals(time_s, number),
            *_reach_limits(rain, day_s, "rain of the curve number method, 24 h,"),
        ),
        limits=(
            *lag_number_limits(number),
            *slope_limits(crossings),
            *_graphical_limits(time_s, loss_ratio),
            *_pond_limits(ponds),
        ),
    )


def _pond_factor(ponds: Floats) -> Floats:
    """Factor of ponds and swamps by their share of the catchment, shape (n,)."""
    rows = table("tr55_ponds")
    return np.interp(ponds * _PERCENT, rows["pond_percent"], rows["pond_factor"])


def _pond_limits(ponds: Floats) -> Limits:
    most = table("tr55_ponds")["pond_percent"].max()
    sentence = (
        f"ponds count with the {most:g} % at which the graphical method's factors end"
    )
    return ((sentence, ponds * _PERCENT > most),)


def _unit_peak(time_s: Floats, loss_ratio: Floats, rain_type: str) -> Floats:
    """Unit peak of a rain type, the time held within the method's ends, (n, k)."""
    defaults, rows = storm_defaults(), table("tr55_peak")
    rows = rows[rows["rain_type"] == rain_type]
    held_s = np.clip(time_s, defaults["graphical_low"], defaults["graphical_high"])
    coefficients = rows[["loss_ratio", "c0", "c1", "c2"]].to_numpy(float)
    return unit_peak(held_s[:, None], loss_ratio, coefficients)


def _graphical_refusals(time_s: Floats, number: Floats) -> Limits:
    """Times and curve numbers for which the graphical method is not made."""
    defaults = storm_defaults()
    longest_s, low = defaults["graphical_high"], defaults["curve_number_low"]
    return (
        (
            f"time of concentration is above the graphical method's "
            f"{longest_s / HOUR_S:g} h",
            time_s > longest_s,
        ),
        (
            f"curve number is not above the {low:g} of the graphical method",
            number <= low,
        ),
        ("curve number of the catchment is not known", np.isnan(number)),
    )


def _graphical_limits(time_s: Floats, loss_ratio: Floats) -> Limits:
    """What is held within the ends of the graphical method's tables."""
    least_s = storm_defaults()["graphical_low"]
    rows = table("tr55_peak")["loss_ratio"]
    low, high = rows.min(), rows.max()
    is_clamped = (loss_ratio < low) | (loss_ratio > high)
    return (
        (
            f"time of concentration is held at the graphical method's least "
            f"{least_s / HOUR_S:g} h",
            time_s < least_s,
        ),
        (
            "initial loss over rain is held within the graphical method's "
            f"{low:g} to {high:g}",
            is_clamped.any(axis=1),
        ),
    )


def _area(crossings: GeoDataFrame) -> Floats:
    return crossings["catchment_m2"].to_numpy(float)
