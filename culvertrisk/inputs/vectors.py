"""Opening a vector file in the work CRS and finding its columns."""

import re
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from culvertrisk import settings
from culvertrisk.checks import InputError, refuse, value_problem
from culvertrisk.inputs.layers import open_vector

Aliases = Mapping[str, tuple[str, ...]]


def read_vector(
    path: Path, section: str, reading: settings.Reading, work_crs: str
) -> gpd.GeoDataFrame:
    """Read any vector file into the work CRS.

    Parameters
    ----------
    path : Path
        The file.
    section : str
        Section of the town file that speaks of it, such as ``roads``.
    reading : settings.Reading
        Its ``crs`` stands in where the file declares none.
    work_crs : str
        CRS in metres in which the work is done.

    Returns
    -------
    rows : GeoDataFrame
        Rows numbered from 1, geometry in two dimensions [m].

    Raises
    ------
    InputError
        If the file is missing, cannot be read, or has no known CRS.
    """
    return in_work_crs(open_vector(path), path.name, section, reading, work_crs)


def in_work_crs(
    rows: gpd.GeoDataFrame,
    file: str,
    section: str,
    reading: settings.Reading,
    work_crs: str,
) -> gpd.GeoDataFrame:
    """Put rows into the work CRS; see :func:`read_vector`."""
    if rows.crs is None:
        if not reading.crs:
            problem = value_problem(
                file,
                f"{section}.crs",
                "name the CRS of the coordinates, which the file does not declare",
                "",
                f'Set {section}.crs in the town file, such as "EPSG:4326".',
            )
            raise InputError([problem])
        try:
            rows = rows.set_crs(CRS.from_user_input(reading.crs))
        except CRSError as error:
            problem = value_problem(
                file, f"{section}.crs", "be a CRS", reading.crs, 'Write "EPSG:32616".'
            )
            raise InputError([problem]) from error
    rows = rows.to_crs(work_crs)
    return rows.set_geometry(shapely.force_2d(rows.geometry.to_numpy()), crs=work_crs)


def find_columns(
    rows: pd.DataFrame,
    aliases: Aliases,
    file: str,
    section: str,
    reading: settings.Reading,
) -> dict[str, str]:
    """Find which column of a file is which of ours.

    Parameters
    ----------
    rows : DataFrame
        The file.
    aliases : mapping
        Our column to the names it goes by elsewhere, best first.
    file, section : str
        File name and section of the town file, for messages.
    reading : settings.Reading
        Its ``columns`` go before the aliases.

    Returns
    -------
    found : dict
        Our column to the file's; absent ones are not in it.

    Raises
    ------
    InputError
        If ``columns`` names a column that we or the file do not have.
    """
    _refuse_wrong_names(rows, aliases, f"{section}.columns", file, reading)
    plain: dict[str, str] = {}
    for name in rows.columns:
        plain.setdefault(_plain(name), str(name))
    found = dict(reading.columns)
    for ours, names in aliases.items():
        known = [
            plain[_plain(name)] for name in (ours, *names) if _plain(name) in plain
        ]
        if known:
            found.setdefault(ours, known[0])
    return found


def _refuse_wrong_names(
    rows: pd.DataFrame, aliases: Aliases, key: str, file: str, reading: settings.Reading
) -> None:
    problems = []
    for ours, theirs in reading.columns.items():
        if ours not in aliases:
            rule = f"use the names {', '.join(aliases)}"
            problems.append(value_problem(file, key, rule, ours, "Correct it."))
        elif theirs not in rows.columns:
            rule = "name a column of the file"
            told = f"{key}.{ours}"
            problems.append(value_problem(file, told, rule, theirs, "Correct it."))
    refuse(problems)


def words(rows: pd.DataFrame, column: str | None) -> pd.Series:
    """Return a column as text: blank where missing, codes without ``.0``."""
    if column is None:
        return pd.Series("", index=rows.index, dtype=object)
    values = rows[column]
    if pd.api.types.is_float_dtype(values):
        whole = values.where(np.isfinite(values))
        text = whole.map(lambda v: "" if pd.isna(v) else f"{v:.15g}")
    else:
        text = values.map(lambda v: "" if pd.isna(v) else str(v).strip())
    return text.astype(object)


def note_of(
    row: object, column: str, found: object, understood: str, kind: str = "refused"
) -> dict[str, object]:
    """Return one note of what was not plain in a file; row 0 is all of it."""
    return {
        "row": row,
        "column": column,
        "found": found,
        "understood": understood,
        "kind": kind,
    }


def _plain(name: object) -> str:
    return re.sub(r"[^a-z0-9]", "", str(name).lower())
