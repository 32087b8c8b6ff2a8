"""From ice in the barrel to the chance that it blocks, unknowns averaged out."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.closing import blocked_fraction, ice_blocked_chance
from culvertrisk.formulas.fragility_trials import MEDIAN_FACTORS, SPREAD_FACTORS
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.stages.unknowns import Spread, unknown_points
from culvertrisk.stages.winter import FreezeInputs, WinterIce

Floats = NDArray[np.float64]

# the rest is fed by what is never measured
ON_STANDING_WATER = ("sag", "tailwater", "refreeze")
FRAGILITY = (
    *("closing_median_ratio", "closing_spread", "seep_closing_spread"),
    "at_work_level",
)
_SECTION = ("silt_fraction", "barrel_slope_m_per_m", "outlet_drop_m")


@dataclass(frozen=True)
class FreezeState:
    """The model's answer for n crossings, unknowns averaged out, shape (n,).

    By mechanism, ``ice_m`` is the ice weighted by the chance that it is at work and
    ``chance`` the chance that it blocks, alone; together they give
    ``modelled_chance``.
    """

    afdd_cday: Floats
    frost_depth_m: Floats
    ground_c: Floats
    blocked_fraction: Floats
    modelled_chance: Floats
    ice_m: Mapping[str, Floats]
    chance: Mapping[str, Floats]


@dataclass(frozen=True)
class SectionRows:
    """Crossings spread over their unknown sections; ``run`` is the daily run's row.

    ``at_work`` is the chance, by mechanism, that what it needs is there.
    """

    count: int
    owner: NDArray[np.intp]
    weight: Floats
    run: NDArray[np.intp]
    rise_m: Floats
    silt_fraction: Floats
    at_work: Mapping[str, Floats]


def section_rows(
    inputs: FreezeInputs,
    daily: Spread,
    wind_alignment: Floats,
    coefficients: Mapping[str, Floats],
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
        at_work=_at_work(inputs, section, owner, wind_alignment, coefficients),
    )


def averaged_state(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> FreezeState:
    """Turn ice into chances and average over everything unknown.

    Mechanisms are taken as independent, so that the expected chance to be at work is
    all that matters of an unknown seep, plug or wind. ``at_work_level`` says how many
    more or fewer are at work than the chances of the defaults table give.
    """
    clear_m = rows.rise_m * (1 - rows.silt_fraction)
    shown_m, chance, level = {}, {}, coefficients["at_work_level"]
    open_now, clear = np.ones((2, len(clear_m)))
    for name in MECHANISMS:
        at_work, ice_m = rows.at_work[name], ice.ice_m[name][rows.run]
        blocks = at_work * _chance(name, ice_m / clear_m, coefficients)
        closed = blocked_fraction(ice_m, rows.rise_m, rows.silt_fraction)
        seen = _levelled(at_work, level)
        shown_m[name] = _mean(rows, seen * np.minimum(ice_m, clear_m))
        chance[name] = _levelled(_mean(rows, blocks), level)
        open_now = open_now * (1 - blocks)
        clear = clear * (1 - at_work * closed)
    return FreezeState(
        afdd_cday=_mean(rows, ice.afdd_cday[rows.run]),
        frost_depth_m=_mean(rows, ice.frost_depth_m[rows.run]),
        ground_c=_mean(rows, ice.ground_c[rows.run]),
        blocked_fraction=_levelled(_mean(rows, 1 - clear), level),
        modelled_chance=_levelled(_mean(rows, 1 - open_now), level),
        ice_m=shown_m,
        chance=chance,
    )


def trial_chances(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> Floats:
    """Chance with the thickest ice so far, for each trial fragility.

    Shape (5, 5, n), by ``MEDIAN_FACTORS`` and ``SPREAD_FACTORS``.
    """
    clear_m = rows.rise_m * (1 - rows.silt_fraction)
    most = {k: ice_m[rows.run] / clear_m for k, ice_m in ice.most_ice_m.items()}

    def of_trial(median_factor: float, spread_factor: float) -> Floats:
        c = with_factors(coefficients, median_factor, spread_factor)
        never = np.ones(len(clear_m))
        for name in MECHANISMS:
            never *= 1 - rows.at_work[name] * _chance(name, most[name], c)
        return _levelled(_mean(rows, 1 - never), c["at_work_level"])

    by_median = [[of_trial(m, s) for s in SPREAD_FACTORS] for m in MEDIAN_FACTORS]
    return np.array(by_median)


def with_factors(
    coefficients: Mapping[str, Floats],
    median_factor: float,
    spread_factor: float,
    level: float = 1.0,
) -> dict[str, Floats]:
    """Return the coefficients with another fragility and count of mechanisms."""
    factors = median_factor, spread_factor, spread_factor, level
    pairs = zip(FRAGILITY, factors, strict=True)
    return {**coefficients, **{name: coefficients[name] * f for name, f in pairs}}


def _chance(
    name: str, closing_ratio: Floats, coefficients: Mapping[str, Floats]
) -> Floats:
    standing = name in ON_STANDING_WATER
    spread = coefficients["closing_spread" if standing else "seep_closing_spread"]
    median = coefficients["closing_median_ratio"]
    return ice_blocked_chance(closing_ratio, median_ratio=median, spread=spread)


def _levelled(chance: Floats, level: Floats) -> Floats:
    """Chance where so many times as many mechanisms are at work: certain stays."""
    return np.asarray(1 - (1 - np.minimum(chance, 1)) ** level)


def _mean(rows: SectionRows, values: Floats) -> Floats:
    sums = np.bincount(rows.owner, weights=rows.weight * values, minlength=rows.count)
    return np.asarray(sums, dtype=np.float64)


def _at_work(
    inputs: FreezeInputs,
    section: Spread,
    owner: NDArray[np.intp],
    wind_alignment: Floats,
    coefficients: Mapping[str, Floats],
) -> dict[str, Floats]:
    """Chance that each mechanism finds what it needs, and why: see the defaults."""
    c, everywhere = coefficients, np.ones(len(owner))
    said = inputs.pond_chance[owner]
    holds = _pond_share(section, c)
    wet = np.maximum(holds * c["wet_share"], said)
    tail = inputs.tail_chance[owner]
    tail_wet = tail * c["wet_share"]
    # dry in autumn: a thaw fills it, or ice below keeps its water in
    dry = (np.maximum(holds, said) - wet).clip(0)
    filled = 1 - (1 - dry) * (1 - (tail - tail_wet))
    drop_m = np.maximum(section.values["outlet_drop_m"], 0)
    lip = -np.expm1(-drop_m / c["perched_drop_m"])
    return {
        "sag": wet,
        "seep": c["seep_runs_share"] * inputs.seep_chance[owner],
        "draught": c["open_ends_chance"] * c["trickle_chance"] * wind_alignment[owner],
        "perched": c["perched_share"] * lip,
        "tailwater": tail_wet,
        "plug": c["plug_share"] * inputs.plug_chance[owner],
        "refreeze": 1 - (1 - c["refreeze_chance"]) * (1 - filled),
        "shallow": c["trickle_chance"] * everywhere,
    }


def _pond_share(section: Spread, coefficients: Mapping[str, Floats]) -> Floats:
    """Chance that the barrel holds water of its own: by flatness or silt."""
    c = coefficients
    steepness = section.values["barrel_slope_m_per_m"] - c["pond_slope_m_per_m"]
    drains = 1 / (1 + np.exp(-steepness / c["pond_slope_width_m_per_m"]))
    silt = c["pond_silt_share"] * section.values["silt_fraction"]
    return 1 - drains * (1 - silt)
