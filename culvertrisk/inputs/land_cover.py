"""Land cover rasters of an open legend, as classes on the grid of the terrain."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from rasterio.warp import Resampling

from culvertrisk.checks import InputError, file_problem, value_problem
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.inputs.warped import warped
from culvertrisk.tables import table

UNKNOWN = 255  # class of a cell of which the raster tells nothing
_NOTHING = -1  # no legend has such a code
_SHOWN = 5  # bad codes told at most


@dataclass(frozen=True)
class LandCover:
    """Land cover on the terrain's grid.

    ``classes`` holds rows of ``legend``, 255 where unknown; ``legend`` the rows of
    ``land_cover_legends`` with a cover; ``name`` the legend's name.
    """

    classes: NDArray[np.uint8]
    legend: pd.DataFrame
    name: str


def read_land_cover(path: Path, terrain: Terrain, legend: str = "") -> LandCover:
    """Read a raster of class codes onto the terrain's grid.

    Parameters
    ----------
    path : Path
        A raster of whole numbers, any CRS and grid, or a folder of tiles.
    terrain : Terrain
        The grid wanted; only its window is read.
    legend : str
        Name in ``land_cover_legends``; "" takes the first that knows every code.

    Returns
    -------
    cover : LandCover
        The nearest cell of the raster; 255 where it tells nothing.

    Raises
    ------
    InputError
        If the file is missing, is no raster, lies elsewhere, or holds codes of no
        legend.
    """
    codes = warped(path, terrain, np.int32(_NOTHING), Resampling.nearest)
    found = np.unique(codes[codes != _NOTHING])
    if not found.size:
        rule, remedy = "lie over the elevation raster", "Correct its CRS or its extent."
        raise InputError([file_problem(path.name, rule, "no code there", remedy)])
    strange = _strange_codes(found)
    name = legend or min(strange, key=lambda each: len(strange[each]))
    if len(strange[name]):
        raise InputError([_problem(path.name, name, strange[name], bool(legend))])
    known = _of(name).dropna(subset="cover").reset_index(drop=True)
    classes = np.full(codes.shape, UNKNOWN, np.uint8)
    for place, code in enumerate(known["code"]):
        classes[codes == code] = place
    return LandCover(classes, known, name)


def legend_of(codes: ArrayLike) -> str:
    """Return the name of the first legend that knows every code, "" if none does.

    Examples
    --------
    >>> legend_of([41, 82, 11]), legend_of([10, 50]), legend_of([3.5, 41])
    ('nlcd', 'worldcover', '')
    """
    strange = _strange_codes(np.unique(codes))
    return next((name for name, left in strange.items() if not len(left)), "")


def _strange_codes(codes: NDArray[np.generic]) -> dict[str, NDArray[np.generic]]:
    """Codes that are not in each legend."""
    names = table("land_cover_legends")["legend"].unique()
    return {str(name): np.setdiff1d(codes, _of(name)["code"]) for name in names}


def _of(name: str) -> pd.DataFrame:
    rows = table("land_cover_legends")
    return rows[rows["legend"] == name].astype({"code": int})


def _problem(file: str, name: str, strange: NDArray[np.generic], is_told: bool) -> str:
    codes = _of(name)["code"]
    said = "the legend told" if is_told else "the nearest known legend"
    rule = f"be class codes of {name}, {said} ({', '.join(map(str, codes))})"
    known = ", ".join(table("land_cover_legends")["legend"].unique())
    remedy = (
        f"Translate the codes into one of the legends {known}, or tell which with "
        "design.land_cover_legend; without the raster design.covers stands."
    )
    more = f" and {len(strange) - _SHOWN} more" if len(strange) > _SHOWN else ""
    shown = ", ".join(map(str, strange[:_SHOWN])) + more
    return value_problem(file, "values", rule, shown, remedy)
