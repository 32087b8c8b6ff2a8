"""Rain by duration and return period, from any of its layouts to one checked table."""

import re
from pathlib import Path

import numpy as np
import pandas as pd

from culvertrisk import settings
from culvertrisk.checks import (
    InputError,
    file_problem,
    refuse,
    rows_problem,
    value_problem,
)
from culvertrisk.inputs.culvert_notes import Note, note, note_whole
from culvertrisk.inputs.rainfall_layouts import (
    RAIN_UNITS,
    RawRainfall,
    read_layout,
)
from culvertrisk.inputs.reading import Reading, note_table
from culvertrisk.inputs.text_faults import refuse_faults, row_notes
from culvertrisk.inputs.text_tables import decoded, text_table
from culvertrisk.units import HOUR_S, to_unit

COLUMNS = (
    "duration_s",
    "return_years",
    "rain_m",
    "rain_low_m",
    "rain_high_m",
    "series",
)
# durations at which a formula is written out as a table [min]
FORMULA_MINUTES = (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)
_BLOCKS = {"": "rain_m", "low": "rain_low_m", "high": "rain_high_m"}
_PER_HOUR = re.compile(r"intensity|\b(?:mm|cm|in|inch|inches)\s*(?:/|per|_)\s*h")
_SERIES = {"partial": "partial", "annual max": "annual", "ams": "annual"}
_REMEDY = "Correct the file, or hand over depth by duration and return period as CSV."


def read_rainfall(path: Path, reading: settings.Reading) -> Reading:
    """Read rain by duration and return period.

    Parameters
    ----------
    path : Path
        Text with durations down and return periods across (titles above and bounds
        below allowed, as NOAA Atlas 14 writes it), with one rain a row (columns
        duration, return years, rain), or with the terms of i = a / (t + b)^c by
        return period (columns return years, a, b, c; t in minutes).
    reading : settings.Reading
        ``columns`` (our name = the file's) and ``units`` (``rain_m`` = "mm", "inch",
        "mm/h" or "inch/h") where the file does not say.

    Returns
    -------
    rainfall : Reading
        One row a duration and return period, sorted, columns ``COLUMNS``: seconds,
        years, metres, and "partial", "annual" or "" for the kind of series. Every
        duration has every return period. Bounds are NaN where there are none.

    Raises
    ------
    InputError
        If the file is missing or holds no such table, its unit is not told, or rain
        does not grow with duration and return period.
    """
    told = text_table(_text(path))
    raw = read_layout([row.cells for row in told.rows], reading.columns)
    refuse_faults(told, raw.header, path.name)
    if not len(raw.cells):
        rule = "hold rain by duration and return period"
        raise InputError([file_problem(path.name, rule, "none that is told", _REMEDY)])
    notes: list[Note] = [
        note(0, "duration_s", label, "row not used: no duration", "refused")
        for label in raw.unnamed
    ]
    notes += row_notes(told, raw.header) if raw.is_by_row else []
    scale_m, is_intensity = _unit(raw, path.name, reading)
    cells = _from_formula(raw, notes) if raw.is_formula else _numbers(raw, notes)
    if is_intensity:
        cells["value"] *= cells["duration_s"] / HOUR_S
    table = _table(cells.assign(value=cells["value"] * scale_m), notes)
    problems = _problems(table, path.name)
    refuse([*(_unread(cells, path.name) if problems else []), *problems])
    series = [kind for word, kind in _SERIES.items() if word in raw.words]
    if not series:
        understood = "taken as the yearly highest"
        notes.append(note_whole("series", "not told", understood, "assumed"))
    table = table.assign(series=series[0] if series else "")
    return Reading(
        table[[*COLUMNS]].reset_index(drop=True),
        note_table([{**item, "file": path.name} for item in notes]),
    )


def _text(path: Path) -> str:
    if not path.is_file():
        problem = file_problem(path.name, "exist", "no such file", _REMEDY)
        raise InputError([problem])
    return decoded(path, "be text", _REMEDY)


def _unit(raw: RawRainfall, file: str, reading: settings.Reading) -> tuple[float, bool]:
    """Metres to one unit of the file, and whether it tells depth an hour."""
    told = reading.units.get("rain_m", "")
    words = re.findall(r"[a-z]+", raw.words)
    found = [RAIN_UNITS[word] for word in words if word in ("inches", "inch")]
    found += [
        RAIN_UNITS[w] for w in words if w in ("mm", "cm") or w.startswith("milli")
    ]
    found += ["inch"] if re.search(r"[(\[_]in\b|\bin/h|_in_h", raw.words) else []
    found += ["m"] if re.search(r"[(\[_]m\b", raw.words) else []
    unit, _, per = told.partition("/") if told else (next(iter(found), ""), "", "")
    if unit not in RAIN_UNITS.keys() | RAIN_UNITS.values():
        key, rule = "rainfall.units.rain_m", "be told: mm or inch, mm/h or inch/h"
        remedy = 'Write rain_m = "mm" under [rainfall.units] in the town file.'
        raise InputError([value_problem(file, key, rule, told, remedy)])
    is_intensity = bool(per) if told else bool(_PER_HOUR.search(raw.words))
    scale_m = to_unit(f"1 {RAIN_UNITS.get(unit, unit)}", "m")
    return scale_m, is_intensity or raw.is_formula


def _numbers(raw: RawRainfall, notes: list[Note]) -> pd.DataFrame:
    values = pd.to_numeric(raw.cells["text"], errors="coerce")
    for row, text in raw.cells.loc[values.isna(), ["row", "text"]].itertuples(
        index=False
    ):
        notes.append(note(row, "rain_m", text, "unknown: no number", "refused"))
    return raw.cells.assign(value=values.astype(float))


def _unread(cells: pd.DataFrame, file: str) -> list[str]:
    """Say which rains are no numbers; told when they leave no table."""
    if "text" not in cells:
        return []
    wrong = cells[cells["value"].isna() & (cells["text"] != "")]
    rows = dict(zip(wrong["row"], wrong["text"], strict=True))
    remedy = "Write the number alone; its unit belongs into the column's name."
    total = cells["row"].nunique()
    return [
        rows_problem(file, "rain_m", "hold numbers", rows, total, remedy)
        for _ in range(bool(rows))
    ]


def _from_formula(raw: RawRainfall, notes: list[Note]) -> pd.DataFrame:
    """Intensity of i = a / (t + b)^c at usual durations, t in minutes."""
    terms = raw.cells[["a", "b", "c"]].apply(pd.to_numeric, errors="coerce")
    for row in raw.cells.loc[terms.isna().any(axis=1), "row"]:
        notes.append(note(row, "a, b, c", "", "row not used: no number", "refused"))
    minutes = np.array(FORMULA_MINUTES, dtype=float)
    found = f"a / (t + b)^c for {len(terms)} return periods"
    understood = f"written out from {minutes[0]:g} to {minutes[-1]:g} minutes"
    notes.append(note_whole("rain_m", found, understood, "assumed"))
    a, b, c = (terms[name].to_numpy(float)[:, None] for name in ("a", "b", "c"))
    intensity = a / np.power(minutes + b, c)
    return pd.DataFrame(
        {
            "row": np.repeat(raw.cells["row"].to_numpy(), len(minutes)),
            "duration_s": np.tile(minutes * to_unit("1 min", "s"), len(terms)),
            "return_years": np.repeat(raw.cells["return_years"], len(minutes)),
            "value": intensity.ravel(),
            "block": "",
        }
    )


def _table(cells: pd.DataFrame, notes: list[Note]) -> pd.DataFrame:
    """One row a duration and return period; durations with gaps are left out."""
    keys = ["duration_s", "return_years"]
    known = cells.dropna(subset=keys).drop_duplicates([*keys, "block"])
    wide = known.pivot(index=keys, columns="block", values="value")
    wide = wide.reindex(columns=[*_BLOCKS]).rename(columns=_BLOCKS)
    grid = wide["rain_m"].unstack("return_years")
    whole = grid.dropna()
    for duration in grid.index.difference(whole.index):
        found, understood = f"{duration:g} s", "duration not used: rain is missing"
        notes.append(note_whole("duration_s", found, understood, "refused"))
    table = wide.reset_index().sort_values(keys)
    return table[table["duration_s"].isin(whole.index)]


def _problems(table: pd.DataFrame, file: str) -> list[str]:
    if table.empty:
        rule = "have at least one duration with rain for every return period"
        return [file_problem(file, rule, "none", _REMEDY)]
    grid = table.pivot(index="duration_s", columns="return_years", values="rain_m")
    depth_m = grid.to_numpy()
    is_wrong = ~(depth_m > 0)
    is_wrong[1:] |= np.diff(depth_m, axis=0) < 0
    is_wrong[:, 1:] |= np.diff(depth_m, axis=1) < 0
    wrong = {
        f"{grid.index[i]:g} s, {grid.columns[j]:g} years": f"{depth_m[i, j]:.4g}"
        for i, j in np.argwhere(is_wrong)
    }
    rule = "be above 0 m and grow with duration and return period"
    return [
        rows_problem(file, "rain_m", rule, wrong, depth_m.size, _REMEDY)
        for _ in range(bool(wrong))
    ]
