"""The day asked: which it is, which typed numbers hold for it, and where they are from.

This is the only place that puts typed numbers into the weather: the stages after it
read the day's row, and of ``settings.forecast`` what holds for that day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from culvertrisk.checks import InputError, value_problem
from culvertrisk.forecast_model import OPTION_OF
from culvertrisk.inputs.reading import note_table
from culvertrisk.inputs.town import TownData
from culvertrisk.settings import Forecast, Settings
from culvertrisk.stages.flood_weather import day_water
from culvertrisk.stages.weather_gaps import Said, weather_notes
from culvertrisk.stages.winter_weather import with_forecast
from culvertrisk.town_defaults import default_values
from culvertrisk.units import quantity, to_unit

TYPED, IN_TOWN_FILE = "typed with the command", "typed in the town file"
FORECAST, RECORDED = "weather file, forecast", "weather file, recorded"
MADE, UNKNOWN = "made up", "unknown"
_TOLD = {"air_min_c": "low", "air_max_c": "high", "rain_m": "rain"}
_CALLED = {
    "air_min_c": "Temperature",
    "snow_depth_m": "Depth of snow",
    "rain_m": "Rain",
    "snowfall_water_m": "Snowfall",
}


@dataclass(frozen=True)
class DayAsked:
    """The weather that the day's scores and plan stand on; NaN where it is unknown.

    ``sources`` says by name (``low``, ``high``, ``rain``, and ``water in the snow``
    where it is told) where a number is from; ``made_up`` is a sentence where the whole
    winter is made up, ``not_used`` one where the town file's forecast is for another
    day. ``assumed`` says what stands in for what the weather of the winter leaves out;
    ``no_flow`` what keeps the day without a flow, so that no flood is scored.
    ``forecast`` is what holds for the day.
    """

    on: date
    low_c: float
    high_c: float
    rain_m: float
    forecast: Forecast
    sources: Mapping[str, str] = field(default_factory=dict)
    made_up: str = ""
    not_used: str = ""
    assumed: tuple[str, ...] = ()
    no_flow: str = ""


def asked_day(
    data: TownData, on: date | None = None, typed: Mapping[str, float] | None = None
) -> tuple[TownData, DayAsked]:
    """Put the numbers typed for the day asked into the town's weather.

    Parameters
    ----------
    data : TownData
        As read.
    on : date, optional
        The day asked. Without it the first forecast day of the weather; where it has
        none and numbers are typed, the day they are for, else the last day.
    typed : mapping of str to float, optional
        Of ``typed_numbers``: they go before the forecast of the town file.

    Returns
    -------
    data, asked : TownData, DayAsked
        The data with one row of weather for the day, with ``settings.forecast`` as it
        holds for that day, and notes where the town file's forecast does not or the
        weather of the winter is not complete.

    Raises
    ------
    InputError
        If the low of the day is above its high once all is put together, or a default
        of the town file cannot be used.

    Notes
    -----
    The town file's forecast is for its ``date``; without one for the first forecast
    day, or the first day after the weather that is recorded. Where no weather is given
    it then counts only when no day is asked for.
    """
    settings, typed = data.settings, typed or {}
    block, is_made = settings.forecast, settings.path("weather") is None
    day = on or _day_without_on(data.weather, block, typed, is_made)
    meant = _meant(block, data.weather, on, is_made)
    held = _held(block, typed, is_used=meant == day)
    weather = with_forecast(data.weather, day, held)
    low_c, high_c, rain_m = _numbers_of(weather, day)
    sources = _sources(data, day, held, typed)
    _refuse_low_above_high(low_c, high_c, sources, settings.town.units)
    left_out = _left_out(settings, weather, day)
    asked = DayAsked(
        on=day,
        low_c=low_c,
        high_c=high_c,
        rain_m=rain_m,
        forecast=held,
        sources=sources,
        made_up=_made_up(settings) if is_made else "",
        not_used=_not_used(block, meant, day),
        assumed=() if is_made else tuple(_in_words(note) for note in left_out),
        no_flow=_no_flow(settings, held, weather, day),
    )
    return _with_day(data, weather, asked, left_out), asked


def recorded_only(settings: Settings) -> Settings:
    """Return settings without typed numbers: what was typed is for one morning."""
    rest = Forecast(spread_fraction=settings.forecast.spread_fraction)
    return settings.model_copy(update={"forecast": rest})


def made_up_winter(settings: Settings) -> str:
    """Say that the winter is made up; blank where a weather file is given."""
    return _made_up(settings) if settings.path("weather") is None else ""


def _numbers_of(weather: pd.DataFrame, day: date) -> list[float]:
    row = weather.reindex([pd.Timestamp(day)])[[*_TOLD]].to_numpy(float)
    return [float(value) for value in row[0]]


def _day_without_on(
    weather: pd.DataFrame, block: Forecast, typed: Mapping[str, float], is_made: bool
) -> date:
    if not is_made and (weather["is_forecast"] == 1).any():
        return _first_forecast_day(weather)
    if block.date is not None:
        return block.date
    is_typed = bool(typed or _numbers(block)) and not is_made
    return _first_forecast_day(weather) if is_typed else _last_known(weather)


def _meant(
    block: Forecast, weather: pd.DataFrame, on: date | None, is_made: bool
) -> date | None:
    """Day that the block is for; None where nothing tells."""
    if block.date is not None or not is_made:
        return block.date or _first_forecast_day(weather)
    return None if on else _last_known(weather)


def _first_forecast_day(weather: pd.DataFrame) -> date:
    marked = weather.index[weather["is_forecast"] == 1]
    return marked[0].date() if len(marked) else _last_known(weather) + timedelta(days=1)


def _last_known(weather: pd.DataFrame) -> date:
    known = weather[["air_min_c", "air_max_c"]].notna().all(axis=1)
    return (weather.index[known] if known.any() else weather.index)[-1].date()


def _numbers(block: Forecast) -> dict[str, Any]:
    """What is typed in the block for one morning."""
    every_morning = {"date", "spread_fraction"}
    return block.model_dump(exclude=every_morning, exclude_none=True)


def _held(block: Forecast, typed: Mapping[str, float], *, is_used: bool) -> Forecast:
    kept = _numbers(block) if is_used else {}
    spread = {"spread_fraction": block.spread_fraction}
    # not checked again: a low above a high is told with where each is from
    return Forecast.model_construct(**{**kept, **spread, **typed})


def _not_used(block: Forecast, meant: date | None, day: date) -> str:
    if meant == day or not _numbers(block):
        return ""
    if block.date is None:
        why = f"it has no date, so that it is for {meant or 'the day of typing'} only"
        remedy = f'give it date = "{day}" if it is for that day'
    else:
        why, remedy = f"it is for {block.date}", "type the day's own numbers"
    return (
        f"The [forecast] block of the town file is not used for {day}: {why}; {remedy}."
    )


def _sources(
    data: TownData, day: date, held: Forecast, typed: Mapping[str, float]
) -> dict[str, str]:
    before = data.weather.reindex([pd.Timestamp(day)])
    of_file = FORECAST if (before["is_forecast"] == 1).any() else RECORDED
    if data.settings.path("weather") is None:
        of_file = MADE
    sources = {}
    for key, name in _TOLD.items():
        known = of_file if before[key].notna().any() else UNKNOWN
        in_block = IN_TOWN_FILE if getattr(held, key) is not None else known
        sources[name] = TYPED if key in typed else in_block
    if held.snow_water_m is not None:  # no option of the command tells it
        sources["water in the snow"] = IN_TOWN_FILE
    return sources


def _refuse_low_above_high(
    low_c: float, high_c: float, sources: Mapping[str, str], units: str
) -> None:
    """Refuse what was typed if it does not go with the other number of the day."""
    if not low_c > high_c:
        return
    low, high = _air(low_c, units), _air(high_c, units)
    given = {TYPED: 2, IN_TOWN_FILE: 1}  # what was typed last is told first
    by_low = given.get(sources["low"], 0) >= given.get(sources["high"], 0)
    key, found = ("air_min_c", low) if by_low else ("air_max_c", high)
    source = sources[_TOLD[key]]
    place, name = "town file", f"forecast.{key}"
    if source == TYPED:
        place, name = "command line", OPTION_OF[key]
    rule = f"not be below the day's low, {low} ({sources['low']})"
    if by_low:
        rule = f"not be above the day's high, {high} ({sources['high']})"
    remedy = "Type both, the low and the high."
    raise InputError([value_problem(place, name, rule, found, remedy)])


def _air(air_c: float, units: str) -> str:
    if units == "us":
        return f"{to_unit(f'{air_c} degC', 'degF'):.0f} °F"
    return f"{air_c:.1f} °C"


def _made_up(settings: Settings) -> str:
    frost = quantity(settings.town.freezing_index_cday, "°C·days")
    return f"No weather file: a winter of {frost} below freezing is assumed."


def _left_out(settings: Settings, weather: pd.DataFrame, day: date) -> list[Said]:
    """Notes on what the winter's weather does not tell, up to the day."""
    index = pd.date_range(settings.winter_of(day), day, name="day")
    c = default_values("freeze", settings.freeze.defaults)
    file = Path(settings.files.weather or "town.toml").name
    place = {"file": file, "row": 0, "kind": "assumed"}
    return [{**place, **said} for said in weather_notes(weather.reindex(index), c)]


def _no_flow(
    settings: Settings, held: Forecast, weather: pd.DataFrame, day: date
) -> str:
    of_day = settings.model_copy(update={"forecast": held})
    missing = day_water(weather, of_day, day).note
    return f"Flood is not scored today: {missing}." if missing else ""


def _in_words(note: Said) -> str:
    name = str(_CALLED[str(note["column"])])
    return f"{name} {note['found']}. Taken instead: {note['understood']}."


def _with_day(
    data: TownData, weather: pd.DataFrame, asked: DayAsked, left_out: list[Said]
) -> TownData:
    notes = data.notes
    if left_out:
        notes = pd.concat([notes, note_table(left_out)], ignore_index=True)
    if asked.not_used:
        note = {"file": "town.toml", "row": 0, "column": "forecast", "kind": "refused"}
        note |= {"found": f"asked for {asked.on}", "understood": asked.not_used}
        notes = pd.concat([notes, note_table([note])], ignore_index=True)
    settings = data.settings.model_copy(update={"forecast": asked.forecast})
    return replace(data, weather=weather, settings=settings, notes=notes)
