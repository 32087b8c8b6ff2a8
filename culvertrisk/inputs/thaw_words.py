"""Words of the thaw log: which header means what, which words mean which result."""

from collections.abc import Sequence

from culvertrisk import settings
from culvertrisk.inputs.columns import plain_name

CALLED, OWN_ROUND = "called", "own round"
RESULTS = ("open", "partial", "dug", "not frozen", "gave up", "other")
_HEADERS = {
    "day": ("day", "date", "work_date", "thaw_date", "date_worked", "when", "datum"),
    "culvert_id": (
        *("culvert_id", "culvert", "culvert_no", "culvert_number", "pipe", "pipe_id"),
        *("pipe_no", "id", "crossing", "crossing_id", "no", "number"),
    ),
    "place": ("place", "where", "location", "road", "road_name", "street", "site"),
    "crew": ("crew", "truck", "unit", "operator", "who", "by"),
    "method": ("method", "how", "equipment"),
    "work_s": ("work", "duration", "time_on_site", "work_time", "time_spent"),
    "water_m3": ("water", "water_used"),
    "result": ("result", "outcome", "status", "done"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
    "origin": (
        *("origin", "reported_by", "called_by", "called_in_by", "caller", "reporter"),
        *("told_by", "reason", "why", "trigger", "complaint", "call"),
    ),
}
# units in a header, alone ("minutes") or behind the quantity ("water_gal")
_UNITS = {
    "work_s": {
        "s": "second",
        "seconds": "second",
        "min": "minute",
        "mins": "minute",
        "minutes": "minute",
        "h": "hour",
        "hr": "hour",
        "hrs": "hour",
        "hours": "hour",
    },
    "water_m3": {
        "gal": "gallon",
        "gals": "gallon",
        "gallons": "gallon",
        "us_gal": "gallon",
        "l": "liter",
        "litres": "liter",
        "liters": "liter",
        "m3": "m**3",
    },
}
_RESULT_WORDS = {
    "open": ("open", "opened", "cleared", "clear", "thawed", "flowing", "done", "ok"),
    "partial": ("partial", "part", "partly", "partially", "partly open", "half open"),
    "dug": (
        *("dug", "dug out", "just dug", "just dug out", "shovelled", "shoveled"),
        *("dug only", "only dug", "ends dug"),
    ),
    "not frozen": (
        *("not frozen", "no ice", "was open", "already open", "running", "dry"),
        *("nothing found", "fine"),
    ),
    "gave up": (
        *("gave up", "given up", "could not open", "failed", "not opened"),
        *("still frozen", "no luck", "left", "abandoned"),
    ),
    "other": ("other",),
}
_RESULT_OF = {word: result for result, words in _RESULT_WORDS.items() for word in words}


def known_headers() -> list[str]:
    """Return every name by which a log's columns may go, without their units."""
    units = (unit for units in _UNITS.values() for unit in units)
    return [*(name for names in _HEADERS.values() for name in names), *units]


# whole words; the first kind that a row has counts
_ORIGIN_WORDS = {
    OWN_ROUND: (
        *("patrol", "own round", "own rounds", "on rounds", "routine", "round"),
        *("rounds", "no call", "not called", "no complaint", "crew found", "found by"),
        *("drive by", "drove by", "driving by", "repeat list", "check list"),
    ),
    CALLED: (
        *("resident called", "residents called", "owner called", "neighbor called"),
        *("neighbour called", "school called", "driver called", "called in", "call in"),
        *("phoned", "phone call", "complaint", "complaints", "complained", "dispatch"),
        *("reported by", "call from", "caller", "voice mail"),
    ),
}
# in a column of its own a single word is clear
_ORIGIN_CELLS = {
    OWN_ROUND: ("crew", "crews", "own", "self", "us", "no", "n", "inspection", "list"),
    CALLED: (
        *("call", "called", "calls", "resident", "residents", "phone", "citizen"),
        *(
            "neighbor",
            "neighbour",
            "owner",
            "homeowner",
            "public",
            "yes",
            "y",
            "police",
        ),
        *("school", "bus driver", "mail carrier", "farmer", "council"),
    ),
}


def origin_of(written: object, note: object = "") -> str:
    """Tell from a cell, else from a remark, whether somebody called.

    Examples
    --------
    >>> origin_of("Resident"), origin_of("", "patrol, glaze on road"), origin_of("")
    ('called', 'own round', '')
    >>> origin_of("", "Mrs H. phoned twice"), origin_of("", "called contractor")
    ('called', '')
    """
    cell, remark = (
        f" {plain_name(text).replace('_', ' ')} " for text in (written, note)
    )
    for kind, words in _ORIGIN_CELLS.items():
        if cell.strip() in words:
            return kind
    for text in (cell, remark):
        for kind, words in _ORIGIN_WORDS.items():
            if any(f" {word} " in text for word in words):
                return kind
    return ""


def result_of(written: object) -> str:
    """Return the result that a cell's words mean, or "" if they are not known.

    Examples
    --------
    >>> result_of("Dug out."), result_of("GAVE UP"), result_of("see note")
    ('dug', 'gave up', '')
    """
    plain = plain_name(written).replace("_", " ")
    return _RESULT_OF.get(plain, "")


def headers_found(
    names: Sequence[str], reading: settings.Reading
) -> dict[str, tuple[str, str]]:
    """Find which columns hold what.

    Parameters
    ----------
    names : sequence of str
        Headers of the file.
    reading : settings.Reading
        ``columns``: our name = the file's, which stands above what names say.

    Returns
    -------
    found : dict of str to (str, str)
        Our name to the file's column and its unit, "" where none is told.

    Examples
    --------
    >>> headers_found(["Date", "Pipe #", "Minutes", "Water (gal)"], settings.Reading())
    {'day': ('Date', ''), 'culvert_id': ('Pipe #', ''),
     'work_s': ('Minutes', 'minute'), 'water_m3': ('Water (gal)', 'gallon')}
    """
    told = {ours: (theirs, "") for ours, theirs in reading.columns.items()}
    left = [name for name in names if name not in reading.columns.values()]
    hits: dict[str, tuple[int, str, str]] = {}
    for name in left:
        for ours in _HEADERS:
            place, unit = _match(plain_name(name), ours)
            if place >= 0 and (ours not in hits or place < hits[ours][0]):
                hits[ours] = (place, name, unit)
    found = {ours: (name, unit) for ours, (_, name, unit) in hits.items()}
    return {**found, **told}


def _match(plain: str, ours: str) -> tuple[int, str]:
    """Return the place among the aliases, the best first, and the unit; -1 if none."""
    units = _UNITS.get(ours, {})
    if plain in units:
        return 0, units[plain]
    if plain == ours:
        return 0, {"work_s": "second", "water_m3": "m**3"}.get(ours, "")
    for ending, unit in units.items():
        base = plain.removesuffix(f"_{ending}")
        if base != plain and base in _HEADERS[ours]:
            return 1 + _HEADERS[ours].index(base), unit
    known = _HEADERS[ours]
    return (1 + known.index(plain), "") if plain in known else (-1, "")
