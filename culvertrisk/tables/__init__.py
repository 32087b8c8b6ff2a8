"""Published tables as printed, and the dictionary of the crossings table."""

from functools import cache
from importlib.resources import files

import pandas as pd

_FOLDER = files(__name__)


@cache
def _read(name: str) -> pd.DataFrame:
    with (_FOLDER / f"{name}.csv").open(encoding="utf-8") as stream:
        return pd.read_csv(stream, keep_default_na=False, na_values=[""])


def table(name: str) -> pd.DataFrame:
    """Return a table of this folder by its name, as printed in its source.

    Parameters
    ----------
    name : str
        File name without its ending, such as ``"culvert_inlets"``.

    Returns
    -------
    rows : DataFrame
        A fresh copy; blank cells are missing.

    Raises
    ------
    FileNotFoundError
        If there is no such table.
    """
    return _read(name).copy()


def columns() -> pd.DataFrame:
    """Return the dictionary of the crossings table, indexed by column name."""
    return table("columns").set_index("name")


def sources() -> pd.Series:
    """Return every citation used, indexed by its key."""
    return table("sources").set_index("key")["citation"]
