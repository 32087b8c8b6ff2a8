"""Text files of cells: what a spreadsheet writes is read whole, what is broken told."""

import csv
import io

import hypothesis
import pytest
from hypothesis import strategies as st

from culvertrisk import settings
from culvertrisk.checks import InputError
from culvertrisk.inputs.calls import read_calls
from culvertrisk.inputs.culverts import read_culverts
from culvertrisk.inputs.layers import open_layer
from culvertrisk.inputs.places import read_places
from culvertrisk.inputs.rainfall import read_rainfall
from culvertrisk.inputs.thaw_log import read_thaw_log
from culvertrisk.inputs.town import read_town
from culvertrisk.inputs.weather import read_weather

PLAIN = settings.Reading()
READERS = {
    "culverts": lambda path: read_culverts(path, PLAIN),
    "places": lambda path: read_places(path, PLAIN, "EPSG:32616"),
    "calls": lambda path: read_calls(path, PLAIN),
    "thaw_log": lambda path: read_thaw_log(path, PLAIN),
    "weather": lambda path: read_weather(path, PLAIN),
    "rainfall": lambda path: read_rainfall(path, PLAIN),
}
TABLES = {
    "culverts": (
        "culvert_id,lat,lon,size,note",
        *(
            "A1,47.750,-87.5,18,by the mill",
            "A2,47.753,-87.5,24,",
            "A3,47.756,-87.5,,x",
        ),
    ),
    "places": (
        "lat,lon,kind,people,needs",
        *(
            "47.750,-87.5,school,210,",
            "47.753,-87.5,farm,2,",
            "47.756,-87.5,farm,,heat",
        ),
    ),
    "calls": (
        "time,road,place,caller,seen",
        *("04:10,Norrick Lane,by A1,driver,slush", "05:10,Norrick Lane,,,water"),
        "06:20,Ossel Mill Rd,,resident,pond",
    ),
    "thaw_log": (
        "date,culvert,minutes,result,note",
        *("2024-02-25,A1,40,open,", "2024-02-26,A2,,dug,", "2024-03-01,A1,55,open,x"),
    ),
    "weather": (
        "date,tmin_c,tmax_c,rain_mm,kind",
        *("2024-02-25,-9,1,0,observed", "2024-02-26,-7,2,0,observed"),
        "2024-02-27,-5,3,0,observed",
    ),
    "rainfall": (
        "duration_min,return_years,rain_mm,series,note",
        *("5,2,8.0,annual,", "10,2,12.0,annual,", "15,2,15.5,annual,"),
    ),
}


def _file(tmp_path, lines, name="t.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes("\n".join([*lines, ""]).encode(encoding))
    return path


def _refused(read, path):
    with pytest.raises(InputError) as caught:
        read(path)
    return caught.value.problems


def _spoilt(kind, row, cell, written):
    """Return the table of a kind with one cell written anew."""
    lines = [*TABLES[kind]]
    cells = lines[row].split(",")
    cells[cell] = written
    lines[row] = ",".join(cells)
    return lines


@pytest.mark.parametrize("kind", TABLES)
def test_sound_tables_of_every_kind_are_read_without_a_word_on_their_rows(
    tmp_path, kind
):
    read = READERS[kind](_file(tmp_path, TABLES[kind]))
    assert len(read.table) == len(TABLES[kind]) - 1
    assert not read.notes["found"].astype(str).str.contains("line").any()


@pytest.mark.parametrize("kind", TABLES)
def test_a_quote_that_never_closes_is_refused_in_every_table(tmp_path, kind):
    path = _file(tmp_path, _spoilt(kind, 2, 4, '"by the elm'))
    (problem,) = _refused(READERS[kind], path)
    assert problem.startswith("t.csv: file must close every quote that it opens, got ")
    assert "line 3 (" in problem
    assert "none closes it down to the end of the file" in problem
    assert problem.endswith("nothing was read from the file.")


@pytest.mark.parametrize("kind", TABLES)
def test_a_quote_that_the_next_quoted_cell_closes_is_refused(tmp_path, kind):
    lines = _spoilt(kind, 1, 4, '"by the elm')
    cells = lines[3].split(",")
    lines[3] = ",".join([*cells[:4], '"the barn, red"'])
    (problem,) = _refused(READERS[kind], _file(tmp_path, lines))
    assert "line 2 (" in problem
    assert "the next is in line 4, with text behind it" in problem


@pytest.mark.parametrize("kind", TABLES)
def test_a_row_with_more_cells_than_the_header_is_refused_in_every_table(
    tmp_path, kind
):
    path = _file(tmp_path, _spoilt(kind, 2, 4, "by the elm, left"))
    assert _refused(READERS[kind], path) == (
        "t.csv: file must have no row with more cells than the 5 of its header, got "
        "line 3 (6 cells). Put quotes around a cell that holds ',', or name every "
        "column in the header; nothing was read from the file.",
    )


def test_all_that_is_out_of_step_in_a_file_is_told_at_once(tmp_path):
    lines = [
        "culvert_id,lat,lon,size,note",
        "A1,47.750,-87.5,18,dug, twice",
        'A2,47.753,-87.5,18,"by the elm',
        'A3,47.756,-87.5,18,"the barn, red"',
        "A4,47.759,-87.5,18,a,b,c",
        'A5,47.762,-87.5,18,"open to the end',
    ]
    quotes, cells = _refused(READERS["culverts"], _file(tmp_path, lines))
    assert "line 3 (" in quotes
    assert "line 6 (" in quotes
    assert "line 2 (6 cells), line 5 (7 cells)" in cells


def test_line_breaks_inside_a_closed_quote_are_read_and_the_lines_accounted_for(
    tmp_path,
):
    lines = [
        "Inventory of the north district",
        "culvert_id,lat,lon,size,note",
        'A1,47.750,-87.5,18,"outlet buried,\nask at the farm\n"',
        "",
        'A2,47.753,-87.5,18","18"" in the ditch"',
        "A3,47.756,-87.5,24",
    ]
    lines[4] = 'A2,47.753,-87.5,"18""",'
    read = READERS["culverts"](_file(tmp_path, lines))
    assert [*read.table.index] == ["A1", "A2", "A3"]
    assert read.table["note"].tolist()[0] == "outlet buried,\nask at the farm"
    told = read.notes.loc[read.notes["row"] == 0, ["found", "understood"]]
    pairs = told.to_numpy().tolist()
    assert [
        "8 lines",
        "3 rows and a header: 1 above the header, 1 blank, "
        "2 inside cells with line breaks, of line 3",
    ] in pairs
    assert [
        "1 rows with fewer cells than the header's 5: line 8 (4)",
        "the cells that are not there are blank",
    ] in pairs


def test_inch_marks_without_quotes_around_them_stay_what_they_are(tmp_path):
    lines = [
        "culvert_id,lat,lon,size,note",
        'A1,47.750,-87.5,18",flat',
        'A2,47.753,-87.5,24"',
        'A3,47.756,-87.5,"36" CMP",',
    ]
    read = READERS["culverts"](_file(tmp_path, lines))
    inch_m = 0.0254  # exact, international inch (NIST SP 811, B.8)
    assert (read.table["rise_m"] / inch_m).round(6).tolist() == [18, 24, 36]


_CELL = st.text(st.sampled_from('ab1,;" \n'), max_size=6)
_TABLE = st.integers(2, 4).flatmap(
    lambda width: st.lists(
        st.lists(_CELL, min_size=width, max_size=width), min_size=1, max_size=5
    )
)


def _written(rows, quoting, end):
    """Write rows under a header of three letters each, as a spreadsheet does."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=quoting, lineterminator=end)
    header = [f"col_{letter}" for letter in "pqrs"[: len(rows[0])]]
    writer.writerows([header, *rows])
    return text.getvalue(), header


def _as_read(rows):
    """Return rows as a reader shows them: cells stripped, blank rows left out."""
    plain = [[cell.strip() for cell in row] for row in rows]
    return [row for row in plain if any(row)]


@hypothesis.settings(deadline=None, max_examples=150)
@hypothesis.given(
    rows=_TABLE,
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    end=st.sampled_from(["\n", "\r\n"]),
)
def test_whatever_a_spreadsheet_writes_is_read_back_whole(
    tmp_path_factory, rows, quoting, end
):
    hypothesis.assume(_as_read(rows))
    text, header = _written(rows, quoting, end)
    path = tmp_path_factory.mktemp("whole") / "t.csv"
    path.write_bytes(text.encode())
    cells = open_layer(path, header).cells
    assert [*cells.columns] == header
    assert cells.to_numpy().tolist() == _as_read(rows)


@hypothesis.settings(deadline=None, max_examples=400)
@hypothesis.given(
    rows=_TABLE,
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    data=st.data(),
)
def test_with_one_quote_lost_a_table_is_refused_or_every_row_is_there(
    tmp_path_factory, rows, quoting, data
):
    hypothesis.assume(_as_read(rows))
    text, header = _written(rows, quoting, "\n")
    body = text.index("\n")
    quotes = [place for place, letter in enumerate(text) if letter == '"']
    quotes = [place for place in quotes if place > body]
    hypothesis.assume(quotes)
    lost = data.draw(st.sampled_from(quotes))
    path = tmp_path_factory.mktemp("lost") / "t.csv"
    path.write_bytes((text[:lost] + text[lost + 1 :]).encode())
    try:
        layer = open_layer(path, header)
    except InputError:
        return
    read = layer.cells.to_numpy().tolist()
    wrong = [row for row in _as_read(rows) if row not in read]
    assert len(wrong) <= 1  # the row whose quote was lost
    assert len(read) == len(_as_read(rows)) or layer.notes


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (["pipe;lat;lon", "1;47,751;-87,51", "2;47,752;-87,52"], ["47.751", "-87.51"]),
        (["pipe;lat;lon", "1;47,751;-87,512", "2;47,75;1"], ["47.751", "-87.512"]),
        (["pipe,lat,lon", '1,"47,751234","-87,5"'], ["47.751234", "-87.5"]),
        (["pipe,east,cost", '1,"462,500","1,250.5"'], ["462500", "1250.5"]),
        (["pipe\teast\tlat", "1\t462,500\t47.75"], ["462500", "47.75"]),
    ],
    ids=["decimals", "three places", "quoted", "thousands", "tabs with points"],
)
def test_commas_in_numbers_are_decimals_or_thousands_by_the_file(
    tmp_path, lines, expected
):
    cells = open_layer(_file(tmp_path, lines), ["pipe"]).cells
    assert cells.iloc[0].tolist()[1:] == expected


def test_more_decimal_commas_than_delimiters_do_not_choose_the_delimiter(tmp_path):
    lines = ["a;b;c", *(f"{n},5;{n},25;{n},75" for n in range(9))]
    assert [*open_layer(_file(tmp_path, lines)).cells.columns] == ["a", "b", "c"]


def test_a_header_under_many_lines_of_readme_is_found(tmp_path):
    lines = [*(f"line {n} of the readme" for n in range(30)), *TABLES["culverts"]]
    assert len(READERS["culverts"](_file(tmp_path, lines)).table) == 3


def test_blank_columns_behind_the_last_are_no_surplus(tmp_path):
    lines = [TABLES["culverts"][0], *(f"{r},,," for r in TABLES["culverts"][1:])]
    assert len(READERS["culverts"](_file(tmp_path, lines)).table) == 3


def test_a_repeated_header_is_told_and_the_first_is_read(tmp_path):
    lines = [
        f"{TABLES['culverts'][0]},lat",
        *(f"{r},1" for r in TABLES["culverts"][1:]),
    ]
    read = READERS["culverts"](_file(tmp_path, lines))
    assert len(read.table) == 3
    assert [
        "columns 2 and 6 with one name",
        "column 2 is read; give the others names of their own",
    ] in read.notes[["found", "understood"]].to_numpy().tolist()


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_tables_in_the_encodings_of_spreadsheets_are_read(tmp_path, kind, encoding):
    read = READERS[kind](_file(tmp_path, TABLES[kind], encoding=encoding))
    assert len(read.table) == 3


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize(
    ("data", "found"),
    [
        ("a,b\n1,2\n".encode("utf-16")[:-1], "UTF-16 text that is cut off or damaged"),
        (b"PK\x03\x04\x00", "a workbook or zip file"),
        (b"a\x00b", "bytes that are no text"),
    ],
    ids=["cut UTF-16", "workbook", "bytes"],
)
def test_what_is_no_text_is_refused_in_one_sentence(tmp_path, kind, data, found):
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    (problem,) = _refused(READERS[kind], path)
    assert f", got {found}. " in problem


@pytest.mark.parametrize("kind", TABLES)
def test_an_empty_file_is_refused_in_one_sentence(tmp_path, kind):
    (problem,) = _refused(READERS[kind], _file(tmp_path, []))
    assert problem.startswith("t.csv: file must ")


def test_an_outline_may_fill_a_very_long_cell(tmp_path):
    long = "by the mill " * 20_000
    lines = [*TABLES["culverts"], f'A4,47.759,-87.5,18,"{long}"']
    table = READERS["culverts"](_file(tmp_path, lines)).table
    assert table["note"].tolist()[-1] == long.strip()


@pytest.mark.parametrize("ending", [".xlsx", ".gpkg"])
def test_a_damaged_workbook_or_layer_is_refused_in_one_sentence(tmp_path, ending):
    path = tmp_path / f"t{ending}"
    path.write_bytes(b"PK\x03\x04" + b"\x00" * 200)
    (problem,) = _refused(READERS["culverts"], path)
    assert problem.startswith(f"t{ending}: file must be a")


def test_all_files_tell_their_faults_though_the_inventory_cannot_be_read(tmp_path):
    for kind in ("culverts", "calls", "thaw_log"):
        _file(tmp_path, _spoilt(kind, 2, 4, '"open'), f"{kind}.csv")
    files = "\n".join(f'{k} = "{k}.csv"' for k in ("culverts", "calls", "thaw_log"))
    (tmp_path / "town.toml").write_text(f"[files]\n{files}\n", "utf-8")
    town = settings.read_settings(tmp_path / "town.toml")
    problems = _refused(read_town, town)
    assert [problem.partition(":")[0] for problem in problems] == [
        "culverts.csv",
        "thaw_log.csv",
        "calls.csv",
    ]
