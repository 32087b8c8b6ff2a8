"""What is not known of a crossing and what stands in for it, in plain sentences."""

from typing import Any

import pandas as pd

DOUBTFUL_FILL_M = 1.0  # deeper filled ground makes a catchment doubtful
# of what the freeze_words table speaks
_SAID = ("seep", "plug", "pond", "tail", "draught")


def unknowns_of(row: Any) -> str:
    """Return what is not known of a crossing and what stands in for it.

    Parameters
    ----------
    row : namedtuple or Series
        One crossing with the columns of every stage before; ``says_seep``,
        ``says_plug``, ``says_pond``, ``says_tail`` and ``says_draught`` above 0 tell
        of what a remark speaks, ``denies_seep`` and so on what it denies.

    Returns
    -------
    unknowns : str
        Sentences joined by ``"; "``; blank if everything is known.
    """
    source = getattr(row, "catchment_source", "dem")
    checks = (
        *_barrel_checks(row),
        (pd.isna(row.winter_shade_fraction), "shade unknown: no elevation data here"),
        (pd.isna(row.catchment_m2), "catchment unknown: today's flow cannot be told"),
        (source == "assumed", "catchment assumed: the same for the whole town"),
        (
            row.is_catchment_cut == 1 and source == "dem",
            "catchment runs off the elevation data: a lower bound",
        ),
        (
            row.fill_depth_m > DOUBTFUL_FILL_M and source == "dem",
            "catchment doubtful: it lies in filled ground",
        ),
        *_chain_checks(row),
        (pd.isna(row.consequence_person_h), "no road near: who is hit is not known"),
        (row.cover_source == "unknown", "cover unknown: class default assumed"),
    )
    return "; ".join(sentence for is_so, sentence in checks if is_so)


def _chain_checks(row: Any) -> tuple[tuple[bool, str], ...]:
    """Whether the catchments of a chain contradict each other, and how."""
    return (
        (
            getattr(row, "has_larger_above", 0) == 1,
            "catchment doubtful: the crossing above it in the chain has far more, and "
            "that counts",
        ),
        (
            getattr(row, "has_smaller_below", 0) == 1,
            "catchment doubtful: the crossing below it in the chain has far less",
        ),
    )


def _barrel_checks(row: Any) -> tuple[tuple[bool, str], ...]:
    """What the freeze score takes for granted, and what it takes from a remark."""
    says = {
        name: getattr(row, f"says_{name}", 0) + getattr(row, f"denies_{name}", 0) > 0
        for name in _SAID
    }
    no_seep, no_plug = pd.isna(row.has_seep), pd.isna(_given(row, "has_plough_plug"))
    return (
        (pd.isna(row.rise_m), "size unknown: usual sizes weighed"),
        (pd.isna(row.barrel_slope_m_per_m), "slope unknown: usual slopes weighed"),
        (pd.isna(_given(row, "length_m")), "length unknown: usual lengths weighed"),
        (
            pd.isna(_given(row, "outlet_drop_m")),
            "drop at the outlet unknown: usual drops weighed",
        ),
        (no_seep and not says["seep"], "seep not recorded: a usual share assumed"),
        (no_seep and says["seep"], "seep not recorded: taken from a remark"),
        (
            no_plug and not says["plug"],
            "plough's bank at the ends not recorded: a usual share assumed",
        ),
        (
            no_plug and says["plug"],
            "plough's bank at the ends not recorded: taken from a remark",
        ),
        (says["pond"], "standing water not measured: taken from a remark"),
        (says["tail"], "water at the outlet not measured: taken from a remark"),
        (says["draught"], "wind in the barrel not measured: taken from a remark"),
        (pd.isna(row.silt_fraction), "silt not recorded: a usual share assumed"),
    )


def _given(row: Any, name: str) -> Any:
    """Value of a column; one that is not there is not asked for."""
    return getattr(row, name, 0.0)
