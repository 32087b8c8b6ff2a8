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
from culvertrisk.formulas.runoff import flow_rational, flow_regression
from culvertrisk.stages.concentrations import (
    concentration_limits,
    concentration_time,
    lag_limits,
    lag_time,
    rational_limits,
    slope_limits,
    time_limits,
)
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    Rain,
    RegionalRegression,
    curve_numbers,
    rain_depths,
    runoff_fractions,
    storm_defaults,
)
from culvertrisk.stages.limits import Limits
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, to_unit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_PERCENT = 100.0  # exact
_INITIAL_LOSS = 0.2  # of the retention: tr55, eq. 2-2


@dataclass(frozen=True)
class MethodPeaks:
    """Peaks of one method, shape (n, k) for ``PEAK_YEARS``, and its limits.

    ``is_within`` tells where the method's published limits hold. ``limits`` are
    sentences for the reader, each with the crossings it is true of.
    """

    flow_m3s: Floats
    is_within: Bools
    limits: Limits = ()
    error_fraction: float = np.nan


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
        is_within=area_m2 <= storm_defaults()["rational_limit"],
        limits=(
            *rational_limits(area_m2),
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
    area_m2 = _area(crossings)
    day_m = rain_depths(rain, np.full(len(area_m2), DAY_S))
    time_s = lag_time(crossings, number)
    loss_ratio = _INITIAL_LOSS * retention(number)[:, None] / day_m
    pond_percent = choices.pond_fraction * _PERCENT
    flow_m3s = flow_graphical_peak(
        area_m2[:, None],
        runoff_depth(day_m, number[:, None]),
        _unit_peak(time_s, loss_ratio, choices.rain_type),
        _pond_factor(pond_percent),
    )
    limits = (
        *lag_limits(crossings, number),
        *slope_limits(crossings),
        *_graphical_limits(time_s, number, loss_ratio),
        *_pond_limits(pond_percent, len(area_m2)),
    )
    defaults = storm_defaults()
    is_within = (
        (time_s <= defaults["graphical_high"])
        & (area_m2 <= defaults["lag_area_limit"])
        & (number > defaults["curve_number_low"])
    )
    return MethodPeaks(flow_m3s, is_within, limits)


def _pond_factor(pond_percent: float) -> float:
    rows = table("tr55_ponds")
    return float(np.interp(pond_percent, rows["pond_percent"], rows["pond_factor"]))


def _pond_limits(pond_percent: float, count: int) -> Limits:
    most = table("tr55_ponds")["pond_percent"].max()
    sentence = (
        f"ponds count with the {most:g} % at which the graphical method's factors end"
    )
    return ((sentence, np.full(count, pond_percent > most)),)


def _unit_peak(time_s: Floats, loss_ratio: Floats, rain_type: str) -> Floats:
    """Unit peak of a rain type, the time held within the method's ends, (n, k)."""
    defaults, rows = storm_defaults(), table("tr55_peak")
    rows = rows[rows["rain_type"] == rain_type]
    held_s = np.clip(time_s, defaults["graphical_low"], defaults["graphical_high"])
    coefficients = rows[["loss_ratio", "c0", "c1", "c2"]].to_numpy(float)
    return unit_peak(held_s[:, None], loss_ratio, coefficients)


def _graphical_limits(time_s: Floats, number: Floats, loss_ratio: Floats) -> Limits:
    defaults = storm_defaults()
    rows = table("tr55_peak")["loss_ratio"]
    is_clamped = (loss_ratio < rows.min()) | (loss_ratio > rows.max())
    return (
        (
            "time of concentration is held at the graphical method's least 0.1 h",
            time_s < defaults["graphical_low"],
        ),
        (
            "time of concentration is above the graphical method's 10 h",
            time_s > defaults["graphical_high"],
        ),
        (
            "initial loss over rain is held within the graphical method's 0.1 to 0.5",
            is_clamped.any(axis=1),
        ),
        (
            "curve number is not above the 40 of the graphical method",
            number <= defaults["curve_number_low"],
        ),
    )


def regression_peaks(
    crossings: GeoDataFrame, choices: DesignChoices
) -> MethodPeaks | None:
    """Peaks by the town's regional equations, held within their domain."""
    region = choices.regression
    if region is None:
        return None
    names = [*dict.fromkeys([*region.units, *region.constants])]
    values = np.stack([_predictor(crossings, region, name) for name in names], axis=1)
    low, high = _bounds(region, names)
    is_outside = (values < low) | (values > high)
    flows = [
        flow_regression(
            np.clip(values, low, high),
            region.coefficients.get(year, np.nan),
            [region.exponents.get(year, {}).get(name, 0.0) for name in names],
            [region.powers_of_ten.get(year, {}).get(name, 0.0) for name in names],
        )
        for year in PEAK_YEARS
    ]
    scale_m3s = to_unit(f"1 {region.flow_unit}", "m**3/s") * choices.climate_factor
    said = [_domain_sentence(region, name) for name in names]
    return MethodPeaks(
        flow_m3s=scale_m3s * np.stack(flows, axis=1),
        is_within=np.asarray(~is_outside.any(axis=1)),
        limits=(
            *zip(said, is_outside.T, strict=True),
            (_error_sentence(region), np.full(len(crossings), True)),
        ),
        error_fraction=region.standard_error_fraction,
    )


def _bounds(region: RegionalRegression, names: list[str]) -> tuple[Floats, Floats]:
    ends = [region.domain.get(name, (-np.inf, np.inf)) for name in names]
    low, high = np.array(ends, dtype=float).T
    return low, high


def _error_sentence(region: RegionalRegression) -> str:
    if np.isnan(region.standard_error_fraction):
        return "standard error of the regional equation not given: no band about it"
    percent = region.standard_error_fraction * _PERCENT
    return f"standard error of the regional equation is {percent:.0f} %"


def _domain_sentence(region: RegionalRegression, name: str) -> str:
    low, high = region.domain.get(name, (-np.inf, np.inf))
    ends = f"{low:g} to {high:g} {region.units.get(name, '')}".rstrip()
    return (
        f"{name} is outside the regional equation's {ends} and held at the nearer end"
    )


def _predictor(
    crossings: GeoDataFrame, region: RegionalRegression, name: str
) -> Floats:
    if name in region.constants:
        return np.full(len(crossings), region.constants[name], dtype=float)
    ours = {
        "area": (crossings["catchment_m2"], "m**2"),
        "slope": (crossings["flow_path_slope_m_per_m"], "m/m"),
    }
    values, unit = ours[name]
    return values.to_numpy(float) * to_unit(f"1 {unit}", region.units[name])


def _area(crossings: GeoDataFrame) -> Floats:
    return crossings["catchment_m2"].to_numpy(float)
