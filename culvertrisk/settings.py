"""The town file (TOML) as one frozen, validated model, and how it is read."""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError, field_validator

from culvertrisk.checks import InputError, file_problem, refuse, value_problem
from culvertrisk.forecast_model import Forecast
from culvertrisk.town_models import (
    Crew,
    Design,
    Files,
    FillPoint,
    Freeze,
    Gauge,
    History,
    KeepClear,
    Model,
    Plan,
    Prices,
    Reading,
    RoadClass,
    Storm,
    Town,
    Trees,
)

__all__ = [
    "Crew",
    "Design",
    "Files",
    "FillPoint",
    "Forecast",
    "Freeze",
    "Gauge",
    "History",
    "KeepClear",
    "Plan",
    "Prices",
    "Reading",
    "RoadClass",
    "Settings",
    "Storm",
    "Town",
    "Trees",
    "read_settings",
]


class Settings(Model):
    """A whole town file."""

    town: Town = Town()
    files: Files
    culverts: Reading = Reading()
    roads: Reading = Reading()
    weather: Reading = Reading()
    thaw_log: Reading = Reading()
    places: Reading = Reading()
    calls: Reading = Reading()
    rainfall: Reading = Reading()
    road_classes: dict[str, RoadClass] = Field({})
    default_road_class: RoadClass = RoadClass()
    crews: tuple[Crew, ...] = ()
    fill_points: tuple[FillPoint, ...] = ()
    keep_clear: tuple[KeepClear, ...] = ()
    forecast: Forecast = Forecast()
    prices: Prices = Prices()
    storm: Storm = Storm()
    design: Design = Design()
    trees: Trees = Trees()
    freeze: Freeze = Freeze()
    history: History = History()
    plan: Plan = Plan()
    folder: Path = Path(".")

    @field_validator("crews", "fill_points")
    @classmethod
    def _named_once(cls, items: tuple[Any, ...]) -> tuple[Any, ...]:
        names = [item.name for item in items]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"have each name once, {', '.join(twice)} stands twice")
        return items

    def path(self, key: str) -> Path | None:
        """Return the path of a file of the town, or None if it has none."""
        name = getattr(self.files, key)
        return self.folder / name if name else None

    def road_class(self, name: object) -> RoadClass:
        """Return the defaults of a road class; unknown classes get the default."""
        return self.road_classes.get(str(name), self.default_road_class)

    def winter_of(self, day: date) -> date:
        """Return the first day of the winter that a day belongs to."""
        month, day_of_month = (int(part) for part in self.town.winter_start.split("-"))
        start = date(day.year, month, day_of_month)
        return start if day >= start else start.replace(year=day.year - 1)


def read_settings(path: Path) -> Settings:
    """Read a town file.

    Parameters
    ----------
    path : Path
        The TOML file.

    Returns
    -------
    settings : Settings
        Frozen; ``folder`` is the town file's own folder.

    Raises
    ------
    InputError
        If the file is missing, is not TOML, or breaks a rule; all at once.
    """
    if not path.is_file():
        raise InputError(
            [
                file_problem(
                    path.name,
                    "exist",
                    "no such file",
                    "Write one with: culvertrisk start DATA...",
                )
            ]
        )
    try:
        words = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        problem = file_problem(path.name, "be TOML", str(error), "Correct that line.")
        raise InputError([problem]) from error
    try:
        return Settings(**{"folder": path.resolve().parent, **words})
    except ValidationError as error:
        refuse(_problem(path.name, item) for item in error.errors())
        raise


def _problem(file: str, item: Any) -> str:
    key = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in item["loc"])
    if item["type"] == "extra_forbidden":
        return value_problem(
            file,
            key.lstrip("."),
            "be a key of the town file",
            item["input"],
            "Correct the spelling or remove it; "
            "`culvertrisk start` writes every key with its meaning.",
        )
    rule = str(item["msg"]).removeprefix("Value error, ")
    rule = rule[0].lower() + rule[1:] if rule else "be valid"
    return value_problem(
        file, key.lstrip("."), f"be valid ({rule})", item["input"], "Correct it."
    )
