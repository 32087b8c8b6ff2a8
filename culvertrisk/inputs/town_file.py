"""A town file (TOML) written from the data found: every key, its unit and meaning."""

import json
import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from culvertrisk import settings
from culvertrisk.checks import InputError, file_problem
from culvertrisk.units import DAY_S, clock, seconds_of_day

_BARE_KEY = re.compile(r"^[A-Za-z0-9_-]+$")
_WIDTH = 44  # characters before the comment of a line
_TEXTS = ("folder",)  # keys that the program fills in by itself
_INTRODUCTION = """\
# Town file of culvertrisk. Every key stands here with its unit and meaning.
# A line that begins with '# ' is a default or an example: remove the '# ' to
# change it. A quantity may carry its unit in quotes: hose_m = "200 ft". A bare
# number is in the unit in brackets, whatever units the town's map is shown in.
"""
# What an example shows where there is no default, or where the default is nothing.
_EXAMPLES: dict[str, Any] = {
    "road_classes": "A",
    "Crew.name": "Truck 1",
    "Crew.method": "hot water",
    "Crew.flow_m3s": "5 gpm",
    "Crew.pressure_pa": "2000 psi",
    "Crew.burner_input_w": "400000 BTU/h",
    "Crew.hose_m": "200 ft",
    "Crew.tank_m3": "300 gallon",
    "Crew.fuel_tank_m3": "10 gallon",
    "FillPoint.name": "Fire hall",
    "FillPoint.rate_m3s": "100 gpm",
    "KeepClear.reason": "school bus",
    "KeepClear.clear_from": "06:30",
    "KeepClear.clear_until": "08:15",
}


def write_town_file(
    path: Path,
    files: Mapping[str, Path],
    understood: Mapping[str, settings.Reading],
) -> None:
    """Write a commented town file; it never writes over one.

    Parameters
    ----------
    path : Path
        The town file to write.
    files : mapping of str to Path
        Data file of each kind, as :func:`file_kinds.find_files` returns; the keys
        are those of ``files`` in the town file.
    understood : mapping of str to settings.Reading
        What was found in a file: CRS, columns and units; they are written as
        active keys, so that they can be seen and corrected.

    Raises
    ------
    InputError
        If the town file is there already, or no culverts were found.

    Notes
    -----
    The keys come from the models of ``settings``, so that none can be forgotten.
    """
    if path.exists():
        remedy = "Remove or rename it, or give another name; nothing was changed."
        rule = "not exist yet"
        raise InputError([file_problem(path.name, rule, "a town file", remedy)])
    if "culverts" not in files:
        remedy = "Give the file of the inventory: culvertrisk start DATA..."
        shown = "none among " + (", ".join(f.name for f in files.values()) or "nothing")
        rule = "name an inventory of culverts"
        raise InputError([file_problem(path.name, rule, shown, remedy)])
    folder = path.resolve().parent
    active: dict[str, Any] = {
        "files": {kind: _relative(file, folder) for kind, file in files.items()}
    }
    for kind, reading in understood.items():
        active[kind] = reading.model_dump(exclude_defaults=True)
    text = "\n".join([_INTRODUCTION, *_sections(settings.Settings, active)])
    _write_whole(path, text + "\n")


def _relative(file: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(file.resolve(), folder)).as_posix()
    except ValueError:  # another drive
        return file.resolve().as_posix()


def _write_whole(path: Path, text: str) -> None:
    """Write beside the file first, so that a half-written one is never found."""
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def _sections(model: type[BaseModel], active: Mapping[str, Any]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        inner = _inner_model(field.annotation)
        if name in _TEXTS:
            continue
        if inner is None:
            yield _line(name, field, None)
        elif get_origin(field.annotation) is dict:
            yield from _example_table(f"[{name}.{_EXAMPLES[name]}]", inner)
        elif get_origin(field.annotation) is tuple:
            yield from _example_table(f"[[{name}]]", inner)
        else:
            yield from _table(name, inner, active.get(name, {}))


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    """Return the model in ``Model``, ``dict[str, Model]`` or ``tuple[Model, ...]``."""
    for part in (annotation, *get_args(annotation)):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
    return None


def _table(
    name: str, model: type[BaseModel], active: Mapping[str, Any]
) -> Iterator[str]:
    yield f"[{name}]  # {_meaning(model)}"
    tables = []
    for key, field in model.model_fields.items():
        if get_origin(field.annotation) is dict:
            tables.append((key, field))
        else:
            yield _line(key, field, active.get(key))
    for key, field in tables:
        words = active.get(key, {})
        yield f"[{name}.{key}]  # {field.description or ''}".rstrip()
        yield from (f"{_key(ours)} = {_value(word)}" for ours, word in words.items())
    yield ""


def _example_table(header: str, model: type[BaseModel]) -> Iterator[str]:
    yield f"# {header}  # {_meaning(model)}"
    for key, field in model.model_fields.items():
        yield _line(key, field, None, _EXAMPLES.get(f"{model.__name__}.{key}"))
    yield ""


def _meaning(model: type[BaseModel]) -> str:
    return (model.__doc__ or "").strip().splitlines()[0]


def _line(key: str, field: FieldInfo, active: Any, example: Any = None) -> str:
    """Return one key with value and meaning; commented out unless it is active."""
    after = ""
    if active is not None:
        start = f"{_key(key)} = {_value(active)}"
    elif field.is_required():
        shown = example if example is not None else _blank(field)
        start, after = f"# {_key(key)} = {_value(shown)}", "; needed"
    elif field.default is None:
        start, after = f"# {_key(key)} =", "; no default"
    elif example is not None:
        start, after = f"# {_key(key)} = {_value(example)}", f"; else {field.default}"
    else:
        start = f"# {_key(key)} = {_value(_default(field))}"
    return f"{start:<{_WIDTH}}  # {field.description or ''}{after}".rstrip(" #")


def _default(field: FieldInfo) -> Any:
    """Return a default as a user writes it: clock times as HH:MM."""
    value = field.default
    if "[HH:MM]" not in (field.description or "") or not isinstance(value, float):
        return value
    text = "24:00" if value == DAY_S else clock(value)
    return text if seconds_of_day(text) == value else value


def _blank(field: FieldInfo) -> Any:
    return "" if field.annotation is str else 0.0


def _key(key: str) -> str:
    return key if _BARE_KEY.match(key) else json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str | Path):
        return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, dict):
        pairs = (f"{_key(str(k))} = {_value(v)}" for k, v in value.items())
        return "{" + ", ".join(pairs) + "}"
    return repr(value)
