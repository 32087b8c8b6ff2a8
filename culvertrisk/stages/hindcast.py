"""The winters of the log once more: what the model says beside what was logged."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.checks import SHOWN_ROWS
from culvertrisk.formulas.fragility_trials import TRIALS, deviate_of
from culvertrisk.formulas.log_record import LogRecord
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze import most_chances
from culvertrisk.stages.freeze_inputs import Sunlight, freeze_inputs
from culvertrisk.stages.log_callers import callers_of
from culvertrisk.stages.log_gaps import Span, kept_fractions, lost_spans
from culvertrisk.stages.log_matching import history_defaults, match_rows
from culvertrisk.stages.log_rows import of_an_old_pipe, old_pipe_note, row_notes
from culvertrisk.stages.pipes import pipes_of
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_weather import has_weather

Floats = NDArray[np.float64]

FOUND_ICE = ("open", "partial", "dug", "gave up")
_LAST_MONTH_DAY = (5, 31)  # the sun's season ends; no ice grows from here on


@dataclass(frozen=True)
class Hindcast:
    """Model and log side by side, n crossings and the w winters with weather.

    ``visits``, shape (n, w), are logged visits on distinct days that found ice;
    ``logged_thaw_count``, shape (n,), also counts winters without weather.
    ``group_names`` are the kinds of road that crews treat alike, ``matches`` the
    rows of the log with their crossing and how sure that is, ``row_notes`` those of
    them that count for nothing: see ``log_rows.row_notes``; ``coefficients`` those
    of the history defaults, the town's own among them, and ``level_spread``.
    """

    winters: tuple[int, ...]
    record: LogRecord
    visits: Floats
    logged_thaw_count: Floats
    group_names: tuple[str, ...]
    matches: pd.DataFrame
    notes: tuple[str, ...]
    row_notes: pd.DataFrame
    coefficients: Mapping[str, float]


def hindcast(
    crossings: GeoDataFrame,
    log: pd.DataFrame | None,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
    on: date,
) -> Hindcast | None:
    """Run the model over the winters of the log and set the log beside it.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and, where known, site and access.
    log : DataFrame or None
        The table of ``read_thaw_log``.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun at both ends by day of the season.
    settings : Settings
        Start of the winter, the town's own defaults and lost pages of the log.
    on : date
        The day asked; no row of that day or later is looked at.

    Returns
    -------
    hindcast : Hindcast or None
        None without a row before that day.

    Notes
    -----
    Of each winter the model's chance with its thickest ice counts, for each trial
    fragility. Winters before
    ``install_year`` are cut, from the log and from the hindcast; so are winters
    without weather. Days lost from the log lower what is expected to be logged.
    """
    before = None if log is None else log[log["day"] < pd.Timestamp(on)]
    if before is None or before.empty:
        return None
    c = _coefficients(settings)
    matches, clear, listed, placed = _placed(crossings, before, c)
    spans = _winter_spans(before, settings, on)
    known = _with_weather(spans, weather, settings)
    lived, thaws = _lived_and_thaws(crossings, clear, spans)
    has = np.array([year in known for year in spans], dtype=bool)
    is_pipe = pipes_of(crossings)
    lost = lost_spans(before, spans, c)
    kept = kept_fractions(before, spans, [*lost, *settings.history.lost_days], c)[has]
    deviate = _deviates(crossings, weather, sun, known, settings)
    exposed, visits = lived[:, has] & is_pipe[:, None], thaws[:, has]
    callers, told = callers_of(crossings, _that_found_ice(clear), [*known], c)
    group, names = _groups(crossings)
    record = LogRecord(deviate, visits > 0, exposed, kept, group, callers)
    said = *_skipped_note(spans, known), *_lost_notes(lost), *told
    notes = *placed, *said
    total = np.where(is_pipe, thaws.sum(axis=1), np.nan)
    found = (*known,), record, visits, total, names, matches, notes, listed, c
    return Hindcast(*found)


def _placed(
    crossings: GeoDataFrame, log: pd.DataFrame, coefficients: Mapping[str, float]
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, tuple[str, ...]]:
    """All rows with their crossing, the clear ones, those not counted, and in words."""
    c = coefficients
    written = log.assign(written_id=log["culvert_id"])
    matches = written.assign(**match_rows(crossings, log, c))
    clear = matches[matches["match_confidence"] >= c["match_least_fraction"]]
    unclear, old = matches.drop(clear.index), clear[of_an_old_pipe(crossings, clear)]
    notes = *_match_notes(matches, clear), *old_pipe_note(old)
    return matches, clear, row_notes(crossings, unclear, old), notes


def _with_weather(
    spans: dict[int, Span], weather: pd.DataFrame, settings: Settings
) -> dict[int, Span]:
    c = freeze_coefficients(settings.freeze.defaults)
    return {
        year: span for year, span in spans.items() if has_weather(weather, *span, c)
    }


def _coefficients(settings: Settings) -> dict[str, float]:
    freeze = freeze_coefficients(settings.freeze.defaults)
    unsure = float(freeze["level_spread"].item())
    return {**history_defaults(settings.history.defaults), "level_spread": unsure}


def _deviates(
    crossings: GeoDataFrame,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    spans: dict[int, Span],
    settings: Settings,
) -> Floats:
    coefficients = freeze_coefficients(settings.freeze.defaults)
    inputs = freeze_inputs(crossings, sun, coefficients)
    chances = [
        most_chances(inputs, weather, *span, coefficients) for span in spans.values()
    ]
    none = np.zeros((*TRIALS, len(crossings), 0))
    return deviate_of(np.stack(chances, axis=-1)) if chances else none


def _winter_spans(log: pd.DataFrame, settings: Settings, on: date) -> dict[int, Span]:
    """First and last day of each winter from the log's first to the day before."""
    spans = {}
    for year in range(int(log["winter"].min()), settings.winter_of(on).year + 1):
        last = date(year + 1, *_LAST_MONTH_DAY)
        first = settings.winter_of(last)
        last = min(last, on - timedelta(days=1))
        if first <= last:
            spans[year] = first, last
    return spans


def _lived_and_thaws(
    crossings: GeoDataFrame, matches: pd.DataFrame, spans: dict[int, Span]
) -> tuple[NDArray[np.bool_], Floats]:
    """Pipes that lay there and visits that found ice, by winter, shape (n, w)."""
    lived = np.stack([_lived(crossings, year) for year in spans], axis=1)
    thaws = np.stack([_thaws(crossings, matches, year) for year in spans], axis=1)
    return lived, thaws * lived


def _lived(crossings: GeoDataFrame, year: int) -> NDArray[np.bool_]:
    """Tell which pipes lay there in the winter; an unknown year counts as always."""
    installed = crossings["install_year"].to_numpy(float)
    return np.isnan(installed) | (installed <= year)


def _thaws(crossings: GeoDataFrame, matches: pd.DataFrame, year: int) -> Floats:
    rows = _that_found_ice(matches[matches["winter"] == year])
    days = rows.assign(day=rows["day"].dt.normalize())
    visits = days.drop_duplicates(["culvert_id", "day"])["culvert_id"].value_counts()
    counts = visits.reindex(crossings.index.astype(str)).fillna(0)
    return np.asarray(counts, dtype=np.float64)


def _that_found_ice(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[rows["result"].isin(FOUND_ICE)]


def _groups(crossings: GeoDataFrame) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """Group crossings by what decides where crews go: road class, driveway or not."""
    road = crossings["road_class"].astype(str)
    if "network_class" in crossings:
        nearest = crossings["network_class"].astype(str)
        road = nearest.where(nearest != "", road)
    name = road.where(road != "", "unknown class")
    is_driveway = crossings["crossing_kind"] == "driveway"
    code, names = pd.factorize(name.where(~is_driveway, name + " driveway"), sort=True)
    return code.astype(np.intp), tuple(map(str, names))


def _match_notes(matches: pd.DataFrame, clear: pd.DataFrame) -> tuple[str, ...]:
    unclear = len(matches) - len(clear)
    verbs = ("names", "is") if unclear == 1 else ("name", "are")
    lost = (
        f"{unclear} of {len(matches)} rows of the log {verbs[0]} no crossing clearly "
        f"and {verbs[1]} not counted."
    )
    placed = clear[clear["match_by"] != "number"]
    if placed.empty:
        return (lost,)
    sure = placed["match_confidence"].mean()
    return (
        lost,
        f"{len(placed)} {'row' if len(placed) == 1 else 'rows'} of the log without a "
        f"number {'was' if len(placed) == 1 else 'were'} placed by words, road and "
        f"mile, with a confidence of {sure:.2f} on average.",
    )


def _skipped_note(spans: dict[int, Span], known: dict[int, Span]) -> tuple[str, ...]:
    skipped = [f"{year}-{year + 1}" for year in spans if year not in known]
    if not skipped:
        return ()
    listed = ", ".join(skipped[:SHOWN_ROWS]) + ", ..." * (len(skipped) > SHOWN_ROWS)
    return (f"Winters without enough weather are left out of the fit: {listed}.",)


def _lost_notes(lost: list[Span]) -> tuple[str, ...]:
    return tuple(
        f"No row from {first:%Y-%m-%d} to {last:%Y-%m-%d}, in a season when crews "
        "usually write some: taken for lost pages, not for open pipes."
        for first, last in lost
    )
