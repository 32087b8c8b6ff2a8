"""Snow and thaw water on higher and lower ground than the weather's own."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.formulas.cold import freezing_part
from culvertrisk.formulas.ice import melt_depth
from culvertrisk.formulas.snowmelt import melt_degree_day, snow_water
from culvertrisk.formulas.snowpack import released_water
from culvertrisk.stages.weather_gaps import bridged, fallen_water

Floats = NDArray[np.float64]

OFFSETS_M = np.linspace(-1000, 1000, 21)  # bands: 100 m from one to the next
HOME = len(OFFSETS_M) // 2  # the band of the weather's own elevation


@dataclass(frozen=True)
class ElevationPlace:
    """Between which two bands n crossings lie, and how far towards the upper one."""

    below: NDArray[np.intp]
    share: Floats

    @classmethod
    def of(cls, offset_m: Floats, elevation_offset_m: Floats) -> Self:
        """Place crossings; unknown is the weather's own, beyond the bands the last."""
        height = np.nan_to_num(elevation_offset_m).clip(offset_m[0], offset_m[-1])
        below = np.searchsorted(offset_m, height, side="right") - 1
        below = below.clip(0, len(offset_m) - 2)
        step_m = offset_m[below + 1] - offset_m[below]
        return cls(below, (height - offset_m[below]) / step_m)

    def of_day(self, by_band: Floats) -> Floats:
        """Take a day's values by band, shape (b,), to the crossings, shape (n,)."""
        if by_band.min() == by_band.max():  # no snow, or the same everywhere
            return np.full(1, by_band[0])
        rise = np.diff(by_band)[self.below]
        return np.asarray(by_band[self.below] + self.share * rise)


def snow_depth(
    days: pd.DataFrame, air_mean_c: Floats, coefficients: Mapping[str, Floats]
) -> Floats:
    """Depth of snow on level ground by day and elevation.

    Parameters
    ----------
    days : DataFrame
        Of ``winter_weather``.
    air_mean_c : ndarray, shape (days,)
        Mean of each day at the weather's own elevation [°C].
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    snow_depth_m : ndarray, shape (days, b)
        By ``OFFSETS_M``, 0 or more [m].

    Notes
    -----
    Where snowfall is known a degree-day pack is kept for each band: the air by the
    lapse rate, snow for rain on the colder side of ``snow_air_c`` and rain for snow on
    the warmer. A recorded depth stands at its own elevation, and what the packs differ
    from the one there is added to it: their ratio would have no meaning once either is
    gone. Between readings up to ``snow_gap_days`` apart it lies on a line; on other
    days the pack stands in, without snowfall ``assumed_snow_depth_m`` for all. That
    more falls on higher ground is left out: no source for so little relief.
    """
    c, fallen = coefficients, days["snowfall_water_m"]
    pack_m = np.zeros((len(days), len(OFFSETS_M)))
    if fallen.notna().any():
        air_c = _air_by_band(air_mean_c, c)
        snow_m, _ = _fallen(days, air_c, c)
        melt_m = melt_degree_day(air_c, c["snow_melt_coefficient"])
        pack_m = snow_water(snow_m, melt_m) / c["snow_density_fraction"]
    recorded = bridged(days["snow_depth_m"], c["snow_gap_days"].item())
    at_home = recorded.to_numpy(float)[:, None]
    more_m = pack_m - pack_m[:, [HOME]]
    other_m = pack_m if fallen.notna().any() else c["assumed_snow_depth_m"]
    return np.where(np.isnan(at_home), other_m, np.maximum(at_home + more_m, 0))


def thaw_of_snow(
    days: pd.DataFrame,
    air_mean_c: Floats,
    snow_depth_m: Floats,
    coefficients: Mapping[str, Floats],
) -> Floats:
    """Water that leaves the snow that lies, together with the rain.

    Parameters
    ----------
    days, air_mean_c, coefficients
        As for ``snow_depth``.
    snow_depth_m : ndarray, shape (days, b)
        Of ``snow_depth`` [m].

    Returns
    -------
    thaw_water_m : ndarray, shape (days, b)
        Depth of water on level ground [m].

    Notes
    -----
    Melt goes by the mean of the day, as its coefficient was measured: noon above 0 °C
    on a day that is cold on the whole wets the top of a pack, which holds it.
    """
    c, air_c = coefficients, _air_by_band(air_mean_c, coefficients)
    before_m = np.concatenate([snow_depth_m[:1], snow_depth_m[:-1]])
    pack_m = before_m * c["snow_density_fraction"]
    could_m = melt_degree_day(air_c, c["snow_melt_coefficient"])
    melt_m = np.minimum(could_m, pack_m)
    _, rain_m = _fallen(days, air_c, c)
    held = float(c["held_water_fraction"].item())
    return released_water(air_c, melt_m + rain_m, pack_m, held)


def bank_melt(
    air_mean_c: Floats,
    half_range_c: Floats,
    snow_depth_m: Floats,
    coefficients: Mapping[str, Floats],
) -> Floats:
    """Melt of a bank of ploughed snow that lasts while level snow lies beside it.

    Parameters
    ----------
    air_mean_c, half_range_c : ndarray, shape (days,)
        Mean of each day at the weather's own elevation and half its range [°C].
    snow_depth_m : ndarray, shape (days, b)
        Of ``snow_depth`` [m].
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    bank_melt_m : ndarray, shape (days, b)
        Depth of water [m]; without sun, so that shade does not bear on it.

    Notes
    -----
    By the hours above 0 °C, the day taken as a sine: what they melt runs into the bank
    and freezes there at night.
    """
    air_c = _air_by_band(air_mean_c, coefficients)
    thaw_cday = air_c + freezing_part(air_c, half_range_c[:, None])
    melt_m = melt_depth(thaw_cday, coefficients["snow_melt_coefficient"])
    return np.where(snow_depth_m > 0, melt_m, 0)


def _air_by_band(air_mean_c: Floats, coefficients: Mapping[str, Floats]) -> Floats:
    return air_mean_c[:, None] - coefficients["lapse_c_per_m"] * OFFSETS_M


def _fallen(
    days: pd.DataFrame, air_c: Floats, coefficients: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Snow and rain by band: as at home, moved where a band lies across the split."""
    at_home = fallen_water(days, air_c[:, HOME], coefficients)
    snow_m, rain_m = (water_m[:, None] for water_m in at_home)
    is_snow = air_c <= coefficients["snow_air_c"]
    turned = is_snow != is_snow[:, [HOME]]
    water_m = snow_m + rain_m
    as_snow_m = np.where(turned, water_m * is_snow, snow_m)
    return as_snow_m, water_m - as_snow_m
