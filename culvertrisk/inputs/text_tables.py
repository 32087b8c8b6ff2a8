"""A text file as rows of cells: its encoding, delimiter, quotes and decimal commas."""

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from culvertrisk.checks import InputError, file_problem

IsName = Callable[[str], bool]

_SHOWN_LINES = 60  # titles and readmes above a table are shorter
_DELIMITERS = ";\t|,"
_ZIP, _NO_TEXT = b"PK\x03\x04", "bytes that are no text"  # a workbook is a zip too
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_THOUSANDS = re.compile(r"^-?\d{1,3}(,\d{3})+(\.\d+)?$")
_DECIMAL_COMMA = re.compile(r"^-?\d+,\d+$")
_DECIMAL_POINT = re.compile(r"^-?\d+\.\d+$")
_BETWEEN_DIGITS = re.compile(r"(?<=\d),(?=\d)")
_MINUS = re.compile(r"^[\u2212\u2013](?=\d)")  # minus and dash of word processors
_INCH = re.compile(r'\d ?"')
_SHOWN_LETTERS = 30


@dataclass(frozen=True)
class TextRow:
    """One row of a text file: cells as stripped text, and the lines it stands on.

    ``line`` counts from 1. ``is_odd`` says that a quote in it has no fellow, and
    ``has_inch`` that a quote follows a number, as in 18".
    """

    line: int
    last_line: int
    cells: list[str]
    is_odd: bool
    has_inch: bool


@dataclass(frozen=True)
class TextTable:
    """The rows of a text file; ``faults`` tell by line where quotes are broken."""

    rows: list[TextRow]
    delimiter: str
    faults: dict[int, str]

    def filled(self) -> "TextTable":
        """Return the table without its blank rows."""
        rows = [row for row in self.rows if any(row.cells)]
        return replace(self, rows=rows)


def decoded(path: Path, rule: str, remedy: str) -> str:
    """Return the text of a file in UTF-8, UTF-16 with its mark, or Windows-1252.

    Raises
    ------
    InputError
        If it is no text; ``rule`` and ``remedy`` say what it must be.
    """
    data = path.read_bytes()
    if data.startswith(_UTF16):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            found = "UTF-16 text that is cut off or damaged"
            raise InputError([file_problem(path.name, rule, found, remedy)]) from error
    if b"\x00" in data or data.startswith(_ZIP):
        found = "a workbook or zip file" if data.startswith(_ZIP) else _NO_TEXT
        raise InputError([file_problem(path.name, rule, found, remedy)])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def no_name(cell: str) -> bool:
    """Tell that a cell is no known column name, where none is known."""
    return False


def delimiter_of(text: str, is_name: IsName = no_name) -> str:
    """Return the delimiter that splits most of the first lines into as many parts.

    Parameters
    ----------
    text : str
        The whole file.
    is_name : callable
        Tells whether a cell is a known column name; the delimiter that lays bare
        more of them in one line wins over every count.

    Examples
    --------
    >>> delimiter_of("pipe;lat;lon\\nA1;47,75;-87,5\\nA2;47,76;-87,5")
    ';'
    """
    lines = [line for line in text.splitlines() if line.strip()][:_SHOWN_LINES]
    scores = {}
    for mark in _DELIMITERS:
        counts = Counter(_count(line, mark) for line in lines)
        scores[mark] = max((n * times for n, times in counts.items()), default=0)
    likely = [mark for mark in _DELIMITERS if scores[mark]] or [","]
    if len(likely) == 1:
        return likely[0]
    named = {mark: _names(lines, mark, is_name) for mark in likely}
    return max(likely, key=lambda mark: (named[mark], scores[mark]))


def _names(lines: Sequence[str], mark: str, is_name: IsName) -> int:
    """Return the most known names in one line; one alone may be chance."""
    split = ([cell.strip(' "') for cell in line.split(mark)] for line in lines)
    most = max(sum(is_name(cell) for cell in cells if cell) for cells in split)
    return most if most > 1 else 0


def _count(line: str, mark: str) -> int:
    if mark == "," and any(other in line for other in _DELIMITERS[:-1]):
        line = _BETWEEN_DIGITS.sub("", line)  # decimal commas
    return line.count(mark)


def text_table(text: str, is_name: IsName = no_name) -> TextTable:
    """Split a text into rows of cells, each with the lines on which it stands.

    Parameters
    ----------
    text : str
        The whole file.
    is_name : callable
        As for :func:`delimiter_of`.

    Returns
    -------
    table : TextTable
        Decimal commas are points, and commas between thousands are gone. Rows whose
        quotes are broken are left to ``faults``; what follows is read on its own.
    """
    delimiter = delimiter_of(text, is_name)
    lines = [*io.StringIO(text, newline="")]
    faults: dict[int, str] = {}
    limit = csv.field_size_limit(len(text) + 1)  # an outline may fill a long cell
    try:
        rows = [*_split(lines, delimiter, faults)]
    finally:
        csv.field_size_limit(limit)
    if delimiter != "," or '"' in text:  # else no cell can hold a comma
        _without_commas(rows, delimiter)
    return TextTable(rows, delimiter, faults)


def _without_commas(rows: Sequence[TextRow], delimiter: str) -> None:
    """Turn decimal commas into points; drop commas between thousands.

    ``1,234`` may be either: points elsewhere in the file make it thousands, other
    decimal commas or another delimiter make it a decimal.
    """
    cells = [cell for row in rows for cell in row.cells]
    commas = [cell for cell in cells if _DECIMAL_COMMA.match(cell)]
    has_points = any(_DECIMAL_POINT.match(cell) for cell in cells)
    is_plain = delimiter != "," or not all(_THOUSANDS.match(cell) for cell in commas)
    is_decimal = is_plain and not has_points
    for row in rows:
        row.cells[:] = [_number_text(c, delimiter, is_decimal) for c in row.cells]


def _number_text(cell: str, delimiter: str, is_decimal: bool) -> str:
    if _DECIMAL_COMMA.match(cell):
        can_be_decimal = delimiter != "," and not _THOUSANDS.match(cell)
        if is_decimal or can_be_decimal:
            return cell.replace(",", ".")
    return cell.replace(",", "") if _THOUSANDS.match(cell) else cell


def _split(
    lines: Sequence[str], delimiter: str, faults: dict[int, str]
) -> Iterator[TextRow]:
    """Yield row after row; a broken quote is told, and its first line passed over."""
    begin = 0
    while begin < len(lines):
        rest = (lines[number] for number in range(begin, len(lines)))
        reader = csv.reader(rest, delimiter=delimiter, strict=True)
        first = begin
        try:
            for cells in reader:
                end = begin + reader.line_num
                yield _row(lines, first, end, cells)
                first = end
            return
        except csv.Error as error:
            end = begin + reader.line_num
            never = "end of data" in str(error)
            if (
                never
                or end - first > 1
                or _has_delimiter_inside(lines[first], delimiter)
            ):
                faults[first + 1] = _fault(lines, first, end, never)
                begin = first + 1
            else:  # such as "18" CMP": odd, but no cell is lost
                yield _row(lines, first, end, _loosely(lines[first], delimiter))
                begin = end


def _row(lines: Sequence[str], first: int, end: int, cells: list[str]) -> TextRow:
    raw = "".join(lines[first:end])
    is_odd = raw.count('"') % 2 == 1
    has_inch = is_odd and bool(_INCH.search(raw))
    plain = [_MINUS.sub("-", cell.strip()) for cell in cells]
    return TextRow(first + 1, end, plain, is_odd, has_inch)


def _loosely(line: str, delimiter: str) -> list[str]:
    return next(csv.reader([line], delimiter=delimiter), [])


def _has_delimiter_inside(line: str, delimiter: str) -> bool:
    """Tell whether a quoted cell with text behind its last quote holds a delimiter."""
    mark = re.escape(delimiter)
    cell = rf'(?:^|{mark})"((?:[^"]|"")*)"(?!["\r\n]|{mark}|$)'
    return any(delimiter in inside for inside in re.findall(cell, line))


def _fault(lines: Sequence[str], first: int, end: int, never: bool) -> str:
    line = lines[first].strip()
    if never:
        found = "a quote opens and none closes it down to the end of the file"
    elif end - first > 1:
        found = f"a quote opens; the next is in line {end}, with text behind it"
    else:
        found = "a quote closes a cell and text follows it"
    begins = line[:_SHOWN_LETTERS] + ("..." if len(line) > _SHOWN_LETTERS else "")
    return f"line {first + 1} ({begins}: {found})"
