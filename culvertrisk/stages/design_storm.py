"""What the town chooses for its design storms: rain, ground, and their numbers."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cache

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.curve_number import wet_curve_number
from culvertrisk.formulas.frequency import partial_return_years
from culvertrisk.formulas.rainfall import rain_depth, rain_duration_ratio, storm_rain
from culvertrisk.settings import Design, Gauge, Storm
from culvertrisk.stages.known_column import known_column
from culvertrisk.tables import table
from culvertrisk.units import HOUR_S, to_unit

Floats = NDArray[np.float64]

PEAK_YEARS = (2.0, 10.0, 25.0, 50.0, 100.0)
SOIL_GROUPS = ("A", "B", "C", "D")
_UNITS = {"h": "s", "min": "s", "ha": "m**2", "mi2": "m**2", "ft": "m", "m": "m"}
_PINT = {"mi2": "mi**2"}


@dataclass(frozen=True)
class RegionalRegression:
    """Regression equations of a region, as their report prints them.

    ``coefficients``, ``exponents`` and ``powers_of_ten`` have one entry a return
    period; ``units``, ``domain`` and ``constants`` one a predictor. ``area`` and
    ``slope`` are taken from the crossing, other predictors from ``constants``.
    """

    coefficients: Mapping[float, float]
    exponents: Mapping[float, Mapping[str, float]]
    powers_of_ten: Mapping[float, Mapping[str, float]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=lambda: {"area": "mi**2"})
    flow_unit: str = "ft**3/s"
    domain: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    constants: Mapping[str, float] = field(default_factory=dict)
    standard_error_fraction: float = np.nan


@dataclass(frozen=True)
class DesignChoices:
    """What the town chooses for its design storms."""

    rain_type: str = "II"
    soil_group: str = "C"
    covers: Mapping[str, float] = field(default_factory=dict)
    curve_number: float = np.nan
    pond_fraction: float = 0.0
    climate_factor: float = 1.0
    ground: str = "thawed"
    concentration: str = "kirpich"
    regression: RegionalRegression | None = None
    gauge: Gauge | None = None


@dataclass(frozen=True)
class Rain:
    """Rain of the town's storms; without ``grid`` only that of one hour is known."""

    storm: Storm
    climate_factor: float
    grid: pd.DataFrame | None = None
    is_partial: bool = False


def design_choices(design: Design) -> DesignChoices:
    """Return the choices of the town file; blanks keep their defaults."""
    names = {item.name for item in fields(DesignChoices)} - {"regression", "gauge"}
    given = design.model_dump(include=names, exclude_none=True)
    if design.regression is not None:
        told = design.regression.model_dump(exclude_none=True)
        given["regression"] = RegionalRegression(**told)
    return DesignChoices(**given, gauge=design.gauge)


@cache
def storm_defaults() -> dict[str, float]:
    """Return the defaults of design storms by name, in SI units."""
    rows = table("storm_defaults")
    return {
        str(name): to_unit(f"{value} {_PINT.get(unit, unit)}", _UNITS[unit])
        if unit in _UNITS
        else float(value)
        for name, value, unit in zip(
            rows["name"], rows["value"], rows["unit"], strict=True
        )
    }


def rain_of(
    rainfall: pd.DataFrame | None, storm: Storm, choices: DesignChoices
) -> Rain:
    """Take the rain from the town's table, or from its one-hour rain without one."""
    if rainfall is None:
        return Rain(storm, choices.climate_factor)
    grid = rainfall.pivot(index="duration_s", columns="return_years", values="rain_m")
    is_partial = bool((rainfall["series"] == "partial").any())
    return Rain(storm, choices.climate_factor, grid, is_partial)


def rain_depths(rain: Rain, duration_s: Floats) -> Floats:
    """Rain of each duration at ``PEAK_YEARS``, shape (n, k) [m]."""
    years = np.asarray(PEAK_YEARS)
    if rain.grid is None:
        hour_m = storm_rain(years, rain.storm.return_years, rain.storm.hour_rain_m)
        share = rain_duration_ratio(duration_s) / rain_duration_ratio(HOUR_S)
        return rain.climate_factor * share[:, None] * hour_m
    asked = partial_return_years(years) if rain.is_partial else years
    columns = [
        rain_depth(
            duration_s, year, rain.grid.index, rain.grid.columns, rain.grid.to_numpy()
        )
        for year in asked
    ]
    return rain.climate_factor * np.stack(columns, axis=1)


def curve_number_of(choices: DesignChoices) -> float:
    """Curve number of the town as given or of its covers, on usual ground."""
    if not np.isnan(choices.curve_number) or not choices.covers:
        return choices.curve_number
    return _mean(cover_numbers()[choices.soil_group], choices.covers)


def runoff_fraction_of(choices: DesignChoices, storm: Storm) -> float:
    """Rational C of the town's covers or its storm settings, on usual ground."""
    if not choices.covers:
        return storm.runoff_fraction
    return _mean(cover_fractions(choices.soil_group), choices.covers)


@cache
def cover_numbers() -> pd.DataFrame:
    """Curve numbers, one row a cover and one column a soil group."""
    rows = table("curve_numbers").set_index("cover")
    return (
        rows[[group.lower() for group in SOIL_GROUPS]]
        .astype(float)
        .rename(columns=str.upper)
    )


@cache
def cover_fractions(soil_group: str) -> "pd.Series[float]":
    """Rational C of each cover: soil group A takes the low end of its range, D the
    high end.
    """
    rows = table("land_covers").set_index("cover")
    low, high = (
        rows[f"runoff_fraction_{end}"].astype(float) for end in ("low", "high")
    )
    place = SOIL_GROUPS.index(soil_group) / (len(SOIL_GROUPS) - 1)
    return low + place * (high - low)


def curve_numbers(crossings: GeoDataFrame, choices: DesignChoices) -> Floats:
    """Curve number of each catchment on the ground chosen, shape (n,)."""
    usual = known_column(crossings, "curve_number", curve_number_of(choices))
    if choices.ground == "concrete frost":
        return np.full(len(usual), storm_defaults()["concrete_frost_number"])
    return wet_curve_number(usual) if choices.ground == "frozen" else usual


def runoff_fractions(
    crossings: GeoDataFrame, storm: Storm, choices: DesignChoices
) -> Floats:
    """Rational C of each catchment on the ground chosen, shape (n,)."""
    usual = known_column(
        crossings, "runoff_fraction", runoff_fraction_of(choices, storm)
    )
    if choices.ground == "concrete frost":
        return np.full(len(usual), storm_defaults()["concrete_frost_fraction"])
    is_frozen = choices.ground == "frozen"
    return np.maximum(usual, storm.frozen_runoff_fraction) if is_frozen else usual


def _mean(values: "pd.Series[float]", covers: Mapping[str, float]) -> float:
    shares = pd.Series(covers, dtype=float)
    return float(np.average(values.loc[shares.index], weights=shares))
