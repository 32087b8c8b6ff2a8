"""Pictures of one crossing: its catchment, its sky with the sun's paths, its shade."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import geopandas as gpd
import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from culvertrisk.formulas.clear_sky import SLOTS, sun_table
from culvertrisk.formulas.crowns import transmitted_fraction
from culvertrisk.formulas.sun import (
    REFERENCE_WINTER,
    SEASON_DAYS,
    season_day,
)
from culvertrisk.inputs.rasters import Terrain
from culvertrisk.reports.hillshade import light
from culvertrisk.stages.catchments import catchment_outlines
from culvertrisk.stages.shade import FIRST_SUN_H, SunBySeason
from culvertrisk.stages.site import SiteFlow
from culvertrisk.stages.sky import Sky
from culvertrisk.terrain.canopy import ELEVATIONS_DEG

MARGIN_M = 120.0  # shown round the catchment and the crossing
NEAR_M = 45.0  # shown round the crossing in the inset
INSET = (0.71, 0.01, 0.28, 0.36)  # left, bottom, width, height of the picture
STREAM_M2 = 5_000.0  # catchment from which flow is drawn
INK, WATER, ROAD, GROUND = "#222222", "#1f5fa8", "#8a4b1f", "#6f675c"
INLET, OUTLET, SUN, TREES = "#6a3d9a", "#1b7f79", "#c98a00", "Greens"
_DPI = 80
_WIDTH_IN = 8.0
_STEPS = np.array(
    [(0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1)]
)
_COMPASS = {45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}
_SEEN_DEG = (45.0, 315.0)
_TOP_DEG = 50.0


def catchment_chart(
    crossings: gpd.GeoDataFrame,
    culvert_id: str,
    terrain: Terrain,
    site: SiteFlow,
    roads: gpd.GeoDataFrame,
) -> Figure:
    """Draw a crossing's catchment: hillshade, roads, streams and the culvert's cut.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of the site stage.
    culvert_id : str
        The crossing; it must have a catchment.
    terrain : Terrain
        The DEM.
    site : SiteFlow
        What :func:`~culvertrisk.stages.site.site_flow` gave for all crossings.
    roads : GeoDataFrame
        Road lines in the work CRS.

    Returns
    -------
    figure : Figure
        North is the grid's up.
    """
    row = crossings.loc[culvert_id]
    outline = catchment_outlines(crossings, terrain, site, [culvert_id])
    whole = gpd.GeoSeries([*outline.geometry, row.geometry]).total_bounds
    box = tuple(whole + np.array([-1, -1, 1, 1]) * MARGIN_M)
    west, south, east, north = box
    high_in = _WIDTH_IN * (north - south) / (east - west)
    figure = Figure(figsize=(_WIDTH_IN, high_in), dpi=_DPI, layout="constrained")
    axes = figure.subplots()
    outline.plot(ax=axes, color=WATER, alpha=0.18, zorder=1)
    outline.boundary.plot(ax=axes, color=WATER, linewidth=1.2)
    near = row.geometry.buffer(NEAR_M).bounds
    inset = axes.inset_axes(INSET, zorder=5)
    for panel, part in ((axes, box), (inset, near)):
        _ground(panel, terrain, part)
        panel.add_collection(_streams(terrain, site, part))
        roads.clip(part).plot(ax=panel, color=ROAD, linewidth=2.5, alpha=0.7)
        _cut(panel, row)
        _frame(panel, part)
    axes.indicate_inset((near[0], near[1], 2 * NEAR_M, 2 * NEAR_M), edgecolor=INK)
    _name_ends(inset, row)
    drained = f"{row['catchment_m2'] / 10_000:.1f} ha drain through the culvert's cut"
    axes.set_title(f"{culvert_id}, {row['road_name']}: {drained}")
    return figure


def _cut(axes: Axes, row: pd.Series) -> None:
    x_m = [row["upstream_x_m"], row["downstream_x_m"]]
    y_m = [row["upstream_y_m"], row["downstream_y_m"]]
    axes.plot(x_m, y_m, color=INK, linewidth=4, solid_capstyle="butt")
    axes.plot(x_m[:1], y_m[:1], "o", color=INK, markersize=7)


def _name_ends(axes: Axes, row: pd.Series) -> None:
    for name, end in (("inlet", "upstream"), ("outlet", "downstream")):
        place = (row[f"{end}_x_m"], row[f"{end}_y_m"])
        axes.annotate(name, place, (8, -4), textcoords="offset points")


def _ground(axes: Axes, terrain: Terrain, box: tuple[float, ...]) -> None:
    grid, cell_m = terrain.transform, terrain.cell_m
    left, right = (int((x - grid.c) / cell_m) for x in (box[0], box[2]))
    top, bottom = (int((grid.f - y) / cell_m) for y in (box[3], box[1]))
    rows = slice(max(top, 0), bottom + 1)
    cols = slice(max(left, 0), right + 1)
    height_m = terrain.elevation_m[rows, cols]
    west, north = grid.c + cols.start * cell_m, grid.f - rows.start * cell_m
    east, south = west + height_m.shape[1] * cell_m, north - height_m.shape[0] * cell_m
    axes.imshow(
        light(height_m, cell_m, 2.0), cmap="gray", vmin=-0.4, vmax=1,
        extent=(west, east, south, north),
    )  # fmt: skip
    x = west + (np.arange(height_m.shape[1]) + 1 / 2) * cell_m
    y = north - (np.arange(height_m.shape[0]) + 1 / 2) * cell_m
    lines = axes.contour(x, y, height_m, levels=8, colors=GROUND, linewidths=0.5)
    axes.clabel(lines, fontsize=7, fmt="%.0f m")


def _streams(
    terrain: Terrain, site: SiteFlow, box: tuple[float, ...]
) -> LineCollection:
    """Lines from each cell of a stream to the next, wider with the catchment."""
    if site.flow is None:
        return LineCollection([])
    grid = terrain.transform
    area_m2 = site.flow.area_m2
    rows, cols = np.nonzero(area_m2 >= STREAM_M2)
    direction = site.flow.direction[rows, cols]
    flows = direction < len(_STEPS)
    rows, cols, direction = rows[flows], cols[flows], direction[flows]
    x, y = grid.c + (cols + 1 / 2) * grid.a, grid.f + (rows + 1 / 2) * grid.e
    inside = (x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])
    step = _STEPS[direction[inside]] * [grid.e, grid.a]
    start = np.column_stack([x[inside], y[inside]])
    times = area_m2[rows, cols][inside] / STREAM_M2
    lines = np.stack([start, start + step[:, ::-1]], axis=1)
    return LineCollection(
        list(lines), colors=WATER, linewidths=0.8 + 0.5 * np.log2(times), zorder=2
    )


def _frame(axes: Axes, box: tuple[float, ...]) -> None:
    """Cut the picture to a box and draw a scale bar into it."""
    axes.set(xlim=box[::2], ylim=box[1::2], xlabel="", ylabel="", xticks=[], yticks=[])
    width_m = box[2] - box[0]
    length_m = 10.0 ** np.floor(np.log10(width_m / 3))
    west, south = axes.get_xlim()[0], axes.get_ylim()[0]
    x, y = west + width_m / 25, south + width_m / 25
    axes.plot([x, x + length_m], [y, y], color=INK, linewidth=3)
    axes.text(x + length_m / 2, y + width_m / 80, f"{length_m:.0f} m", ha="center")


def horizon_chart(
    skies: Mapping[str, Sky], latitude_deg: float, days: Sequence[date]
) -> Figure:
    """Draw what places see of the sky, with the sun's paths.

    Parameters
    ----------
    skies : mapping of str to Sky
        By the name of the place, such as "Inlet"; the first place of each is drawn.
    latitude_deg : float
        Of the places [deg].
    days : sequence of date
        Whose sun is drawn, from 1 October to 31 May.

    Returns
    -------
    figure : Figure
        One panel a place; dots at the full hours of the sun's clock.
    """
    figure = Figure(
        figsize=(_WIDTH_IN, 3.4 * len(skies)), dpi=_DPI, layout="constrained"
    )
    panels = figure.subplots(len(skies), 1, squeeze=False, sharex=True)[:, 0]
    for axes, (name, sky) in zip(panels, skies.items(), strict=True):
        _sky(axes, sky)
        _sun_paths(axes, latitude_deg, days)
        axes.set(xlim=_SEEN_DEG, ylim=(0, _TOP_DEG), ylabel="elevation [degrees]")
        axes.set_xticks([*_COMPASS], _COMPASS.values())
        axes.set_title(
            f"{name}: hills brown; trees green, darker where less sun passes"
        )
    panels[-1].set_xlabel("true azimuth; dots at the full hours of the sun's clock")
    return figure


def _sky(axes: Axes, sky: Sky) -> None:
    around = np.arange(sky.horizon_tangent.shape[1] + 1) * (
        360 / sky.horizon_tangent.shape[1]
    )
    tangent, depth = sky.horizon_tangent[0], sky.optical_depth[0]
    if depth.shape[1]:
        lost = 1 - transmitted_fraction(np.vstack([depth, depth[:1]]).T)
        axes.contourf(
            around, ELEVATIONS_DEG, lost, levels=[0.1, 0.3, 0.5, 0.7, 0.9, 1.0],
            cmap=TREES, alpha=0.7,
        )  # fmt: skip
    horizon_deg = np.degrees(np.arctan(np.append(tangent, tangent[0])))
    axes.fill_between(around, horizon_deg, color=GROUND, zorder=2)


def _sun_paths(axes: Axes, latitude_deg: float, days: Sequence[date]) -> None:
    table = sun_table(latitude_deg, 0.0)
    an_hour = SLOTS // 24
    for day in days:
        row = season_day(day)
        level_deg, azimuth_deg = table.elevation_deg[row], table.azimuth_deg[row]
        is_up = level_deg > 0
        axes.plot(azimuth_deg[is_up], level_deg[is_up], color=SUN, zorder=3)
        # Slots are midpoints: a full hour lies half way between two of them.
        hours = np.arange(an_hour, SLOTS, an_hour)
        x = (azimuth_deg[hours] + azimuth_deg[hours - 1]) / 2
        y = (level_deg[hours] + level_deg[hours - 1]) / 2
        axes.plot(x[y > 0], y[y > 0], ".", color=SUN, markersize=7, zorder=3)
        noon = int(level_deg.argmax())
        axes.annotate(
            f"{day.day} {day:%b}", (azimuth_deg[noon], level_deg[noon]), (0, 5),
            textcoords="offset points", ha="center", zorder=4,
        )  # fmt: skip


def shade_chart(sun: SunBySeason, place: int, on: date) -> Figure:
    """Draw a crossing's hours of direct sun and its insolation by date.

    Parameters
    ----------
    sun : SunBySeason
        Of all crossings.
    place : int
        Row of the crossing in it.
    on : date
        The day asked, marked by a line.

    Returns
    -------
    figure : Figure
        Hours above, energy below; clear sky.
    """
    figure = Figure(figsize=(_WIDTH_IN, 5.6), dpi=_DPI, layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    _by_date(upper, [
        sun.open_direct_sun_h[place], sun.inlet_direct_sun_h[place],
        sun.outlet_direct_sun_h[place],
    ])  # fmt: skip
    upper.axhline(FIRST_SUN_H, color=GROUND, linewidth=0.8, linestyle=":")
    upper.set(ylabel="direct sun [h a day]", title="Shade by date, under a clear sky")
    mega = 1e6
    _by_date(lower, [
        sun.open_j_m2[place] / mega, sun.inlet_j_m2[place] / mega,
        sun.outlet_j_m2[place] / mega,
    ])  # fmt: skip
    lower.set(ylabel="insolation [MJ/m² a day]", ylim=(0, None))
    lower.xaxis.set_major_locator(mdates.MonthLocator())
    lower.xaxis.set_major_formatter(mdates.DateFormatter("1 %b"))
    for axes in (upper, lower):
        marked = REFERENCE_WINTER + timedelta(days=season_day(on))
        axes.axvline(mdates.date2num(marked), color=INK, linewidth=0.8)
        axes.grid(alpha=0.3)
    upper.legend(loc="upper center", ncols=3)
    upper.set_ylim(0, None)
    return figure


def _by_date(axes: Axes, lines: Sequence[NDArray[np.floating]]) -> None:
    days = [REFERENCE_WINTER + timedelta(days=day) for day in range(SEASON_DAYS)]
    looks = (("open ground", SUN, "--"), ("inlet", INLET, "-"), ("outlet", OUTLET, "-"))
    for values, (name, colour, style) in zip(lines, looks, strict=True):
        axes.plot(mdates.date2num(days), values, style, color=colour, label=name)
    axes.set_xlim(mdates.date2num(days[0]), mdates.date2num(days[-1]))
