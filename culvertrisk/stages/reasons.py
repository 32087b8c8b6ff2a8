"""Why a crossing ranks where it does, and what is not known, in plain sentences."""

from typing import Any

import pandas as pd

from culvertrisk.units import HOUR_S, quantity

SHOWN_REASONS = 3
SMALL_RISE_M = 0.61  # 24 in; smaller pipes close by standing ice in a cold winter
FLAT_SLOPE_M_PER_M = 0.005  # flatter pipes hold water; common practice, no source
DOUBTFUL_FILL_M = 1.0  # deeper filled ground makes a catchment doubtful


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.0f} %"


def _shading(row: Any) -> str:
    shade = row.today_shade_fraction
    if not shade > 0:
        return ""
    return (
        f"Shade: the darker end gets {_percent(shade)} less sun today than open ground"
    )


def _slope(row: Any) -> str:
    slope = row.barrel_slope_m_per_m
    if slope < 0:
        return f"Back-graded: the barrel falls {-slope * 100:.1f} % the wrong way"
    if slope < FLAT_SLOPE_M_PER_M:
        return f"Flat: slope {slope * 100:.1f} %, water stands in the barrel"
    if row.outlet_drop_m > 0:
        return f"Perched outlet: {quantity(row.outlet_drop_m, 'm', 1)} drop"
    return ""


def _size(row: Any) -> str:
    if row.rise_m < SMALL_RISE_M:
        return f"Small pipe: {quantity(row.rise_m * 1000, 'mm')} closes early"
    return ""


def _history(row: Any) -> str:
    count = int(row.logged_thaw_count)
    if count == 0:
        return ""
    times = "once" if count == 1 else f"{count} times"
    return (
        f"Log: thawed {times}, the model alone expected {row.expected_thaw_count:.1f}"
    )


def _water(row: Any) -> str:
    parts = []
    if row.has_seep == 1:
        parts.append("a seep feeds it all winter")
    if row.silt_fraction > 0:
        parts.append(f"silt fills {_percent(row.silt_fraction)} of the rise")
    return f"Water: {' and '.join(parts)}" if parts else ""


def _weather(row: Any) -> str:
    return f"Cold so far: {quantity(row.afdd_cday, '°C·days')} of frost this winter"


_SHARE_SENTENCES = {
    "share_shading_index": _shading,
    "share_slope_index": _slope,
    "share_size_index": _size,
    "share_history_index": _history,
    "share_water_index": _water,
    "share_weather_index": _weather,
}


def _consequence(row: Any) -> str:
    if row.is_only_way == 1 and row.cut_off_dwelling_count > 0:
        count = int(row.cut_off_dwelling_count)
        homes = "1 dwelling" if count == 1 else f"{count} dwellings"
        behind = f", {row.cut_off_places}" if row.cut_off_places else ""
        return f"Only way to {homes}{behind}"
    if row.detour_s > 0:
        minutes, traffic = row.detour_s / HOUR_S * 60, row.daily_traffic_count
        return f"Way round: {minutes:.0f} min longer, {traffic:.0f} vehicles a day"
    return ""


def _flood(row: Any) -> str:
    if row.flooded_blocked_chance > 0.5 and row.today_flow_m3s > 0:
        peak = f"{quantity(row.today_flow_m3s * 1000, 'L/s')} at its peak"
        return f"Today's water ({peak}) reaches the road if it is shut"
    return ""


CAUSE_WORDS = {
    "seep": "seep icing",
    "sag": "standing water freezing",
    "draught": "cold draught",
    "perched": "ice under a perched outlet",
    "tailwater": "ice backing into the outlet",
    "plug": "a snow plug at an end",
    "refreeze": "thaw water freezing again",
    "shallow": "frost through shallow cover",
    "silt": "silt that takes the room",
}

# What is recorded of a pipe where the cause is more than likely.
CAUSE_INPUTS = {
    "seep": "has_seep",
    "sag": "barrel_slope_m_per_m",
    "perched": "outlet_drop_m",
    "silt": "silt_fraction",
}


def _cause(row: Any) -> str:
    cause = CAUSE_WORDS.get(row.freeze_cause, "")
    cure = str(row.cure).partition(";")[0]
    if not cause:
        return ""
    column = CAUSE_INPUTS.get(row.freeze_cause)
    is_known = column is None or not pd.isna(getattr(row, column))
    return f"{'Cause' if is_known else 'Likely cause'}: {cause}" + (
        f", cure: {cure}" if cure else ""
    )


def reasons_of(row: Any) -> str:
    """Return the cause and up to three sentences more, joined by ``"; "``.

    Parameters
    ----------
    row : namedtuple or Series
        One crossing with the columns of every stage before.

    Returns
    -------
    reasons : str
        Sentences without a full stop, the strongest first; blank if nothing stands
        out. Advice to wait for the sun comes last.
    """
    shares = sorted(_SHARE_SENTENCES, key=lambda name: -_number(getattr(row, name)))
    frozen = [
        _SHARE_SENTENCES[name](row)
        for name in shares
        if _number(getattr(row, name)) > 0
    ]
    frozen = [sentence for sentence in frozen if sentence]
    hit = [sentence for sentence in (_consequence(row), _flood(row)) if sentence]
    kept = frozen[: SHOWN_REASONS - min(1, len(hit))] + hit
    told = [_cause(row), *kept[:SHOWN_REASONS], str(row.freeze_advice)]
    return "; ".join(sentence for sentence in told if sentence)


def unknowns_of(row: Any) -> str:
    """Return what is not known of a crossing and what stands in for it.

    Parameters
    ----------
    row : namedtuple or Series
        One crossing with the columns of every stage before.

    Returns
    -------
    unknowns : str
        Sentences joined by ``"; "``; blank if everything is known.
    """
    source = getattr(row, "catchment_source", "dem")
    checks = (
        (pd.isna(row.rise_m), "size unknown: usual sizes weighed"),
        (pd.isna(row.barrel_slope_m_per_m), "slope unknown: usual slopes weighed"),
        (pd.isna(row.has_seep), "seep not recorded: a usual share assumed"),
        (pd.isna(row.silt_fraction), "silt not recorded: a usual share assumed"),
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
        (pd.isna(row.consequence_person_h), "no road near: who is hit is not known"),
        (row.cover_source == "unknown", "cover unknown: class default assumed"),
    )
    return "; ".join(sentence for is_so, sentence in checks if is_so)


def _number(value: float) -> float:
    return 0.0 if pd.isna(value) else float(value)
