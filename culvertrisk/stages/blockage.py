"""From ice in the barrel to the chance that it blocks, unknowns averaged out."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.closing import blocked_fraction, ice_blocked_chance
from culvertrisk.formulas.fragility_trials import (
    MEDIAN_FACTORS,
    SPREAD_FACTORS,
    levelled_chance,
)
from culvertrisk.stages.at_work import at_work_chances, recordable_chances
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
# the water that each may freeze; the rest have their own
_SOURCES = {"draught": ("sag", "seep", "trickle"), "shallow": ("trickle",)}
_OF_THEIR_OWN = ("perched", "tailwater", "plug", "refreeze")
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

    ``at_work`` is the chance, by mechanism, that what it needs is there, ``draws`` that
    the wind draws through; ``is_recorded`` tells, of those that a field or a remark
    can tell, where one does.
    """

    count: int
    owner: NDArray[np.intp]
    weight: Floats
    run: NDArray[np.intp]
    rise_m: Floats
    silt_fraction: Floats
    at_work: Mapping[str, Floats]
    draws: Floats
    is_recorded: Mapping[str, NDArray[np.bool_]]


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
    draws = inputs.open_chance[owner] * wind_alignment[owner]
    return SectionRows(
        count=len(inputs.rise_m),
        owner=owner,
        weight=section.weight * daily.weight[section.owner],
        run=section.owner,
        rise_m=daily.values["rise_m"][section.owner],
        silt_fraction=np.minimum(section.values["silt_fraction"], limit),
        at_work=at_work_chances(inputs, section, owner, draws, coefficients),
        draws=draws,
        is_recorded={
            name: chance[owner] >= coefficients["word_chance"]
            for name, chance in recordable_chances(inputs).items()
        },
    )


def averaged_state(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> FreezeState:
    """Turn ice into chances and average over everything unknown.

    What stands in the barrel, seeps through it or trickles is each one source, which
    the cold reaches by one way or another; sources, banks and lips are taken as
    independent, so that the expected chance to be at work is all that matters of an
    unknown seep, plug or wind. ``at_work_level`` says how many more or fewer of the
    guessed ones are at work than the chances of the defaults table give,
    ``level_spread`` how unsure that is: it is averaged over as well. What is recorded
    stays as it is.
    """
    c, (shut, closed, depth_m) = coefficients, _of_ice(rows, ice, coefficients)
    level = c["at_work_level"], c["level_spread"]

    def of(blocks: Mapping[str, Floats]) -> Floats:
        guessed, recorded = _by_record(rows, blocks)
        return levelled_chance(_mean(rows, guessed), *level, _mean(rows, recorded))

    def shown(name: str) -> Floats:
        told, at_work = rows.is_recorded.get(name, False), rows.at_work[name]
        seen = np.where(told, at_work, levelled_chance(at_work, *level))
        return _mean(rows, seen * depth_m[name])

    return FreezeState(
        afdd_cday=_mean(rows, ice.afdd_cday[rows.run]),
        frost_depth_m=_mean(rows, ice.frost_depth_m[rows.run]),
        ground_c=_mean(rows, ice.ground_c[rows.run]),
        blocked_fraction=of(_together(rows, closed, c)),
        modelled_chance=of(_together(rows, shut, c)),
        ice_m={name: shown(name) for name in MECHANISMS},
        chance={name: of(_alone(rows, shut, name, c)) for name in MECHANISMS},
    )


def _of_ice(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> tuple[dict[str, Floats], dict[str, Floats], dict[str, Floats]]:
    """By mechanism at work: chance that it shuts, section it closes, depth of ice."""
    clear_m = rows.rise_m * (1 - rows.silt_fraction)
    shut, closed, shown_m = {}, {}, {}
    for name in MECHANISMS:
        depth_m = ice.ice_m[name][..., rows.run]
        shut[name] = shut_chance(name, depth_m / clear_m, coefficients)
        full = blocked_fraction(depth_m, rows.rise_m, rows.silt_fraction)
        closed[name] = mean_case(full)
        shown_m[name] = mean_case(np.minimum(depth_m, clear_m))
    return shut, closed, shown_m


def trial_chances(
    rows: SectionRows, ice: WinterIce, coefficients: Mapping[str, Floats]
) -> Floats:
    """Chance with the thickest ice so far, for each trial fragility.

    Shape (2, 5, 5, n): by what is guessed and by what is recorded, then by
    ``MEDIAN_FACTORS`` and ``SPREAD_FACTORS``; at ``at_work_level`` itself, which the
    log may tell, without its spread.
    """
    clear_m = rows.rise_m * (1 - rows.silt_fraction)
    most = {k: ice_m[..., rows.run] / clear_m for k, ice_m in ice.most_ice_m.items()}

    def of_trial(median_factor: float, spread_factor: float) -> Floats:
        c = with_factors(coefficients, median_factor, spread_factor)
        shut = {name: shut_chance(name, most[name], c) for name in MECHANISMS}
        guessed, recorded = _by_record(rows, _together(rows, shut, c))
        of_guess = levelled_chance(_mean(rows, guessed), c["at_work_level"])
        return np.stack([of_guess, _mean(rows, recorded)])

    by_median = [[of_trial(m, s) for s in SPREAD_FACTORS] for m in MEDIAN_FACTORS]
    return np.moveaxis(np.array(by_median), 2, 0)


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


def shut_chance(
    name: str, closing_ratio: Floats, coefficients: Mapping[str, Floats]
) -> Floats:
    """Chance that ice of a mechanism blocks, by its depth over the clear rise.

    The mean over the cases that are equally likely, where the ratio has several.
    """
    standing = name in ON_STANDING_WATER
    spread = coefficients["closing_spread" if standing else "seep_closing_spread"]
    median = coefficients["closing_median_ratio"]
    return mean_case(
        ice_blocked_chance(closing_ratio, median_ratio=median, spread=spread)
    )


def mean_case(values: Floats) -> Floats:
    """Average over equally likely cases: shape (k, n) or (n,) gives (n,)."""
    return np.asarray(values.mean(axis=0) if values.ndim > 1 else values)


def _together(
    rows: SectionRows, shut: Mapping[str, Floats], coefficients: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Chance that each source closes the barrel, by whichever way the cold has in.

    Water freezes once: a draught adds only what it shuts more often than the cold
    at the ends or from the road does, and those two do not add up either.
    """
    at, draught = rows.at_work, shut["draught"]

    def drawn(sheltered: Floats) -> Floats:
        return sheltered + rows.draws * np.maximum(draught - sheltered, 0)

    running = np.maximum(shut["seep"], shut["shallow"])
    return {
        "sag": at["sag"] * drawn(shut["sag"]),
        "seep": at["seep"] * drawn(running),
        "trickle": coefficients["trickle_chance"] * drawn(shut["shallow"]),
        **{name: at[name] * shut[name] for name in _OF_THEIR_OWN},
    }


def _alone(
    rows: SectionRows,
    shut: Mapping[str, Floats],
    name: str,
    coefficients: Mapping[str, Floats],
) -> dict[str, Floats]:
    """Chance that each source closes the barrel by one mechanism alone."""
    at = {**rows.at_work, "trickle": coefficients["trickle_chance"]}
    draws = rows.draws if name == "draught" else 1
    sources = _SOURCES.get(name, (name,))
    return {source: at[source] * (draws * shut[name]) for source in sources}


def _by_record(
    rows: SectionRows, blocks: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Chance that any guessed source blocks, and that any recorded one does."""
    guessed, recorded = np.ones((2, len(rows.run)))
    for source, chance in blocks.items():
        told = rows.is_recorded.get(source)
        if told is None or not told.any():
            guessed = guessed * (1 - chance)
            continue
        guessed = guessed * np.where(told, 1, 1 - chance)
        recorded = recorded * np.where(told, 1 - chance, 1)
    return 1 - guessed, 1 - recorded


def _mean(rows: SectionRows, values: Floats) -> Floats:
    sums = np.bincount(rows.owner, weights=rows.weight * values, minlength=rows.count)
    return np.asarray(sums, dtype=np.float64)
