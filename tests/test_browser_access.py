"""The page for those who use a keyboard, a screen reader or a poor screen."""

from itertools import pairwise

import pytest

from culvertrisk.reports.map import write_map
from tests import browser_fixture, water_fixture

browser = browser_fixture.browser
opened = browser_fixture.opened
pytestmark = browser_fixture.BROWSER_MARKS
TEXT_CONTRAST = 4.5  # WCAG 2.1, success criterion 1.4.3
SIGN_CONTRAST = 3.0  # WCAG 2.1, success criterion 1.4.11
DARKEST_GROUND = (185, 185, 185)  # of the hillshade, which is kept pale
CLASS_FILLS = {"severe": "#7f2704", "high": "#d95f0e", "some": "#fdae6b"}
NAMELESS = """() => [...document.querySelectorAll("a, button, input, select, summary")]
  .filter((e) => !(e.getAttribute("aria-label") || e.textContent.trim() || e.title ||
    (e.labels && [...e.labels].some((label) => label.textContent.trim()))))
  .map((e) => e.outerHTML)"""
COLOURS = """(selector) => {
  const element = document.querySelector(selector);
  let behind = element;
  const isClear = (e) => getComputedStyle(e).backgroundColor === "rgba(0, 0, 0, 0)";
  while (behind.parentElement && isClear(behind)) behind = behind.parentElement;
  return [getComputedStyle(element).color, getComputedStyle(behind).backgroundColor];
}"""


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("access") / "map.html"
    return write_map(path, water_fixture.content())


def luminance(colour):
    """Relative luminance of an sRGB colour (WCAG 2.1, definition)."""
    parts = [value / 255 for value in colour]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
    ]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(first, second):
    """Contrast ratio of two colours (WCAG 2.1, definition)."""
    low, high = sorted(luminance(colour) for colour in (first, second))
    return (high + 0.05) / (low + 0.05)


def numbers_of(colour):
    if colour.startswith("#"):
        return tuple(int(colour[at : at + 2], 16) for at in (1, 3, 5))
    inside = colour.partition("(")[2].rstrip(")")
    return tuple(float(part) for part in inside.split(",")[:3])


def test_contrast_is_that_of_the_standard():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    # 4.54:1, the grey that is commonly given as the palest readable on white.
    assert contrast(numbers_of("#767676"), (255,) * 3) == pytest.approx(4.54, abs=0.005)


def test_every_control_has_a_name(opened, page_file):
    page = opened(page_file)
    for tab in ("today", "missed", "unlisted", "about", "all"):
        page.click(f"#tab-{tab}")
    page.click("#rows button >> nth=0")
    assert page.evaluate(NAMELESS) == []
    assert page.locator("html[lang=en]").count() == 1


def test_tab_key_reaches_search_list_and_map_with_a_visible_focus(opened, page_file):
    page = opened(page_file)
    reached, outlines = [], []
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "document.activeElement.id || document.activeElement.className"
            )
        )
        outlines.append(
            page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
        )
        if "leaflet-control-zoom-out" in reached[-1]:
            break
    for part in ("skip", "units", "tab-all", "find", "row", "map_main"):
        assert part in reached
    assert reached.count("row") == 1  # the whole list is one stop of the Tab key
    assert {float(width.removesuffix("px")) >= 2 for width in outlines} == {True}


def test_tabs_say_which_is_chosen_and_what_they_show(opened, page_file):
    page = opened(page_file)
    page.click("#tab-unlisted")
    chosen = page.locator("[role=tab][aria-selected=true]")
    assert chosen.get_attribute("aria-controls") == "pane-unlisted"
    assert page.locator("[role=tabpanel]:visible").get_attribute("aria-labelledby") == (
        "tab-unlisted"
    )


@pytest.mark.parametrize("width", [1360, 390])
def test_one_main_landmark_stays_when_the_card_is_open(opened, page_file, width):
    page = opened(page_file, width=width)
    page.click("#rows button >> nth=0")
    assert page.locator("main").count() == 1
    assert page.locator("main #card:visible").count() == 1


def test_headings_go_down_one_step_at_a_time(opened, page_file):
    page = opened(page_file)
    for tab in ("today", "missed", "about"):
        page.click(f"#tab-{tab}")
        levels = page.evaluate(
            "[...document.querySelectorAll('h1, h2, h3')]"
            ".filter((e) => e.offsetParent).map((e) => Number(e.tagName[1]))"
        )
        steps = [after - before for before, after in pairwise(levels)]
        assert max(steps, default=0) <= 1, tab


def test_words_stand_out_from_what_is_behind_them(opened, page_file):
    page = opened(page_file)
    page.click("#rows button >> nth=0")
    for selector in (
        "#day",
        "#order",
        ".row .why",
        ".row[aria-current] .why",
        "#tab-all",
        "#card .today",
        "#card .hint",
        "#card .water, #card .problem, #card p",
    ):
        ink, paper = page.evaluate(COLOURS, selector)
        ratio = contrast(numbers_of(ink), numbers_of(paper))
        assert ratio >= TEXT_CONTRAST, selector


def test_signs_stand_out_by_their_edge_and_differ_in_lightness():
    edge = numbers_of("#111111")
    assert contrast(edge, DARKEST_GROUND) >= SIGN_CONTRAST
    assert contrast(numbers_of("#17568f"), DARKEST_GROUND) >= SIGN_CONTRAST  # waves
    light = [luminance(numbers_of(fill)) for fill in CLASS_FILLS.values()]
    assert light == sorted(light)  # darker is worse: it survives grey print


def test_signs_of_the_test_are_those_of_the_page(page_file):
    page = page_file.read_text(encoding="utf-8")
    for colour in (*CLASS_FILLS.values(), "#17568f", 'INK = "#111"'):
        assert colour in page
