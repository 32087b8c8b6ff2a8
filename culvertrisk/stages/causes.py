"""Which mechanism leads, which comes second, and what cures it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.stages.blockage import FreezeState
from culvertrisk.stages.mechanisms import MECHANISMS
from culvertrisk.tables import table

Floats = NDArray[np.float64]
Words = NDArray[np.object_]

NO_CAUSE, SILT = "none", "silt"
CLEAR, WEAK = "clear", "weak"


@dataclass(frozen=True)
class Causes:
    """Of n crossings the causes in words, shape (n,).

    ``icing`` is the mechanism that leads among those that make ice, whatever silt
    does; ``sureness`` is ``clear`` or ``weak``, "" where none leads; ``chance`` the
    chance of each cause to block alone, by the physics; ``believed`` the same and
    ``blocked_chance`` that of the crossing, both corrected by the log.
    """

    first: Words
    second: Words
    icing: Words
    sureness: Words
    chance: Mapping[str, Floats]
    believed: Mapping[str, Floats]
    blocked_chance: Floats


def leading_causes(
    state: FreezeState,
    chance_if_clean: Floats,
    coefficients: Mapping[str, Floats],
    odds_factor: Floats | float = 1.0,
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
    odds_factor : ndarray, shape (n,), optional
        What the log does to the odds of the whole; NaN counts as 1.

    Returns
    -------
    causes : Causes
        ``none`` below the least chance of the defaults table, as corrected by the
        log; from class some up one always leads. Silt leads where cleaning alone
        would take off the share of the chance given there. The lead is weak where
        the cause alone gives less than ``cause_clear_share`` of the chance.

    Notes
    -----
    The log says that a crossing blocks, not by what: given a block, each cause is as
    likely with the log as without; see ``weak_where_log_outweighs``.
    """
    c, whole = coefficients, state.modelled_chance
    factor = np.where(np.isnan(odds_factor), 1.0, odds_factor)
    blocked = corrected_chance(whole, factor)
    by_log = np.where(whole > 0, blocked / np.where(whole > 0, whole, 1), 1.0)
    by_silt = np.maximum(whole - chance_if_clean, 0)
    chance = {**state.chance, SILT: by_silt}
    believed = {name: by_log * alone for name, alone in chance.items()}
    words, most = _ranked(believed, blocked, c)
    least = np.maximum(c["silt_lead_share"] * blocked, c["cause_chance_least"])
    leads = believed[SILT] >= least
    second = np.where(leads, words[0], words[1])
    first = np.where(leads, SILT, words[0])
    lead = np.where(leads, believed[SILT], most)
    standing = np.where(lead < c["cause_clear_share"] * blocked, WEAK, CLEAR)
    return Causes(
        first=first.astype(object),
        second=np.where(second == NO_CAUSE, "", second).astype(object),
        icing=words[0].astype(object),
        sureness=np.where(first == NO_CAUSE, "", standing).astype(object),
        chance=chance,
        believed=believed,
        blocked_chance=blocked,
    )


def weak_where_log_outweighs(
    sureness: Words, usual_factor: Floats, coefficients: Mapping[str, Floats]
) -> Words:
    """Call a cause weak where the log says far more than the physics.

    Parameters
    ----------
    sureness : ndarray, shape (n,)
        Of ``Causes``.
    usual_factor : ndarray, shape (n,)
        What the whole log does to the odds of a block, this winter in it.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    sureness : ndarray, shape (n,)
        Something is at work there that the model does not know: its leading mechanism
        is no more than a guess above ``cause_clear_odds``.
    """
    is_weak = (usual_factor > coefficients["cause_clear_odds"]) & (sureness == CLEAR)
    return np.where(is_weak, WEAK, sureness).astype(object)


def _ranked(
    believed: Mapping[str, Floats], blocked: Floats, coefficients: Mapping[str, Floats]
) -> tuple[Words, Floats]:
    """Mechanisms in words, the most likely first, and the chance of the first."""
    names, c = np.array(MECHANISMS, dtype=object), coefficients
    ranked = np.stack([believed[name] for name in MECHANISMS])
    order = np.argsort(-ranked, axis=0, kind="stable")
    most = np.take_along_axis(ranked, order, axis=0)
    words = np.where(most < c["cause_chance_least"], NO_CAUSE, names[order])
    is_some = blocked >= c["class_some_chance"]
    words[0] = np.where(is_some, names[order[0]], words[0])
    return words, most[0]


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
        "cause_sureness": causes.sureness,
        "cure": np.array(cure, dtype=object),
        **chances,
    }
