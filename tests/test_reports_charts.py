"""The pictures of one crossing, on a made-up valley."""

import dataclasses
from datetime import date
from io import BytesIO

import numpy as np
import pytest

from culvertrisk.formulas.sun import season_day
from culvertrisk.reports.charts import catchment_chart, horizon_chart, shade_chart
from culvertrisk.stages.shade import sun_by_season
from culvertrisk.stages.site import add_site, site_flow
from culvertrisk.stages.sky import end_skies
from tests.terrain_made import crossings, road, valley

DAYS = [date(2025, 12, 21), date(2026, 3, 21)]


@pytest.fixture(scope="module")
def flow():
    return site_flow(crossings(), valley(), road())


@pytest.fixture(scope="module")
def table(flow):
    return add_site(crossings(), valley(), flow)


def _drawn(figure):
    figure.savefig(stream := BytesIO(), format="png")
    return stream.getvalue()


def test_catchment_is_drawn_with_the_cut_through_the_road(table, flow):
    figure = catchment_chart(table, "ends", valley(), flow, road())
    assert _drawn(figure).startswith(b"\x89PNG")
    (axes,) = figure.axes
    assert axes.get_title().startswith("ends, ")
    cut = table.loc["ends", ["upstream_y_m", "downstream_y_m"]].to_list()
    assert cut in [list(line.get_ydata()) for line in axes.lines]
    west, east = axes.get_xlim()
    assert west < table.geometry["ends"].x < east


def test_horizon_is_drawn_with_the_suns_paths(table):
    terrain = valley()
    trees_m = np.full(terrain.elevation_m.shape, 10.0, np.float32)
    wooded = dataclasses.replace(terrain, canopy_height_m=trees_m)
    inlet, outlet = end_skies(table.loc[["ends"]], wooded)
    figure = horizon_chart({"Inlet": inlet, "Outlet": outlet}, 62.0, DAYS)
    assert _drawn(figure).startswith(b"\x89PNG")
    for axes, name in zip(figure.axes, ["Inlet", "Outlet"], strict=True):
        assert axes.get_title().startswith(name)
        assert [text.get_text() for text in axes.texts] == ["21 Dec", "21 Mar"]
        noon_deg = [line.get_ydata().max() for line in axes.lines[::2]]
        # 90 less latitude plus declination, and 0.2 degree of bent light in December
        np.testing.assert_allclose(noon_deg, [4.7, 28.2], atol=0.3)


def test_shade_is_drawn_by_date_with_the_day_asked(table):
    sun = sun_by_season(table, valley())
    figure = shade_chart(sun, 1, date(2026, 2, 1))
    assert _drawn(figure).startswith(b"\x89PNG")
    upper, lower = figure.axes
    labels = [line.get_label() for line in upper.lines[:3]]
    assert labels == ["open ground", "inlet", "outlet"]
    np.testing.assert_array_equal(upper.lines[1].get_ydata(), sun.inlet_direct_sun_h[1])
    np.testing.assert_allclose(
        lower.lines[2].get_ydata(), sun.outlet_j_m2[1] / 1e6, rtol=1e-6
    )
    marked = lower.lines[-1].get_xdata()[0]
    assert marked == lower.lines[0].get_xdata()[season_day(date(2026, 2, 1))]
