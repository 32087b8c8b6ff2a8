"""The page as a file: nothing from outside, hostile text inert, the same bytes."""

import base64
import gzip
import hashlib
import json
import re
from html.parser import HTMLParser
from io import BytesIO

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.colors import LightSource
from matplotlib.image import imread

from culvertrisk.reports.hillshade import hillshade, light
from culvertrisk.reports.map import write_map
from culvertrisk.reports.map_data import map_columns
from culvertrisk.reports.offline import data_block, map_page
from culvertrisk.reports.packing import differences
from culvertrisk.tables import columns
from tests import report_fixture

HOSTILE = [
    "{{ 40 + 9 }}",
    "{% raw %}",
    "</script><!--<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "`${alert(1)}`",
    "\"'\\\u2028",
    "=HYPERLINK(1)",
    "see href=https://example.org/x or src=//example.org",
]


class Scripts(HTMLParser):
    """Collects the scripts of a page as a browser would find them."""

    def __init__(self):
        super().__init__()
        self.found, self.inside = [], False

    def handle_starttag(self, tag, attrs):
        if tag == "script":
            self.inside = True
            self.found.append([dict(attrs), ""])

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "script"

    def handle_data(self, data):
        if self.inside:
            self.found[-1][1] += data


def scripts_of(page):
    parser = Scripts()
    parser.feed(page)
    return parser.found


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    return write_map(path, report_fixture.content()).read_text(encoding="utf-8")


@given(st.dictionaries(st.text(), st.text() | st.lists(st.sampled_from(HOSTILE))))
def test_data_block_gives_back_any_text_and_cannot_be_closed(content):
    (attributes, text), *others = scripts_of(data_block("data", content))
    assert not others
    assert attributes == {"type": "application/json", "id": "data"}
    assert json.loads(text) == content


def test_large_data_is_packed_and_gives_the_same_content():
    content = {"ids": [f"C{n}" for n in range(600_000)]}
    (attributes, text), *_ = scripts_of(data_block("data", content))
    assert attributes["type"] == "application/gzip"
    assert json.loads(gzip.decompress(base64.b64decode(text))) == content


def test_page_lets_only_its_own_scripts_run(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)[1]
    run = [text for attributes, text in scripts_of(page) if "type" not in attributes]
    hashes = {
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'"
        for s in run
    }
    assert set(re.search(r"script-src ([^;]+);", policy)[1].split()) == hashes
    assert policy.startswith("default-src 'none';")
    assert "connect-src" not in policy and "http" not in policy


def test_page_names_no_file_outside_itself(page):
    markup = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.DOTALL)
    assert re.findall(r"(?:src|href)\s*=\s*\S+", markup) == ['href="#find">Skip']
    assert re.findall(r"url\((?!data:)", page) == ["url("]  # a test inside Leaflet


def test_page_refuses_markup_from_outside():
    with pytest.raises(ValueError, match="the page would fetch"):
        map_page("t", {}, sheets='<img src="https://example.org/a.png">')


def test_page_carries_the_licence_of_leaflet_whole(page):
    flat = " ".join(page.split())
    assert "Redistribution and use in source and binary forms" in flat
    assert "Redistributions in binary form must reproduce the above copyright" in flat
    assert "EVEN IF ADVISED OF THE POSSIBILITY OF SUCH DAMAGE." in flat


def test_page_is_the_same_bytes_twice(tmp_path, page):
    again = write_map(tmp_path / "other.html", report_fixture.content())
    assert again.read_bytes() == page.encode()


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text(tmp_path, name):
    crossings = report_fixture.crossings()
    crossings["road_name"] = name
    crossings["note"] = name
    content = report_fixture.content(crossings=crossings, title=name)
    page = write_map(tmp_path / "map.html", content).read_text(encoding="utf-8")
    scripts = scripts_of(page)
    data = json.loads(scripts[-2][1])
    assert data["roadNames"]["words"] == [name]
    assert data["title"] == name
    assert [attributes.get("type") for attributes, _ in scripts[-2:]] == [
        "application/json",
        None,
    ]
    assert "<img" not in page.split("<style>")[-1].split("<script>")[0]


def test_page_says_chance_only_when_calibrated():
    data = map_columns(report_fixture.content())
    assert "chance" not in json.dumps(data).lower()
    shown = next(
        c for c in data["columns"] if c["from"] == "freeze" and "physics" in c["label"]
    )
    assert (shown["label"], shown["units"]) == (
        "Freeze score by the physics alone",
        ["of 100", "of 100"],
    )
    assert shown["values"][0] == pytest.approx(0.827, abs=1e-3)
    assert shown["times"] == [100.0, 100.0]


def test_map_columns_hold_every_crossing_and_keep_unknown_unknown():
    data = map_columns(report_fixture.content())
    crossings = report_fixture.crossings()
    assert data["ids"] == list(crossings.index)
    assert data["scores"]["freeze"]["score"][-1] is None
    assert data["scores"]["freeze"]["class"][-1] == 4
    assert {len(column["values"]) for column in data["columns"]} == {len(crossings)}


def test_map_columns_hold_crossings_without_a_place():
    crossings = report_fixture.crossings()
    crossings.loc["O5", "geometry"] = None
    data = map_columns(report_fixture.content(crossings=crossings, plan=None))
    assert data["unplaced"] == [1]
    assert len(data["places"]) == 2 * (len(crossings) - 1)


def test_shown_columns_are_in_the_dictionary_with_their_units():
    shown = map_columns(report_fixture.content(calibrated=True))["columns"]
    assert {column["name"] for column in shown} <= set(columns().index)
    rise = next(column for column in shown if column["name"] == "rise_m")
    assert rise["units"] == ["mm", "in"]
    assert rise["times"] == [1000.0, pytest.approx(1 / 0.0254)]  # inch, exact (NIST)


@given(
    st.lists(
        st.tuples(st.floats(-180, 180), st.floats(-85, 85)), min_size=1, max_size=30
    )
)
def test_differences_add_up_to_the_places_within_half_a_step(places):
    steps = np.array(differences(np.array(places))).reshape(-1, 2)
    back = np.cumsum(steps, axis=0) * 1e-5
    np.testing.assert_allclose(back, places, rtol=0, atol=0.5001e-5)


def test_light_agrees_with_matplotlib():
    rng = np.random.default_rng(4)
    heights_m = rng.normal(0, 3, (30, 40)).cumsum(axis=0).cumsum(axis=1)
    ours = light(heights_m, 10.0)
    theirs = LightSource(315, 45).hillshade(heights_m, dx=10, dy=10)
    dark, bright = ours.min(), ours.max()
    rescaled = (ours - dark) / (bright - dark)
    # matplotlib rescales before it cuts what lies in shadow: compare lit cells.
    lit = ours > 0
    fit = np.polyfit(theirs[lit], rescaled[lit], 1)
    np.testing.assert_allclose(np.polyval(fit, theirs[lit]), rescaled[lit], atol=1e-9)
    assert fit[0] > 0


def test_hillshade_lies_where_the_terrain_lies():
    terrain = report_fixture.terrain()
    picture = hillshade(terrain)
    east_m = terrain.transform.c + 180 * terrain.cell_m
    south_m = terrain.transform.f - 180 * terrain.cell_m
    to_degrees = pyproj.Transformer.from_crs(terrain.crs, 4326, always_xy=True)
    west, north = to_degrees.transform(terrain.transform.c, terrain.transform.f)
    east, south = to_degrees.transform(east_m, south_m)
    cell_deg = 3 * terrain.cell_m / 111_000  # the grid is turned by a few cells
    assert picture.south_west == pytest.approx((south, west), abs=cell_deg)
    assert picture.north_east == pytest.approx((north, east), abs=cell_deg)
    grey = imread(BytesIO(picture.image), format="jpeg")
    assert grey[: grey.shape[0] // 12, : grey.shape[1] // 12].min() > 245  # unknown
    assert np.percentile(grey, 1) > 195  # pale: words and signs stay readable


def test_hillshade_of_flat_and_of_unknown_ground_is_plain():
    terrain = report_fixture.terrain()
    for height in (200.0, np.nan):
        terrain.elevation_m = np.full((50, 50), height, dtype=np.float32)
        grey = imread(BytesIO(hillshade(terrain).image), format="jpeg")[5:-5, 5:-5]
        assert np.ptp(grey) <= 2
