"""Picture of the inlet-control equations of round pipes against the printed charts."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from culvertrisk.formulas.inlet_control import (
    FIRST_SUBMERGED,
    INLET_KU,
    LAST_UNSUBMERGED,
    InletCoefficients,
    inlet_control_headwater,
)
from culvertrisk.formulas.sections import Barrel
from culvertrisk.reports.published_values import check_inputs, check_rows
from culvertrisk.tables import table

CHARTS = {"1B": "concrete pipe", "2B": "corrugated metal pipe"}
INLETS = {"1": "#1f5fa8", "2": "#1b7f79", "3": "#8a4b1f"}  # type and its colour
_MOST_RATIO = 8.0  # greatest q* drawn
_POINTS = 400
_DPI = 80
_SIZE_IN = (9.0, 5.2)


def nomograph_chart(folder: Path) -> Figure:
    """Draw HDS-5 charts 1B and 2B from the equations, with the printed readings.

    Parameters
    ----------
    folder : Path
        Of the check files; ``inlet_control_headwater.csv`` holds the readings: its
        rows of ``where`` "chart 1B ..." and "chart 2B ...".

    Returns
    -------
    figure : Figure
        Headwater over diameter against discharge, one panel a chart, at the diameter
        and slope of the chart's printed example; a line an inlet type, a mark with
        the row's tolerance a reading.
    """
    rows = check_rows(folder / "inlet_control_headwater.csv")
    figure = Figure(figsize=_SIZE_IN, dpi=_DPI, layout="constrained")
    panels = figure.subplots(1, len(CHARTS), sharey=True)
    for axes, (chart, barrel) in zip(panels, CHARTS.items(), strict=True):
        readings = [row for row in rows if row["where"].startswith(f"chart {chart} ")]
        _panel(axes, readings)
        diameter_m = check_inputs(readings[0])["rise_m"]
        axes.set_title(f"Chart {chart}, {barrel} of {diameter_m:.2f} m")
    panels[0].set_ylabel("headwater over diameter")
    return figure


def _panel(axes: Axes, readings: list[dict[str, str]]) -> None:
    example = check_inputs(readings[0])
    diameter_m, slope = example["rise_m"], example["slope_m_per_m"]
    unit_m3s = np.pi / 4 * diameter_m**2.5 / INLET_KU
    flow_m3s = unit_m3s * np.linspace(0, _MOST_RATIO, _POINTS)
    names = table("culvert_inlets").set_index("chart")["inlet"].astype(str)
    for row in readings:
        chart = row["where"].partition("inlet ")[2].partition(":")[0]
        colour = INLETS[chart[-1]]
        barrel = Barrel(diameter_m, diameter_m)
        given = check_inputs(row)
        inlet = InletCoefficients(*(given[name] for name in InletCoefficients._fields))
        curve_m = inlet_control_headwater(flow_m3s, barrel, slope, inlet)
        name = f"({chart[-1]}) " + str(names[chart])
        axes.plot(flow_m3s, curve_m / diameter_m, color=colour, label=name)
        axes.errorbar(
            [float(row["flow_m3s"])], [float(row["expected"]) / diameter_m],
            [float(row["tolerance"]) / diameter_m], fmt="o", color=colour, capsize=4,
        )  # fmt: skip
    axes.axvspan(
        LAST_UNSUBMERGED * unit_m3s, FIRST_SUBMERGED * unit_m3s, color="#222222",
        alpha=0.1, label="transition, q* 3.5 to 4.0",
    )  # fmt: skip
    axes.set(xlim=(0, flow_m3s[-1]), ylim=(0, None), xlabel="discharge [m³/s]")
    axes.grid(alpha=0.3)
    axes.legend(loc="upper left")
