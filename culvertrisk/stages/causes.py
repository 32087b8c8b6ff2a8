"""Which mechanism leads, which comes second, and what cures it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.stages.blockage import FreezeState
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.tables import table

Floats = NDArray[np.float64]
Words = NDArray[np.object_]

NO_CAUSE, SILT = "none", "silt"


@dataclass(frozen=True)
class Causes:
    """Of n crossings the causes in words, shape (n,).

    ``icing`` is the mechanism that leads among those that make ice, whatever silt
    does; ``chance`` the chance of each cause to block alone.
    """

    first: Words
    second: Words
    icing: Words
    chance: Mapping[str, Floats]


def leading_causes(
    state: FreezeState, chance_if_clean: Floats, coefficients: Mapping[str, Floats]
) -> Causes:
    """Name the mechanism most likely to block, and the next.

    Parameters
    ----------
    state : FreezeState
        Of n crossings.
    chance_if_clean : ndarray, shape (n,)
        ``modelled_chance`` of the same without silt.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    causes : Causes
        ``none`` below the least chance of the defaults table. Silt leads where
        cleaning alone would take off the share of the chance given there.
    """
    c, names = coefficients, np.array(MECHANISMS, dtype=object)
    ranked = np.stack([state.chance[name] for name in MECHANISMS])
    order = np.argsort(-ranked, axis=0, kind="stable")
    most = np.take_along_axis(ranked, order, axis=0)
    words = np.where(most < c["cause_chance_least"], NO_CAUSE, names[order])
    by_silt = np.maximum(state.modelled_chance - chance_if_clean, 0)
    leads = by_silt >= np.maximum(
        c["silt_lead_share"] * state.modelled_chance, c["cause_chance_least"]
    )
    second = np.where(leads, words[0], words[1])
    return Causes(
        first=np.where(leads, SILT, words[0]).astype(object),
        second=np.where(second == NO_CAUSE, "", second).astype(object),
        icing=words[0].astype(object),
        chance={**state.chance, SILT: by_silt},
    )


def cause_columns(causes: Causes) -> dict[str, NDArray]:
    """Return the columns of causes, their chances and the cure of the first.

    The cure is the words of the ``cures`` table for the leading cause in their order:
    the cheapest that reaches the root first, a larger pipe last.
    """
    rows = table("cures").sort_values("step").groupby("cause")["cure"].agg("; ".join)
    cures = {str(cause): str(cure) for cause, cure in rows.items()}
    cure = [cures.get(str(cause), "") for cause in causes.first]
    chances = {f"{k}_blocked_chance": v for k, v in causes.chance.items()}
    return {
        "freeze_cause": causes.first,
        "second_cause": causes.second,
        "cure": np.array(cure, dtype=object),
        **chances,
    }
