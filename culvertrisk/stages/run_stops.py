"""What would stop a run though every file can be read, found before the long work."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd

from culvertrisk.checks import InputError, refuse
from culvertrisk.inputs.town import TownData
from culvertrisk.settings import Freeze
from culvertrisk.stages.day_asked import asked_day
from culvertrisk.stages.dem_fit import dem_fit
from culvertrisk.stages.ground import trees_of
from culvertrisk.stages.land_cover import land_of
from culvertrisk.stages.log_matching import history_defaults
from culvertrisk.stages.winter import freeze_coefficients
from culvertrisk.stages.winter_weather import winter_weather


def refuse_what_stops_a_run(data: TownData) -> None:
    """Refuse what the stages would refuse later, all of it at once.

    Parameters
    ----------
    data : TownData
        All files of the town, read.

    Raises
    ------
    InputError
        If the low of the day is above its high, the winter up to that day has too long
        a gap, the DEM does not fit the inventory, a raster of land cover or trees
        cannot be used, or a default of the town file is unknown or out of its limits.
    """
    settings = data.settings
    dem = Path(settings.files.dem or "elevation raster").name
    found: list[str] = []
    steps: tuple[Callable[[], object], ...] = (
        lambda: _refuse_gaps(data),
        lambda: dem_fit(data.crossings, data.terrain, data.roads, name=dem),
        lambda: land_of(data.terrain, settings),
        lambda: trees_of(data),
        lambda: freeze_coefficients(settings.freeze.defaults),
        lambda: history_defaults(settings.history.defaults),
    )
    for step in steps:
        try:
            step()
        except InputError as error:
            found += error.problems
    refuse(found)


def winter_notes(data: TownData) -> pd.DataFrame:
    """Return the notes of the files and of the winter up to the day asked.

    Only the former where ``refuse_what_stops_a_run`` refuses that day.
    """
    try:
        return asked_day(_with_usable_defaults(data))[0].notes
    except InputError:
        return data.notes


def _with_usable_defaults(data: TownData) -> TownData:
    """Leave the town's own out where any is refused, so that the rest is told too."""
    settings = data.settings
    try:
        freeze_coefficients(settings.freeze.defaults)
    except InputError:
        settings = settings.model_copy(update={"freeze": Freeze()})
    return replace(data, settings=settings)


def _refuse_gaps(data: TownData) -> None:
    """Refuse the weather of the day asked without ``--on``, and of its winter."""
    data, asked = asked_day(_with_usable_defaults(data))
    first_day = data.settings.winter_of(asked.on)
    c = freeze_coefficients(data.settings.freeze.defaults)
    winter_weather(data.weather, first_day, asked.on, c)
