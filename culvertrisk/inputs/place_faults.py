"""Faults of coordinates: swapped, sign dropped, 0,0, in feet, far away."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from culvertrisk.inputs.coordinates import NO_COORDINATES, SOUTHERNMOST_ROAD_LAT
from culvertrisk.inputs.culvert_notes import Kind, Note, note, note_whole
from culvertrisk.inputs.culvert_places import LONLAT, WORLD_DEG, transformed
from culvertrisk.inputs.geometry import Places, Points
from culvertrisk.units import EARTH_RADIUS_M, to_unit

Mask = NDArray[np.bool_]

FAR_M = 12_000.0  # no gap within a town is as wide, common practice
_OTHER_WORLD_M = 500_000.0  # farther than this is no part of a department's roads
_SAME_PLACE_DECIMALS = 4  # of degrees, about 10 m
_FEW_ROWS = 5  # too few rows to say which lies apart
_NEAR_DEG = 1.0  # a repaired place must lie this near to the others
_SPREAD_PERCENTILE = 90
_ZERO_DEG = 1e-3
_CELL_M = 1_000.0
_SHARE_OF_ROWS = 0.5


@dataclass(frozen=True)
class Repaired:
    """Places in degrees, which rows are refused, and what was done."""

    lonlat: Places
    is_refused: Mask
    notes: tuple[Note, ...]


def repair_places(places: Places, crs: CRS, rows: pd.Index) -> Repaired:
    """Repair what can be proven and refuse what lies nowhere.

    Parameters
    ----------
    places : Places
        In the file's CRS, shape (n, 2).
    crs : CRS
        The file's CRS.
    rows : Index
        Number of each row in the file.

    Returns
    -------
    repaired : Repaired
        Places in longitude and latitude [deg]. Swapped axes, a lost sign and feet
        taken for metres are repaired where the row then lies among the others;
        blank, 0,0 and rows 12 km or more from the rest are refused.
    """
    notes: list[Note] = []
    written = places.point
    is_zero = _both(np.abs(written) < _ZERO_DEG)
    is_blank = _is_blank(written)
    _tell(notes, is_blank, rows, written, NO_COORDINATES, "refused")
    _tell(notes, is_zero, rows, written, "left out: 0,0 is no place", "refused")
    places = _kept(places, ~is_zero)
    if crs.is_geographic:
        places = _turned(places, rows, notes)
        lonlat = _to_lonlat(_in_world(places, rows, notes), crs)
    else:
        lonlat = _to_lonlat(_rescaled(places, crs, rows, notes), crs)
    is_lost = _is_blank(lonlat.point)
    told = f"left out: outside {crs.name}"
    is_outside = is_lost & ~_is_blank(places.point)
    is_outside &= not crs.is_geographic
    _tell(notes, is_outside, rows, written, told, "refused")
    is_far = _far(lonlat.point, rows, written, notes)
    return Repaired(lonlat, is_lost | is_far, tuple(notes))


def _far(lonlat: Points, rows: pd.Index, written: Points, notes: list[Note]) -> Mask:
    """Refuse places far from the rest; say which far groups are kept."""
    distance_m, is_refused = far_distance(lonlat)
    for row, xy, far_m in zip(
        rows[is_refused], written[is_refused], distance_m[is_refused], strict=True
    ):
        told = f"left out: {far_m / _CELL_M:.0f} km from the rest"
        notes.append(note(row, "", _shown(xy), told, "refused"))
    is_kept = ~np.isnan(distance_m) & ~is_refused
    if is_kept.any():
        said = f"{int(is_kept.sum())} rows 12 km or more from the largest group"
        notes.append(note_whole("", said, "kept: they lie together", "assumed"))
    return is_refused


def _both(mask: Mask) -> Mask:
    return mask[:, 0] & mask[:, 1]


def _is_blank(points: Points) -> Mask:
    return np.isnan(points[:, 0] + points[:, 1])


def _shown(xy: Points) -> str:
    return "" if np.isnan(xy).all() else f"{xy[0]:.10g}, {xy[1]:.10g}"


def _tell(
    notes: list[Note],
    mask: Mask,
    rows: pd.Index,
    written: Points,
    told: str,
    kind: Kind,
) -> None:
    for row, xy in zip(rows[mask], written[mask], strict=True):
        notes.append(note(row, "", _shown(xy), told, kind))


def _changed(places: Places, rule) -> Places:  # type: ignore[no-untyped-def]
    return replace(
        places,
        point=rule(places.point),
        inlet=rule(places.inlet),
        outlet=rule(places.outlet),
    )


def _kept(places: Places, keep: Mask) -> Places:
    return _changed(places, lambda xy: np.where(keep[:, None], xy, np.nan))


def _to_lonlat(places: Places, crs: CRS) -> Places:
    return _changed(places, lambda xy: transformed(xy, crs, LONLAT))


def _is_in_world(lonlat: Points) -> Mask:
    return _both(np.abs(lonlat) <= WORLD_DEG)


def _in_world(places: Places, rows: pd.Index, notes: list[Note]) -> Places:
    """Refuse what is no degrees: state-plane feet in a column of latitudes."""
    known = ~_is_blank(places.point)
    is_out = known & ~_is_in_world(places.point)
    told = "left out: no degrees; perhaps feet or metres of another CRS"
    _tell(notes, is_out, rows, places.point, told, "refused")
    return _kept(places, ~is_out)


def _middle(points: Points) -> tuple[Points, Points]:
    """Return the median place and how far from it most others lie, per axis."""
    middle = np.nanmedian(points, axis=0)
    spread = np.nanpercentile(np.abs(points - middle), _SPREAD_PERCENTILE, axis=0)
    return middle, spread


def _turned(places: Places, rows: pd.Index, notes: list[Note]) -> Places:
    """Repair swapped axes and lost signs where the row then lies among the others."""
    known = ~_is_blank(places.point)
    if not known.any():
        return places
    sound = known & _is_in_world(places.point)
    sound &= places.point[:, 1] >= SOUTHERNMOST_ROAD_LAT
    swaps = {
        "latitude and longitude swapped": [[0, 1], [1, 0]],
        "sign of the longitude restored": [[-1, 0], [0, 1]],
        "sign of the latitude restored": [[1, 0], [0, -1]],
        "swapped, sign of the longitude restored": [[0, -1], [1, 0]],
    }
    if sound.sum() < _SHARE_OF_ROWS * known.sum():
        swapped = _changed(places, lambda xy: xy[:, ::-1])
        _tell(notes, known, rows, places.point, next(iter(swaps)), "changed")
        return swapped
    middle, spread = _middle(places.point[sound])
    reach = np.minimum(spread, _NEAR_DEG) + _NEAR_DEG
    is_open = known & ~_both(np.abs(places.point - middle) <= reach)
    for told, matrix in swaps.items():
        turn = np.array(matrix, dtype=float)
        there = _both(np.abs(places.point @ turn.T - middle) <= reach)
        is_fit = is_open & there
        _tell(notes, is_fit, rows, places.point, told, "changed")
        is_open &= ~is_fit
        places = _changed(
            places,
            lambda xy, fit=is_fit, by=turn: np.where(fit[:, None], xy @ by.T, xy),
        )
    return places


def _rescaled(places: Places, crs: CRS, rows: pd.Index, notes: list[Note]) -> Places:
    """Repair feet taken for metres, or metres for feet, of the same grid."""
    foot_m = to_unit("1 foot", "m")
    own_m = crs.axis_info[0].unit_conversion_factor
    ratio = foot_m if own_m == 1 else 1 / own_m
    middle, spread = _middle(places.point) if _any(places) else (np.zeros(2),) * 2
    reach = 2 * spread + FAR_M / own_m
    is_off = ~_both(np.abs(places.point - middle) <= reach)
    is_fit = is_off & _both(np.abs(places.point * ratio - middle) <= reach)
    told = "feet taken for metres" if own_m == 1 else "metres taken for feet"
    _tell(notes, is_fit, rows, places.point, told, "changed")
    return _changed(places, lambda xy: np.where(is_fit[:, None], xy * ratio, xy))


def _any(places: Places) -> bool:
    return bool((~np.isnan(places.point)).any())


def far_distance(lonlat: Points) -> tuple[NDArray[np.float64], Mask]:
    """Find rows that lie apart from the inventory.

    Rows are linked while gaps are under 12 km; the largest group is the inventory.

    Parameters
    ----------
    lonlat : ndarray, shape (n, 2)
        Longitude and latitude, NaN unknown [deg].

    Returns
    -------
    distance_m : ndarray, shape (n,)
        Distance from the largest group, NaN for its own rows [m].
    is_refused : ndarray of bool, shape (n,)
        True where a place stands alone and farther off than the inventory reaches
        from its middle, and beyond 500 km for groups of any size.
    """
    distance_m = np.full(len(lonlat), np.nan)
    is_refused = np.zeros(len(lonlat), dtype=bool)
    known = np.flatnonzero(~_is_blank(lonlat))
    space_m = _in_space(lonlat[known])
    group = _groups(space_m) if len(known) else np.zeros(0, dtype=int)
    sizes = np.bincount(group, minlength=1)
    main = group == sizes.argmax()
    if main.all() or main.sum() <= _SHARE_OF_ROWS * len(known):
        return distance_m, is_refused
    gap_m = cKDTree(space_m[main]).query(space_m[~main])[0]
    from_middle_m = np.linalg.norm(space_m[main] - np.median(space_m[main], 0), axis=1)
    reach_m = np.percentile(from_middle_m, _SPREAD_PERCENTILE)
    places = pd.DataFrame(lonlat[known].round(_SAME_PLACE_DECIMALS)).groupby(group)
    is_alone = (places.nunique() <= 1).all(axis=1).to_numpy()[group[~main]]
    is_alone &= (gap_m > reach_m) & (len(known) >= _FEW_ROWS)
    distance_m[known[~main]] = gap_m
    is_refused[known[~main]] = is_alone | (gap_m > _OTHER_WORLD_M)
    return distance_m, is_refused


def _in_space(lonlat: Points) -> NDArray[np.float64]:
    """Return places on a sphere as x, y, z, so that distances hold everywhere [m]."""
    lon, lat = np.deg2rad(lonlat).T
    return EARTH_RADIUS_M * np.column_stack(
        [np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)]
    )


def _groups(space_m: NDArray[np.float64]) -> NDArray[np.int_]:
    """Label rows linked by gaps under 12 km, by cells of 1 km to stay quick."""
    cells, of_row = np.unique(np.floor(space_m / _CELL_M), axis=0, return_inverse=True)
    pairs = cKDTree(cells * _CELL_M).query_pairs(FAR_M, output_type="ndarray")
    shape = (len(cells), len(cells))
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape)
    labels = connected_components(links, directed=False)[1]
    return np.asarray(labels, dtype=np.int_)[of_row.ravel()]
