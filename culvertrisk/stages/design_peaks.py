"""Design peaks by each method, and where each method's published limits end."""

from dataclasses import dataclass

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.concentration import (
    concentration_faa,
    concentration_nrcs_lag,
    concentration_velocity,
    shallow_flow_speed,
    sheet_flow_time,
)
from culvertrisk.formulas.curve_number import (
    flow_graphical_peak,
    retention,
    runoff_depth,
    unit_peak,
)
from culvertrisk.formulas.runoff import flow_rational, flow_regression
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    Rain,
    RegionalRegression,
    curve_number_of,
    rain_depths,
    runoff_fraction_of,
    storm_defaults,
)
from culvertrisk.tables import table
from culvertrisk.units import DAY_S, to_unit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Limits = tuple[tuple[str, Bools], ...]

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
    area_m2, fraction = _area(crossings), runoff_fraction_of(choices, rain.storm)
    time_s = _concentration(crossings, rain, choices, fraction)
    rows = table("frequency_factors")
    factors = np.interp(PEAK_YEARS, rows["return_years"], rows["frequency_factor"])
    intensity_m_s = rain_depths(rain, time_s) / time_s[:, None]
    is_long = time_s > storm_defaults()["short_rain_limit"]
    return MethodPeaks(
        flow_m3s=flow_rational(area_m2[:, None], intensity_m_s, fraction, factors),
        is_within=area_m2 <= storm_defaults()["rational_limit"],
        limits=(
            (
                "catchment is above the 80 ha limit of the rational method",
                area_m2 > storm_defaults()["rational_limit"],
            ),
            (
                "time of concentration is above the 2 h of the rule for rain durations",
                is_long & (rain.grid is None),
            ),
            (
                "24-hour rain of the velocity method is stretched from one hour",
                np.full(len(area_m2), choices.concentration == "velocity")
                & (rain.grid is None),
            ),
            *(_kirpich_limits(crossings) if choices.concentration == "kirpich" else ()),
        ),
    )


def _kirpich_limits(crossings: GeoDataFrame) -> Limits:
    defaults, slope = storm_defaults(), _slope(crossings)
    is_steep = slope > defaults["kirpich_slope_high"]
    is_flat = slope < defaults["kirpich_slope_low"]
    return (
        (
            "catchment is above the 45 ha of Kirpich's time of concentration",
            _area(crossings) > defaults["kirpich_limit"],
        ),
        (
            "slope is outside the 3 to 10 % of Kirpich's time of concentration",
            is_steep | is_flat,
        ),
    )


def curve_number_peaks(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices
) -> MethodPeaks | None:
    """Peaks by curve number and graphical peak; None without CN or 24-hour rain."""
    number, defaults = curve_number_of(choices), storm_defaults()
    if np.isnan(number) or rain.grid is None:
        return None
    area_m2 = _area(crossings)
    day_m = rain_depths(rain, np.full(len(area_m2), DAY_S))
    time_s = _lag_time(crossings, number)
    loss_ratio = _INITIAL_LOSS * retention(number) / day_m
    low_s, high_s = defaults["graphical_low"], defaults["graphical_high"]
    ponds = table("tr55_ponds")
    pond_percent = choices.pond_fraction * _PERCENT
    flow_m3s = flow_graphical_peak(
        area_m2[:, None],
        runoff_depth(day_m, number),
        unit_peak(
            np.clip(time_s, low_s, high_s)[:, None],
            loss_ratio,
            _graphical_rows(choices.rain_type),
        ),
        np.interp(pond_percent, ponds["pond_percent"], ponds["pond_factor"]),
    )
    is_within = (time_s <= high_s) & (area_m2 <= defaults["lag_area_limit"])
    limits = _lag_limits(area_m2, number) + _graphical_limits(
        time_s, number, loss_ratio
    )
    is_usual = number > defaults["curve_number_low"]
    return MethodPeaks(flow_m3s, is_within & is_usual, limits)


def _graphical_rows(rain_type: str) -> Floats:
    rows = table("tr55_peak")
    rows = rows[rows["rain_type"] == rain_type]
    return rows[["loss_ratio", "c0", "c1", "c2"]].to_numpy(float)


def _lag_time(crossings: GeoDataFrame, number: float) -> Floats:
    """Time of concentration by lag; the path's slope stands for the land's [s]."""
    defaults = storm_defaults()
    held = np.clip(number, defaults["lag_number_low"], defaults["lag_number_high"])
    path_m = crossings["flow_path_m"].to_numpy(float)
    return concentration_nrcs_lag(path_m, _slope(crossings), held)


def _lag_limits(area_m2: Floats, number: float) -> Limits:
    defaults = storm_defaults()
    low, high = defaults["lag_number_low"], defaults["lag_number_high"]
    return (
        (
            "catchment is above the 19 square miles of the NRCS lag",
            area_m2 > defaults["lag_area_limit"],
        ),
        (
            f"curve number {number:.0f} is outside the 50 to 95 of the NRCS lag, which "
            "takes the nearer end",
            np.full(len(area_m2), not low <= number <= high),
        ),
    )


def _graphical_limits(time_s: Floats, number: float, loss_ratio: Floats) -> Limits:
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
            f"curve number {number:.0f} is not above the 40 of the graphical method",
            np.full(len(time_s), number <= defaults["curve_number_low"]),
        ),
    )


def regression_peaks(
    crossings: GeoDataFrame, choices: DesignChoices
) -> MethodPeaks | None:
    """Peaks by the town's regional equations, held within their domain."""
    region = choices.regression
    if region is None:
        return None
    names = [*region.units, *(n for n in region.constants if n not in region.units)]
    values = np.stack([_predictor(crossings, region, name) for name in names], axis=1)
    bounds = [region.domain.get(name, (-np.inf, np.inf)) for name in names]
    low, high = np.array(bounds, dtype=float).T
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
    sentences = [_domain_sentence(region, name) for name in names]
    return MethodPeaks(
        flow_m3s=scale_m3s * np.stack(flows, axis=1),
        is_within=~is_outside.any(axis=1),
        limits=tuple(zip(sentences, is_outside.T, strict=True)),
        error_fraction=region.standard_error_fraction,
    )


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


def _slope(crossings: GeoDataFrame) -> Floats:
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    return np.maximum(slope, storm_defaults()["least_slope"])


def _concentration(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices, fraction: float
) -> Floats:
    """Time of concentration by the method chosen, not below 5 minutes [s]."""
    if choices.concentration == "kirpich":
        return crossings["concentration_s"].to_numpy(float)
    defaults = storm_defaults()
    path_m, slope = crossings["flow_path_m"].to_numpy(float), _slope(crossings)
    if choices.concentration == "faa":
        time_s = concentration_faa(path_m, slope, fraction)
    else:
        sheet_m = np.minimum(path_m, defaults["sheet_length"])
        day_m = rain_depths(rain, np.full(len(path_m), DAY_S))[:, 0]
        n = defaults["sheet_roughness"]
        sheet_m_s = sheet_m / sheet_flow_time(sheet_m, slope, n, day_m)
        shallow_m_s = shallow_flow_speed(slope, is_paved=0)
        time_s = concentration_velocity(
            np.stack([sheet_m, path_m - sheet_m], axis=1),
            np.stack([sheet_m_s, shallow_m_s], axis=1),
        )
    return np.maximum(time_s, defaults["least_concentration"])
