"""Paper, log and size: the printed map, the sheets, the day's log, a large county."""

import dataclasses
import re
import shutil
import subprocess

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.image import imread

from culvertrisk.inputs.thaw_log import read_thaw_log
from culvertrisk.reports.map import write_map
from culvertrisk.reports.run_sheet import write_run_sheets
from culvertrisk.settings import Reading
from tests import browser_fixture, report_fixture

browser = browser_fixture.browser
map_file = browser_fixture.map_file
opened = browser_fixture.opened
pytestmark = browser_fixture.BROWSER_MARKS
LETTER_PT = 792  # height of a page, 11 in


def test_log_is_kept_through_a_reload_and_read_by_our_own_reader(
    opened, map_file, tmp_path
):
    page = opened(map_file)
    page.click("#tab-today")
    stop = page.locator(".visit").first
    stop.locator("summary").click()
    stop.locator("select").select_option("partial")
    stop.locator("input").nth(0).fill("55")
    page.select_option("#units", "us")  # what was typed stays; litres are kept
    stop = page.locator(".visit").first
    stop.locator("input").nth(1).fill("100")
    stop.locator("input").nth(2).fill('=ice, "deep"')
    stop.locator("input").nth(2).blur()
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    page.click("#tab-today")
    with page.expect_download() as download:
        page.click("#save-log")
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    assert path.name == "thaw_log_2025-02-25.csv"
    log = read_thaw_log(path, Reading()).table
    assert len(log) == 1
    row = log.iloc[0]
    assert (row["culvert_id"], row["crew"]) == ("H1", "Hot water truck")
    assert (row["result"], row["note"]) == ("partial", '\'=ice, "deep"')
    assert row["work_s"] == 55 * 60
    assert row["water_m3"] == pytest.approx(0.379)  # 100 US gallons, whole litres


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="no pdftoppm is here")
def test_print_has_map_and_sheets_on_paper(opened, map_file, tmp_path):
    page = opened(map_file)
    page.pdf(path=tmp_path / "map.pdf", format="Letter")
    subprocess.run(
        ["pdftoppm", "-r", "50", "-png", "map.pdf", "page"], cwd=tmp_path, check=True
    )
    pages = sorted(tmp_path.glob("page-*.png"))
    assert len(pages) == 5  # map, two of the first truck, the second, not reached
    first = (imread(pages[0])[..., :3] * 255).round()
    middle = first[60:440]
    red = middle[..., 0]
    grey = (np.ptp(middle, axis=2) < 4) & (red > 190) & (red < 252)
    assert grey.mean() > 0.1  # hillshade
    assert (middle.max(axis=2) < 150).sum() > 300  # roads, symbols, letters
    blue = (middle[..., 2] > red + 60) & (red < 120)
    assert blue.sum() > 50  # route
    for sheet in pages[1:]:
        assert (imread(sheet)[..., :3].max(axis=2) < 0.3).sum() > 1_000
    words = subprocess.run(
        ["pdftotext", "-layout", "map.pdf", "-"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    for part in ("05:54", "A1", "Nobody enters a pipe", "Not reached today", "litres"):
        assert part in words
    assert "gallons" not in words


def _long_morning():
    """Up to nine stops a truck, each with reasons that fill a third of a page."""
    crossings = report_fixture.crossings().assign(
        pond_depth_m=2.1, pond_volume_m3=900.0
    )
    crossings["reasons"] = "; ".join(f"reason {n} " + "of ice " * 12 for n in range(8))
    plan = report_fixture.plan()
    thaws = plan.stops[plan.stops["kind"] == "thaw"]
    more = pd.concat([plan.stops, *[thaws] * 2], ignore_index=True)
    ordered = more.sort_values(["crew", "stop_number"], kind="stable")
    ordered["stop_number"] = ordered.groupby("crew").cumcount()
    plan = dataclasses.replace(plan, stops=ordered)
    return report_fixture.content(crossings=crossings, plan=plan)


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext is here")
def test_a_stop_goes_on_over_the_page_but_no_danger_or_head_of_it_is_cut(
    browser, tmp_path
):
    path = write_run_sheets(tmp_path / "sheets.html", _long_morning())
    page = browser.new_page()
    page.goto(path.as_uri())
    page.pdf(path=tmp_path / "sheets.pdf", format="Letter")
    boxes = subprocess.run(
        ["pdftotext", "-bbox-layout", "sheets.pdf", "-"],
        cwd=tmp_path, check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    pages = [_lines(page) for page in boxes.split("<page ")[1:]]
    truck = [p for p in pages if any("Why:" in text for _, text in p)][:3]
    for lines in truck[:2]:  # more follows, so the page is used to its end
        assert max(bottom for bottom, _ in lines) > 0.75 * LETTER_PT
    whole = [" ".join(text for _, text in lines) for lines in truck]
    assert any("of ice" in lines[0][1] for lines in truck)  # a stop goes on
    assert "".join(whole).count("Danger.") > 3
    for text in whole:  # a danger is read on one page, to its end
        assert text.count("Danger.") == text.count("before it runs.")
    for lines in truck:  # a stop's head is not left alone at the end of a page
        last = lines[-1][1]
        assert "Norrick" not in last and "Outlet:" not in last
    page.close()


def _lines(page):
    """Bottom and words of each line of a page, from top to bottom."""
    found = re.findall(r'<line [^>]*yMax="([\d.]+)">(.*?)</line>', page, re.DOTALL)
    told = [
        (float(bottom), " ".join(re.findall(r">([^<]+)</word>", words)))
        for bottom, words in found
    ]
    return sorted(told)


def test_screen_is_as_before_after_printing(opened, map_file):
    page = opened(map_file)
    before = page.locator(".folium-map").bounding_box()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator(".folium-map").bounding_box() == before


def test_sheets_page_switches_units_without_script(browser, tmp_path):
    path = write_run_sheets(tmp_path / "sheets.html", report_fixture.content())
    context = browser.new_context(offline=True, java_script_enabled=False)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.locator("text=620 L").first.is_visible()
    page.check("#us")
    assert not page.locator("text=620 L").first.is_visible()
    assert page.locator("text=160 gal").first.is_visible()
    context.close()


def test_map_without_scripts_shows_the_run_sheets(browser, map_file):
    context = browser.new_context(offline=True, java_script_enabled=False)
    page = context.new_page()
    page.goto(map_file.as_uri())
    assert page.locator("text=A: Hot water truck").is_visible()
    assert not page.locator("#panel").is_visible()
    context.close()


def large_content(count, road_count):
    """Many invented crossings on many invented roads."""
    rng = np.random.default_rng(7)
    small = report_fixture.crossings()
    pick = rng.integers(0, len(small), count)
    table = pd.DataFrame(small.drop(columns="geometry")).iloc[pick]
    numbers = table.select_dtypes("number").columns
    noise = rng.lognormal(0, 0.5, (count, len(numbers)))
    table[numbers] = table[numbers].to_numpy() * noise
    table = table.sort_values("loss_avoided_person_h", ascending=False)
    table["priority_rank"] = np.arange(1.0, count + 1)
    table.index = pd.Index([f"C{n:06d}" for n in range(count)], name="culvert_id")
    turns = rng.normal(0, 0.12, (road_count, 120)).cumsum(axis=1)
    east = (12 * np.cos(turns)).cumsum(axis=1) + rng.uniform(0, 9e4, (road_count, 1))
    north = (12 * np.sin(turns)).cumsum(axis=1) + rng.uniform(0, 9e4, (road_count, 1))
    lines = shapely.linestrings(np.dstack([east + 4.2e5, north + 5.2e6]))
    corners = shapely.get_coordinates(lines)[rng.integers(0, 120 * road_count, count)]
    roads = gpd.GeoDataFrame(
        {
            "road_name": [f"Road {n % 4000}" for n in range(road_count)],
            "road_class": "C",
        },
        geometry=lines,
        crs=report_fixture.WORK_CRS,
    )
    crossings = gpd.GeoDataFrame(
        table, geometry=shapely.points(corners), crs=report_fixture.WORK_CRS
    )
    return report_fixture.content(
        crossings=crossings, roads=roads, catchments=None, plan=None, routes=None
    )


def test_fifty_thousand_crossings_stay_under_eight_megabytes(opened, tmp_path):
    path = write_map(tmp_path / "large.html", large_content(50_000, 20_000))
    assert path.stat().st_size < 8_000_000
    page = opened(path)
    assert page.locator("#order").inner_text().startswith("50,000 crossings")
    page.wait_for_function(
        "document.getElementById('say').textContent.includes('drawn, worst first')"
    )
    page.fill("#find", "C049999")
    page.press("#find", "Enter")
    assert page.locator("#card h2").inner_text() == "C049999"
    assert page.said == []
