"""Which frozen culverts to open, in which order, and a map of the risk."""

from importlib import import_module
from typing import Any

_HOMES = {
    "InputError": "checks",
    "assess": "pipeline",
    "columns": "tables",
    "demo_folder": "pipeline",
    "plan_morning": "pipeline",
    "prove": "pipeline",
    "read_settings": "settings",
    "read_town": "pipeline",
    "sources": "tables",
    "start_town": "pipeline",
    "table": "tables",
    "write_reports": "pipeline",
}
__all__ = [*_HOMES]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for: help stays quick."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
