"""A real browser without a network, and the map of the small town in it."""

import os
import shutil

import pytest
from playwright.sync_api import sync_playwright

from culvertrisk.reports.map import write_map
from tests import report_fixture

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
NEEDED = os.environ.get("CULVERTRISK_NEED_CHROMIUM") == "1"
BROWSER_MARKS = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not CHROMIUM and not NEEDED, reason="no Chromium is installed here"
    ),
]


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="module")
def map_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    return write_map(path, report_fixture.content())


@pytest.fixture
def opened(browser):
    """Opens files offline and keeps what they asked for and complained about."""
    contexts = []

    def open_file(path, *, width=1360, height=860):
        context = browser.new_context(
            viewport={"width": width, "height": height}, offline=True
        )
        contexts.append(context)
        page = context.new_page()
        page.asked, page.said = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        return page

    yield open_file
    for context in contexts:
        context.close()
