"""Flow spread stage: how far off today's flow may be, by the forecast's spread."""

from geopandas import GeoDataFrame

from culvertrisk.formulas.frequency import lognormal_quantile
from culvertrisk.settings import Settings
from culvertrisk.stages.design_storm import storm_defaults


def add_flow_spread(crossings: GeoDataFrame, settings: Settings) -> GeoDataFrame:
    """Add the band within which today's flow lies in eight cases of ten.

    Parameters
    ----------
    crossings : GeoDataFrame
        With the columns of flood.
    settings : Settings
        ``forecast.spread_fraction``.

    Returns
    -------
    crossings : GeoDataFrame
        With the columns made by ``flow_spread``; NaN where the flow is unknown.
    """
    flow_m3s = crossings["today_flow_m3s"].to_numpy(float)
    spread = settings.forecast.spread_fraction
    tail = storm_defaults()["flow_band_tail"]
    return crossings.assign(
        today_flow_low_m3s=lognormal_quantile(flow_m3s, tail, spread),
        today_flow_high_m3s=lognormal_quantile(flow_m3s, 1 - tail, spread),
    )
