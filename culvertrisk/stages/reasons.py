"""Why a crossing ranks where it does, in plain sentences."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.stages.causes import WEAK
from culvertrisk.stages.flood_weather import flood_defaults
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.units import HOUR_S, clock, quantity

Coefficients = Mapping[str, NDArray[np.float64]]

SHOWN_REASONS = 3
SMALL_RISE_M = 0.61  # 24 in; smaller pipes close by standing ice in a cold winter
FLAT_SLOPE_M_PER_M = 0.005  # flatter pipes hold water; common practice, no source
_MAY_STAND = "water may stand in the barrel"


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.0f} %"


def _shading(row: Any, c: Coefficients) -> str:
    shade = row.today_shade_fraction
    if not round(shade, 2) > c["shade_told_fraction"]:  # as the percent told
        return ""
    return (
        f"Shade: the darker end gets {_percent(shade)} less sun today than open ground"
    )


def _slope(row: Any, _c: Coefficients) -> str:
    slope = row.barrel_slope_m_per_m
    if slope < 0:
        return f"Back-graded: the barrel falls {-slope * 100:.1f} % the wrong way"
    if slope < FLAT_SLOPE_M_PER_M:
        is_said = getattr(row, "says_pond", 0) > 0
        stands = "a remark says that water stands in it" if is_said else _MAY_STAND
        return f"Flat: slope {slope * 100:.1f} %, {stands}"
    if row.outlet_drop_m > 0:
        return f"Perched outlet: {quantity(row.outlet_drop_m, 'm', 1)} drop"
    return ""


def _size(row: Any, _c: Coefficients) -> str:
    if row.rise_m < SMALL_RISE_M:
        return f"Small pipe: {quantity(row.rise_m * 1000, 'mm')} closes early"
    return ""


def _history(row: Any, _c: Coefficients) -> str:
    count = int(row.logged_thaw_count)
    if count == 0:
        return ""
    times = "once" if count == 1 else f"{count} times"
    return (
        f"Log: thawed {times}, the model alone expected {row.expected_thaw_count:.1f}"
    )


def _water(row: Any, c: Coefficients) -> str:
    parts = []
    if row.has_seep == 1:
        parts.append("a seep feeds it all winter")
    if round(row.silt_fraction, 2) > c["silt_told_fraction"]:
        parts.append(f"silt fills {_percent(row.silt_fraction)} of the rise")
    return f"Water: {' and '.join(parts)}" if parts else ""


def _weather(row: Any, _c: Coefficients) -> str:
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


def _floods_open(row: Any) -> bool:
    chance = _number(getattr(row, "flooded_open_chance", float("nan")))
    return chance >= flood_defaults()["wet_road_chance"]


def _flood(row: Any) -> str:
    if not (row.flooded_blocked_chance > 0.5 and row.today_flow_m3s > 0):
        return ""
    peak = f"{quantity(row.today_flow_m3s * 1000, 'L/s')} at its peak"
    if not _floods_open(row):
        return f"Today's water ({peak}) reaches the road if it is shut"
    from_s = _number(getattr(row, "water_over_road_open_s", float("nan")))
    hour = f", from about {clock(from_s)}" if from_s else ""
    return (
        f"Today's water ({peak}) likely reaches the road even if the pipe is open{hour}"
    )


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

OPENED_WORDS = {"open": "Opened", "partial": "Partly opened", "dug": "Dug out"}

# What is recorded of a pipe where the cause is more than likely; of a draught, of thaw
# water and of ice from below nothing ever is.
CAUSE_INPUTS = {
    "seep": "has_seep",
    "sag": "barrel_slope_m_per_m",
    "perched": "outlet_drop_m",
    "plug": "has_plough_plug",
    "shallow": "cover_m",
    "silt": "silt_fraction",
}


def cause_word(cause: str, sureness: str, recorded: float) -> str:
    """Say how sure a leading cause is, for a sentence that begins with it.

    Parameters
    ----------
    cause : str
        A word of ``freeze_cause``.
    sureness : str
        Of ``cause_sureness``.
    recorded : float
        What the column of ``CAUSE_INPUTS`` holds; NaN is unknown.

    Returns
    -------
    word : str
        ``most likely`` where no cause stands out, ``likely`` where its input is not
        recorded or, for standing water, speaks of a barrel that drains; else "".

    Examples
    --------
    >>> cause_word("seep", "clear", 1.0), cause_word("sag", "clear", 0.02)
    ('', 'likely')
    >>> cause_word("perched", "weak", 0.3)
    'most likely'
    """
    if sureness == WEAK:
        return "most likely"
    is_steep = cause == "sag" and recorded >= FLAT_SLOPE_M_PER_M
    is_known = cause in CAUSE_INPUTS and not pd.isna(recorded) and not is_steep
    return "" if is_known else "likely"


def _cause(row: Any) -> str:
    cause = CAUSE_WORDS.get(row.freeze_cause, "")
    cure = str(row.cure).partition(";")[0]
    if not cause:
        return ""
    sureness = getattr(row, "cause_sureness", "")
    recorded = getattr(row, CAUSE_INPUTS.get(row.freeze_cause, ""), float("nan"))
    head = f"{cause_word(row.freeze_cause, sureness, recorded)} cause".strip()
    told = f"{head[0].upper()}{head[1:]}: {cause}"
    if sureness == WEAK:
        told, cure_words = f"{told}, but none stands out", "cure if so"
    else:
        cure_words = "cure"
    return told + (f", {cure_words}: {cure}" if cure else "")


def _opened(row: Any) -> str:
    *_, last = str(getattr(row, "opened_days", "")).split("; ")
    if not last:
        return ""
    day, result, _ = last.split()
    when = f"{date.fromisoformat(day):%d %B}".lstrip("0")
    return f"{OPENED_WORDS[result]} on {when}, ice counted from then"


def reasons_of(row: Any, coefficients: Coefficients | None = None) -> str:
    """Return the cause and up to three sentences more, joined by ``"; "``.

    Parameters
    ----------
    row : namedtuple or Series
        One crossing with the columns of every stage before; ``says_pond`` above 0
        tells that a remark speaks of standing water.
    coefficients : mapping, optional
        By name, as ``freeze_coefficients``; the defaults without it.

    Returns
    -------
    reasons : str
        Sentences without a full stop, the strongest first; blank if nothing stands
        out. Advice to wait for the sun comes last.
    """
    c = freeze_coefficients(None) if coefficients is None else coefficients
    shares = sorted(_SHARE_SENTENCES, key=lambda name: -_number(getattr(row, name)))
    frozen = [
        _SHARE_SENTENCES[name](row, c)
        for name in shares
        if _number(getattr(row, name)) > 0
    ]
    frozen = [sentence for sentence in frozen if sentence]
    hit = [sentence for sentence in (_consequence(row), _flood(row)) if sentence]
    # Both stay where opening does not help: nobody may read the road as safe then.
    room = len(hit) if _floods_open(row) else min(1, len(hit))
    kept = frozen[: SHOWN_REASONS - room] + hit
    told = [_cause(row), _opened(row), *kept[:SHOWN_REASONS], str(row.freeze_advice)]
    return "; ".join(sentence for sentence in told if sentence)


def _number(value: float) -> float:
    return 0.0 if pd.isna(value) else float(value)
