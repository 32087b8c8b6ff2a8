"""The chance that each mechanism finds what it needs, recorded or guessed."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from culvertrisk.stages.unknowns import Spread
from culvertrisk.stages.winter import FreezeInputs

Floats = NDArray[np.float64]


def recordable_chances(inputs: FreezeInputs) -> dict[str, Floats]:
    """Chances that a field or a remark can tell: no guess is as sure as a remark."""
    return {
        "sag": inputs.pond_chance,
        "seep": inputs.seep_chance,
        "plug": inputs.plug_chance,
        "tailwater": inputs.tail_chance,
    }


def at_work_chances(
    inputs: FreezeInputs,
    section: Spread,
    owner: NDArray[np.intp],
    draws: Floats,
    coefficients: Mapping[str, Floats],
) -> dict[str, Floats]:
    """Chance that each mechanism finds what it needs, and why: see the defaults."""
    c = coefficients
    by_shape = _pond_share(section, c) * (1 - inputs.drained_chance[owner])
    holds = np.maximum(by_shape, inputs.pond_chance[owner])
    wet = holds * c["wet_share"]
    tail = inputs.tail_chance[owner]
    tail_wet = tail * c["wet_share"]
    # dry in autumn: a thaw fills it, or ice below keeps its water in
    filled = 1 - (1 - (holds - wet)) * (1 - (tail - tail_wet))
    drop_m = np.maximum(section.values["outlet_drop_m"], 0)
    lip = -np.expm1(-drop_m / c["perched_drop_m"])
    seep = c["seep_runs_share"] * inputs.seep_chance[owner]
    running = 1 - (1 - seep) * (1 - c["trickle_chance"])
    return {
        "sag": wet,
        "seep": seep,
        "draught": draws * (1 - (1 - running) * (1 - wet)),
        "perched": c["perched_share"] * lip,
        "tailwater": tail_wet,
        "plug": c["plug_share"] * inputs.plug_chance[owner],
        "refreeze": 1 - (1 - c["refreeze_chance"]) * (1 - filled),
        "shallow": np.full(len(owner), c["trickle_chance"]),
    }


def _pond_share(section: Spread, coefficients: Mapping[str, Floats]) -> Floats:
    """Chance that the barrel holds water of its own: by flatness or silt."""
    c = coefficients
    steepness = section.values["barrel_slope_m_per_m"] - c["pond_slope_m_per_m"]
    drains = 1 / (1 + np.exp(-steepness / c["pond_slope_width_m_per_m"]))
    silt = c["pond_silt_share"] * section.values["silt_fraction"]
    return 1 - drains * (1 - silt)
