"""Which column of a file means what, and in which unit: aliases found, units found."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from culvertrisk import settings, tables
from culvertrisk.checks import file_problem, refuse, value_problem, word_problem
from culvertrisk.units import to_unit

UNIT_WORDS = {
    "in": "inch",
    "inch": "inch",
    "inches": "inch",
    "ft": "foot",
    "feet": "foot",
    "foot": "foot",
    "mm": "millimeter",
    "millimeters": "millimeter",
    "millimetres": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "meter": "meter",
    "meters": "meter",
    "metre": "meter",
    "metres": "meter",
    "percent": "percent",
    "percentage": "percent",
    "pct": "percent",
    "perc": "percent",
    "fraction": "dimensionless",
    "deg": "degree",
    "dimensionless": "dimensionless",
    **dict.fromkeys(("ac", "acre", "acres"), "acre"),
    **dict.fromkeys(("ha", "hectare", "hectares"), "hectare"),
    **dict.fromkeys(("mi2", "sqmi", "sq_mi", "square_miles"), "mile**2"),
    **dict.fromkeys(("km2", "sqkm", "sq_km", "square_kilometers"), "kilometer**2"),
    **dict.fromkeys(("ft2", "sqft", "sq_ft", "square_feet"), "foot**2"),
    **dict.fromkeys(("m2", "sqm", "sq_m", "square_meters"), "meter**2"),
}
_LENGTHS = ("inch", "foot", "meter", "millimeter", "centimeter")
_AREAS = ("acre", "hectare", "mile**2", "kilometer**2", "foot**2", "meter**2")
# Names that a GIS gives on its own and changes at the next export.
_MACHINE_IDS = ("objectid", "objectid1", "fid", "ogcfid", "gid", "rowid", "id0")
_OTHER_IDS = ("id", "name", "number", "no", "tag", "label", "ref")
_ID_THING = re.compile(r"culv|cvt|crossing|pipe|structure|asset|inventory")
_ID_WORD = re.compile(r"(^|_)(id|ids|no|nr|num|number|ref|reference|code|tag)$")
_DBF_NAME_LENGTH = 10  # characters, dBASE III, "from memory"
_SPLIT_UNIT = re.compile(r"_m_per_m$")


@dataclass(frozen=True)
class Found:
    """A column of a file that holds one of our quantities.

    ``unit`` is as pint spells it; "" means that neither user nor name tells.
    ``is_unit_told`` is True if the user told it, so that it stands.
    """

    column: str
    unit: str
    is_unit_told: bool = False


def plain_name(name: object) -> str:
    """Return a column's name in lower case, words joined by one underscore.

    Examples
    --------
    >>> plain_name("Culvert ID"), plain_name("CulvertID"), plain_name("DIAM. (ft)")
    ('culvert_id', 'culvert_id', 'diam_ft')
    """
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", str(name).strip())
    text = text.replace("%", " percent ").replace('"', " in ")
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


def unit_in_name(name: object) -> tuple[str, str]:
    """Split a plain column name from the unit it carries.

    Returns
    -------
    base : str
        The plain name without its unit.
    unit : str
        The unit as pint spells it, or "".

    Examples
    --------
    >>> unit_in_name("LN_FT"), unit_in_name("diameter_or_span_meters")
    (('ln', 'foot'), ('diameter_or_span', 'meter'))
    >>> unit_in_name("Slope (%)"), unit_in_name("recorded_slope_m_per_m")
    (('slope', 'percent'), ('recorded_slope', 'dimensionless'))
    >>> unit_in_name("Drainage Area (sq mi)")
    ('drainage_area', 'mile**2')
    """
    plain = plain_name(name)
    if _SPLIT_UNIT.search(plain):
        return _SPLIT_UNIT.sub("", plain), "dimensionless"
    if plain.endswith(("_m_m", "_ft_ft")):
        return plain.rsplit("_", 2)[0], "dimensionless"
    for count in (2, 1):
        words = plain.rsplit("_", count)
        if len(words) > count and "_".join(words[1:]) in UNIT_WORDS:
            return words[0], UNIT_WORDS["_".join(words[1:])]
    first, _, rest = plain.partition("_")
    if rest and UNIT_WORDS.get(first) == "percent":
        return rest, "percent"
    return plain, ""


@cache
def _aliases() -> tuple[dict[str, tuple[str, int, str]], dict[str, str]]:
    known: dict[str, tuple[str, int, str]] = {}
    short: dict[str, set[str]] = {}
    rows = tables.table("column_aliases").fillna("")
    for order, row in enumerate(rows.itertuples(index=False)):
        known[_key(row.alias)] = (str(row.column), order, str(row.unit))
        for form in (str(row.alias), _key(row.alias)):
            short.setdefault(form[:_DBF_NAME_LENGTH], set()).add(_key(row.alias))
    cut = {form: min(keys) for form, keys in short.items() if len(keys) == 1}
    return known, {f: k for f, k in cut.items() if len(f) == _DBF_NAME_LENGTH}


def _key(plain: object) -> str:
    return str(plain).replace("_", "")


def _match(name: str) -> tuple[str, int, str] | None:
    """Return (our column, order in the alias table, unit) of a file's column."""
    known, cut = _aliases()
    plain = plain_name(name)
    base, unit = unit_in_name(name)
    for form in (plain, base):
        hit = known.get(_key(form))
        if hit:
            return hit[0], hit[1], unit or hit[2]
    if len(name.strip()) == _DBF_NAME_LENGTH:
        full = cut.get(name.strip().lower()) or cut.get(_key(plain))
        if full:
            return known[full][0], known[full][1], known[full][2]
    return None


def recognised(name: object) -> str:
    """Return our name for a file's column, or "" if it is not known.

    Examples
    --------
    >>> recognised("INSTALLDAT"), recognised("NumberBarrel"), recognised("hue")
    ('install_year', 'barrel_count', '')
    """
    hit = _match(str(name))
    return hit[0] if hit else ""


def our_columns() -> list[str]:
    """Return every name that ``columns`` of the town file may hold, in order."""
    return list(dict.fromkeys(tables.table("column_aliases")["column"]))


def find_columns(
    names: Sequence[str], reading: settings.Reading, file: str
) -> dict[str, list[Found]]:
    """Find which columns of a file hold our quantities.

    Parameters
    ----------
    names : sequence of str
        The file's columns.
    reading : settings.Reading
        What the user says; it wins over every guess.
    file : str
        The file's name for messages.

    Returns
    -------
    found : dict of str to list of Found
        By our column; the best first. ``culvert_id`` may list several columns to
        be read one after the other where the first is blank.

    Raises
    ------
    InputError
        If the user names a column or a unit that does not exist.
    """
    refuse(_problems(names, reading, file))
    ranked: dict[str, list[tuple[int, Found]]] = {}
    for name in names:
        hit = _match(name)
        if hit:
            found = _found(name, hit[0], hit[2], reading)
            ranked.setdefault(hit[0], []).append((hit[1], found))
    result = {ours: [f for _, f in sorted(r, key=_order)] for ours, r in ranked.items()}
    ids = _id_columns(names, result.get("culvert_id", []))
    result["culvert_id"] = [Found(name, "") for name in ids]
    for ours, column in reading.columns.items():
        for others in result.values():
            others[:] = [f for f in others if f.column != column]
        result[ours] = [_found(column, ours, unit_in_name(column)[1], reading)]
    return {ours: columns for ours, columns in result.items() if columns}


def _order(item: tuple[int, Found]) -> int:
    return item[0]


def _found(column: str, ours: str, hint: str, reading: settings.Reading) -> Found:
    told = _unit(reading, ours)
    wanted = wanted_unit(ours)
    is_length, is_area = (hint in _LENGTHS), (hint in _AREAS)
    is_fit = (is_length, is_area) == (wanted == "meter", wanted == "meter**2")
    return Found(column, told or (hint if is_fit else ""), bool(told))


def _unit(reading: settings.Reading, ours: str) -> str:
    word = reading.units.get(ours, "")
    return UNIT_WORDS.get(word.strip().lower(), word)


def names_culverts(column: str) -> bool:
    """Tell whether a column's name says that it names culverts.

    Examples
    --------
    >>> [names_culverts(name) for name in ("CVID", "my_crossing_ref", "OBJECTID")]
    [True, True, False]
    """
    plain = plain_name(column)
    is_thing = bool(_ID_THING.search(plain) and _ID_WORD.search(plain))
    return is_thing or recognised(column) == "culvert_id"


def _id_columns(names: Iterable[str], known: Sequence[Found]) -> list[str]:
    """Return the columns that may name a culvert, best kind first."""
    listed = [found.column for found in known]
    plains = {name: plain_name(name) for name in names if name not in listed}
    things = [name for name in plains if names_culverts(name)]
    if listed or things:
        return listed + things
    machine = [n for n, p in plains.items() if _key(p) in _MACHINE_IDS]
    others = [
        n
        for n, p in plains.items()
        if n not in machine and (p in _OTHER_IDS or p.endswith("id"))
    ]
    return others + machine


def _problems(
    names: Sequence[str], reading: settings.Reading, file: str
) -> Iterable[str]:
    allowed = our_columns()
    for ours, column in reading.columns.items():
        if ours not in allowed:
            remedy = f"Correct columns.{ours} in the town file."
            yield word_problem("town file", "columns", allowed, ours, remedy)
        elif column not in names:
            yield file_problem(
                file,
                f"have the column {column!r} that the town file names for {ours}",
                "the columns " + ", ".join(map(str, names)),
                f"Correct columns.{ours} in the town file.",
            )
    for ours, unit in reading.units.items():
        if ours not in allowed:
            remedy = f"Correct units.{ours} in the town file."
            yield word_problem("town file", "units", allowed, ours, remedy)
            continue
        wanted = wanted_unit(ours)
        try:
            to_unit(f"1 {_unit(reading, ours)}", wanted)
        except ValueError:
            rule = f"be a unit of {wanted}"
            remedy = "Write one such as in, ft, mm, m, acre or percent."
            yield value_problem("town file", f"units.{ours}", rule, unit, remedy)


def wanted_unit(ours: str) -> str:
    """Return the unit that a quantity has inside, as pint spells it."""
    if ours.endswith("_m2"):
        return "meter**2"
    is_length = ours.endswith("_m") and not ours.endswith("_m_per_m")
    return "meter" if is_length else "dimensionless"


def factor(unit: str, ours: str) -> float:
    """Return what a number in ``unit`` is multiplied with to be in ours.

    Examples
    --------
    >>> factor("inch", "rise_m"), factor("percent", "silt_fraction")
    (0.0254, 0.01)
    """
    return to_unit(f"1 {unit}", wanted_unit(ours)) if unit else 1.0
