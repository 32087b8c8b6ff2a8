"""The map in a real browser without a network: what a crew would do with it."""

import pandas as pd

from culvertrisk.reports.council import without_people
from culvertrisk.reports.map import write_map
from culvertrisk.reports.map_data import MapContent
from tests import browser_fixture, report_fixture

browser = browser_fixture.browser
map_file = browser_fixture.map_file
opened = browser_fixture.opened
pytestmark = browser_fixture.BROWSER_MARKS
EVIL = [
    "<img src=x onerror='window.hit=1'>",
    "</script><script>window.hit=1</script>",
    "{{ 40+9 }} {% raw %} ${window.hit=1} `",
    "<svg onload=window.hit=1>",
]
ROUTE_BLUE = (0x0B, 0x4F, 0x8A)


def colour_count(page, colour):
    """Pixels of a colour on the map's canvas."""
    return page.evaluate(
        """([r, g, b]) => {
          const canvas = document.getElementById("painting");
          const { width, height } = canvas;
          const dots = canvas.getContext("2d").getImageData(0, 0, width, height).data;
          let count = 0;
          for (let j = 0; j < dots.length; j += 4)
            if (dots[j] === r && dots[j + 1] === g && dots[j + 2] === b) count += 1;
          return count;
        }""",
        list(colour),
    )


def test_page_asks_for_nothing_but_itself_and_complains_of_nothing(opened, map_file):
    page = opened(map_file)
    for tab in ("today", "missed", "about", "all"):
        page.click(f"#tab-{tab}")
    page.click("#rows button >> nth=0")
    page.mouse.wheel(0, 300)
    page.wait_for_timeout(300)
    assert page.asked == [map_file.as_uri()]
    assert page.said == []


def test_list_holds_every_crossing_worst_first(opened, map_file):
    page = opened(map_file)
    assert page.locator("#rows .id").all_inner_texts() == [
        *report_fixture.crossings().index
    ]
    page.check("[name=kind][value=flood]")
    scores = page.locator("#rows .score").all_inner_texts()[:-1]
    assert [int(s) for s in scores] == sorted(map(int, scores), reverse=True)
    assert page.locator("#rows .score").last.inner_text() == "–"


def test_route_is_drawn_and_can_be_switched_off(opened, map_file):
    page = opened(map_file)
    assert colour_count(page, ROUTE_BLUE) > 500
    page.uncheck("[name=layer][value=route]")
    assert colour_count(page, ROUTE_BLUE) == 0


def test_each_layer_changes_the_painting(opened, map_file):
    page = opened(map_file)
    for layer in ("crossings", "roads", "catchments"):
        before = page.evaluate("document.getElementById('painting').toDataURL()")
        page.locator(f"[name=layer][value={layer}]").click()
        after = page.evaluate("document.getElementById('painting').toDataURL()")
        assert before != after, layer
    assert page.locator(".leaflet-image-layer").count() == 1
    page.uncheck("[name=layer][value=hillshade]")
    assert page.locator(".leaflet-image-layer").count() == 0


def test_legend_names_every_class_and_counts_all_crossings(opened, map_file):
    page = opened(map_file)
    page.check("[name=kind][value=freeze]")
    lines = page.locator("#signs li").all_inner_texts()[:5]
    assert [line.split(":")[0] for line in lines] == [
        "very likely frozen",
        "likely frozen",
        "may be frozen",
        "probably open",
        "not scored",
    ]
    counts = [int(line.split(":")[1]) for line in lines]
    assert sum(counts) == len(report_fixture.crossings())
    page.click("#key summary")
    assert not page.locator("#signs").is_visible()


def test_search_finds_by_road_and_by_id(opened, map_file):
    page = opened(map_file)
    page.fill("#find", "trunk 4")
    page.wait_for_selector("text=3 found")
    assert page.locator("#rows .id").all_inner_texts() == ["P34", "T1", "T2"]
    page.fill("#find", "o5")
    page.wait_for_selector("text=1 found")
    page.fill("#find", "")
    page.wait_for_selector("text=12 crossings, worst")


def test_keyboard_alone_opens_and_closes_a_card(opened, map_file):
    page = opened(map_file)
    page.focus("#rows button >> nth=0")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    assert page.locator("#card h2").inner_text() == "O5"
    assert page.evaluate("document.activeElement.id") == "close"
    page.keyboard.press("Escape")
    assert not page.locator("#card").is_visible()
    assert page.evaluate("document.activeElement.dataset.row") == "1"
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    assert page.locator("#card h2").inner_text() == "X0"
    page.keyboard.press("Escape")
    page.keyboard.press("Home")
    assert page.evaluate("document.activeElement.dataset.row") == "0"


def test_card_shows_scores_columns_units_shares_and_reasons(opened, map_file):
    page = opened(map_file)
    page.click("#rows button >> nth=0")
    card = page.locator("#card")
    for summary in card.locator("summary").all():
        summary.click()
    told = card.inner_text()
    for part in (
        "Freeze score: 91 of 100",
        "rise_m, from culverts",
        "457 mm",
        "+24",
        "−4",
        "Flat: slope 0.2 %, water stands in the barrel",
        "No way round",
        "stop A1, 05:54 to 06:44",
    ):
        assert part in told
    page.select_option("#units", "us")
    for summary in card.locator("summary").all():
        summary.click()
    assert "18 in" in card.inner_text()


def test_sentences_of_card_list_and_stops_follow_the_units(opened, map_file):
    page = opened(map_file)
    page.click("#rows button >> nth=1")
    page.click("#tab-today")
    panes = ("#card", "#pane-today")
    for units, told in (("metric", "460 mm"), ("us", "18.1 in"), ("metric", "460 mm")):
        page.select_option("#units", units)
        for pane in panes:
            words = page.locator(pane).text_content()
            assert f"Small pipe: {told} closes early" in words
            assert "\u202f" not in words
    page.select_option("#units", "us")
    page.click("#tab-all")
    assert "Perched outlet: 2 ft drop" in page.locator("#rows").inner_text()
    assert page.locator("#rows [aria-current] .id").inner_text() == "O5"


def _map_of_one(folder, **columns):
    one = report_fixture.crossings().iloc[:1].assign(**columns)
    content = report_fixture.content(
        crossings=one, catchments=None, plan=None, routes=None, jobs=None
    )
    return write_map(folder / "map.html", content)


def test_one_crossing_and_less_than_one_hour_are_told_in_the_singular(opened, tmp_path):
    page = opened(_map_of_one(tmp_path, loss_avoided_person_h=0.4))
    assert page.locator("#order").inner_text().startswith("1 crossing, worst first")
    page.click("#rows button >> nth=0")
    lines = page.locator("#card .score-line b").all_inner_texts()
    assert [line.split(": ")[1] for line in lines if "person" in line] == [
        "under 1 person-hour"
    ]


def test_a_town_of_one_crossing_has_a_map_and_prints(opened, tmp_path):
    page = opened(_map_of_one(tmp_path))
    assert page.said == []
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("#say").inner_text() == "1 crossing here."
    assert page.said == []


def test_the_planned_weather_and_a_made_up_winter_stand_on_top(opened, tmp_path):
    content = report_fixture.content(asked=report_fixture.asked(), units="us")
    for name, one in (("map", content), ("council", without_people(content))):
        page = opened(write_map(tmp_path / f"{name}.html", one), width=390, height=844)
        assert page.locator("#planned").inner_text() == (
            "Planned for: Tuesday 25 February 2025, low 16 °F, high 43 °F, rain "
            "0.71 in (typed in the town file)"
        )
        assert page.locator("#made-up").inner_text() == (
            "No weather file: a winter of 1,440 °F·days is assumed."
        )
        assert not page.locator("#day").is_visible()
        page.select_option("#units", "metric")
        assert "low -9 °C, high 6 °C" in page.locator("#planned").inner_text()
        assert "800 °C·days" in page.locator("#made-up").inner_text()
        assert page.locator(".folium-map").bounding_box()["height"] > 200


def test_card_of_a_crossing_with_nothing_known_says_unknown(opened, map_file):
    page = opened(map_file)
    page.click("#rows button >> nth=11")
    page.locator("#card summary").first.click()
    told = page.locator("#card").inner_text()
    assert "not scored" in told
    assert "unknown" in told
    assert "Nothing but its place is recorded" in told


def test_a_click_on_the_map_opens_the_crossing_there(opened, map_file):
    page = opened(map_file)
    page.click("#rows button >> nth=3")  # the map now has it at its middle
    page.click("#close")
    page.wait_for_timeout(100)
    box = page.locator(".folium-map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.locator("#card h2").inner_text() == "P34"


def test_today_and_not_reached_tell_trucks_times_and_what_instead(opened, map_file):
    page = opened(map_file)
    page.click("#tab-today")
    told = page.locator("#pane-today").inner_text()
    for part in ("Hot water truck", "05:54", "Fill water at Hydrant", "620 L", "B2"):
        assert part in told
    page.select_option("#units", "us")
    assert "160 gal" in page.locator("#pane-today").inner_text()
    page.click("#tab-missed")
    assert "barrel 200 ft" in page.locator("#pane-missed").inner_text()
    page.select_option("#units", "metric")
    assert "barrel 61 m" in page.locator("#pane-missed").inner_text()
    assert "tank is said to hold 1000 L" in page.locator("#pane-missed").inner_text()
    assert "Sign both sides" in page.locator("#pane-missed").inner_text()
    page.click("#tab-about")
    told = page.locator("#pane-about").inner_text()
    assert "Nobody enters a pipe." in told
    assert "Water at 60 °C burns" in told
    assert "It is no flood map" in told


def test_hostile_names_are_shown_and_do_nothing(opened, tmp_path):
    crossings = report_fixture.crossings()
    count = len(crossings)
    for name in ("road_name", "note", "owner", "reasons", "unknowns", "cut_off_places"):
        crossings[name] = (EVIL * count)[:count]
    crossings.index = pd.Index([*EVIL, *crossings.index[4:]], name="culvert_id")
    plan = report_fixture.plan()
    ids = dict(zip(report_fixture.crossings().index[:4], EVIL, strict=True))
    plan.stops["culvert_id"] = plan.stops["culvert_id"].replace(ids)
    plan.stops["place_id"] = plan.stops["crew"] = EVIL[0]
    plan.not_reached["culvert_id"] = plan.not_reached["culvert_id"].replace(ids)
    plan.not_reached["instead"] = EVIL[1]
    content = report_fixture.content(
        crossings=crossings, plan=plan, catchments=None, title=EVIL[2]
    )
    page = opened(write_map(tmp_path / "map.html", content))
    assert page.locator("h1").inner_text() == EVIL[2]
    for row in range(4):
        page.click(f"#rows button >> nth={row}")
        assert page.locator("#card h2").inner_text() == EVIL[row]
        page.keyboard.press("Escape")
    for tab in ("today", "missed", "about"):
        page.click(f"#tab-{tab}")
    assert page.evaluate("window.hit") is None
    assert page.locator("bdi img, bdi svg, bdi script").count() == 0
    assert page.said == []


def test_policy_of_the_page_stops_script_that_gets_in(opened, map_file):
    page = opened(map_file)
    page.evaluate(
        """document.body.insertAdjacentHTML("beforeend",
          "<img src='data:,' onerror='window.hit=1'>")"""
    )
    page.wait_for_timeout(200)
    assert page.evaluate("window.hit") is None


def test_phone_has_no_sideways_scroll_and_shows_map_and_list(opened, map_file):
    page = opened(map_file, width=390, height=844)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.locator(".folium-map").bounding_box()["height"] > 250
    assert page.locator("#rows button >> nth=0").is_visible()
    page.click("#rows button >> nth=0")
    assert page.locator("#card").bounding_box()["width"] <= 390


def test_position_is_shown_or_refused_in_plain_words(browser, map_file):
    for allowed, words in ((["geolocation"], "You are here"), ([], "blocked")):
        context = browser.new_context(
            offline=True,
            permissions=allowed,
            geolocation={"latitude": 47.75, "longitude": -87.5},
        )
        page = context.new_page()
        page.goto(map_file.as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        page.click("#locate")
        page.wait_for_function(
            "words => document.getElementById('say').textContent.includes(words)",
            arg=words,
        )
        context.close()


def test_map_without_plan_roads_terrain_or_loss_still_works(opened, tmp_path):
    crossings = report_fixture.crossings().drop(columns="loss_avoided_person_h")
    crossings.loc["O5", "geometry"] = None
    content = MapContent(
        title="Bare",
        on=report_fixture.content().on,
        crossings=crossings,
        cautions=report_fixture.cautions(),
        notes=report_fixture.notes(),
    )
    page = opened(write_map(tmp_path / "map.html", content))
    assert page.is_checked("[name=kind][value=freeze]")
    assert page.is_disabled("[name=layer][value=roads]")
    page.fill("#find", "O5")
    page.press("#find", "Enter")
    assert "No place on the map is known" in page.locator("#card").inner_text()
    assert page.said == []
