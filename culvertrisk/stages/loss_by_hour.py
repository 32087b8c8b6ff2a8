"""How much of each crossing's loss is still avoided if it is open by a clock time."""

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from culvertrisk.settings import Settings
from culvertrisk.stages.flood_weather import DayWater
from culvertrisk.stages.today_hours import flooded_by_chance
from culvertrisk.units import DAY_S, to_unit

STEP_S = to_unit("15 min", "s")  # finer than any drive between two stops


def avoided_by_hour(
    crossings: GeoDataFrame, water: DayWater, settings: Settings
) -> pd.DataFrame:
    """Share of ``loss_avoided_person_h`` that is left at each clock time.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood; ``flooded_closure_s`` is used where it is known,
        else the town's.
    water : DayWater
        The day's rain and melt, as ``day_water`` gives it.
    settings : Settings
        Closure of a flooded road in ``prices``, spread in ``forecast``.

    Returns
    -------
    shares : DataFrame
        One row a crossing, one column a clock time [s of the day]; from 1 down, never
        rising. 1 throughout where the hours of the water are not known.

    Notes
    -----
    The loss grows evenly over the closure. Water comes over the road at a time drawn
    from ``flooded_by_chance``; a crossing opened after that has suffered the part of
    the closure gone by, and the road is passable once the pipe runs: what the water
    washed out meanwhile is left out.
    """
    clock_s = np.arange(0, DAY_S + STEP_S, STEP_S)
    by_then = flooded_by_chance(crossings, water, settings, clock_s)
    total = by_then[:, -1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        comes = np.where(total > 0, np.diff(by_then, axis=1) / total, 0)
    closure_s = np.full(len(crossings), settings.prices.closure_s)
    if "flooded_closure_s" in crossings:
        known_s = crossings["flooded_closure_s"].to_numpy(float)
        closure_s = np.where(np.isnan(known_s), closure_s, known_s)
    middle_s = clock_s[:-1] + STEP_S / 2
    gone = np.clip(clock_s[:, None] - middle_s, 0, None)
    shares = np.empty_like(by_then)
    for here, waited_s in enumerate(gone):
        lost = np.minimum(waited_s / closure_s[:, None], 1)
        shares[:, here] = 1 - (comes * lost).sum(axis=1)
    return pd.DataFrame(shares, index=crossings.index, columns=clock_s)
