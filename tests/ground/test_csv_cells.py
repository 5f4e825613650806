from __future__ import annotations

import time
from datetime import UTC, date, datetime
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.ground import csv_cells
from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet, write_sheet
from crosscompat.ground.dates import FIRST_YEAR, LAST_YEAR
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse


@pytest.fixture
def written(tmp_path):
    """Write bytes or text to a file and return its path."""

    def write(content, name="crosses.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def faults_of(path, **settings):
    with pytest.raises(BadInput) as caught:
        read_sheet(path, **settings)
    return [str(fault).splitlines()[0] for fault in caught.value.faults]


@pytest.mark.parametrize(
    "content",
    [
        "Seed parent,took\nE. coccineus,3\n\nE. ×roetteri,\n",
        "\ufeffSeed parent,took\r\nE. coccineus,3\r\n\r\nE. ×roetteri,\r\n",
        "Seed parent;took\nE. coccineus;3\n\nE. ×roetteri;\n",
        "seed_parent\ttook\nE. coccineus\t3\n\nE. ×roetteri\t",
        '"SEED PARENT","took"\r"E. coccineus","3"\r\r"E. ×roetteri"," "',
        '"Seed-parent",took,\nE. coccineus,3,\n,,\nE. ×roetteri,,  \n',
    ],
)
def test_every_spreadsheets_csv_is_read_alike(written, content):
    sheet = read_sheet(written(content))
    assert sheet.header == ("seed_parent", "took")
    assert [(row.number, dict(row.cells)) for row in sheet.rows] == [
        (2, {"seed_parent": "E. coccineus", "took": "3"}),
        (4, {"seed_parent": "E. ×roetteri", "took": None}),
    ]


def test_a_row_keeps_the_number_a_spreadsheet_shows(written):
    sheet = read_sheet(written('note,took\n"two\nlines",1\nx,2\n'))
    assert [(row.number, row.cells["note"]) for row in sheet.rows] == [(2, "two\nlines"), (3, "x")]


def test_separators_inside_a_quoted_title_do_not_count(written):
    assert read_sheet(written('"a, b, c";d\n1,5;2\n')).header == ("a,_b,_c", "d")
    assert read_sheet(written("a;b\n1,5;2\n")).decimal_comma
    assert not read_sheet(written("a,b\n1,5\n")).decimal_comma


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", ["crosses.csv: The file is empty."]),
        (b"\xef\xbb\xbf \r\n", ["crosses.csv: The file is empty."]),
        (b"a,b\n1,2\nB\xe9la,3\n", ["crosses.csv, line 3: This is not UTF-8 text."]),
        ("\na,b\n1,2\n", ["crosses.csv, row 1: The first row is blank."]),
        (
            "a,A,b\n1,2\n1,2,3,4\n",
            [
                "crosses.csv, row 1: The column “A” appears twice.",
                "crosses.csv, row 2: This row has 2 cells; the first row names 3 columns.",
                "crosses.csv, row 3: This row has 4 cells; the first row names 3 columns.",
            ],
        ),
        ("a,,b\n1,2,3\n", ["crosses.csv, row 1: Column 2 has no name, but there are values under it."]),
        (
            'a,b\n1,2\n"open,3\n4,5\n',
            ["crosses.csv, row 3: A quotation mark is not closed, or text follows one that closes a cell."],
        ),
    ],
)
def test_a_broken_file_says_where(written, content, expected):
    assert faults_of(written(content), required=["b"]) == expected


def test_unknown_and_missing_columns_are_named(written):
    path = written("tooks,whatever,date\n1,2,3\n")
    with pytest.raises(BadInput) as caught:
        read_sheet(path, known=["date", "took", "tried"], required=["date", "tried"])
    assert [(fault.what, fault.advice) for fault in caught.value.faults] == [
        ("Nothing here is called “tooks”.", "Did you mean “took”?"),
        ("Nothing here is called “whatever”.", "The columns may be: date, took, tried."),
        ("The column “tried” is missing.", ""),
    ]


def test_too_many_columns_are_refused_at_once(written):
    start = time.perf_counter()
    (fault,) = faults_of(written(",".join(f"column {number}" for number in range(100_000)) + "\n1,2\n"), known=["date"])
    assert fault == "crosses.csv, row 1: The first row has 100,000 columns; a table here has at most 2,000 columns."
    wide = written(",".join(f"column {number}" for number in range(2_000)) + "\n" + "1," * 1_999 + "1\n")
    assert len(read_sheet(wide).header) == 2_000
    assert time.perf_counter() - start < 5


def test_a_missing_file_and_a_folder_are_said(tmp_path):
    assert faults_of(tmp_path / "none.csv") == [f"{tmp_path / 'none.csv'}: There is no such file."]
    assert faults_of(tmp_path)[0].endswith("This is a folder, not a file.")


def test_one_reader_gathers_every_fault_in_the_order_of_the_file(written):
    faults = []
    sheet = read_sheet(written("Date,took,lost to\n03/04/2025,some,\n2025-04-03,1\n,2,mouse\n"), faults=faults)
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        cells.read("date", csv_cells.day, needed=True)
        cells.read("took", csv_cells.whole)
        cells.read("lost_to", partial(csv_cells.choice, words=["mice", "damping_off"]))
    with pytest.raises(BadInput) as caught:
        raise_faults(faults)
    assert [str(fault.place) for fault in caught.value.faults] == [
        "crosses.csv, row 2, column Date",
        "crosses.csv, row 2, column took",
        "crosses.csv, row 3",
        "crosses.csv, row 4, column Date",
        "crosses.csv, row 4, column lost to",
    ]
    assert "Use one of: mice, damping_off." in str(caught.value)


def test_faults_of_several_files_stay_together():
    places = [Place("b.csv", row=3), Place("a.csv", row=1), Place("b.csv", row=2)]
    with pytest.raises(BadInput) as caught:
        raise_faults([Fault(place, "wrong") for place in places])
    assert [fault.place for fault in caught.value.faults] == [places[2], places[0], places[1]]


def test_cells_become_values(written):
    sheet = read_sheet(written("n;x;d;t;f;c;s\n 12 ;-3,5;2024-02-29;2025-01-01T00:00:00Z;Y;Fresh;  as is \n;;;;;;-\n"))
    first, last = (Cells(sheet, row, []) for row in sheet.rows)

    def values(cells):
        numbers = (
            cells.read("n", csv_cells.whole),
            cells.read("x", partial(csv_cells.decimal, comma=sheet.decimal_comma)),
            cells.read("d", csv_cells.day),
        )
        return (
            *numbers,
            cells.read("t", csv_cells.timestamp),
            cells.read("f", csv_cells.yes_no),
            cells.read("c", partial(csv_cells.choice, words=["fresh"])),
            cells.text("s"),
        )

    moment = datetime(2025, 1, 1, tzinfo=UTC)
    assert values(first) == (12, -3.5, date(2024, 2, 29), moment, True, "fresh", "as is")
    assert values(last) == (None, None, None, None, None, None, "-")
    assert first.text("absent") is None
    assert not first.faults


@pytest.mark.parametrize(
    ("reader", "text", "advice"),
    [
        (csv_cells.whole, "-1", "digits only"),
        (csv_cells.whole, "1,200", "digits only"),
        (csv_cells.whole, "about 20", "digits only"),
        (csv_cells.whole, "12.0", "digits only"),
        (csv_cells.whole, "1" * 5000, "digits only"),
        (csv_cells.whole, "٣", "digits only"),
        (csv_cells.decimal, "3,5", "write 3.5"),
        (csv_cells.decimal, "1.234,5", "such as 3.5"),
        (csv_cells.decimal, "nan", "such as 3.5"),
        (csv_cells.decimal, "1e999", "such as 3.5"),
        (csv_cells.day, "03/04/2025", "Write 2025-04-03 for 3 April 2025, or 2025-03-04 for 4 March 2025."),
        (csv_cells.day, "04.04.2025", "Write 2025-04-04."),
        (csv_cells.day, "25/04/2025", "Write 2025-04-25."),
        (csv_cells.day, "4/25/2025", "Write 2025-04-25."),
        (csv_cells.day, "2025/4/3", "Write 2025-04-03."),
        (csv_cells.day, "2025-02-30", "such as 2025-04-03"),
        (csv_cells.day, "3/4/25", "Write 2025-04-03 for 3 April 2025, or 2025-03-04 for 4 March 2025."),
        (csv_cells.day, "0000-00-00", "such as 2025-04-03"),
        (csv_cells.timestamp, "2025-04-03", "Z stands for UTC"),
        (csv_cells.timestamp, "2025-04-03T14:05:00", "Z stands for UTC"),
        (csv_cells.timestamp, "2025-04-03T25:05:00Z", "Z stands for UTC"),
        (csv_cells.timestamp, "0001-01-01T00:00:00+14:00", "Z stands for UTC"),
        (csv_cells.yes_no, "maybe", "yes or no"),
    ],
)
def test_what_is_not_certain_is_refused_with_advice(reader, text, advice):
    with pytest.raises(csv_cells.BadCell) as caught:
        reader(text)
    assert advice in caught.value.advice


@given(st.dates(date(FIRST_YEAR, 1, 1), date(LAST_YEAR, 12, 31)))
def test_a_day_is_read_as_it_is_written(day):
    assert csv_cells.day(csv_cells.as_text(day)) == day


@pytest.mark.parametrize("text", ["0026-05-01", "1699-12-31", "3000-01-01", "9999-12-31"])
def test_a_day_that_no_grower_lives_to_see_is_none(text):
    with pytest.raises(csv_cells.BadCell, match="not a real date"):
        csv_cells.day(text)


@given(st.dates(date(FIRST_YEAR, 1, 1), date(LAST_YEAR, 12, 31)))
def test_no_other_order_of_a_day_is_ever_guessed(day):
    for text in (f"{day:%d/%m/}{day.year:04}", f"{day:%m/%d/}{day.year:04}"):
        with pytest.raises(csv_cells.BadCell) as caught:
            csv_cells.day(text)
        assert day.isoformat() in caught.value.advice


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_is_read_as_it_is_written(number):
    assert csv_cells.decimal(csv_cells.as_text(number)) == number


CELL = st.one_of(
    st.none(),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r")).filter(str.strip),
)


@given(rows=st.lists(st.tuples(CELL, CELL), max_size=6))
def test_a_table_written_is_the_table_read(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("sheets") / "a.csv"
    table = [{"name": first, "note": second} for first, second in rows]
    write_sheet(path, ["name", "note"], table)
    sheet = read_sheet(path)
    assert sheet.header == ("name", "note")
    assert [dict(row.cells) for row in sheet.rows] == [row for row in table if any(row.values())]
    assert [row.number for row in sheet.rows] == [at for at, row in enumerate(table, 2) if any(row.values())]


def test_a_table_is_written_plainly(tmp_path):
    path = tmp_path / "a.csv"
    write_sheet(path, ["a", "b"], [{"a": 1, "b": True}, {"a": 'x, "y"'}, {"b": float("nan")}])
    assert path.read_bytes() == b'a,b\n1,yes\n"x, ""y""",\n,\n'
    with pytest.raises(WrongUse, match="“c”"):
        write_sheet(path, ["a"], [{"c": 1}])
