"""Proof on last winters: hide one, rank on the rest, count its thaws at the top."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.checks import InputError, file_problem
from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.log_record import LogRecord
from culvertrisk.formulas.ranking import brier_score, expected_hits, random_hits
from culvertrisk.plans.proof_misses import why_missed
from culvertrisk.plans.proof_silence import never_logged
from culvertrisk.plans.proof_verdict import calibration_words, verdict
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.hindcast import Hindcast, hindcast
from culvertrisk.stages.history import class_words
from culvertrisk.stages.log_fit import (
    RecordFit,
    fit_record,
    physics_alone,
    winter_chances,
)
from culvertrisk.stages.winter import freeze_coefficients

Floats = NDArray[np.float64]

LENGTHS = (20, 50, 100)
OURS, BLOCKED, REPEAT = "model, as logged", "model, blocked", "repeat list"
PHYSICS, SIZE, RANDOM = "physics alone", "pipe size alone", "chance"
LISTS = (OURS, BLOCKED, REPEAT, PHYSICS, SIZE)
_WINTERS_LEAST = 2


@dataclass(frozen=True)
class Proof:
    """How well each hidden winter's logged thaws were foretold.

    Attributes
    ----------
    hits : DataFrame
        A row for each hidden winter and list: ``winter``, ``list``,
        ``thawed_count`` and ``top_20`` .. ``top_100``, crossings thawed in the first
        so many, mean over the orders of ties.
    totals : DataFrame
        The same summed, by list; for ``chance`` also ``low_20``, ``high_20`` ..
    calibration : DataFrame
        By word of ``freeze_class``: ``crossing_winter_count``, thaws ``predicted``
        and ``logged``.
    brier, brier_usual : float
        Of the chance of a logged thaw, and of the town's usual share for everybody.
    misses : DataFrame
        The worst: ``winter``, ``culvert_id``, ``rank``, ``logged_chance``, ``why``.
    surprises, blind_spots : DataFrame
        Likely blocked, never logged, for a drive-by: where the log should have shown
        it, and where nobody looked. See ``never_logged``.
    interval_fraction : float
        Share of lists drawn at random that lie from low to high.
    thawed_crossing_count : int
        Crossings with a thaw in any hidden winter.
    verdict, calibration_notes, notes : str, tuple of str, tuple of str
        Whether the repeat list is beaten, whether the log is long enough for the
        model to be fitted, and what the log was taken for.
    """

    hits: pd.DataFrame
    totals: pd.DataFrame
    calibration: pd.DataFrame
    brier: float
    brier_usual: float
    misses: pd.DataFrame
    surprises: pd.DataFrame
    blind_spots: pd.DataFrame
    interval_fraction: float
    thawed_crossing_count: int
    verdict: str
    calibration_notes: tuple[str, ...]
    notes: tuple[str, ...]


def prove(
    crossings: GeoDataFrame,
    thaw_log: pd.DataFrame | None,
    weather: pd.DataFrame,
    sun: Sunlight | None,
    settings: Settings,
) -> Proof:
    """Hide each winter of the log in turn and rank by all the others.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts, site and access.
    thaw_log : DataFrame or None
        The table of ``read_thaw_log``.
    weather : DataFrame
        The table of ``read_weather``.
    sun : Sunlight or None
        Sun at both ends by season.
    settings : Settings
        Start of the winter.

    Returns
    -------
    proof : Proof
        All in terms of crossings with a thaw logged in the hidden winter, each
        counted once a winter.

    Raises
    ------
    InputError
        If fewer than two winters with weather have a thaw of a known crossing.

    Notes
    -----
    The rest are earlier and later winters alike. Of the hidden winter only the
    weather is known. The log holds what crews were sent to, so the list that is
    compared with it is the chance of a *logged* thaw: that of a block times the
    share logged on that class of road; the chance of a block stands beside it.
    """
    after = _day_after(thaw_log, weather)
    # remarks of a hidden winter would give away what froze in it
    crossings = crossings.drop(columns="log_note", errors="ignore")
    past = hindcast(crossings, thaw_log, weather, sun, settings, after)
    hidden = [] if past is None else _thawed_winters(past.record)
    if past is None or len(hidden) < _WINTERS_LEAST:
        raise InputError([_too_little(len(hidden))])
    fits = [fit_record(_without(past.record, w), past.coefficients) for w in hidden]
    told = pd.concat(
        [_foretold(past, *p, crossings) for p in zip(hidden, fits, strict=True)]
    )
    freeze = freeze_coefficients(settings.freeze.defaults)
    return _proof(past, told, fits, crossings, freeze)


def _proof(
    past: Hindcast,
    told: pd.DataFrame,
    fits: list[RecordFit],
    crossings: GeoDataFrame,
    freeze: Mapping[str, Floats],
) -> Proof:
    (hits, totals), thawed = _hits(told, past), told["is_thawed"].to_numpy(float)
    whole = fit_record(past.record, past.coefficients)
    return Proof(
        hits=hits,
        totals=totals,
        calibration=_calibration(told, _words(told, freeze)),
        brier=brier_score(told[OURS], thawed),
        brier_usual=brier_score(told["usual"], thawed),
        misses=_misses(told, past, crossings),
        **never_logged(past, whole, crossings, freeze),
        interval_fraction=past.coefficients["interval_fraction"],
        thawed_crossing_count=told.loc[told["is_thawed"], "place"].nunique(),
        verdict=_verdict(hits, past.coefficients["interval_fraction"]),
        calibration_notes=calibration_words(past, whole, fits),
        notes=past.notes,
    )


def _words(told: pd.DataFrame, freeze: Mapping[str, Floats]) -> NDArray[np.object_]:
    return class_words(told[BLOCKED].to_numpy(float), freeze)


def _day_after(log: pd.DataFrame | None, weather: pd.DataFrame) -> date:
    """The first day of which neither log nor observed weather tells anything."""
    seen = weather.index[weather["is_forecast"] == 0]
    last = seen.max() if len(seen) else weather.index.max()
    if log is not None and not log.empty:
        last = min(last, log["day"].max())
    return (last + timedelta(days=1)).date()


def _thawed_winters(record: LogRecord) -> list[int]:
    thaws = record.is_thawed & record.is_exposed
    return [int(winter) for winter in np.flatnonzero(thaws.any(axis=0))]


def _too_little(winters: int) -> str:
    return file_problem(
        "thaw log",
        f"have thaws of known crossings in at least {_WINTERS_LEAST} winters with "
        "weather to be proved on",
        f"{winters} such winter{'' if winters == 1 else 's'}",
        "Keep the log for another winter, or add the weather of the earlier ones.",
    )


def _without(record: LogRecord, winter: int) -> LogRecord:
    callers = record.callers
    if callers is not None:
        rest = np.delete(callers.is_called, winter, axis=1)
        callers = replace(callers, is_called=rest)
    return replace(
        record,
        callers=callers,
        deviate=np.delete(record.deviate, winter, axis=-1),
        is_thawed=np.delete(record.is_thawed, winter, axis=1),
        is_exposed=np.delete(record.is_exposed, winter, axis=1),
        kept_fraction=np.delete(record.kept_fraction, winter),
    )


def _foretold(
    past: Hindcast, winter: int, fit: RecordFit, crossings: GeoDataFrame
) -> pd.DataFrame:
    """Score every crossing of a hidden winter by each list, knowing the others."""
    record = past.record
    rest, alone = _without(record, winter), physics_alone(past.coefficients)
    modelled = winter_chances(record, fit.model)[:, winter]
    blocked = corrected_chance(modelled, fit.history_factor)
    kept = record.kept_fraction[winter]
    thaws = rest.is_thawed & rest.is_exposed
    size_m = crossings["rise_m"].to_numpy(float)
    known_m = size_m[np.isfinite(size_m)]
    usual_m = np.median(known_m) if known_m.size else 0.0
    table = pd.DataFrame(
        {
            "row": winter,
            "place": np.arange(len(blocked)),
            "is_thawed": record.is_thawed[:, winter],
            OURS: blocked * fit.logged_fraction * kept,
            BLOCKED: blocked,
            REPEAT: np.delete(past.visits, winter, axis=1).sum(axis=1),
            PHYSICS: winter_chances(record, alone)[:, winter],
            SIZE: -np.where(np.isfinite(size_m), size_m, usual_m),
            "usual": thaws.sum() / max(rest.is_exposed.sum(), 1),
            "logged_fraction": fit.logged_fraction,
        }
    )
    return table[record.is_exposed[:, winter]]


def _hits(told: pd.DataFrame, past: Hindcast) -> tuple[pd.DataFrame, pd.DataFrame]:
    rows, draws = [], []
    for winter, table in told.groupby("row"):
        thawed = table["is_thawed"].to_numpy(float)
        draws.append((len(table), int(thawed.sum())))
        for name in LISTS:
            found = {f"top_{k}": expected_hits(table[name], thawed, k) for k in LENGTHS}
            year = past.winters[int(str(winter))]
            rows.append(
                {"winter": year, "list": name, "thawed_count": draws[-1][1], **found}
            )
    hits = pd.DataFrame(rows)
    totals = hits.drop(columns="winter").groupby("list").sum().loc[[*LISTS]]
    share = past.coefficients["interval_fraction"]
    return hits, pd.concat([totals, _by_chance(draws, share)])


def _by_chance(draws: list[tuple[int, int]], share: float) -> pd.DataFrame:
    row: dict[str, float] = {"thawed_count": sum(hits for _, hits in draws)}
    for k in LENGTHS:
        lists = [(places, hits, min(k, places)) for places, hits in draws]
        row[f"top_{k}"], row[f"low_{k}"], row[f"high_{k}"] = random_hits(lists, share)
    return pd.DataFrame([row], index=pd.Index([RANDOM], name="list"))


def _calibration(told: pd.DataFrame, words: NDArray[np.object_]) -> pd.DataFrame:
    by_word = told.assign(word=words).groupby("word")
    return pd.DataFrame(
        {
            "crossing_winter_count": by_word.size(),
            "predicted": by_word[OURS].sum(),
            "logged": by_word["is_thawed"].sum(),
        }
    ).reindex([word for word in ("severe", "high", "some", "low") if word in words])


def _misses(
    told: pd.DataFrame, past: Hindcast, crossings: GeoDataFrame
) -> pd.DataFrame:
    ranked = told.assign(rank=told.groupby("row")[OURS].rank(ascending=False))
    count = int(past.coefficients["shown_miss_count"])
    worst = ranked[ranked["is_thawed"]].sort_values(
        ["rank", "row", "place"], ascending=[False, True, True]
    )
    rows = [
        {
            "winter": past.winters[row["row"]],
            "culvert_id": str(crossings.index[row["place"]]),
            "rank": row["rank"],
            "logged_chance": row[OURS],
            "why": why_missed(crossings.iloc[row["place"]], past, row),
        }
        for row in worst.head(count).to_dict("records")
    ]
    return pd.DataFrame(rows)


def _verdict(hits: pd.DataFrame, sure_fraction: float) -> str:
    by_list = hits.set_index("winter")
    top = [f"top_{k}" for k in LENGTHS]
    ours, theirs = (by_list.loc[by_list["list"] == n, top] for n in (OURS, REPEAT))
    return verdict(ours, theirs, sure_fraction)
