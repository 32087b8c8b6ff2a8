"""One crossing's winter as a picture: weather, sun, ice by mechanism, the log."""

from collections.abc import Sequence
from datetime import date

import pandas as pd
from matplotlib import dates as mdates
from matplotlib.axes import Axes
from matplotlib.figure import Figure

_WIDTH_IN, _HEIGHT_IN, _DPI = 8.4, 6.8, 100
_LOOKS = {  # by lightness and line, so that they can be told apart in grey
    "sag": ("standing water", "#7f2704", "-"),
    "seep": ("seep", "#d95f0e", "-"),
    "draught": ("draught", "#5a5a5a", "--"),
    "perched": ("perched outlet", "#2c5f8a", "-."),
    "tailwater": ("tailwater", "#2c5f8a", "-"),
    "plug": ("snow plug", "#8a8a8a", ":"),
    "refreeze": ("refreeze", "#2c5f8a", ":"),
    "shallow": ("shallow cover", "#0b0b0b", "--"),
}


def winter_chart(
    diary: pd.DataFrame, rise_m: float, on: date, thaw_days: Sequence[date] = ()
) -> Figure:
    """Draw a winter day by day.

    Parameters
    ----------
    diary : DataFrame
        As ``winter_diary`` returns it.
    rise_m : float
        Inside height of the barrel, drawn as the line at which it is full; NaN
        draws none [m].
    on : date
        The day asked, marked by a line; what follows is a usual spring.
    thaw_days : sequence of date
        Days on which the log says a crew found ice here.

    Returns
    -------
    figure : Figure
        Air above, sun in the middle, ice below.
    """
    figure = Figure(figsize=(_WIDTH_IN, _HEIGHT_IN), dpi=_DPI, layout="constrained")
    air, sun, ice = figure.subplots(3, 1, sharex=True, height_ratios=(2, 1, 3))
    days = mdates.date2num(pd.DatetimeIndex(diary.index).to_pydatetime())
    air.fill_between(days, diary["air_min_c"], diary["air_max_c"], color="#9aa7b2")
    air.axhline(0, color="#0b0b0b", linewidth=0.8)
    air.set(ylabel="air, low to high [°C]", title="A winter, day by day")
    mega = 1e6
    sun.plot(days, diary["sun_j_m2"] / mega, color="#d95f0e")
    sun.set(ylabel="clear-sky sun\n[MJ/m² a day]", ylim=(0, None))
    _ice(ice, days, diary, rise_m)
    for axes in (air, sun, ice):
        axes.axvline(mdates.date2num(on), color="#0b0b0b", linewidth=0.8)
        axes.grid(alpha=0.3)
    for number, day in enumerate(thaw_days):
        name = "thawed by a crew (log)" if number == 0 else None
        ice.plot(mdates.date2num(day), 0, "v", color="#0b0b0b", ms=8, label=name)
    ice.legend(loc="upper right", fontsize="small")  # spring leaves room there
    ice.xaxis.set_major_locator(mdates.MonthLocator())
    ice.xaxis.set_major_formatter(mdates.DateFormatter("1 %b"))
    return figure


def _ice(axes: Axes, days: Sequence[float], diary: pd.DataFrame, rise_m: float) -> None:
    for name, (words, colour, style) in _LOOKS.items():
        axes.plot(days, diary[f"{name}_ice_m"], style, color=colour, label=words)
    if rise_m > 0:
        axes.axhline(rise_m, color="#0b0b0b", linewidth=1.2)
        axes.text(days[0], rise_m, "barrel full", ha="left", va="bottom")
    axes.set(ylabel="ice, if at work [m]", ylim=(0, None))
