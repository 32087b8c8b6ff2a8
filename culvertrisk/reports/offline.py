"""The frame of a page that needs nothing but its own file: Leaflet inside, strict CSP.

folium evaluates the text it is given as a template, so no text of a user ever goes
into a folium or branca constructor: it goes into the data block, or through escaping.
"""

import gzip
import html
import json
import re
from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from typing import Any

import folium
from branca.element import MacroElement
from folium.template import Template

_LEAFLET = files("xstatic.pkg.leaflet") / "data"
_TEMPLATES = files("culvertrisk.reports") / "templates"
_PLAIN_BYTES = 4_000_000  # above this the data block is packed: the page stays mailable
_PACKING = 6  # zlib level; 9 took five times as long for 2 % less
_PACKED_TYPE = "application/gzip"
_MAP_SCRIPTS = (
    "core",
    "labels",
    "draw",
    "water",
    "list",
    "card",
    "rating",
    "log",
    "stops",
    "print",
    "start",
)


class _Verbatim(MacroElement):
    """Markup that is passed on as it is; branca's own element would evaluate it."""

    _template = Template("")

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def render(self, **_: object) -> str:
        """Return the markup."""
        return self._text


class _OfflineMap(folium.Map):
    default_js: list[tuple[str, str]] = []  # noqa: RUF012  (folium reads the class)
    default_css: list[tuple[str, str]] = []  # noqa: RUF012


@dataclass(frozen=True)
class Picture:
    """An image under the map: encoded bytes, their kind, and corners in degrees."""

    image: bytes
    kind: str
    south_west: tuple[float, float]
    north_east: tuple[float, float]


def template_text(name: str) -> str:
    """Return a file of the templates folder."""
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def policy(scripts: list[str]) -> str:
    """Return a content security policy that lets only these scripts run.

    Nothing may be fetched, framed, sent or based elsewhere; pictures only from
    inside the file.
    """
    hashes = " ".join(f"'sha256-{_digest(script)}'" for script in scripts) or "'none'"
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def data_block(element_id: str, content: object) -> str:
    """Return a script element of data that no name in it can close or run.

    Small content is plain JSON; large content is gzip in base64, which browsers
    since 2023 unpack by themselves.
    """
    text = json.dumps(
        content, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    kind = "application/json"
    if len(text) > _PLAIN_BYTES:
        kind = _PACKED_TYPE
        text = b64encode(gzip.compress(text.encode(), _PACKING, mtime=0)).decode()
    return f'<script type="{kind}" id="{element_id}">{text}</script>'


def map_page(
    title: str,
    content: dict[str, Any],
    *,
    sheets: str,
    picture: Picture | None = None,
) -> str:
    """Return the whole page: frame, Leaflet, data, own script, policy.

    Parameters
    ----------
    title : str
        Title of the browser window.
    content : dict
        What the scripts draw; see ``map_data.map_columns``.
    sheets : str
        Run sheets as escaped markup, for print and for browsers without scripts.
    picture : Picture, optional
        Hillshade under the map, already in Web Mercator.

    Returns
    -------
    page : str
        One HTML document that makes no request.
    """
    page = _OfflineMap(
        location=(0, 0),
        zoom_start=2,
        tiles=None,
        fade_animation=False,
        attribution_control=False,
        zoom_control=False,
        zoom_snap=0.25,
    )
    page._id = "main"  # a fixed name, so that the same plan gives the same bytes
    if picture is not None:
        _add_picture(page, picture)
    figure: Any = page.get_root()
    _add_parts(figure, sheets, data_block("data", content))
    return _finish(page, figure, title)


def _add_parts(figure: Any, sheets: str, data: str) -> None:
    licence = template_text("leaflet_licence.txt")
    style = f"<style>{template_text('sheet.css')}{template_text('map.css')}</style>"
    head = {
        "licence": f"<!--\nThis page carries Leaflet 1.9.3.\n\n{licence}-->",
        "leaflet_style": f"<style>{_leaflet_css()}</style>",
        "leaflet": f"<script>{_leaflet_js()}</script>",
        "style": style,
    }
    for name, markup in head.items():
        figure.header.add_child(_Verbatim(markup), name=name)
    figure.html.add_child(_Verbatim(template_text("map.html")), name="before")
    after = template_text("map_after.html").replace("<!-- sheets -->", sheets)
    figure.html.add_child(_Verbatim(after + data), name="after")
    figure.script.add_child(_Verbatim(_map_script()), name="own")


def _add_picture(page: folium.Map, picture: Picture) -> None:
    encoded = b64encode(picture.image).decode()
    layer = folium.raster_layers.ImageOverlay(
        f"data:image/{picture.kind};base64,{encoded}",
        bounds=[list(picture.south_west), list(picture.north_east)],
        alt="",
    )
    layer._name, layer._id = "hill", "shade"
    layer.add_to(page)


def _finish(page: folium.Map, figure: Any, title: str) -> str:
    page.render()  # folium adds its own parts only now; these must come after them
    figure.html._children.move_to_end("after")
    figure.script._children.move_to_end("own")
    text = figure.render()
    text = text.replace("<html>", '<html lang="en">', 1)
    text = re.sub(
        r'<meta name="viewport"[^>]*>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        text,
        count=1,
    )
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    head = (
        f'<head>\n<meta http-equiv="Content-Security-Policy" '
        f'content="{policy(scripts)}">\n<title>{html.escape(title)}</title>'
    )
    text = text.replace("<head>", head, 1)
    _refuse_outside(text)
    return text


def _refuse_outside(text: str) -> None:
    markup = re.sub(r"<(script|style)\b.*?</\1>", "", text, flags=re.DOTALL)
    found = re.findall(
        r"""<[^>]*\b(?:src|href)\s*=\s*["']?((?:https?:)?//[^"'\s>]+)""", markup
    )
    if found:
        raise ValueError(f"the page would fetch {found[0]}")


def _map_script() -> str:
    parts = [template_text(f"map_{name}.js") for name in _MAP_SCRIPTS]
    return '(() => {\n"use strict";\n' + "\n".join(parts) + "})();"


def _leaflet_js() -> str:
    text = (_LEAFLET / "leaflet.js").read_text(encoding="utf-8")
    return re.sub(r"//# sourceMappingURL=.*", "", text)


def _leaflet_css() -> str:
    def inline(match: re.Match[str]) -> str:
        image = b64encode((_LEAFLET / match[1]).read_bytes()).decode()
        return f"url(data:image/png;base64,{image})"

    text = (_LEAFLET / "leaflet.css").read_text(encoding="utf-8")
    text = text.replace("behavior: url(#default#VML);", "")  # a rule of dead browsers
    return re.sub(r"url\((images/[^)]+)\)", inline, text)


def _digest(script: str) -> str:
    return b64encode(sha256(script.encode()).digest()).decode()
