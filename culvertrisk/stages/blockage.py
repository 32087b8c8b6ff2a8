"""From ice in the barrel to the chance that it blocks, unknowns averaged out."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.closing import blocked_fraction, ice_blocked_chance
from culvertrisk.stages.freeze_inputs import Spread, unknown_points
from culvertrisk.stages.winter import FreezeInputs, WinterIce

Floats = NDArray[np.float64]

_SECTION = ("silt_fraction", "barrel_slope_m_per_m", "outlet_drop_m")


@dataclass(frozen=True)
class FreezeState:
    """The model's answer for n crossings, unknowns averaged out, shape (n,).

    Ice is weighted by the chance that its mechanism is at work. ``sag_chance`` and
    ``seep_chance`` are the parts of ``modelled_chance``; ``most_chance`` is the
    chance with the thickest ice of the winter so far.
    """

    afdd_cday: Floats
    standing_ice_m: Floats
    seep_ice_m: Floats
    blocked_fraction: Floats
    modelled_chance: Floats
    sag_chance: Floats
    seep_chance: Floats
    most_chance: Floats


@dataclass(frozen=True)
class SectionRows:
    """Crossings spread over their unknown sections; ``run`` is the daily run's row."""

    count: int
    owner: NDArray[np.intp]
    weight: Floats
    run: NDArray[np.intp]
    rise_m: Floats
    silt_fraction: Floats
    pond_chance: Floats
    seep_chance: Floats


def section_rows(
    inputs: FreezeInputs, daily: Spread, coefficients: Mapping[str, Floats]
) -> SectionRows:
    """Spread the rows of the daily run over unknown silt, slope and lip."""
    section = unknown_points(
        {name: getattr(inputs, name)[daily.owner] for name in _SECTION},
        {name: inputs.points[name][daily.owner] for name in _SECTION},
    )
    owner = daily.owner[section.owner]
    limit = coefficients["silt_limit_fraction"]
    return SectionRows(
        count=len(inputs.rise_m),
        owner=owner,
        weight=section.weight * daily.weight[section.owner],
        run=section.owner,
        rise_m=daily.values["rise_m"][section.owner],
        silt_fraction=np.minimum(section.values["silt_fraction"], limit),
        pond_chance=_pond_share(section, coefficients),
        seep_chance=inputs.seep_chance[owner],
    )


def averaged_state(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> FreezeState:
    """Turn ice into chances and average over everything unknown."""
    c, clear_m = coefficients, rows.rise_m * (1 - rows.silt_fraction)

    def chance(ice_m: Floats, spread: Floats) -> Floats:
        ratio, median = ice_m[rows.run] / clear_m, c["closing_median_ratio"]
        return ice_blocked_chance(ratio, median_ratio=median, spread=spread)

    def closed(ice_m: Floats) -> Floats:
        return blocked_fraction(ice_m[rows.run], rows.rise_m, rows.silt_fraction)

    by_water, by_seep = c["closing_spread"], c["seep_closing_spread"]
    standing = chance(ice.standing_ice_m, by_water)
    seeping = chance(ice.seep_ice_m, by_seep)
    most_standing = chance(ice.most_standing_ice_m, by_water)
    most_seeping = chance(ice.most_seep_ice_m, by_seep)
    standing_m = np.minimum(ice.standing_ice_m[rows.run], clear_m)
    seep_m = np.minimum(ice.seep_ice_m[rows.run], clear_m)
    shut = closed(ice.standing_ice_m), closed(ice.seep_ice_m)
    return FreezeState(
        afdd_cday=_mean(rows, ice.afdd_cday[rows.run]),
        standing_ice_m=_mean(rows, rows.pond_chance * standing_m),
        seep_ice_m=_mean(rows, rows.seep_chance * seep_m),
        blocked_fraction=_either(rows, *shut),
        modelled_chance=_either(rows, standing, seeping),
        sag_chance=_mean(rows, rows.pond_chance * standing),
        seep_chance=_mean(rows, rows.seep_chance * seeping),
        most_chance=_either(rows, most_standing, most_seeping),
    )


def _mean(rows: SectionRows, values: Floats) -> Floats:
    sums = np.bincount(rows.owner, weights=rows.weight * values, minlength=rows.count)
    return np.asarray(sums, dtype=np.float64)


def _either(rows: SectionRows, standing: Floats, seeping: Floats) -> Floats:
    """Chance of one or the other mechanism, taken as independent."""
    neither = (1 - rows.pond_chance * standing) * (1 - rows.seep_chance * seeping)
    return _mean(rows, 1 - neither)


def _pond_share(section: Spread, coefficients: Mapping[str, Floats]) -> Floats:
    """Chance that water stands in the barrel: by flatness, silt or a high lip."""
    c = coefficients
    steepness = section.values["barrel_slope_m_per_m"] - c["pond_slope_m_per_m"]
    drains = 1 / (1 + np.exp(-steepness / c["pond_slope_width_m_per_m"]))
    silt = c["pond_silt_share"] * section.values["silt_fraction"]
    drop_m = np.maximum(section.values["outlet_drop_m"], 0)
    lip = c["pond_lip_share"] * -np.expm1(-drop_m / c["pond_lip_m"])
    return 1 - drains * (1 - silt) * (1 - lip)
