"""Growers' own tables, written by other programs' libraries, taken into a book."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, datetime, time
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.current_plants import plants_of, sightings_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import correct
from crosscompat.book.history import words_of
from crosscompat.book.import_export.column_mapping import Answers, Grid, map_columns, read_grids
from crosscompat.book.import_export.import_table import read_table, records_of_rows
from crosscompat.book.store import open_store
from crosscompat.ground.errors import BadInput, WrongUse

TODAY = date(2026, 11, 25)
COC, DAS, PEC = "Echinocereus coccineus", "Echinocereus dasyacanthus", "Echinocereus pectinatus"
HEADINGS = ("No.", "Father", "Mother", "Pollination date", "Flowers", "Pods", "Seedlings", "Soil", "Remarks")
MORE_THAN_UNITS = "There are more pods held to ripeness than units pollinated (4 > 2)."
MADE_A_DAY = "A spreadsheet turned this cell into the day 2026-01-05."
ROWS = (
    ("007", DAS, COC, date(2025, 4, 3), 4, 2, 11, "pumice", "red thread"),
    ("24-08b", PEC, "coc-1", date(2025, 4, 5), 3, 0, None, None, None),
)


@pytest.fixture
def book():
    store = open_store("sqlite://")
    plant = records.Plant(id="p", name="coc-1", received_as="E. coccineus")
    with store.writing("planted") as pen:
        pen.add(plant, records.Determination(plant="p", name=COC))
    return store


@pytest.fixture
def take(book):
    """Take a file in, good rows and all, and tell what came of it."""

    def take(path, *, columns=(), sheet=0, write=True, **questions):
        grid = read_grids(path)[sheet]
        mapping = map_columns(grid, answers=dict(columns))
        answers = Answers(questions={question.replace("_", " "): answer for question, answer in questions.items()})
        with book.writing("imported") as pen:
            taken = read_table(pen, grid, mapping, answers, TODAY)
            if write and (taken.crosses or taken.plants):
                pen.imported = True
                pen.add(*records_of_rows(pen, taken))
        with book.reading() as page:
            told = crosses_of(page), plants_of(page)
        return SimpleNamespace(taken=taken, crosses=told[0], plants=told[1], faults=[str(one) for one in taken.faults])

    return take


def lines(path, *rows, separator=",", encoding="utf-8"):
    path.write_bytes("\n".join(separator.join(row) for row in rows).encode(encoding))
    return path


def _texts(rows, day=str):
    return [["" if value is None else day(value) if isinstance(value, date) else str(value) for value in row]
            for row in rows]  # fmt: skip


@pytest.fixture(params=["comma", "semicolon", "tab", "mark", "xlsx", "xlsx 1904", "ods"])
def season(request, tmp_path, xlsx, ods):
    """The same table in every form that is read."""
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    table = (HEADINGS, *ROWS)
    if request.param == "xlsx":
        return xlsx(tmp_path / "season.xlsx", Crosses=table)
    if request.param == "xlsx 1904":
        return xlsx(tmp_path / "season.xlsx", epoch=CALENDAR_MAC_1904, Crosses=table)
    if request.param == "ods":
        return ods(tmp_path / "season.ods", Crosses=table)
    separator = {"semicolon": ";", "tab": "\t"}.get(request.param, ",")
    encoding = "utf-8-sig" if request.param == "mark" else "utf-8"
    return lines(tmp_path / "season.csv", *_texts(table), separator=separator, encoding=encoding)


def test_a_table_is_read_in_every_form_whatever_its_order(season, take):
    found = take(season, only_successes="no")
    assert found.faults == []
    first, second = found.crosses
    assert (first.cross, first.date, first.seed_parent, first.pollen_parent) == ("007", date(2025, 4, 3), COC, DAS)
    assert (first.units, first.pods_set, first.seedlings, first.note) == (4, 2, 11, "red thread")
    assert (second.cross, second.seed_plant, second.seed_parent, second.seedlings) == ("24-08b", "coc-1", COC, None)
    assert {first.only_successes, second.only_successes} == {False}


def test_a_file_taken_in_twice_adds_nothing(season, take):
    once = take(season)
    again = take(season)
    assert (again.taken.crosses, again.taken.same, again.faults) == ((), 2, [])
    assert again.crosses == once.crosses


def test_rows_without_a_number_are_known_again_one_by_one(tmp_path, take):
    row = (COC, DAS, "2025-04-03", "2")
    table = lines(tmp_path / "a.csv", ("Mother", "Father", "Date", "Flowers"), row, row)
    assert len(take(table).crosses) == 2
    assert take(table).taken.same == 2
    more = lines(tmp_path / "b.csv", ("Mother", "Father", "Date", "Flowers"), row, row, row, (*row[:3], "3"))
    again = take(more)
    assert (again.taken.same, len(again.taken.crosses), len(again.crosses)) == (2, 2, 4)


def test_rows_without_a_number_are_known_again_in_any_order(tmp_path, take):
    headings = ("Mother", "Father", "Date", "Flowers")
    rich, poor = ((COC, DAS, "2025-04-03", flowers) for flowers in ("2", ""))
    take(lines(tmp_path / "a.csv", headings, rich, poor))
    again = take(lines(tmp_path / "b.csv", headings, poor, rich))
    assert (again.taken.same, len(again.crosses)) == (2, 2)


def test_a_number_is_never_given_twice(season, take, tmp_path):
    take(season)
    other = lines(
        tmp_path / "other.csv", ("Number", "Mother", "Father", "Date", "Seedlings"),
        ("007", COC, DAS, "2025-04-03", "12"), ("008", COC, DAS, "2025-04-03", ""), ("008", COC, PEC, "2025-04-03", ""),
    )  # fmt: skip
    found = take(other)
    assert found.faults[0].startswith(
        "other.csv, row 2, column Number: 007 is in the book already, and not the same: "
        "seedlings is 12 here and 11 in the book."
    )
    assert found.faults[1].startswith("other.csv, row 4, column Number: The number 008 is also in row 3.")
    assert [cross.cross for cross in found.crosses] == ["007", "24-08b", "008"]


def test_what_the_book_has_learned_since_is_no_contradiction(season, take, book):
    found = take(season)
    with book.writing("looked again") as pen:
        pen.add(records.Observation(cross=found.crosses[1].id, what="pods_held", count=0))
    assert take(season).taken.same == 2


def test_every_bad_row_is_told_and_the_good_ones_are_apart(tmp_path, xlsx, take):
    table = xlsx(
        tmp_path / "b.xlsx", Old=[("x",)], **{"2025": [
            ("Cross No.", "Mother", "Father", "Date", "Flowers", "Pods", "Ripe pods"),
            ("1", COC, DAS, date(2025, 4, 3), 4, 2, 1),
            ("2", None, DAS, date(2025, 4, 3), 4, 2, 1),
            ("3", COC, DAS, "03/04/2025", "some 4", 2, 1),
            ("4", COC, DAS, date(2025, 4, 3), 2, 3, 4),
            (date(2026, 1, 5), COC, DAS, date(2025, 4, 3), None, None, None),
            ("6", COC, DAS, date(2027, 1, 1), None, None, None),
            ("7", COC, DAS, 45750, None, None, None),
            ("8", COC, DAS, None, 1.5, None, None),
        ]},
    )  # fmt: skip
    found = take(table, sheet=1)
    assert [line.splitlines()[0] for line in found.faults] == [
        "b.xlsx, sheet 2025, row 3, column Mother: This must be filled in.",
        "b.xlsx, sheet 2025, row 4, column Date: “03/04/2025” is not a clear date.",
        "b.xlsx, sheet 2025, row 4, column Flowers: “some 4” is not a whole number.",
        "b.xlsx, sheet 2025, row 5, column Pods: There are more pods set than units pollinated (3 > 2).",
        "b.xlsx, sheet 2025, row 5, column Ripe pods: There are more pods held to ripeness than pods set (4 > 3).",
        f"b.xlsx, sheet 2025, row 5, column Ripe pods: {MORE_THAN_UNITS}",
        f"b.xlsx, sheet 2025, row 6, column Cross No.: {MADE_A_DAY}",
        "b.xlsx, sheet 2025, row 7, column Date: 2027-01-01 has not come yet.",
        "b.xlsx, sheet 2025, row 8, column Date: “45750” is not a clear date.",
        "b.xlsx, sheet 2025, row 9, column Date: This must be filled in.",
        "b.xlsx, sheet 2025, row 9, column Flowers: “1.5” is not a whole number.",
    ]
    assert found.taken.values[:3] == (None, "03/04/2025", "some 4")
    assert "--dates day-first" in found.taken.faults[1].advice
    assert "--dates" not in found.taken.faults[8].advice
    assert found.taken.rows == 8
    assert [cross.cross for cross in found.crosses] == ["1"]


def test_days_are_read_in_the_order_that_was_said(tmp_path, take):
    table = lines(tmp_path / "a.csv", ("No", "Mother", "Father", "Date"), ("1", COC, DAS, "03/04/2025"))
    assert take(table, write=False).faults
    assert take(table, dates="month-first", write=False).taken.crosses[0].date == date(2025, 3, 4)
    assert take(table, dates="day-first").crosses[0].date == date(2025, 4, 3)


MONTHS = ("No", "Mother", "Father", "Date", "Harvest", "Date sown", "First seedling", "Germ")


def test_months_and_seasons_stay_what_they_are(tmp_path, take, book):
    table = lines(tmp_path / "a.csv", MONTHS,
                  ("1", "coc-1", DAS, "March 2023", "June 2023", "spring 24", "3 April 2024", "5"))  # fmt: skip
    found = take(table)
    (cross,) = found.crosses
    assert (found.faults, cross.date, cross.date_words, cross.note) == ([], date(2023, 3, 15), "March 2023", None)
    assert "“March 2023” stays as it is. Where a day is needed its middle counts, 2023-03-15." in str(
        found.taken.said[0]
    )
    with book.reading() as page:
        (lot,), (tray,) = page.current(records.SeedLot), page.current(records.Sowing)
        assert (lot.date, lot.date_words, tray.date_words) == (date(2023, 6, 15), "June 2023", "spring 24")
        assert [words_of(one, {}).split("; ")[1] for one in (lot, tray)] == ["June 2023", "spring 24"]
        (visit,) = page.current(records.Pollination)
        assert words_of(visit, {visit.cross: ""}).startswith("March 2023")
        assert sightings_of(page) == {}
    assert take(table).taken.same == 1
    with book.writing("found the label") as pen:
        correct(pen, visit, ["date=2023-03-04"], Bounds(date.max))
    (cross,) = crosses_of_book(book)
    assert (cross.date, cross.date_words) == (date(2023, 3, 4), None)


def crosses_of_book(book):
    with book.reading() as page:
        return crosses_of(page)


def test_a_month_is_before_another_only_where_it_surely_is(tmp_path, take):
    table = lines(tmp_path / "a.csv", MONTHS, ("1", COC, DAS, "May 2023", "2 May 2023", "", "", ""),
                  ("2", COC, DAS, "May 2023", "March 2023", "", "", ""))  # fmt: skip
    assert [line.split(": ", 1)[0] for line in take(table).faults] == ["a.csv, row 3, column Harvest"]


def test_decimal_commas_are_read_where_semicolons_part_the_cells(tmp_path, take, book):
    rows = (("Nr", "Mutter", "Vater", "Datum", "Gewicht", "Temp. °C"), ("1", COC, DAS, "25.04.2025", "1,5", "21,25"))
    found = take(lines(tmp_path / "a.csv", *rows, separator=";"))
    assert found.faults == []
    with book.reading() as page:
        assert [lot.weight for lot in page.current(records.SeedLot)] == [1.5]
        assert [visit.temperature for visit in page.current(records.Pollination)] == [21.25]
    assert take(lines(tmp_path / "a.csv", *rows, separator=";")).taken.same == 1
    other = (rows[0], (*rows[1][:4], "2,5", "21,25"))
    assert "weight is 2.5 here and 1.5 in the book" in take(lines(tmp_path / "a.csv", *other, separator=";")).faults[0]
    quoted = lines(tmp_path / "b.csv", *rows[:1], ("2", COC, DAS, "25.04.2025", '"1,5"', ""))
    assert "has a decimal comma" in take(quoted).faults[0]


def test_the_rest_of_a_visit_goes_where_it_belongs(tmp_path, xlsx, take, book):
    table = xlsx(tmp_path / "a.xlsx", A=[
        ("Mother", "Father", "Date", "Marker", "Aim", "Wanted"),
        (COC, DAS, datetime.fromisoformat("2025-04-03T14:05"), "raceme 2", "red flowers", 3),
        (COC, DAS, date(2025, 4, 4), None, None, 7),
    ])  # fmt: skip
    found = take(table)
    assert found.faults[0].startswith("a.xlsx, sheet A, row 3, column Wanted: “7” is out of range")
    with book.reading() as page:
        (visit,), (cross,) = page.current(records.Pollination), page.current(records.Cross)
    assert (visit.hour, visit.marker, cross.aim, cross.wanted) == (time(14, 5), "raceme 2", "red flowers", 3)


def test_a_pair_in_one_cell_is_cut(tmp_path, take):
    table = lines(
        tmp_path / "a.csv", ("Date", "Cross"), ("2025-04-03", "coc-1 × das-9"), ("2025-04-03", f"{DAS} x {PEC}"),
        ("2025-04-03", "a x b x c"),
    )  # fmt: skip
    found = take(table)
    assert [(one.seed_parent, one.seed_plant, one.pollen_parent) for one in found.crosses] == [
        (COC, "coc-1", "das-9"), (DAS, None, PEC),
    ]  # fmt: skip
    assert found.faults[0].startswith("a.csv, row 4, column Cross: In “a x b x c” it is not clear")


@pytest.mark.parametrize(("means", "count"), [("pod-set", "pods_set"), ("ripe-pod", "pods_held"), ("seedling", "took")])
def test_took_is_counted_where_it_belongs(tmp_path, take, means, count):
    headings = ("No", "Mother", "Father", "Date", "Flowers", "Took")
    table = lines(tmp_path / "a.csv", headings, ("1", COC, DAS, "2025-04-03", "4", "3"),
                  ("2", COC, DAS, "2025-04-03", "2", "5"), ("3", COC, DAS, "2025-04-03", "2", "no"))  # fmt: skip
    found = take(table, took=means)
    assert [getattr(cross, count) for cross in found.crosses] == [3, 0]
    assert found.crosses[0].tried == (4 if means == "seedling" else None)
    assert "row 3, column Took: There are more" in found.faults[0]


def test_columns_of_the_growers_own_go_into_the_note(season, take):
    found = take(season, columns={"Soil": "note"})
    assert found.crosses[0].note == "Soil: pumice; red thread"


def test_merged_and_blank_headings_of_a_real_workbook(tmp_path, xlsx, take):
    import openpyxl

    path = xlsx(tmp_path / "a.xlsx", A=[
        ("Season 2025", None, None, None, None), (None, "Parents", None, None, None),
        ("Date", "Mother", "Father", None, "Notes"), (date(2025, 4, 3), COC, DAS, "12", "x"),
    ])  # fmt: skip
    book = openpyxl.load_workbook(path)
    book["A"].merge_cells("A1:E1")
    book["A"].merge_cells("B2:C2")
    book.save(path)
    (cross,) = take(path, columns={"column D": "units"}).crosses
    assert (cross.seed_parent, cross.pollen_parent, cross.units, cross.note) == (COC, DAS, 12, "x")


def test_words_that_look_like_formulas_are_words(tmp_path, xlsx, take):
    import openpyxl

    path = xlsx(tmp_path / "a.xlsx", A=[("Mother", "Father", "Date", "Notes"), (COC, DAS, date(2025, 4, 3), "")])
    book = openpyxl.load_workbook(path)
    cell = book["A"]["D2"]
    cell.value, cell.data_type = "=1+1", "s"
    book.save(path)
    assert take(path).crosses[0].note == "=1+1"


PLANTS = ("Name", "Species", "Sex", "2n", "Field No.", "Bench", "Acquired", "Self-fertile", "Notes")


def test_plants_are_taken_in_with_all_that_is_said_of_them(tmp_path, ods, take, book):
    rows = [
        PLANTS,
        ("das-1", DAS, "female", 44, "QX 123", "3b", date(2019, 4, 1), "no", "=old"),
        ("007", PEC, None, None, None, None, None, None, None),
        ("coc-1", COC, None, None, None, None, None, None, None),
    ]
    path = ods(tmp_path / "plants.ods", Plants=rows)
    found = take(path)
    assert (found.faults, found.taken.same) == ([], 1)
    das = found.plants.find("das-1")
    assert (das.species, das.sex, das.chromosomes, das.self_fertile, das.note) == (DAS, "female", 44, False, "=old")
    assert found.plants.find("007").species == PEC
    with book.reading() as page:
        plant = page.find(records.Plant, name="das-1")
    assert (plant.field_number, plant.place, plant.acquired) == ("QX 123", "3b", date(2019, 4, 1))
    assert take(path).taken.same == 3


def test_a_plant_that_the_book_knows_otherwise_is_a_fault(tmp_path, take):
    table = lines(tmp_path / "a.csv", PLANTS[:3], ("coc-1", DAS, "male"), ("x", "", ""), ("y", DAS, "mal"),
                  ("z", DAS, ""), ("z", PEC, ""))  # fmt: skip
    found = take(table)
    assert [line.split(": ", 1)[0] for line in found.faults] == [
        f"a.csv, row {row}, column {column}" for row, column in [(2, "Name"), (3, "Species"), (4, "Sex"), (6, "Name")]
    ]
    assert f"species is {DAS} here and {COC} in the book; sex is male here and blank in the book" in found.faults[0]


def test_a_plant_written_with_a_blank_for_its_dash_is_the_one_that_the_book_has(tmp_path, take):
    plants = lines(tmp_path / "plants.csv", PLANTS[:2], ("Coc 1", COC))
    found = take(plants)
    assert (found.faults, found.taken.same, found.taken.plants) == ([], 1, ())
    before = set(found.plants.by_name)
    columns = ("cross", "date", "seed_plant", "seed_parent", "pollen_plant", "pollen_parent")
    rows = [("1", "2025-04-03", "COC 1", COC, "NEW-1", DAS), ("2", "2025-04-03", "coc-01", COC, "new 1", DAS)]
    found = take(lines(tmp_path / "crosses.csv", columns, *rows))
    assert found.faults == []
    parents = {(one.seed_plant, one.pollen_plant) for one in found.crosses if one.cross in {"1", "2"}}
    assert parents == {("coc-1", "NEW-1")}
    assert set(found.plants.by_name) == {*before, "NEW-1"}


def test_an_identifier_that_was_taken_back_is_not_used_again(tmp_path, take, book):
    one = "709c2635-4cfe-4a07-95b3-fcccddeea3ed"
    table = lines(tmp_path / "a.csv", ("id", "seed_parent", "pollen_parent", "date"), (one, COC, DAS, "2025-04-03"))
    assert take(table).crosses[0].id == one
    with book.writing("taken back") as pen:
        pen.withdraw(*(record for kind in (records.Pollen, records.Pollination, records.Cross)
                       for record in pen.current(kind)))  # fmt: skip
    (again,) = take(table).crosses
    assert again.id != one


def test_only_the_sheets_that_were_written_are_read(tmp_path, xlsx):
    path = xlsx(tmp_path / "a.xlsx", Empty=[], Table=[("a", None), (None, 2.0)])
    empty, table = read_grids(path)
    assert empty.blank
    assert (table.sheet, [list(row) for row in table.rows]) == ("Table", [["a", None], [None, 2]])


@pytest.mark.parametrize(
    ("name", "content", "error", "says"),
    [
        ("a.csv", "Mutter;Blüten\n".encode("latin-1"), BadInput, "a.csv, line 1: This is not UTF-8 text"),
        ("a.csv", b"", BadInput, "The file is empty"),
        ("a.xlsx", b"no workbook", BadInput, "a.xlsx: This workbook is damaged"),
        ("a.ods", b"", BadInput, "a.ods: This workbook is damaged"),
        ("a.pdf", b"", WrongUse, "must end in .csv"),
        ("a.csv", None, BadInput, "There is no such file"),
        ("a.xlsx", None, BadInput, "There is no such file"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(tmp_path, name, content, error, says):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(error, match=says):
        read_grids(tmp_path / name)


@pytest.mark.parametrize(("package", "name"), [("python_calamine", "a.ods"), ("python_calamine", "a.xlsx")])
def test_without_the_package_a_line_says_what_to_install(tmp_path, monkeypatch, package, name):
    (tmp_path / name).write_bytes(b"")
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(WrongUse, match=r"pip install 'crosscompat\[sheets\]'"):
        read_grids(tmp_path / name)


def test_an_import_can_be_taken_back(season, take, book):
    from crosscompat.book.entry.correct import take_back

    take(season)
    with book.writing("undone") as pen:
        take_back(pen, None, Bounds(date.max))
    with book.reading() as page:
        assert crosses_of(page) == ()
        assert [change.imported for change in page.changes()] == [False, True, False]
    again = take(season)
    assert (len(again.crosses), again.taken.same) == (2, 0)
    assert replace(again.crosses[0], row=0).cross == "007"


def test_a_book_on_a_server_is_filled_the_same_way(place, tmp_path):
    table = lines(tmp_path / "a.csv", ("No", "Mother", "Father", "Date"), ("1", COC, DAS, "2025-04-03"))
    store, found = open_store(place), []
    (grid,) = read_grids(table)
    for _ in range(2):
        with store.writing("imported") as pen:
            taken = read_table(pen, grid, map_columns(grid), Answers(), TODAY)
            pen.add(*records_of_rows(pen, taken))
        found.append((len(taken.crosses), taken.same))
    store.close()
    assert found == [(1, 0), (0, 1)]


ODD = st.sampled_from(
    [None, COC, "a × b", "yes", "3", "03/04/2025", "1,5", "x", 0, 7, 1.5, -1, date(2025, 4, 3), time(14, 5),
     datetime.fromisoformat("2025-04-03T14:05"), date(2030, 1, 1)]
)  # fmt: skip
DAYS = [date(2025, 4, 3), "2025-04-03", "4 April 2025"]
USUAL = {
    "No": ["1", "2", None], "Mother": [COC, "coc-1", DAS], "Father": [DAS, "coc-1"], "Date": DAYS,
    "Flowers": [2, 3, None], "Pods": [0, 2, None], "Took": [0, 1, "no", None],
    "Time": ["14:05", None], "Seed weight": [1.5, None], "Parents": [f"{COC} × {DAS}", "coc-1 x das-2"],
    "Seeds": [9, None], "Seedlings": [0, 3, None], "Wanted": [1, None],
    "Name": ["coc-1", "p", "q"], "Species": [COC, DAS], "Sex": ["female", None], "2n": [44, None],
    "Bench": ["3b", None], "Self-fertile": ["no", None], "Acquired": [DAYS[0], None],
    "Clone": ["c", None], "Notes": ["=1+1", None],
}  # fmt: skip
TABLES = (
    ("No", "Mother", "Father", "Date", "Flowers", "Pods", "Took", "Time", "Notes", "Seed weight"),
    ("Date", "Parents", "Took", "Seeds", "Seedlings", "Wanted", "x", None, "Notes", "x"),
    ("Name", "Species", "Sex", "2n", "Self-fertile", "Acquired", "Bench", "Notes", "Clone", None),
)


@st.composite
def grids(draw):
    """A table of rows that are mostly as they should be."""
    headings = draw(st.sampled_from(TABLES))
    cells = [st.sampled_from(USUAL.get(title or "", [None, "x"])) for title in headings]
    rows = draw(st.lists(st.tuples(*cells), max_size=6))
    for at in draw(st.sets(st.integers(0, 5), max_size=2)):
        if at < len(rows):
            spoilt = list(rows[at])
            spoilt[draw(st.integers(0, len(headings) - 1))] = draw(ODD)
            rows[at] = tuple(spoilt)
    return Grid("table.ods", "A", (headings, *rows))


@settings(max_examples=60, deadline=None)
@given(grids(), st.sampled_from(["pod-set", "seedling"]))
def test_every_row_is_new_or_known_or_told_and_none_twice(grid, means):
    mapping, answers = map_columns(grid), Answers(questions={"took": means, "only successes": "no"})
    store = open_store("sqlite://")
    filled = sum(any(value is not None for value in row) for row in grid.rows[1:])
    with store.writing("imported") as pen:
        pen.add(records.Plant(id="p", name="coc-1"), records.Determination(plant="p", name=COC))
        taken = read_table(pen, grid, mapping, answers, TODAY)
        bad = {fault.place.row for fault in taken.faults}
        assert filled == taken.rows == len(taken.crosses) + len(taken.plants) + taken.same + len(bad)
        assert all(fault.place.row and fault.what for fault in taken.faults)
        pen.add(*records_of_rows(pen, taken))
        again = read_table(pen, grid, mapping, answers, TODAY)
        assert (again.crosses, again.plants) == ((), ())
        assert again.same >= len(taken.crosses) + len(taken.plants) + taken.same
        assert again.same + len({fault.place.row for fault in again.faults}) == filled
    store.close()
