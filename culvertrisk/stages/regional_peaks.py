"""Design peaks by the regional regression equations that the town gives."""

import math

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.runoff import flow_regression
from culvertrisk.stages.design_peaks import MethodPeaks
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    RegionalRegression,
)
from culvertrisk.units import quantity, to_unit

Floats = NDArray[np.float64]

_PERCENT = 100.0  # exact
_HELD = "held at the nearer end of the regional equation's domain"
_DIGITS = 4  # of an area in words


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
    scale_m3s = to_unit(f"1 {region.flow_unit}", "m**3/s") * choices.climate_factor
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
    said = [_domain_sentence(region, name) for name in names]
    return MethodPeaks(
        flow_m3s=scale_m3s * np.stack(flows, axis=1),
        refusals=tuple(zip(said, is_outside.T, strict=True)),
        limits=(
            (_HELD, np.asarray(is_outside.any(axis=1))),
            (_error_sentence(region), np.full(len(crossings), fill_value=True)),
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
    ends = region.domain.get(name, (-np.inf, np.inf))
    unit = region.units.get(name, "")
    if name == "area":  # in a unit that the page can turn into the reader's
        to_km2 = to_unit(f"1 {unit}", "km**2")
        low, high = (_area_words(end * to_km2) for end in ends)
    else:
        low, high = f"{ends[0]:g}", f"{ends[1]:g} {unit}".rstrip()
    return f"{name} is outside the regional equation's {low} to {high}"


def _area_words(area_km2: float) -> str:
    """An end of the domain, exact enough to be the same again in square miles."""
    if not 0 < area_km2 < np.inf:
        return f"{area_km2:g}"
    decimals = max(_DIGITS - 1 - math.floor(math.log10(area_km2)), 0)
    return quantity(round(area_km2, decimals), "km²", None)


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
