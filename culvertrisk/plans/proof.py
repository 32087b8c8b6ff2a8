"""Proof on last winters: hide one, rank on the rest, count its thaws at the top."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.checks import InputError, file_problem
from culvertrisk.formulas.bayes import corrected_chance
from culvertrisk.formulas.log_model import LogRecord
from culvertrisk.formulas.ranking import brier_score, expected_hits, random_hits
from culvertrisk.plans.proof_misses import why_missed
from culvertrisk.settings import Settings
from culvertrisk.stages.freeze_inputs import Sunlight
from culvertrisk.stages.hindcast import Hindcast, hindcast
from culvertrisk.stages.history import class_words
from culvertrisk.stages.log_fit import fit_record, winter_chances
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
    surprises : DataFrame
        Likely blocked, never logged: ``culvert_id``, ``blocked_chance``,
        ``logged_fraction``, ``road_name``; for a drive-by. Driveways aside.
    interval_fraction : float
        Share of lists drawn at random that lie from low to high.
    verdict, notes : str, tuple of str
        Whether the repeat list is beaten, and what the log was taken for.
    """

    hits: pd.DataFrame
    totals: pd.DataFrame
    calibration: pd.DataFrame
    brier: float
    brier_usual: float
    misses: pd.DataFrame
    surprises: pd.DataFrame
    interval_fraction: float
    verdict: str
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
    told = pd.concat(
        [_foretold(past, winter, crossings).assign(row=winter) for winter in hidden]
    )
    hits, totals = _hits(told, past)
    thawed = told["is_thawed"].to_numpy(float)
    return Proof(
        hits=hits,
        totals=totals,
        calibration=_calibration(told, _words(told, settings)),
        brier=brier_score(told[OURS], thawed),
        brier_usual=brier_score(told["usual"], thawed),
        misses=_misses(told, past, crossings),
        surprises=_surprises(past, crossings),
        interval_fraction=past.coefficients["interval_fraction"],
        verdict=_verdict(hits, totals),
        notes=past.notes,
    )


def _words(told: pd.DataFrame, settings: Settings) -> NDArray[np.object_]:
    coefficients = freeze_coefficients(settings.freeze.defaults)
    return class_words(told[BLOCKED].to_numpy(float), coefficients)


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
        f"{winters} such winters",
        "Keep the log for another winter, or add the weather of the earlier ones.",
    )


def _without(record: LogRecord, winter: int) -> LogRecord:
    return replace(
        record,
        deviate=np.delete(record.deviate, winter, axis=-1),
        is_thawed=np.delete(record.is_thawed, winter, axis=1),
        is_exposed=np.delete(record.is_exposed, winter, axis=1),
        kept_fraction=np.delete(record.kept_fraction, winter),
    )


def _foretold(past: Hindcast, winter: int, crossings: GeoDataFrame) -> pd.DataFrame:
    """Score every crossing of a hidden winter by each list, knowing the others."""
    record = past.record
    rest = _without(record, winter)
    fit = fit_record(rest, past.coefficients)
    modelled = winter_chances(record, fit.model)[:, winter]
    blocked = corrected_chance(modelled, fit.history_factor)
    kept = record.kept_fraction[winter]
    thaws = rest.is_thawed & rest.is_exposed
    size_m = crossings["rise_m"].to_numpy(float)
    known_m = size_m[np.isfinite(size_m)]
    usual_m = np.median(known_m) if known_m.size else 0.0
    table = pd.DataFrame(
        {
            "place": np.arange(len(blocked)),
            "is_thawed": record.is_thawed[:, winter],
            OURS: blocked * fit.logged_fraction * kept,
            BLOCKED: blocked,
            REPEAT: np.delete(past.visits, winter, axis=1).sum(axis=1),
            PHYSICS: winter_chances(record)[:, winter],
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


def _surprises(past: Hindcast, crossings: GeoDataFrame) -> pd.DataFrame:
    """Likely blocked in a usual winter by all winters' fit, yet never logged."""
    record, fit = past.record, fit_record(past.record, past.coefficients)
    factor = fit.history_factor[:, None]
    blocked = corrected_chance(winter_chances(record, fit.model), factor)
    lived = np.maximum(record.is_exposed.sum(axis=1), 1)
    mean = (blocked * record.is_exposed).sum(axis=1) / lived
    table = pd.DataFrame(
        {
            "culvert_id": crossings.index.astype(str),
            "blocked_chance": mean,
            "logged_fraction": fit.logged_fraction,
            "road_name": crossings["road_name"].to_numpy(str),
        }
    )
    # a driveway's owner opens it: that it is not in the log is no surprise
    is_town_job = (crossings["crossing_kind"] != "driveway").to_numpy(bool)
    never = record.is_exposed.any(axis=1) & (past.logged_thaw_count == 0) & is_town_job
    likely = table[never].sort_values(
        ["blocked_chance", "culvert_id"], ascending=[False, True]
    )
    count = int(past.coefficients["surprise_count"])
    return likely.head(count).reset_index(drop=True)


def _verdict(hits: pd.DataFrame, totals: pd.DataFrame) -> str:
    said = []
    for k in LENGTHS:
        total = totals[f"top_{k}"].astype(float).to_dict()
        by_winter = hits.pivot(index="winter", columns="list", values=f"top_{k}")
        ours = by_winter[OURS].to_numpy(float)
        ahead = int((ours > by_winter[REPEAT].to_numpy(float)).sum())
        own, theirs = round(total[OURS]), round(total[REPEAT])
        word = "beats" if own > theirs else "does not beat"
        said.append(
            f"In the top {k} the model {word} the repeat list: {own} logged thaws "
            f"against {theirs}, ahead in {ahead} of {len(ours)} winters."
        )
    return " ".join(said)
