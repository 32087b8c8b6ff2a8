"""What is out of step in a text file: lost quotes, too many cells, too few."""

from collections.abc import Sequence

from culvertrisk.checks import SHOWN_ROWS, file_problem, refuse
from culvertrisk.inputs.culvert_notes import Note, note_whole
from culvertrisk.inputs.text_tables import TextRow, TextTable

_QUOTE_RULE = "close every quote that it opens"
_QUOTE_REMEDY = (
    "Add the quote that is missing, or write one that belongs to the text twice "
    '(""); nothing was read from the file.'
)


def lost_quotes(rows: Sequence[TextRow], width: int, delimiter: str) -> dict[int, str]:
    """Find rows that a lost quote has joined or cut, though each reads as a row.

    Parameters
    ----------
    rows : sequence of TextRow
        From the header on.
    width : int
        Cells of the header.
    delimiter : str
        Of the file.

    Returns
    -------
    faults : dict of int to str
        What was found by line. A quote without a fellow is only a fault behind a cell
        that holds line breaks, or behind a row that is too short; else it may be an
        inch mark.
    """
    faults: dict[int, str] = {}
    joined: TextRow | None = None
    last: TextRow | None = None
    for row in rows:
        if row.last_line > row.line and (not joined or _holds(row, delimiter)):
            joined = row
        if row.is_odd and joined and (not row.has_inch or _holds(joined, delimiter)):
            found = f"a cell of line {joined.line} holds line breaks"
            faults[row.line] = f"line {row.line} (a quote alone; {found})"
        elif row.is_odd and last and _is_rest(last, row, width):
            found = f"line {last.line} has {len(last.cells)} of {width} cells"
            faults[row.line] = f"line {row.line} (a quote alone; {found})"
        last = row if any(row.cells) else last
    return faults


def _holds(row: TextRow, delimiter: str) -> bool:
    return any(delimiter in cell for cell in row.cells)


def _is_rest(last: TextRow, row: TextRow, width: int) -> bool:
    """Tell whether a row goes on where a row that is too short stops."""
    if len(last.cells) >= width:
        return False
    return not row.has_inch or len(last.cells) + len(row.cells) - 1 == width


def refuse_faults(table: TextTable, header: int, file: str) -> None:
    """Refuse broken quotes, and rows with more cells than the header, all at once.

    Parameters
    ----------
    table : TextTable
        The file.
    header : int
        Place of the header in the rows; what lies above it may be of any width.
        Without a header, the number of rows.
    file : str
        Name of the file, for the message.

    Raises
    ------
    InputError
        With lines, what was found, and what to do.
    """
    rows = table.rows[header:]
    width = len(rows[0].cells) if rows else 0
    quotes = table.faults | lost_quotes(rows, width, table.delimiter)
    wide = {
        row.line: f"line {row.line} ({len(row.cells)} cells)"
        for row in rows
        if any(row.cells[width:])
    }
    mark = {"\t": "a tab"}.get(table.delimiter, repr(table.delimiter))
    fit = f"have no row with more cells than the {width} of its header"
    remedy = (
        f"Put quotes around a cell that holds {mark}, or name every column in the "
        "header; nothing was read from the file."
    )
    problems = [
        file_problem(file, rule, _places(found), told)
        for rule, found, told in (
            (_QUOTE_RULE, quotes, _QUOTE_REMEDY),
            (fit, wide, remedy),
        )
        if found
    ]
    refuse(problems)


def _places(found: dict[int, str]) -> str:
    listed = [found[line] for line in sorted(found)]
    more = f" and {len(listed) - SHOWN_ROWS} more" if len(listed) > SHOWN_ROWS else ""
    return ", ".join(listed[:SHOWN_ROWS]) + more


def row_notes(table: TextTable, header: int) -> list[Note]:
    """Return notes on short rows, quotes alone, and lines that are no row."""
    rows = [row for row in table.rows[header + 1 :] if any(row.cells)]
    width = len(table.rows[header].cells)
    short = {
        row.line: f"line {row.line} ({len(row.cells)})"
        for row in rows
        if len(row.cells) < width
    }
    notes = repeat_notes(table.rows[header].cells)
    if short:
        said = f"{len(short)} rows with fewer cells than the header's {width}: "
        told = "the cells that are not there are blank"
        notes.append(note_whole("", said + _places(short), told, "assumed"))
    alone = {row.line: f"line {row.line}" for row in rows if row.is_odd}
    if alone:
        said = f"{len(alone)} rows with a quote alone: {_places(alone)}"
        told = "kept as it stands, such as an inch mark"
        notes.append(note_whole("", said, told, "assumed"))
    last = rows[-1].last_line if rows else 0
    if last > len(rows) + 1:
        told = f"{len(rows)} rows and a header: {_other_lines(table, header, last)}"
        notes.append(note_whole("", f"{last} lines", told, "assumed"))
    return notes


def _other_lines(table: TextTable, header: int, last: int) -> str:
    """Say which lines are no row: above the header, blank, inside a cell."""
    body = [row for row in table.rows[header:] if row.line <= last]
    joined = {r.line: f"line {r.line}" for r in body if r.last_line > r.line}
    parts = {
        "{} above the header": table.rows[header].line - 1,
        "{} blank": sum(not any(row.cells) for row in body),
        f"{{}} inside cells with line breaks, of {_places(joined)}": sum(
            row.last_line - row.line for row in body
        ),
    }
    return ", ".join(text.format(count) for text, count in parts.items() if count)


def repeat_notes(names: Sequence[str]) -> list[Note]:
    """Return a note for each name that several columns have: the first is read."""
    places: dict[str, list[str]] = {}
    for place, name in enumerate(names, start=1):
        places.setdefault(name, []).append(str(place))
    return [
        note_whole(
            name,
            f"columns {' and '.join(listed)} with one name",
            f"column {listed[0]} is read; give the others names of their own",
            "assumed",
        )
        for name, listed in places.items()
        if name and len(listed) > 1
    ]
