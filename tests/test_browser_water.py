"""Water on the map in a real browser: ponds, unlisted streams, rating curves."""

import shutil
import subprocess

import pytest

from culvertrisk.reports import map_data
from culvertrisk.reports.map import write_map
from tests import browser_fixture, report_fixture, water_fixture

browser = browser_fixture.browser
opened = browser_fixture.opened
pytestmark = browser_fixture.BROWSER_MARKS
PAINTED = "document.getElementById('painting').toDataURL()"


@pytest.fixture(scope="module")
def water_file(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(map_data, "columns", water_fixture.known_columns)
        path = tmp_path_factory.mktemp("water") / "map.html"
        return write_map(path, water_fixture.content(calibrated=True))


def test_ponds_and_waves_are_drawn_and_can_be_switched(opened, water_file):
    page = opened(water_file)
    for layer in ("ponds", "over", "unlisted"):
        before = page.evaluate(PAINTED)
        page.locator(f"[name=layer][value={layer}]").click()
        assert page.evaluate(PAINTED) != before, layer
    assert page.said == []


def test_pond_of_the_open_card_is_shown_whatever_the_layers(opened, water_file):
    page = opened(water_file)
    assert "full pond" not in page.locator("#signs").inner_text()
    page.click("#rows button >> nth=0")
    page.evaluate("document.getElementById('key').open = true")
    assert "full pond" in page.locator("#signs").inner_text()
    page.click("#close")
    assert "full pond" not in page.locator("#signs").inner_text()


def test_card_tells_water_danger_cure_band_and_limits(opened, water_file):
    page = opened(water_file)
    page.click("#rows button >> nth=0")
    told = page.locator("#card").inner_text()
    for part in (
        "0.31 m of water over the road, on 24 m of it, shut about 14 h",
        "dwellings in the full pond: 2",
        "Washout danger: high",
        "up to 2.1 m deep. Stand to the side of the outlet",
        "Opened it may send up to 0.8 m³/s to O5",
        "Make sure O5 (Ossel Mill Road, 47.",
        "standing water freezing; next, seep icing",
        "drain, then heat cable",
        "27 April 2025",
        "1 (1 to 3 as the unknowns fall), fragile",
    ):
        assert part in told
    assert "80 ha limit" not in told  # folded, after the scores
    page.click("text=Limits of these numbers")
    told = page.locator("#card").inner_text()
    for part in ("Catchment is above the 80 ha limit", "Cover unknown: 0.30 m assumed"):
        assert part in told
    assert told.index("Where the scores come from") < told.index("80 ha limit")
    page.select_option("#units", "us")
    page.click("text=Limits of these numbers")
    told = page.locator("#card").inner_text()
    for part in (
        "1 ft of water over the road",
        "Catchment is above the 200 acre limit",
        "Cover unknown: 0.98 ft assumed",
    ):
        assert part in told
    page.keyboard.press("Escape")
    page.click("#rows button >> nth=1")
    told = page.locator("#card").inner_text()
    assert "no water reaches the road" in told
    assert "When H1 (up to 30 ft³/s) above is opened" in told
    page.keyboard.press("Escape")
    page.click("#rows button >> nth=3")
    told = page.locator("#card").inner_text()
    assert "Danger for the crew" not in told
    assert "Not known whether water reaches the road today" in told


def test_tiny_shares_are_not_told_to_the_last_digit(opened, tmp_path):
    crossings = report_fixture.crossings().assign(flooded_open_chance=8.7e-8)
    content = report_fixture.content(crossings=crossings, calibrated=True)
    page = opened(write_map(tmp_path / "map.html", content))
    page.click("#rows button >> nth=0")
    for summary in page.locator("#card summary").all():
        summary.click()
    assert "under 0.1 %" in page.locator("#card").inner_text()


def test_rating_curve_is_drawn_in_the_units_chosen_with_its_table(opened, water_file):
    page = opened(water_file)
    page.click("#rows button >> nth=0")
    assert page.locator("svg.rating[role=img]").count() == 1
    words = page.evaluate("document.querySelector('svg.rating').textContent")
    for part in ("flow, m³/s", "water over the inlet bed, m", "road", "today"):
        assert part in words
    assert page.locator("svg.rating path.curve").count() == 2
    assert "no standard covers it" in page.locator("#card").inner_text()
    page.select_option("#units", "us")
    words = page.evaluate("document.querySelector('svg.rating').textContent")
    assert "flow, ft³/s" in words
    page.click("text=Rating curve as a table")
    rows = page.locator(".rating-table tbody tr")
    assert rows.count() == 4
    # 0.15 m3/s, 0.3 m and 0.6 m in feet: 1 ft = 0.3048 m (exact, NIST SP 811).
    assert rows.first.inner_text().split() == ["5.3", "0.984", "1.97", "0"]
    page.keyboard.press("Escape")
    page.click("#rows button >> nth=2")
    assert page.locator("svg.rating").count() == 0


def test_design_peaks_of_the_methods_are_told_and_drawn_as_a_band(opened, water_file):
    page = opened(water_file)
    page.click("#rows button >> nth=0")
    page.click("summary:text-is('Flood score')")
    told = page.locator("#card").inner_text()
    assert "rational 0.320 m³/s (used), curve number 0.510 m³/s" in told
    assert "Least design peak" not in told  # drawn, and told below the curve
    assert page.locator("svg.rating rect.band").count() == 1
    assert "design peak by the methods that apply: 0.32 to 0.51 m³/s" in told
    page.select_option("#units", "us")
    # 0.32 and 0.51 m3/s in ft3/s: 1 ft = 0.3048 m (exact, NIST SP 811).
    told = page.locator("#card").inner_text()
    assert "design peak by the methods that apply: 11.3 to 18 ft³/s" in told
    page.keyboard.press("Escape")
    page.click("#rows button >> nth=1")
    assert page.locator("svg.rating").count() == 1
    assert page.locator("svg.rating rect.band").count() == 0
    assert (
        "by the methods that apply"
        not in page.locator("#card .rating ~ p").all_inner_texts()[0]
    )


def test_unlisted_streams_are_a_list_of_their_own_with_a_short_card(opened, water_file):
    page = opened(water_file)
    assert page.locator("#rows .row").count() == 12
    page.click("#tab-unlisted")
    assert page.locator("#spots button").count() == 2
    page.focus("#spots button >> nth=0")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    told = page.locator("#card").inner_text()
    for part in (
        "Harn Hill",
        "doubtful",
        "4.1 ha",
        "lies 91 m away",
        "no score and no rank",
    ):
        assert part in told
    page.select_option("#units", "us")
    assert "lies 300 ft away" in page.locator("#card").inner_text()
    assert page.is_checked("[name=layer][value=unlisted]")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.className") == "row spot"
    assert "no culvert listed" in page.evaluate(
        "document.getElementById('signs').textContent"
    )


def test_a_click_on_an_unlisted_stream_opens_its_card(opened, water_file):
    page = opened(water_file)
    page.click("#tab-unlisted")
    page.click("#spots button >> nth=0")
    page.click("#close")
    page.wait_for_timeout(100)
    box = page.locator(".folium-map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert "no culvert listed" in page.locator("#card h2").inner_text()


def test_page_without_water_has_no_tab_and_no_switch_for_it(opened, tmp_path):
    path = write_map(tmp_path / "map.html", report_fixture.content())
    page = opened(path)
    assert not page.locator("#tab-unlisted").is_visible()
    for layer in ("ponds", "over", "unlisted"):
        assert page.is_disabled(f"[name=layer][value={layer}]")
    page.focus("#tab-missed")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.id") == "tab-about"


def test_phone_holds_tabs_card_and_curve_without_sideways_scroll(opened, water_file):
    page = opened(water_file, width=390, height=844)
    assert page.locator("#tab-about").bounding_box()["x"] < 390
    page.click("#rows button >> nth=0")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    box = page.evaluate("document.querySelector('svg.rating').getBoundingClientRect()")
    assert box["width"] <= 390


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext is here")
def test_paper_explains_waves_ponds_and_unlisted_streams(opened, water_file, tmp_path):
    page = opened(water_file)
    for layer in ("ponds", "unlisted"):
        page.check(f"[name=layer][value={layer}]")
    page.pdf(path=tmp_path / "map.pdf", format="Letter")
    told = subprocess.run(
        ["pdftotext", "-layout", "map.pdf", "-"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    for part in (
        "full pond behind a blocked crossing",
        "water over the road today if nothing passes, flood score not low or "
        "not known: 1",
        "stream at a road, no culvert listed, no score: 2",
        "Make sure O5 (Ossel Mill Road",
    ):
        assert part in " ".join(told.split())


def test_hostile_words_of_water_are_shown_and_do_nothing(opened, tmp_path, monkeypatch):
    monkeypatch.setattr(map_data, "columns", water_fixture.known_columns)
    evil = "<img src=x onerror='window.hit=1'></script>{{ 7*7 }}"
    crossings = water_fixture.with_water(report_fixture.crossings())
    crossings.index = [evil, *crossings.index[1:]]
    crossings.index.name = "culvert_id"
    for name in ("cure", "washout_class", "flow_note", "downstream_id", "rank_band"):
        crossings[name] = evil
    unmapped = water_fixture.unmapped()
    unmapped["road_name"] = unmapped["note"] = unmapped["confidence"] = evil
    ratings = water_fixture.ratings().replace({"culvert_id": {"H1": evil}})
    content = water_fixture.content(
        crossings=crossings, unmapped=unmapped, ratings=ratings, plan=None, jobs=None
    )
    page = opened(write_map(tmp_path / "map.html", content))
    page.click("#rows button >> nth=0")
    for summary in page.locator("#card summary").all():
        summary.click()
    assert page.locator("#card").inner_text().count(evil) >= 4
    assert page.locator("svg.rating").count() == 1
    page.click("#close")
    page.click("#tab-unlisted")
    page.click("#spots button >> nth=0")
    assert evil in page.locator("#card").inner_text()
    assert page.evaluate("window.hit") is None
    assert page.locator("#card img, #spots img").count() == 0
    assert page.said == []


def test_the_list_of_stops_tells_of_water_over_the_road_on_the_way(opened, tmp_path):
    wet = {"flooded_open_chance": 0.9, "water_over_road_open_s": 20_000.0}
    crossings = report_fixture.crossings().assign(crossing_kind="cross", **wet)
    crossings.loc[crossings.index != "T1", "flooded_open_chance"] = 0.1
    content = report_fixture.content(crossings=crossings)
    page = opened(write_map(tmp_path / "map.html", content))
    page.click("#tab-today")
    told = page.locator("#pane-today").inner_text()
    words = "the way at T1 (Torvessin Trunk 4) from 05:33: do not drive through"
    assert words in told
    assert page.said == []
