"""Danger that water over a road washes it out: by depth, fill and surface."""

import re

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from culvertrisk.stages.closure_loss import is_driveway
from culvertrisk.tables import table
from culvertrisk.units import to_unit

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
Flags = NDArray[np.bool_]


def washout_classes(depth_m: Floats, fill_m: Floats, is_paved: Flags) -> Texts:
    """Word for the danger that water over a road washes it out.

    Parameters
    ----------
    depth_m : ndarray, shape (n,)
        Depth of water over the road's low point [m].
    fill_m : ndarray, shape (n,)
        Height of the road over the pipe's bed; NaN counts as a high fill [m].
    is_paved : ndarray of bool, shape (n,)
        The road is known to be paved; else it counts as gravel.

    Returns
    -------
    washout_class : ndarray of str, shape (n,)
        Of the table ``washout_classes``, ``none`` where the road stays dry, blank
        where the depth is unknown. Never milder for more depth or fill, or gravel.
    """
    words = np.where(np.isnan(depth_m), "", "none").astype(object)
    fill_m = np.where(np.isnan(fill_m), np.inf, fill_m)
    for row in table("washout_classes").sort_values("rank").itertuples():
        least_depth_m = to_unit(f"{row.least_depth} {row.depth_unit}", "m")
        least_fill_m = to_unit(f"{row.least_fill} {row.fill_unit}", "m")
        is_met = (depth_m > 0) & (depth_m >= least_depth_m) & (fill_m >= least_fill_m)
        words[is_met & (is_paved == bool(row.is_paved))] = row.washout_class
    return words


def known_paved(crossings: GeoDataFrame) -> tuple[Flags, Flags]:
    """Tell where the road is known to be paved, and where its surface is known.

    Parameters
    ----------
    crossings : GeoDataFrame
        ``network_surface`` of access is used where it is there.

    Returns
    -------
    is_paved, is_known : ndarray of bool, shape (n,)
        Paved by a word of ``road_surfaces``. A driveway's surface is never known: the
        word is that of the road beside it.
    """
    if "network_surface" not in crossings:
        unknown = np.zeros(len(crossings), dtype=bool)
        return unknown, unknown
    rows = table("road_surfaces")
    paved = {*rows.loc[rows["is_paved"] == 1, "word"]}
    told = [re.findall("[a-z]+", text.lower()) for text in crossings["network_surface"]]
    is_paved = np.array([not paved.isdisjoint(words) for words in told], dtype=bool)
    is_known = np.array([bool(words) for words in told], dtype=bool)
    is_road = ~is_driveway(crossings)
    return is_paved & is_road, is_known & is_road
