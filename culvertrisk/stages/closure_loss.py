"""Person-hours that a shut road costs: those who go round, wait or are cut off."""

import geopandas as gpd
import numpy as np
from numpy.typing import ArrayLike, NDArray

from culvertrisk.formulas.delay import detour_delay, isolation, waiting_delay
from culvertrisk.settings import Settings

DWELLING_TRIPS = 10.0  # vehicles a day to and from one dwelling; common practice
DEAD_END_TRAFFIC = 200.0  # most that a dead end makes itself [1/day]; our choice
DRIVEWAY_SHARE = 0.1  # of isolation: its people reach the road on foot; our choice
OFF_ROAD_KIND = "driveway"  # the pipe lies beside the road and shuts no road
Floats = NDArray[np.float64]


def closure_loss(
    crossings: gpd.GeoDataFrame, closure_s: ArrayLike, settings: Settings
) -> Floats:
    """Delay and isolation while each crossing alone is shut.

    Parameters
    ----------
    crossings : GeoDataFrame
        The whole table, with the columns of culverts and access.
    closure_s : array_like, shape (n,) or (n, k), or scalar
        Time the road is shut, one column a case [s].
    settings : Settings
        People in a vehicle.

    Returns
    -------
    closure_loss_person_h : ndarray, shape (n,) or (n, k)
        NaN off every road and where the closure is unknown [person-h].

    Notes
    -----
    As ``add_access`` tells. Traffic goes round, or waits half the closure where that
    is less, so that the loss grows at most with the square of the closure.
    """
    closure_s = np.asarray(closure_s, dtype=float)
    shape = (-1, 1) if closure_s.ndim == 2 else (-1,)

    def column(name: str) -> Floats:
        return crossings[name].to_numpy(float).reshape(shape)

    traffic, detour_s = column("daily_traffic_count"), column("detour_s")
    each = settings.prices.people_per_vehicle
    has_way = np.isfinite(detour_s)
    usual_s = np.median(detour_s[has_way]) if has_way.any() else np.inf
    local = column("cut_off_dwelling_count") * DWELLING_TRIPS
    local = np.fmin(traffic, np.where(np.isnan(local), DEAD_END_TRAFFIC, local))
    waits = np.where(has_way, 0.0, local)
    round_s = np.fmin(np.where(has_way, detour_s, usual_s), closure_s / 2)
    delay = waiting_delay(waits, each, closure_s)
    delay = delay + detour_delay(traffic - waits, each, round_s, closure_s)
    alone = isolation(np.nan_to_num(column("cut_off_people_count")), closure_s)
    off_road = is_driveway(crossings).reshape(shape)
    return np.where(off_road, DRIVEWAY_SHARE * alone, delay + alone)


def is_driveway(crossings: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Whether each pipe lies under a driveway beside the road, shape (n,)."""
    return crossings["crossing_kind"].eq(OFF_ROAD_KIND).to_numpy(bool)
