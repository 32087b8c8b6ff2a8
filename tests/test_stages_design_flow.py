"""Design peaks and floodings a year on hand-made tables."""

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from shapely import Point

from culvertrisk.reports.map_advice import advice_columns
from culvertrisk.reports.sentence_units import in_units
from culvertrisk.settings import Gauge, Settings
from culvertrisk.stages.concentrations import concentration_time, lag_time
from culvertrisk.stages.design_flow import PEAK_COLUMNS, add_design_flow
from culvertrisk.stages.design_storm import (
    PEAK_YEARS,
    DesignChoices,
    RegionalRegression,
    curve_number_of,
    rain_of,
    runoff_fraction_of,
    storm_defaults,
)
from culvertrisk.stages.gauged_peaks import gauge_curve
from culvertrisk.stages.yearly_flood import add_yearly_flood
from culvertrisk.tables import columns, table

NAN = np.nan
ACRE_M2 = 4046.8564224
MILE2_M2 = 1609.344**2
FOOT_M, INCH_M = 0.3048, 0.0254
CFS_M3S = FOOT_M**3
HOUR_S = 3600.0
DESIGN_MADE = {
    *PEAK_COLUMNS,
    "design_flow_m3s",
    "design_flow_low_m3s",
    "design_flow_high_m3s",
    "design_flow_methods",
    "peak_method",
    "peak_note",
}
YEARLY_MADE = {
    "limiting_return_years",
    "overtopping_open_per_year",
    "overtopping_per_year",
    "overtopping_open_chance",
    "overtopping_chance",
    "floodings_in_life_count",
    "flooded_in_life_chance",
    "yearly_loss_open_person_h",
    "yearly_loss_person_h",
    "yearly_note",
}
PLACE = {
    "road_class": "C",
    "catchment_m2": 100_000.0,
    "flow_path_m": 500.0,
    "flow_path_slope_m_per_m": 0.05,
    "concentration_s": 600.0,
    "open_capacity_m3s": 1.0,
    "iced_capacity_m3s": 0.0,
    "blocked_chance": 0.5,
    "winter_blocked_chance": 0.5,
    "crossing_kind": "cross",
    "daily_traffic_count": 480.0,
    "detour_s": 600.0,
    "cut_off_dwelling_count": 0.0,
    "cut_off_people_count": 0.0,
    "consequence_person_h": 30.0,
}
SMALL, LARGE = {}, {"catchment_m2": 2e6, "flow_path_m": 3000.0}
WOODS = DesignChoices(covers={"woods": 1.0}, soil_group="C")


def _crossings(*changes):
    rows = [{**PLACE, **change} for change in changes]
    index = pd.Index([f"A{i}" for i in range(len(rows))], name="culvert_id")
    points = [Point(i, 0) for i in range(len(rows))]
    return gpd.GeoDataFrame(rows, index=index, geometry=points, crs="EPSG:32616")


def _settings(**storm):
    return Settings(files={"culverts": "culverts.csv"}, storm=storm)


def _rainfall(day_m=0.1, series="annual"):
    """The same growth for all durations: 5 min to 24 h, 1 to 100 years."""
    years = np.array([1.0, *PEAK_YEARS])
    growth = np.log(years) / np.log(100) * 0.6 + 0.4
    shares = {300.0: 0.1, 3600.0: 0.4, 86_400.0: 1.0}
    rows = [
        {"duration_s": t, "return_years": y, "rain_m": day_m * share * grown}
        for t, share in shares.items()
        for y, grown in zip(years, growth, strict=True)
    ]
    return pd.DataFrame(rows).assign(series=series)


def _region(**changes):
    """usgs2014, region HR4: Q10 = 51.8 A^0.6004 10^(0.0666 P), 0.10 to 53.5 mi2."""
    usual = {
        "coefficients": dict.fromkeys(PEAK_YEARS, 51.8),
        "exponents": {year: {"area": 0.6004} for year in PEAK_YEARS},
        "powers_of_ten": {year: {"rain": 0.0666} for year in PEAK_YEARS},
        "units": {"area": "mi**2"},
        "domain": {"area": (0.10, 53.5)},
        "constants": {"rain": 8.0},
        "standard_error_fraction": 0.4,
    }
    return RegionalRegression(**{**usual, **changes})


def test_add_design_flow_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = _crossings(SMALL, LARGE, {"catchment_m2": NAN})
    kept = before.copy()
    after = add_design_flow(before, _settings(), WOODS, _rainfall())
    assert set(after) - set(before) == DESIGN_MADE
    declared = {*columns().query("made_by == 'design_flow'").index, "design_flow_m3s"}
    assert declared == DESIGN_MADE
    pd.testing.assert_frame_equal(before, kept)
    pd.testing.assert_frame_equal(after[before.columns], kept)


def test_add_yearly_flood_adds_exactly_its_columns_and_leaves_its_input_alone():
    before = add_design_flow(_crossings(SMALL, LARGE), _settings(), DesignChoices())
    kept = before.copy()
    after = add_yearly_flood(before, _settings())
    assert set(after) - set(before) == YEARLY_MADE
    assert set(columns().query("made_by == 'yearly_flood'").index) == YEARLY_MADE
    pd.testing.assert_frame_equal(before, kept)
    pd.testing.assert_frame_equal(after[before.columns], kept)


def test_rational_peak_is_the_hand_sum():
    """10 ha, C 0.3, 10 years, one hour: 0.041 m / 3600 s * 0.3 * 100 000 m2."""
    hour = {"concentration_s": HOUR_S}
    row = add_design_flow(_crossings(hour), _settings(), DesignChoices()).iloc[0]
    assert_allclose(row["peak_10_years_m3s"], 0.041 / 3600 * 0.3 * 1e5, rtol=1e-12)
    factor = 1.25 * 0.066 / 0.041
    assert_allclose(row["peak_100_years_m3s"], factor * row["peak_10_years_m3s"])
    assert_allclose(row["design_flow_m3s"], row["peak_25_years_m3s"])
    assert row["peak_method"] == "rational"


def test_heavenly_acres_comes_out_of_the_stage():
    """tr55, example 4-1 (public copy): 250 acre, CN 75, type II, 6.0 in in 25 years,
    1.53 h: 345 cfs; the path is set for that time by the lag (slope 1.4 %)."""
    wanted_s, slope = 1.53 * HOUR_S, 0.014
    lag_ft = (
        wanted_s / HOUR_S * 0.6 * 1900 * 1.4**0.5 / (13.333 / 4 + 1) ** 0.7
    ) ** 1.25
    place = {
        "catchment_m2": 250 * ACRE_M2,
        "flow_path_m": lag_ft * FOOT_M,
        "flow_path_slope_m_per_m": slope,
    }
    rainfall = _rainfall()
    rainfall["rain_m"] = 6.0 * INCH_M * (1 + 1e-9 * rainfall["return_years"])
    choices = DesignChoices(curve_number=75.0, rain_type="II")
    row = add_design_flow(_crossings(place), _settings(), choices, rainfall).iloc[0]
    assert row["peak_method"] == "curve number"
    assert_allclose(row["peak_25_years_m3s"] / CFS_M3S, 345, rtol=0.01)


def test_regional_equation_is_the_hand_sum_with_its_error_as_a_band():
    """usgs2014: 10 mi2, 8 in: 703.9 ft3/s."""
    choices = DesignChoices(regression=_region())
    place = {"catchment_m2": 10 * MILE2_M2}
    row = add_design_flow(_crossings(place), _settings(), choices).iloc[0]
    assert row["peak_method"] == "regional equation"
    assert_allclose(row["peak_10_years_m3s"] / CFS_M3S, 703.9, atol=0.05)
    assert_allclose(row["design_flow_low_m3s"], 0.6 * row["design_flow_m3s"])
    assert_allclose(row["design_flow_high_m3s"], 1.4 * row["design_flow_m3s"])


def test_outside_its_domain_the_equation_is_held_and_says_so():
    choices = DesignChoices(regression=_region(domain={"area": (0.10, 5.0)}))
    place = {"catchment_m2": 10 * MILE2_M2}
    held = {"catchment_m2": 5 * MILE2_M2 * (1 - 1e-9)}
    after = add_design_flow(_crossings(place, held), _settings(), choices)
    assert list(after["peak_method"]) == ["rational", "regional equation"]
    only = _region(domain={"area": (0.10, 5.0)})
    no_path = {**place, "concentration_s": NAN}
    row = add_design_flow(
        _crossings(no_path), _settings(), DesignChoices(regression=only)
    ).iloc[0]
    assert row["peak_method"] == "regional equation"
    assert_allclose(row["design_flow_m3s"], after["design_flow_m3s"].iloc[1])
    for said in (
        "area is outside the regional equation's 0.259\u202fkm² to 12.95\u202fkm²",
        "held at the nearer end of the regional equation's domain",
        "no design peak is within its limits here: regional equation is used",
        "limit of the rational method, so the rational design peak is left out",
    ):
        assert said in row["peak_note"]
    told = in_units(row["peak_note"], "us")
    assert "area is outside the regional equation's 0.1 mi² to 5 mi²" in told


def test_methods_give_way_at_their_limits():
    after = add_design_flow(_crossings(SMALL, LARGE), _settings(), WOODS, _rainfall())
    assert list(after["peak_method"]) == ["rational", "curve number"]
    alone = add_design_flow(_crossings(SMALL, LARGE), _settings(), DesignChoices())
    assert list(alone["peak_method"]) == ["rational", "rational"]
    notes = list(alone["peak_note"])
    assert notes[0] == "no regional equation and no curve number given to compare"
    assert "above the 80\u202fha limit of the rational method" in notes[1]


def test_band_spans_the_methods_that_apply():
    after = add_design_flow(_crossings(SMALL, LARGE), _settings(), WOODS, _rainfall())
    row = after.iloc[0]
    assert row["design_flow_low_m3s"] <= row["design_flow_m3s"]
    assert row["design_flow_m3s"] <= row["design_flow_high_m3s"]
    assert np.isnan(after["design_flow_low_m3s"].iloc[1])


@pytest.mark.parametrize("rain_type", ["I", "IA", "II", "III"])
@pytest.mark.parametrize("ground", ["thawed", "frozen", "concrete frost"])
def test_peaks_grow_with_the_return_period(rain_type, ground):
    choices = DesignChoices(curve_number=70.0, rain_type=rain_type, ground=ground)
    after = add_design_flow(_crossings(SMALL, LARGE), _settings(), choices, _rainfall())
    assert (np.diff(after[[*PEAK_COLUMNS]].to_numpy(), axis=1) > 0).all()


def _flows(choices, rainfall):
    after = add_design_flow(_crossings(SMALL, LARGE), _settings(), choices, rainfall)
    return after["design_flow_m3s"].to_numpy()


def test_more_rain_and_a_higher_number_give_more():
    low, high = (DesignChoices(curve_number=number) for number in (65.0, 80.0))
    usual = _flows(low, _rainfall())
    assert (_flows(low, _rainfall(day_m=0.12)) > usual).all()
    assert _flows(high, _rainfall())[1] > usual[1]


def test_frozen_ground_gives_more_and_concrete_frost_most():
    flows = [
        _flows(DesignChoices(covers={"woods": 1.0}, ground=ground), _rainfall())
        for ground in ("thawed", "frozen", "concrete frost")
    ]
    assert (np.diff(flows, axis=0) > 0).all()


def test_climate_factor_multiplies_the_rain():
    choices = DesignChoices(covers={"woods": 1.0}, climate_factor=1.2)
    assert_allclose(_flows(choices, _rainfall()), _flows(WOODS, _rainfall(day_m=0.12)))


def test_partial_series_is_asked_for_its_own_interval():
    """2 years of yearly highest ones are 1.44 years of a partial series."""
    name = "peak_2_years_m3s"
    after = {
        series: add_design_flow(
            _crossings(SMALL), _settings(), WOODS, _rainfall(series=series)
        )[name].iloc[0]
        for series in ("annual", "partial")
    }
    grown = 0.4 + 0.6 * np.log([2.0, 1.442695]) / np.log(100)
    assert_allclose(after["partial"] / after["annual"], grown[1] / grown[0], rtol=1e-6)


@pytest.mark.parametrize("method", ["faa", "nrcs lag", "velocity"])
def test_other_times_of_concentration_can_be_chosen(method):
    choices = DesignChoices(covers={"woods": 1.0}, concentration=method)
    flows = _flows(choices, _rainfall())
    assert (flows > 0).all()
    assert not np.isclose(flows[0], _flows(WOODS, _rainfall())[0])


# flows of 20 years whose logarithms have no skew: 10^(+-0.2), ten each [m3/s]
EVEN = tuple(10**0.2 if year % 2 else 10**-0.2 for year in range(20))


def _gauge(**changes):
    return Gauge(**{"peaks_m3s": EVEN, "catchment_m2": 2e6, **changes})


def test_gauge_curves_are_the_hand_sums():
    """usgs1982, appendix 3, no skew, 100 years: 2.326; Gumbel, 100 years: 3.137.

    The standard deviation of +-0.2, ten each, is 0.2 sqrt(20/19)."""
    spread = 0.2 * (20 / 19) ** 0.5
    assert_allclose(np.log10(gauge_curve(_gauge()))[4], 2.326 * spread, atol=2e-4)
    mean, half = (10**0.2 + 10**-0.2) / 2, (10**0.2 - 10**-0.2) / 2
    expected = mean + 3.137 * half * (20 / 19) ** 0.5
    found = gauge_curve(_gauge(distribution="Gumbel"))[4]
    assert_allclose(found, expected, atol=5e-4)
    assert_allclose(gauge_curve(_gauge(peaks_m3s=[2.0] * 10)), 2.0)


def test_log_pearson_of_skewed_flows_is_that_of_scipy():
    flows = np.random.default_rng(5).gamma(2.0, 3.0, 40)
    logs = np.log10(flows)
    lean, spread = stats.skew(logs, bias=False), logs.std(ddof=1)
    years = np.array(PEAK_YEARS)
    expected = 10 ** stats.pearson3.ppf(1 - 1 / years, lean, logs.mean(), spread)
    found = gauge_curve(_gauge(peaks_m3s=tuple(flows)))
    assert_allclose(found, expected, rtol=1e-9)


def test_a_gauge_is_moved_by_area_within_its_limits():
    choices = DesignChoices(gauge=_gauge(area_exponent=0.5))
    places = {"catchment_m2": 2.88e6}, {"catchment_m2": 3.1e6}
    after = add_design_flow(_crossings(*places), _settings(), choices)
    assert [*after["peak_method"]] == ["gauged stream", "rational"]
    assert_allclose(after["peak_100_years_m3s"].iloc[0],
                    1.2 * gauge_curve(choices.gauge)[4])  # fmt: skip
    said = "gauge has 20 years: peaks above 20 years are stretched"
    assert said in after["peak_note"].iloc[0]
    alone = add_design_flow(
        _crossings({"catchment_m2": 3.1e6, "concentration_s": NAN}),
        _settings(),
        choices,
    )
    assert (
        "catchment is outside 0.5 to 1.5 times that of the gauge"
        in (alone["peak_note"].iloc[0])
    )


def test_velocity_method_is_the_sum_of_its_reaches():
    """tr55, example 3-1 in kind: 100 ft of sheet flow (n 0.24, 1 %, P2 3.6 in) 0.2959
    h, 1000 ft of shallow flow at 1.6135 ft/s, then a ditch by Manning (R 0.3 m)."""
    sheet_s = 0.2959 * HOUR_S
    shallow_s = 1000 / 1.61345
    ditch_m = 500.0
    ditch_s = ditch_m / (0.3 ** (2 / 3) * 0.01**0.5 / 0.05)
    place = _crossings(
        {
            "flow_path_m": 1100 * FOOT_M + ditch_m,
            "flow_path_slope_m_per_m": 0.01,
        }
    )
    choices = DesignChoices(concentration="velocity")
    rainfall = _rainfall()
    rainfall["rain_m"] = 3.6 * INCH_M * (1 + 1e-9 * rainfall["return_years"])
    time_s = concentration_time(
        place, rain_of(rainfall, _settings().storm, choices), choices
    )
    assert_allclose(time_s, sheet_s + shallow_s + ditch_s, rtol=1e-3)


def test_lag_takes_the_slope_of_the_land_where_it_is_known():
    """nrcs2004, chapter 15: 5000 ft, CN 75, 4 %: 1.114 h."""
    rows = {"flow_path_m": 5000 * FOOT_M, "flow_path_slope_m_per_m": 0.01}
    land = _crossings(
        {**rows, "catchment_slope_m_per_m": 0.04},
        {**rows, "catchment_slope_m_per_m": NAN},
    )
    time_s = lag_time(land, np.full(2, 75.0))
    assert_allclose(time_s[0], 1.114 * HOUR_S, rtol=1e-3)
    assert_allclose(time_s[1], 2 * time_s[0])  # a quarter of the slope


LIMITS = [
    (
        {"flow_path_slope_m_per_m": 1e-4},
        {},
        "slope of the flow path is held at its least, 0.001",
    ),
    (
        {"catchment_m2": 5e5},
        {},
        "catchment is above the 45\u202fha limit of Kirpich's time of concentration",
    ),
    ({"flow_path_slope_m_per_m": 0.2}, {}, "slope is outside the 3 to 10 % of Kirpich"),
    (
        {"concentration_s": 300.0},
        {},
        "time of concentration is held at the shortest, 5 min",
    ),
    (
        {},
        {"concentration": "faa"},
        "FAA's time of concentration is for paths over land without a channel",
    ),
    ({}, {"concentration": "velocity"}, "sheet flow is held at its limit of 30\u202fm"),
    (
        {},
        {"covers": {"paved": 1.0}, "soil_group": "D"},
        "runoff share times frequency factor is held at 1",
    ),
    (LARGE, {"curve_number": 96.0}, "curve number is outside the 50 to 95 of the NRCS"),
    (
        {"catchment_m2": 20 * MILE2_M2, "concentration_s": NAN},
        {"curve_number": 80.0},
        "catchment is above the 49\u202fkm² limit of the NRCS lag",
    ),
    (
        LARGE,
        {"curve_number": 80.0, "pond_fraction": 0.2},
        "ponds count with the 5 % at which the graphical method's factors end",
    ),
]


@pytest.mark.parametrize(("place", "choices", "said"), LIMITS)
def test_every_limit_that_clamps_or_is_passed_is_said(place, choices, said):
    """Sources of the figures: storm_defaults and tr55_ponds."""
    made = add_design_flow(
        _crossings(place), _settings(), DesignChoices(**choices), _rainfall()
    )
    assert said in made["peak_note"].iloc[0]


REFUSALS = [
    (
        LARGE,
        {"curve_number": 70.0},
        "catchment is above the 80\u202fha limit of the rational method, so the "
        "rational design peak is left out",
    ),
    (
        {},
        {"curve_number": 40.0},
        "curve number is not above the 40 of the graphical method, so the curve number "
        "design peak is left out",
    ),
    (
        {"flow_path_m": 40_000.0, "flow_path_slope_m_per_m": 0.001},
        {"curve_number": 60.0},
        "time of concentration is above the graphical method's 10 h, so the curve "
        "number design peak is left out",
    ),
    (
        {"catchment_m2": 20 * MILE2_M2},
        {"curve_number": 80.0},
        "catchment is above the 49\u202fkm² limit of the NRCS lag, so the curve number "
        "design peak is left out",
    ),
    (
        {},
        {"regression": _region()},
        "area is outside the regional equation's 0.259\u202fkm² to 138.6\u202fkm², so "
        "the regional equation design peak is left out",
    ),
    (
        {},
        {"gauge": {"peaks_m3s": (2.0,) * 10, "catchment_m2": 1e6}},
        "catchment is outside 0.5 to 1.5 times that of the gauge, so the gauged stream "
        "design peak is left out",
    ),
    (
        {"concentration_s": 200.0, "catchment_m2": 2e6},
        {"curve_number": 70.0},
        "time of concentration is outside the 5 min to 24 h of the rain table, so the "
        "rational design peak is left out",
    ),
]


def _choices(**told):
    if "gauge" in told:
        told["gauge"] = Gauge(**told["gauge"])
    return DesignChoices(**told)


def _card(table):
    """The sentences that the card of the first crossing lists under its limits."""
    coded = advice_columns(table, date(2025, 2, 25))["limits"]
    return [coded["words"][place] for place in coded["codes"][0]]


@pytest.mark.parametrize(("place", "told", "said"), REFUSALS)
def test_a_method_left_out_is_told_with_its_limit_in_note_and_card(place, told, said):
    """Sources of the figures: storm_defaults; usgs2014 for the domain."""
    made = add_design_flow(
        _crossings(place), _settings(), _choices(**told), _rainfall()
    )
    assert said in made["peak_note"].iloc[0].split("; ")
    shown = in_units(said, "metric")
    assert shown[0].upper() + shown[1:] in _card(made)


def test_ponds_of_each_catchment_lower_its_curve_number_peak():
    """tr55, table 4-2: 0 % 1.00, 1 % 0.87, 5 % 0.72, and no lower."""
    shares = (0.0, 0.01, 0.05, 0.30)
    places = [{**LARGE, "swamp_fraction": share} for share in shares]
    choices = DesignChoices(curve_number=70.0)
    made = add_design_flow(_crossings(*places), _settings(), choices, _rainfall())
    assert {*made["peak_method"]} == {"curve number"}
    flows = made["design_flow_m3s"].to_numpy()
    assert_allclose(flows / flows[0], [1.00, 0.87, 0.72, 0.72])
    said = "ponds count with the 5 % at which the graphical method's factors end"
    assert [said in note for note in made["peak_note"]] == [False, False, False, True]


COMPARED = [
    (
        {"flow_path_m": 50.0},
        {},
        "time of concentration is held at the graphical method's least 0.1 h",
    ),
    (
        {},
        {"curve_number": 98.0},
        "initial loss over rain is held within the graphical method's 0.1 to 0.5",
    ),
    (
        {},
        {"curve_number": 45.0},
        "curve number is outside the 50 to 95 of the NRCS lag, which takes the nearer "
        "end",
    ),
    (
        {},
        {"pond_fraction": 0.2},
        "ponds count with the 5 % at which the graphical method's factors end",
    ),
]


@pytest.mark.parametrize(("place", "told", "said"), COMPARED)
def test_what_a_compared_method_is_held_at_is_told_though_another_is_used(
    place, told, said
):
    """Sources of the figures: storm_defaults, tr55_peak and tr55_ponds."""
    choices = DesignChoices(**{"curve_number": 70.0, **told})
    made = add_design_flow(_crossings(place), _settings(), choices, _rainfall())
    assert made["peak_method"].iloc[0] == "rational"
    assert "curve number" in made["design_flow_methods"].iloc[0]
    assert said in made["peak_note"].iloc[0].split("; ")
    assert said[0].upper() + said[1:] in _card(made)


def test_a_rain_table_that_ends_before_24_hours_is_not_called_an_unknown_catchment():
    short = _rainfall().query("duration_s < 86400")
    choices = DesignChoices(curve_number=70.0)
    made = add_design_flow(_crossings({}), _settings(), choices, short)
    assert made["peak_method"].iloc[0] == "rational"
    assert (
        "rain of the curve number method, 24 h, is outside the 5 min to 1 h of the "
        "rain table, so the curve number design peak is left out"
    ) in made["peak_note"].iloc[0]
    beyond = {"concentration_s": 7200.0}
    row = add_design_flow(_crossings(beyond), _settings(), choices, short).iloc[0]
    assert row["peak_method"] == ""
    assert "time of concentration is outside the 5 min to 1 h" in row["peak_note"]
    assert "catchment or its path unknown" not in row["peak_note"]


def test_a_number_without_a_rain_table_is_told_as_that():
    choices = DesignChoices(curve_number=70.0, regression=_region())
    row = add_design_flow(_crossings({}), _settings(), choices).iloc[0]
    said = "no 24-hour rain for the curve number given to compare"
    assert said in row["peak_note"].split("; ")


def test_design_flow_of_each_method_is_told_and_the_one_used_marked():
    choices = DesignChoices(curve_number=70.0, regression=_region())
    made = add_design_flow(
        _crossings({"catchment_m2": 5e5}, LARGE), _settings(), choices, _rainfall()
    )
    small, large = made["design_flow_methods"]
    assert small.startswith(
        f"rational {made['design_flow_m3s'].iloc[0]:.2f}\u202fm³/s (used)"
    )
    assert "regional equation" in small and "curve number" in small
    assert "by its standard error" in small
    assert "rational" not in large and "(used, " in large
    alone = add_design_flow(_crossings(LARGE), _settings(), DesignChoices())
    assert "(used, beyond its limits)" in alone["design_flow_methods"].iloc[0]
    assert "no design peak is within its limits here" in alone["peak_note"].iloc[0]


def test_the_standard_error_of_a_regional_equation_is_said():
    place = {"catchment_m2": 10 * MILE2_M2}
    for error, said in (
        (0.4, "standard error of the regional equation is 40 %"),
        (NAN, "standard error of the regional equation not given: no band about it"),
    ):
        choices = DesignChoices(regression=_region(standard_error_fraction=error))
        after = add_design_flow(_crossings(place), _settings(), choices)
        assert said in after["peak_note"].iloc[0]


def test_unknown_catchment_has_no_peak_and_says_so():
    place = {"catchment_m2": NAN, "concentration_s": NAN}
    row = add_design_flow(_crossings(place), _settings(), WOODS, _rainfall()).iloc[0]
    assert row[[*PEAK_COLUMNS, "design_flow_m3s"]].isna().all()
    assert row["peak_method"] == ""
    assert row["peak_note"] == "no peak: catchment or its path unknown"


def test_a_design_storm_beyond_the_peaks_is_said():
    town = Settings(
        files={"culverts": "culverts.csv"},
        road_classes={"C": {"design_return_years": 200}},
    )
    row = add_design_flow(_crossings(SMALL), town, WOODS, _rainfall()).iloc[0]
    assert row["design_flow_m3s"] > row["peak_100_years_m3s"]
    assert "design storm is outside the 2 to 100 years" in row["peak_note"]


def test_covers_have_both_numbers_and_weigh_by_area():
    assert list(table("land_covers")["cover"]) == list(table("curve_numbers")["cover"])
    half = DesignChoices(covers={"woods": 0.5, "paved": 0.5}, soil_group="C")
    assert curve_number_of(half) == (70 + 98) / 2
    low = DesignChoices(covers={"woods": 1.0}, soil_group="A")
    assert runoff_fraction_of(low, _settings().storm) == 0.05


def test_curve_numbers_grow_from_group_a_to_d_and_c_has_a_range():
    numbers = table("curve_numbers")[["a", "b", "c", "d"]].to_numpy(float)
    assert (np.diff(numbers, axis=1) >= 0).all()
    covers = table("land_covers")
    assert (covers["runoff_fraction_low"] < covers["runoff_fraction_high"]).all()


def _with_peaks(**changes):
    peaks = dict(zip(PEAK_COLUMNS, [0.5, 1.0, 1.4, 1.7, 2.0], strict=True))
    return _crossings({**peaks, **changes})


def _yearly(design=None, **changes):
    settings = Settings(files={"culverts": "c.csv"}, design=design or {})
    return add_yearly_flood(_with_peaks(**changes), settings).iloc[0]


def test_a_pipe_that_passes_the_10_year_peak_holds_a_10_year_storm():
    row = _yearly(winter_blocked_chance=0.0)
    assert_allclose(row["limiting_return_years"], 10)
    assert_allclose(row["overtopping_open_chance"], 0.1)
    assert_allclose(row["overtopping_open_per_year"], -np.log(0.9))
    assert_allclose(row["overtopping_per_year"], row["overtopping_open_per_year"])


def test_a_pipe_always_blocked_is_flooded_at_each_thaw():
    design = {"iced_season_fraction": 0.4, "thaw_floods_per_year": 1.0}
    row = _yearly(winter_blocked_chance=1.0, design=design)
    assert_allclose(row["overtopping_per_year"], 1 - 0.6 * np.log(0.9))


def test_storm_is_withheld_where_the_crossing_above_has_a_larger_catchment():
    row = _yearly(winter_blocked_chance=0.0, has_larger_above=1.0)
    assert np.isnan(row["limiting_return_years"])
    assert "the storm it holds is not told" in row["yearly_note"]
    assert row["overtopping_per_year"] > 0


def test_yearly_figures_do_not_change_with_the_day_asked():
    """Two days of one winter: today's ice, backwater and chance of a block differ."""
    days = [
        {"iced_capacity_m3s": 0.9, "today_capacity_m3s": 1.0, "blocked_chance": 0.2},
        {"iced_capacity_m3s": 0.0, "today_capacity_m3s": 0.1, "blocked_chance": 0.9},
    ]
    rows = [_yearly(winter_blocked_chance=0.5, **day) for day in days]
    names = sorted(YEARLY_MADE)
    pd.testing.assert_series_equal(rows[0][names], rows[1][names])
    # 0.5 of 1 thaw flood, and 10-year floods for the rest: w = 0.5
    design = {"iced_season_fraction": 0.5, "thaw_floods_per_year": 1.0}
    row = _yearly(winter_blocked_chance=0.5, design=design, **days[0])
    assert_allclose(row["overtopping_per_year"], 0.5 - 0.75 * np.log(0.9))


def test_a_blocked_pipe_floods_no_road_that_lower_ground_keeps_dry():
    """1.7 m3/s leave first, the 50-year peak: 0.4 of those floods come in winter."""
    design = {"iced_season_fraction": 0.4, "thaw_floods_per_year": 1.0}
    changes = {"winter_blocked_chance": 1.0, "spill_capacity_m3s": 1.7}
    row = _yearly(design=design, open_capacity_m3s=2.0, **changes)
    hand = -0.6 * np.log1p(-1 / 100) - 0.4 * np.log1p(-1 / 50)
    assert_allclose(row["overtopping_per_year"], hand)


def test_return_periods_are_held_where_the_curve_does_not_tell():
    defaults = storm_defaults()
    for capacity, end in ((0.0, "shortest_return"), (50.0, "longest_return")):
        row = _yearly(winter_blocked_chance=0.0, open_capacity_m3s=capacity)
        assert row["limiting_return_years"] == defaults[end]
        assert f"a storm of {defaults[end]:g} years" in row["yearly_note"]


def test_bridges_and_unknown_peaks_stay_unknown():
    bridge = _with_peaks(open_capacity_m3s=NAN, iced_capacity_m3s=NAN)
    dry = _with_peaks(**dict.fromkeys(PEAK_COLUMNS, NAN))
    for crossings in (bridge, dry):
        after = add_yearly_flood(crossings, _settings())
        assert after[sorted(YEARLY_MADE - {"yearly_note"})].isna().all(axis=None)
        assert (after["yearly_note"] == "").all()


def test_loss_of_an_open_pipe_is_the_integral_from_the_storm_it_holds():
    """480 vehicles a day of 1.5 people, 10 min round: 5 person-h an hour. Shut for an
    hour, and for 20 min * (1 - 1 / Q) that a flood of 2 * 10 min is over capacity."""
    row = _yearly(winter_blocked_chance=0.0)
    peaks, years = np.array([1.0, 1.4, 1.7, 2.0]), np.array([10, 25, 50, 100])
    loss = 5 * (1 + (1 - 1 / peaks) / 3)
    often = -np.log(1 - 1 / years)
    hand = (-np.diff(often) * (loss[1:] + loss[:-1]) / 2).sum() + often[-1] * loss[-1]
    assert_allclose(row["yearly_loss_open_person_h"], hand)
    assert_allclose(row["yearly_loss_person_h"], hand)
    assert row["yearly_note"] == ""


def test_a_flood_that_meets_a_block_costs_the_towns_closure():
    design = {"iced_season_fraction": 0.4, "thaw_floods_per_year": 1.0}
    row = _yearly(winter_blocked_chance=1.0, design=design)
    usual = 0.6 * row["yearly_loss_open_person_h"]
    assert_allclose(row["yearly_loss_person_h"], usual + 1.0 * 30.0)


def test_floodings_over_a_pipes_life_follow_the_years_of_the_town_file():
    """10-year storm, 30 years: 30 * -ln 0.9 floodings, 1 - 0.9^30 for one or more."""
    row = _yearly(winter_blocked_chance=0.0, design={"life_years": 30.0})
    assert_allclose(row["floodings_in_life_count"], -30 * np.log(0.9))
    assert_allclose(row["flooded_in_life_chance"], 1 - 0.9**30)


def test_without_the_winters_months_the_days_chance_stands_and_is_said():
    known, unknown = _yearly(), _yearly(winter_blocked_chance=NAN)
    assert "chance of ice over the winter unknown" in unknown["yearly_note"]
    assert known["yearly_note"] == ""
    for name in ("overtopping_per_year", "yearly_loss_person_h"):
        assert_allclose(known[name], unknown[name])


@given(st.floats(0, 3), st.floats(0, 1), st.floats(0, 1))
def test_ice_never_lessens_the_yearly_loss_and_capacity_never_adds(
    capacity_m3s, blocked_chance, more_m3s
):
    changes = {"winter_blocked_chance": blocked_chance}
    row = _yearly(open_capacity_m3s=capacity_m3s, **changes)
    larger = _yearly(open_capacity_m3s=capacity_m3s + more_m3s, **changes)
    open_loss = row["yearly_loss_open_person_h"]
    assert row["yearly_loss_person_h"] >= open_loss * (1 - 1e-12)
    assert larger["yearly_loss_open_person_h"] <= open_loss * (1 + 1e-12)
