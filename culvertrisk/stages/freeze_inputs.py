"""What the freeze model takes from the crossings table, and what stands in for gaps."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.formulas.sun import SEASON_DAYS
from culvertrisk.stages.known_column import known_column
from culvertrisk.stages.remarks import read_remarks
from culvertrisk.stages.unknowns import Spread
from culvertrisk.stages.winter import FreezeInputs

Floats = NDArray[np.float64]

DAILY_UNKNOWNS = ("rise_m", "cover_m", "length_m")  # those that the daily run feels
_AS_RECORDED = (
    *("rise_m", "silt_fraction", "barrel_slope_m_per_m", "cover_m", "outlet_drop_m"),
    *("length_m", "barrel_bearing_deg"),
)
_REMARKS = ("note", "condition_text", "log_note")
_SIXTHS = (1 / 6, 3 / 6, 5 / 6)  # middles of three equally likely thirds


class Sunlight(Protocol):
    """Clear-sky sun by day from 1 October to 31 May, shape (n, 243) [J/m2]."""

    @property
    def inlet_j_m2(self) -> NDArray[np.floating]:
        """Sun at the inlet end."""
        ...

    @property
    def outlet_j_m2(self) -> NDArray[np.floating]:
        """Sun at the outlet end."""
        ...

    @property
    def open_j_m2(self) -> NDArray[np.floating]:
        """Sun with neither hills nor trees."""
        ...


def daily_inputs(inputs: FreezeInputs, daily: Spread) -> FreezeInputs:
    """Repeat the crossings for the daily run; without any sun known there is none."""
    owner = daily.owner
    fraction = daily.values["sun_fraction"][:, None].astype(inputs.sun_j_m2.dtype)
    in_open = np.nan_to_num(inputs.open_sun_j_m2[owner]) * fraction
    known = np.isfinite(inputs.sun_j_m2).all(axis=1)[owner, None]
    return replace(
        inputs,
        rise_m=daily.values["rise_m"],
        cover_m=daily.values["cover_m"],
        length_m=daily.values["length_m"],
        elevation_offset_m=inputs.elevation_offset_m[owner],
        sun_j_m2=np.where(known, inputs.sun_j_m2[owner], in_open),
        outlet_sun_j_m2=np.where(known, inputs.outlet_sun_j_m2[owner], in_open),
        opened_day=inputs.opened_day[owner],
        left_fraction=inputs.left_fraction[owner],
    )


def freeze_inputs(
    crossings: GeoDataFrame,
    sun: Sunlight | None,
    coefficients: Mapping[str, Floats],
) -> FreezeInputs:
    """Gather the freeze model's inputs from the crossings table.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of culverts and site; an absent column is unknown.
    sun : Sunlight or None
        Sun by season at both ends, rows as in ``crossings``; None is unknown.
    coefficients : mapping
        By name, as ``freeze_coefficients``.

    Returns
    -------
    inputs : FreezeInputs
        Unknown stays NaN; its ``points`` are the town's own sixths (for the rise
        those of the road's class) where enough crossings are known, else those of
        the defaults table.

    Notes
    -----
    What is recorded stands. Else ``has_seep`` becomes a chance by remarks (words of
    the ``freeze_words`` table in ``note``, ``condition_text`` and, if there,
    ``log_note``: see ``read_remarks``) or by the slope of the ground above;
    ``has_plough_plug`` by remarks or kind of crossing. A remark that denies it leaves
    of the chance without it the share by which remarks are wrong. The weather is taken
    to hold at the median elevation of the crossings. The sun counted is that of the
    end with less of it, day by day; where one end is unknown, the other's. No crew has
    opened anything: for the winter of the day asked see ``opening_inputs``.
    """
    remarks, c = _by_remarks(crossings, coefficients), coefficients
    is_seep = known_column(crossings, "has_seep")
    is_plug = known_column(crossings, "has_plough_plug")
    plug = _told(remarks, "plug", _usual_plug(crossings, c), is_plug)
    at_end, at_outlet, in_open = _sun(sun, len(crossings))
    return FreezeInputs(
        **{name: known_column(crossings, name) for name in _AS_RECORDED},
        elevation_offset_m=_elevation_offset(crossings),
        seep_chance=_told(remarks, "seep", _usual_seep(crossings, c), is_seep),
        plug_chance=plug,
        pond_chance=remarks[0]["pond"],
        drained_chance=1 - remarks[1]["pond"],
        # wind finds no open end where a plug lies
        open_chance=_told(remarks, "draught", c["open_ends_chance"]) * (1 - plug),
        tail_chance=_told(remarks, "tail", c["tail_chance"]),
        sun_j_m2=at_end,
        outlet_sun_j_m2=at_outlet,
        open_sun_j_m2=in_open,
        points=_points(crossings, coefficients),
        opened_day=np.empty((len(crossings), 0)),
        left_fraction=np.empty((len(crossings), 0)),
        run_label=np.full(len(crossings), -1),
    )


def _elevation_offset(crossings: GeoDataFrame) -> Floats:
    """Height over the median of the crossings, 0 where it is not known."""
    elevation_m = known_column(crossings, "dem_elevation_m")
    known_m = elevation_m[np.isfinite(elevation_m)]
    level_m = np.median(known_m) if known_m.size else np.nan
    return np.nan_to_num(elevation_m - level_m)


def said_chances(
    crossings: GeoDataFrame, coefficients: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Chances that remarks give, 0 where none says yes, by what they speak of."""
    return _by_remarks(crossings, coefficients)[0]


def denying_remarks(crossings: GeoDataFrame) -> dict[str, Floats]:
    """Tell by 0 and 1 where all remarks that speak of something deny it."""
    return {what: no for what, (_, no) in read_remarks(_remarks(crossings)).items()}


def _remarks(crossings: GeoDataFrame) -> list[str]:
    none = pd.Series("", index=crossings.index)
    written = [crossings.get(name, none) for name in _REMARKS]
    return none.str.cat(written, sep=". ", na_rep="").tolist()


def _by_remarks(
    crossings: GeoDataFrame, coefficients: Mapping[str, Floats]
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Chances that remarks give, and the share of the usual that those denying leave.

    A remark is right by ``word_chance``: where it denies and is wrong, the usual holds.
    """
    word, told = coefficients["word_chance"], read_remarks(_remarks(crossings))
    said = {what: yes * word for what, (yes, _) in told.items()}
    return said, {what: 1 - no * word for what, (_, no) in told.items()}


def _sun(
    sun: Sunlight | None, count: int
) -> tuple[NDArray[np.floating], NDArray[np.floating], NDArray[np.floating]]:
    """Sun at the shadier end, at the outlet and in the open."""
    if sun is None:
        unknown = np.full((count, SEASON_DAYS), np.nan, dtype=np.float32)
        return unknown, unknown, unknown
    at_end = np.fmin(sun.inlet_j_m2, sun.outlet_j_m2)
    at_outlet = np.where(np.isnan(sun.outlet_j_m2), at_end, sun.outlet_j_m2)
    return at_end, at_outlet, sun.open_j_m2


def _told(
    remarks: tuple[dict[str, Floats], dict[str, Floats]],
    what: str,
    usual: Floats,
    recorded: Floats | float = np.nan,
) -> Floats:
    """Chance of what is recorded, else said in remarks, else usual."""
    said, left = (chances[what] for chances in remarks)
    chance = np.maximum(left * usual, said)
    return np.where(np.isnan(recorded), chance, recorded)


def _usual_seep(crossings: GeoDataFrame, coefficients: Mapping[str, Floats]) -> Floats:
    """From the ground above: steeper is more prone."""
    slope = np.maximum(known_column(crossings, "flow_path_slope_m_per_m"), 0)
    level = coefficients["seep_chance_level"]
    steep = coefficients["seep_chance_steep"]
    by_slope = level + (steep - level) * slope / (
        slope + coefficients["seep_half_slope_m_per_m"]
    )
    return np.where(np.isnan(slope), coefficients["seep_chance_unknown"], by_slope)


def _usual_plug(crossings: GeoDataFrame, coefficients: Mapping[str, Floats]) -> Floats:
    """By kind of crossing: a driveway's mouth is ploughed past."""
    return np.where(
        (crossings["crossing_kind"] == "driveway").to_numpy(bool),
        coefficients["plug_chance_driveway"],
        coefficients["plug_chance_cross"],
    )


def _points(
    crossings: GeoDataFrame, coefficients: Mapping[str, Floats]
) -> dict[str, Floats]:
    c, count = coefficients, len(crossings)
    least = int(c["own_count_least"].item())
    is_driveway = (crossings["crossing_kind"] == "driveway").to_numpy(bool)[:, None]
    fixed = {
        "barrel_slope_m_per_m": c["slope_points_m_per_m"],
        "silt_fraction": c["silt_points_fraction"],
        "outlet_drop_m": c["drop_points_m"],
        "cover_m": c["cover_points_m"],
        "length_m": c["length_points_m"],
    }
    points = {
        name: _town_sixths(
            known_column(crossings, name), np.tile(default, (count, 1)), least
        )
        for name, default in fixed.items()
    }
    default_m = np.where(
        is_driveway, c["rise_driveway_points_m"], c["rise_cross_points_m"]
    )
    rise_m = known_column(crossings, "rise_m")
    classes = crossings["road_class"].astype(str).to_numpy()
    for name in pd.unique(classes):
        rows = classes == name
        default_m[rows] = _town_sixths(rise_m[rows], default_m[rows], least)
    sun_fraction = np.tile(c["sun_points_fraction"], (count, 1))
    return {**points, "rise_m": default_m, "sun_fraction": sun_fraction}


def _town_sixths(values: Floats, default: Floats, least: int) -> Floats:
    known = values[np.isfinite(values)]
    if len(known) < least:
        return default
    return np.tile(np.quantile(known, _SIXTHS), (len(values), 1))
