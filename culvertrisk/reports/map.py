"""One offline page: map, ranked list, today's stops, what is not reached, sheets."""

from __future__ import annotations

from pathlib import Path

from culvertrisk.reports.exports import replace_file
from culvertrisk.reports.hillshade import hillshade
from culvertrisk.reports.map_data import MapContent, map_columns
from culvertrisk.reports.offline import map_page
from culvertrisk.reports.run_sheet import sheet_markup


def write_map(path: Path, content: MapContent) -> Path:
    """Write the map and everything on it as one HTML file.

    Parameters
    ----------
    path : Path
        The file to write; an older one is replaced as a whole.
    content : MapContent
        Crossings, and roads, terrain, plan and the rest where they are known.

    Returns
    -------
    path : Path
        The file written; it opens without a network, and the same content gives
        the same bytes.
    """
    page = map_page(
        content.title,
        map_columns(content),
        sheets=sheet_markup(content),
        picture=hillshade(content.terrain) if content.terrain is not None else None,
    )
    replace_file(path, lambda new: new.write_bytes(page.encode()))
    return path
