"""Time of concentration by the method chosen, and where each method's limits end."""

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.concentration import (
    channel_flow_speed,
    concentration_faa,
    concentration_nrcs_lag,
    concentration_velocity,
    shallow_flow_speed,
    sheet_flow_time,
)
from culvertrisk.stages.design_storm import (
    DesignChoices,
    Rain,
    curve_numbers,
    rain_depths,
    runoff_fractions,
    storm_defaults,
)
from culvertrisk.stages.limits import Limits
from culvertrisk.units import DAY_S, quantity, to_unit

Floats = NDArray[np.float64]

_MINUTE_S = to_unit("1 min", "s")
_HECTARE_M2 = to_unit("1 ha", "m**2")
_KM2_M2 = to_unit("1 km**2", "m**2")
_PERCENT = 100.0  # exact


def path_slope(crossings: GeoDataFrame) -> Floats:
    """Slope of the flow path, held at its least value, shape (n,) [m/m]."""
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    return np.maximum(slope, storm_defaults()["least_slope"])


def slope_limits(crossings: GeoDataFrame) -> Limits:
    """Where the slope of the flow path is held at its least value."""
    least = storm_defaults()["least_slope"]
    slope = crossings["flow_path_slope_m_per_m"].to_numpy(float)
    return ((f"slope of the flow path is held at its least, {least:g}", slope < least),)


def time_limits(time_s: Floats) -> Limits:
    """Where a time of concentration is held at the shortest."""
    least_s = storm_defaults()["least_concentration"]
    minutes = least_s / _MINUTE_S
    sentence = f"time of concentration is held at the shortest, {minutes:g} min"
    return ((sentence, time_s <= least_s),)


def rational_limits(area_m2: Floats) -> Limits:
    """Catchments above those the rational method holds for."""
    most_m2 = storm_defaults()["rational_limit"]
    most = quantity(most_m2 / _HECTARE_M2, "ha")
    sentence = f"catchment is above the {most} limit of the rational method"
    return ((sentence, area_m2 > most_m2),)


def kirpich_limits(crossings: GeoDataFrame) -> Limits:
    """Catchments and slopes outside those Kirpich's equation comes from."""
    defaults, slope = storm_defaults(), path_slope(crossings)
    low, high = defaults["kirpich_slope_low"], defaults["kirpich_slope_high"]
    most_m2 = defaults["kirpich_limit"]
    most = quantity(most_m2 / _HECTARE_M2, "ha", None)
    return (
        (
            f"catchment is above the {most} limit of Kirpich's time of concentration",
            crossings["catchment_m2"].to_numpy(float) > most_m2,
        ),
        (
            f"slope is outside the {low * _PERCENT:g} to {high * _PERCENT:g} % of "
            "Kirpich's time of concentration",
            (slope < low) | (slope > high),
        ),
    )


def lag_area_limits(area_m2: Floats) -> Limits:
    """Catchments above those the NRCS lag holds for."""
    most_m2 = storm_defaults()["lag_area_limit"]
    most = quantity(most_m2 / _KM2_M2, "km²")
    sentence = f"catchment is above the {most} limit of the NRCS lag"
    return ((sentence, area_m2 > most_m2),)


def lag_number_limits(number: Floats) -> Limits:
    """Curve numbers outside those the NRCS lag holds for."""
    defaults = storm_defaults()
    low, high = defaults["lag_number_low"], defaults["lag_number_high"]
    return (
        (
            f"curve number is outside the {low:g} to {high:g} of the NRCS lag, which "
            "takes the nearer end",
            (number < low) | (number > high),
        ),
    )


def faa_limits(crossings: GeoDataFrame) -> Limits:
    """What the FAA equation is made for; its source prints no figure."""
    sentence = "FAA's time of concentration is for paths over land without a channel"
    return ((sentence, ~crossings["flow_path_m"].isna().to_numpy()),)


def velocity_limits(crossings: GeoDataFrame) -> Limits:
    """How the velocity method parts a path."""
    defaults = storm_defaults()
    sheet_m, shallow_m = defaults["sheet_length"], defaults["shallow_length"]
    path_m = crossings["flow_path_m"].to_numpy(float)
    return (
        (
            f"sheet flow is held at its limit of {quantity(sheet_m, 'm')}",
            path_m > sheet_m,
        ),
        (
            f"below {quantity(sheet_m + shallow_m, 'm')} the path counts as a ditch of "
            "assumed size and roughness",
            path_m > sheet_m + shallow_m,
        ),
    )


def concentration_limits(crossings: GeoDataFrame, choices: DesignChoices) -> Limits:
    """Limits of the method chosen."""
    if choices.concentration == "nrcs lag":
        number = curve_numbers(crossings, choices)
        area_m2 = crossings["catchment_m2"].to_numpy(float)
        return (*lag_area_limits(area_m2), *lag_number_limits(number))
    of_method = {
        "kirpich": kirpich_limits,
        "faa": faa_limits,
        "velocity": velocity_limits,
    }
    return of_method[choices.concentration](crossings)


def concentration_time(
    crossings: GeoDataFrame, rain: Rain, choices: DesignChoices
) -> Floats:
    """Time of concentration by the method chosen, not below the shortest [s]."""
    if choices.concentration == "kirpich":
        return crossings["concentration_s"].to_numpy(float)
    path_m, slope = crossings["flow_path_m"].to_numpy(float), path_slope(crossings)
    if choices.concentration == "faa":
        fraction = runoff_fractions(crossings, rain.storm, choices)
        time_s = concentration_faa(path_m, slope, fraction)
    elif choices.concentration == "nrcs lag":
        time_s = lag_time(crossings, curve_numbers(crossings, choices))
    else:
        day_m = rain_depths(rain, np.full(len(path_m), DAY_S))[:, 0]
        time_s = _velocity_time(path_m, slope, day_m)
    return np.maximum(time_s, storm_defaults()["least_concentration"])


def lag_time(crossings: GeoDataFrame, number: Floats) -> Floats:
    """Time of concentration by the NRCS lag, its numbers held within its limits [s].

    The slope is the land's; where it is not known, the path's stands for it.
    """
    defaults = storm_defaults()
    held = np.clip(number, defaults["lag_number_low"], defaults["lag_number_high"])
    slope = path_slope(crossings)
    if "catchment_slope_m_per_m" in crossings:
        land = crossings["catchment_slope_m_per_m"].to_numpy(float)
        known = np.maximum(land, defaults["least_slope"])
        slope = np.where(np.isnan(land), slope, known)
    path_m = crossings["flow_path_m"].to_numpy(float)
    return concentration_nrcs_lag(path_m, slope, held)


def _velocity_time(path_m: Floats, slope: Floats, day_m: Floats) -> Floats:
    """Sheet flow, then shallow flow, then a ditch, one after the other [s]."""
    defaults = storm_defaults()
    sheet_m = np.minimum(path_m, defaults["sheet_length"])
    shallow_m = np.minimum(path_m - sheet_m, defaults["shallow_length"])
    sheet_s = sheet_flow_time(sheet_m, slope, defaults["sheet_roughness"], day_m)
    speeds_m_s = (
        sheet_m / sheet_s,
        shallow_flow_speed(slope, is_paved=0),
        channel_flow_speed(
            defaults["ditch_radius"], slope, defaults["ditch_roughness"]
        ),
    )
    lengths_m = sheet_m, shallow_m, path_m - sheet_m - shallow_m
    return concentration_velocity(
        np.stack(lengths_m, axis=1), np.stack(speeds_m_s, axis=1)
    )
