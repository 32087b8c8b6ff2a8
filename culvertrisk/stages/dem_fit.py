"""Whether elevation raster and inventory speak of one place, in one unit."""

from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.checks import SHOWN_ROWS, file_problem, refuse
from culvertrisk.inputs.rasters import Terrain, cells
from culvertrisk.terrain.sampling import sample
from culvertrisk.units import quantity, to_unit

CLOSE_M = 10.0  # ground and beds in one unit differ by less; common practice, no source
FAR_M = 20.0  # another unit or datum makes them differ by more; our choice
CERTAIN_TIMES = 5.0  # so much closer in the other unit is no chance; our choice
CERTAIN_COUNT = 3  # beds needed to refuse a file; our choice
GRADE_REACH_M = 100.0  # length over which a road's grade is taken
STEEP_GRADE = 0.1  # no town's usual road; common practice, no source
STEEP_PATH = 0.7  # steeper than loose slopes stand, 35 degrees; common practice
STEEP_BARREL = 0.15  # usual barrels fall by 0.5 to 5 %; common practice, no source
_FOOT_M = to_unit("1 foot", "m")
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Beds:
    """Known beds and the ground above them, shape (k,) [m]."""

    culvert_id: list[str]
    ground_m: Floats
    bed_m: Floats


def dem_fit(
    crossings: GeoDataFrame,
    terrain: Terrain | None,
    roads: GeoDataFrame | None = None,
    *,
    name: str = "elevation raster",
) -> list[str]:
    """Compare the DEM with the places, beds and roads it should fit.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table; slopes made by the site stage are looked at if there.
    terrain : Terrain or None
        The DEM.
    roads : GeoDataFrame or None
        Road lines in the work CRS, for their grades.
    name : str
        Name of the DEM's file.

    Returns
    -------
    notes : list of str
        Sentences on what is odd but usable; none where all fits.

    Raises
    ------
    InputError
        If the DEM covers no crossing, or three or more beds agree with it once one of
        them is taken for feet and the other for metres, and not before.

    Notes
    -----
    Near the sea, below some 10 m, feet and metres cannot be told apart.
    """
    if terrain is None or crossings.empty:
        return []
    rows, cols = cells(terrain, crossings.geometry.x, crossings.geometry.y)
    ground_m = sample(terrain.elevation_m, rows, cols)
    is_inside = ~np.isnan(ground_m)
    if not is_inside.any():
        rule, found = "cover the culverts", "none of them inside it"
        remedy = "Check the CRS of both files, or give the DEM of this place."
        refuse([file_problem(name, rule, found, remedy)])
    beds = _beds(crossings, ground_m)
    outside = _outside(crossings, is_inside, name)
    problems = _unit_problems(beds, name)
    refuse(problems + outside if problems else [])
    unit_notes = _unit_notes(beds, name)
    if not unit_notes and len(beds.bed_m) < CERTAIN_COUNT:
        unit_notes = _slope_notes(crossings, terrain, roads, name)
    return outside + unit_notes


def _beds(crossings: GeoDataFrame, ground_m: Floats) -> _Beds:
    bed_m = crossings["inlet_invert_m"].fillna(crossings["outlet_invert_m"])
    is_known = (bed_m.notna() & ~np.isnan(ground_m)).to_numpy()
    names = [str(culvert_id) for culvert_id in crossings.index[is_known]]
    return _Beds(names, ground_m[is_known], bed_m.to_numpy(float)[is_known])


def _miss_m(beds: _Beds, ground_times: float = 1, bed_times: float = 1) -> float:
    away_m = np.abs(ground_times * beds.ground_m - bed_times * beds.bed_m)
    return float(np.median(away_m)) if away_m.size else np.nan


def _unit_problems(beds: _Beds, name: str) -> list[str]:
    if len(beds.bed_m) < CERTAIN_COUNT:
        return []
    if _is_explained(_miss_m(beds), _miss_m(beds, ground_times=_FOOT_M)):
        rule = "give heights in metres"
        remedy = (
            "Convert it to metres, for instance with a raster calculator: x 0.3048."
        )
    elif _is_explained(_miss_m(beds), _miss_m(beds, bed_times=_FOOT_M)):
        rule = "agree with the beds of the inventory"
        remedy = (
            "The beds seem to be in feet: set inlet_invert_m and outlet_invert_m = "
            '"foot" under [culverts.units].'
        )
    else:
        return []
    return [file_problem(name, rule, _shown(beds), remedy)]


def _is_explained(miss_m: float, other_m: float) -> bool:
    is_close = other_m <= CLOSE_M and other_m * CERTAIN_TIMES < miss_m
    return bool(is_close and miss_m > FAR_M)


def _shown(beds: _Beds) -> str:
    times = float(np.median(beds.ground_m / np.where(beds.bed_m == 0, 1, beds.bed_m)))
    one = len(beds.bed_m) // 2
    return (
        f"ground {times:.2f} times the recorded beds at {len(beds.bed_m)} culverts, "
        f"such as {beds.culvert_id[one]} (ground {beds.ground_m[one]:.1f}, bed "
        f"{beds.bed_m[one]:.1f} m)"
    )


def _unit_notes(beds: _Beds, name: str) -> list[str]:
    miss_m = _miss_m(beds)
    if not len(beds.bed_m) or miss_m <= FAR_M:
        return []
    feet = {
        "the raster's heights seem to be in feet": _miss_m(beds, ground_times=_FOOT_M),
        "the beds seem to be in feet": _miss_m(beds, bed_times=_FOOT_M),
    }
    why = "they may stand on different height datums, or one be of another place"
    for words, other_m in feet.items():
        if _is_explained(miss_m, other_m):
            why = words
    return [
        f"{name} and the recorded beds differ by {quantity(miss_m, 'm')} in the "
        f"middle of {len(beds.bed_m)} culverts: {why}"
    ]


def _slope_notes(
    crossings: GeoDataFrame,
    terrain: Terrain,
    roads: GeoDataFrame | None,
    name: str,
) -> list[str]:
    """Slopes that no town has in metres, where beds cannot decide."""
    steep = {
        "roads climb": (_road_grade(terrain, roads), STEEP_GRADE),
        "flow paths fall": (
            _middle(crossings, "flow_path_slope_m_per_m"),
            STEEP_PATH,
        ),
        "barrels fall": (_middle(crossings, "barrel_slope_m_per_m"), STEEP_BARREL),
    }
    found = [
        f"{words} by {slope:.0%}"
        for words, (slope, most) in steep.items()
        if slope > most
    ]
    if not found:
        return []
    return [
        f"{name}: {', '.join(found)} in the middle: its heights may be in feet, not "
        "metres"
    ]


def _middle(crossings: GeoDataFrame, column: str) -> float:
    if column not in crossings or crossings[column].isna().all():
        return np.nan
    return float(crossings[column].median())


def _road_grade(terrain: Terrain, roads: GeoDataFrame | None) -> float:
    if roads is None or roads.empty:
        return np.nan
    lines = shapely.get_parts(roads.geometry.to_numpy())
    counts = (shapely.length(lines) // GRADE_REACH_M).astype(np.int64)
    line = np.repeat(np.arange(len(lines)), counts)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    along_m = (np.arange(len(line)) - first) * GRADE_REACH_M
    ends_m = []
    for place_m in (along_m, along_m + GRADE_REACH_M):
        points = shapely.line_interpolate_point(lines[line], place_m)
        rows, cols = cells(terrain, shapely.get_x(points), shapely.get_y(points))
        ends_m.append(sample(terrain.elevation_m, rows, cols))
    grade = np.abs(ends_m[1] - ends_m[0]) / GRADE_REACH_M
    known = grade[~np.isnan(grade)]
    return float(np.median(known)) if known.size else np.nan


def _outside(
    crossings: GeoDataFrame, is_inside: NDArray[np.bool_], name: str
) -> list[str]:
    if is_inside.all():
        return []
    outside = [str(culvert_id) for culvert_id in crossings.index[~is_inside]]
    more = ", ..." if len(outside) > SHOWN_ROWS else ""
    return [
        f"{name} does not cover {len(outside)} of {len(crossings)} crossings: "
        f"{', '.join(outside[:SHOWN_ROWS])}{more}"
    ]
