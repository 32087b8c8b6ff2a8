"""Land cover stage: what grows and is sealed in each catchment, and its runoff."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from culvertrisk.formulas.curve_number import composite_curve_number
from culvertrisk.inputs.land_cover import LandCover, read_land_cover
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.inputs.share_rasters import read_share
from culvertrisk.settings import Settings
from culvertrisk.stages.design_storm import (
    DesignChoices,
    cover_fractions,
    cover_numbers,
    curve_number_of,
    design_choices,
    runoff_fraction_of,
    storm_defaults,
)
from culvertrisk.stages.site import SiteFlow
from culvertrisk.terrain.weighted import catchment_counts

Floats = NDArray[np.float64]
Words = NDArray[np.object_]

_SHOWN_SHARE = 0.005  # smaller shares round to 0 %
_WET = ("water", "wetland")  # ponds and swamps of the graphical method
_MEANS = ("curve_number", "runoff_fraction", "swamp_fraction")
_NOT_DENSE, _DENSE, _UNTOLD = 0, 1, 255  # classes of the ground under trees


@dataclass(frozen=True)
class Land:
    """Rasters of the land on the terrain's grid, where the town has them.

    ``dense`` is 1 under dense trees, 0 elsewhere, 255 unknown.
    """

    cover: LandCover | None = None
    dense: NDArray[np.uint8] | None = None


def land_of(terrain: Terrain | None, settings: Settings) -> Land:
    """Read land cover and dense trees onto the terrain's grid.

    Parameters
    ----------
    terrain : Terrain or None
        The DEM; without one no raster is read.
    settings : Settings
        Names of the rasters, and the legend.

    Returns
    -------
    land : Land
        Dense trees are where the canopy cover raster, or without one the trees of the
        canopy height raster on the ground round about, pass the share at which the
        melt equation of heavy forest begins.

    Raises
    ------
    InputError
        If a raster cannot be used.
    """
    cover, crowns = settings.path("land_cover"), settings.path("canopy_cover")
    if terrain is None:
        return Land()
    share = _crown_share(terrain) if crowns is None else read_share(crowns, terrain)
    dense = None
    if share is not None:
        dense = (share > storm_defaults()["dense_canopy"]).astype(np.uint8)
        dense[np.isnan(share)] = _UNTOLD
    legend = settings.design.land_cover_legend
    found = None if cover is None else read_land_cover(cover, terrain, legend)
    return Land(found, dense)


def _crown_share(terrain: Terrain) -> NDArray[np.float32] | None:
    """Share of the ground under trees round each cell, by the height of the trees."""
    if terrain.canopy_height_m is None:
        return None
    defaults = storm_defaults()
    is_tree = terrain.canopy_height_m > defaults["least_tree"]
    cells = max(1, round(defaults["canopy_window"] / terrain.cell_m))
    return uniform_filter(is_tree.astype(np.float32), cells)


def add_land_cover(
    crossings: GeoDataFrame, site: SiteFlow, land: Land, settings: Settings
) -> GeoDataFrame:
    """Add curve number, rational C, ponds and dense forest of each catchment.

    Parameters
    ----------
    crossings : GeoDataFrame
        The crossings table.
    site : SiteFlow
        Flow and outlet cells of the same rows.
    land : Land
        What :func:`land_of` read.
    settings : Settings
        Soil group, and the town's own number, covers or runoff share.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``land_cover``: means over the catchment, on usual
        ground. Where the raster tells nothing the town's numbers stand.

    Notes
    -----
    Numbers are weighed by area (tr55, chapter 2); sealed ground by
    ``composite_curve_number``. On an averaged DEM one cell of the raster stands for
    each cell of the DEM.
    """
    choices = design_choices(settings.design)
    number = curve_number_of(choices)
    fraction = runoff_fraction_of(choices, settings.storm)
    nobody = np.full(len(crossings), np.nan)
    columns = {
        "curve_number": np.full(len(crossings), number),
        "runoff_fraction": np.full(len(crossings), fraction),
        "swamp_fraction": np.full(len(crossings), choices.pond_fraction),
        "unknown_cover_fraction": nobody,
        "cover_note": np.full(len(crossings), "", dtype=object),
        "forest_fraction": nobody,
    }
    if site.flow is not None and land.cover is not None:
        of_town = (number, fraction, choices.pond_fraction)
        columns |= _of_covers(site, land.cover, choices, of_town)
    if site.flow is not None and land.dense is not None:
        counts = _counts(site, land.dense, _DENSE + 1)
        whole = np.where(counts.sum(axis=1) > 0, counts.sum(axis=1), np.nan)
        columns["forest_fraction"] = counts[:, _DENSE] / whole
    return crossings.assign(**columns)


def _counts(
    site: SiteFlow, classes: NDArray[np.uint8], count: int
) -> NDArray[np.int64]:
    if site.flow is None:
        raise ValueError("classes without a flow")
    row, col = site.catchment_row, site.catchment_col
    return catchment_counts(site.flow.direction, row, col, classes, count)


def _of_covers(
    site: SiteFlow,
    cover: LandCover,
    choices: DesignChoices,
    of_town: tuple[float, float, float],
) -> dict[str, Floats | Words]:
    """Columns of catchments that the land cover raster tells of."""
    legend, size = cover.legend, len(cover.legend)
    kinds = np.where(cover.classes < size, cover.classes, size).astype(np.uint8)
    counts = _counts(site, kinds, size + 1)
    total = counts.sum(axis=1)
    shares = counts / np.where(total > 0, total, np.nan)[:, None]
    unknown = shares[:, size]
    is_wet = np.asarray(legend["cover"].isin(_WET), dtype=float)
    by_class = (*_class_numbers(legend, choices.soil_group), is_wet)
    means = (
        _mean(shares[:, :size], values, town)
        for values, town in zip(by_class, of_town, strict=True)
    )
    found = dict(zip(_MEANS, means, strict=True))
    words = _words(shares[:, :size], legend, unknown)
    return {**found, "unknown_cover_fraction": unknown, "cover_note": words}


def _class_numbers(legend: pd.DataFrame, soil_group: str) -> tuple[Floats, Floats]:
    """Curve number and rational C of each class of a legend."""
    numbers, fractions = cover_numbers()[soil_group], cover_fractions(soil_group)
    sealed = legend["impervious_fraction"].to_numpy(float)
    # what is all sealed has its own row; a mixed class is sealed on open ground
    is_mixed = (sealed > 0) & (sealed < 1)
    mixed = np.where(is_mixed, sealed, 0)
    open_number = numbers.loc[legend["cover"]].to_numpy()
    open_fraction = fractions.loc[legend["cover"]].to_numpy()
    return (
        composite_curve_number(open_number, mixed),
        open_fraction + mixed * (fractions.loc["paved"] - open_fraction),
    )


def _mean(shares: Floats, values: Floats, of_town: float) -> Floats:
    """Mean over a catchment; the town's value fills what is unknown, if it has one."""
    known = shares.sum(axis=1)
    whole = shares @ values
    if np.isnan(of_town):
        return whole / np.where(known > 0, known, np.nan)
    return np.where(np.isnan(known), of_town, whole + (1 - known) * of_town)


def _words(shares: Floats, legend: pd.DataFrame, unknown: Floats) -> Words:
    """Covers of each catchment, largest first, and the share that is unknown."""
    names = [*legend["cover"].unique()]
    by_cover = np.stack(
        [shares[:, (legend["cover"] == name).to_numpy()].sum(axis=1) for name in names],
        axis=1,
    )
    said = []
    for row, missing in zip(by_cover, unknown, strict=True):
        if np.isnan(missing):
            said.append("land cover not known: the town's own numbers stand")
            continue
        order = [place for place in np.argsort(-row) if row[place] >= _SHOWN_SHARE]
        words = [f"{names[place]} {row[place]:.0%}" for place in order]
        if missing >= _SHOWN_SHARE:
            words.append(
                f"unknown {missing:.0%}: the town's numbers stand there, if it has any"
            )
        said.append(", ".join(words).replace("%", " %"))
    return np.array(said, dtype=object)
