"""Headings, days, pairs and "took", as growers write them."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book.import_export.cell_meaning import day_of, is_pair, parents_of, put_took
from crosscompat.book.import_export.column_mapping import (
    COLUMNS,
    Grid,
    heading_row,
    map_columns,
    meaning_of,
    meanings,
)
from crosscompat.book.import_export.whole_book import escaped, unescaped
from crosscompat.ground.csv_cells import BadCell
from crosscompat.ground.errors import WrongUse


@given(st.text())
def test_any_text_comes_back_from_a_cell_that_is_never_blank_and_no_formula(text):
    cell = escaped(text)
    assert unescaped(cell) == text
    assert cell
    assert cell[0] not in "=+-@"
    assert not set(cell) & {"\r", "\0"}


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("Pod parent", "seed_parent"), ("MOTHER", "seed_parent"), ("♀", "seed_parent"), ("♀\ufe0f", "seed_parent"),
        ("seed_parent", "seed_parent"), ("Female", "seed_parent"), ("♀ (Mother)", "seed_parent"),
        ("Mutter", "seed_parent"), ("father", "pollen_parent"), ("♂", "pollen_parent"),
        ("Pollen donor", "pollen_parent"), ("Cross No.", "cross"), ("#", "cross"), ("Date of pollination", "date"),
        ("Datum", "date"), ("No. of flowers", "units"), ("Flowers pollinated", "units"), ("Pods", "pods_set"),
        ("Ripe pods", "pods_held"), ("Seeds (total)", "seeds"), ("Good seeds", "seeds_filled"),
        ("seedlings:", "seedlings"), ("Took?", "took"), ("Notes", "note"), ("Parents", "pair"),
        ("Seed weight (mg)", "weight"), ("2n", None), ("Soil", None), ("", None), ("Date sown", "sown_on"),
        ("pods rotted", None),
    ],
)  # fmt: skip
def test_a_heading_means_a_column_of_crosses(heading, column):
    assert meaning_of(heading, "crosses") == column


@pytest.mark.parametrize(
    ("heading", "column"),
    [("Plant", "plant"), ("Taxon", "species"), ("Sex", "sex"), ("2n", "2n"), ("Field No.", "field_number"),
     ("bench", "place"), ("Received as", "received_as"), ("Date", None)],
)  # fmt: skip
def test_a_heading_means_a_column_of_plants(heading, column):
    assert meaning_of(heading, "plants") == column


@pytest.mark.parametrize("rows_are", COLUMNS)
def test_every_column_is_known_by_its_own_name(rows_are):
    assert [name for name in COLUMNS[rows_are] if meaning_of(name, rows_are) != name] == []


def _grid(*rows):
    return Grid("table.csv", None, rows)


def test_no_column_is_meant_twice_and_its_very_name_comes_first():
    assert meanings(_grid(("mother", "seed parent", "date", "day")), 0, "crosses") == {1: "seed_parent", 2: "date"}


def test_numbers_are_no_pair_and_formulas_no_number():
    pairs = _grid(("Cross", "Date"), ("coc-1 × das-1", None), ("coc-1 x pec-2", None))
    assert meanings(pairs, 0, "crosses") == {0: "pair", 1: "date"}
    numbers = _grid(("Cross", "Date"), ("24-01", None), ("24-02", None))
    assert meanings(numbers, 0, "crosses") == {0: "cross", 1: "date"}


def test_a_title_and_merged_cells_above_the_headings_are_passed_over():
    grid = _grid(("My crosses", None, None), (), (None, "Parents", None), ("Date", "♀", "♂"), ("2025-04-03", "a", "b"))
    assert heading_row(grid) == (3, "crosses")


def test_the_headings_tell_plants_from_crosses():
    assert map_columns(_grid(("Name", "Species", "Sex"), ("coc-1", "E. coccineus", "female"))).rows_are == "plants"
    assert map_columns(_grid(("Date", "Mother", "Father"))).rows_are == "crosses"


def _columns(mapping):
    return [(column.heading, column.becomes) for column in mapping.columns]


TABLE = _grid(("Date", None, "Mother", "Notes", "Notes", None), ("2025-04-03", "a", "b", "c", "d", None))


def test_a_column_without_a_heading_of_its_own_is_called_by_its_letter():
    assert _columns(map_columns(TABLE)) == [
        ("Date", "date"), ("column B", None), ("Mother", "seed_parent"), ("Notes", "note"),
        ("Notes (column E)", "note"),
    ]  # fmt: skip


def test_the_grower_has_the_last_word_on_a_column():
    mapping = map_columns(TABLE, answers={"column B": "pollen_parent", "Notes (column E)": "note", "Notes": ""})
    assert _columns(mapping) == [
        ("Date", "date"), ("column B", "pollen_parent"), ("Mother", "seed_parent"), ("Notes", None),
        ("Notes (column E)", "note"),
    ]  # fmt: skip
    assert _columns(map_columns(TABLE, answers={"column B": "seed_parent"}))[1:3] == [
        ("column B", "seed_parent"),
        ("Mother", None),
    ]


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ({"Mother": "species"}, "There is no column species"),
        ({"column B": "pair"}, "both parents"),
        ({"column B": "units", "Notes (column E)": "units"}, "cannot both be units"),
    ],
)  # fmt: skip
def test_what_cannot_be_mapped_is_told(answers, says):
    with pytest.raises(WrongUse, match=says):
        map_columns(TABLE, answers=answers)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2025-04-03", None, "2025-04-03"), ("2025/4/3", None, "2025-04-03"), ("25.04.2025", None, "2025-04-25"),
        ("4/25/2025", None, "2025-04-25"), ("05.05.2025", None, "2025-05-05"), ("3 April 2025", None, "2025-04-03"),
        ("April 3rd, 2025", None, "2025-04-03"), ("3-Apr-2025", None, "2025-04-03"),
        ("3. 4. 2025", "day-first", "2025-04-03"), ("03.04.25", "day-first", "2025-04-03"),
        ("6 Mar 23", None, "2023-03-06"), ("6-Mar-98", None, "1998-03-06"), ("3. März 2025", None, "2025-03-03"),
        ("12 août 2024", None, "2024-08-12"), ("5 ottobre 2024", None, "2024-10-05"),
        ("7 mei 2024", None, "2024-05-07"), ("1 ene 24", None, "2024-01-01"),
        ("03/04/2025", "day-first", "2025-04-03"), ("03/04/2025", "month-first", "2025-03-04"),
        # Left as they are, for the reader of cells to refuse with advice.
        ("03/04/2025", None, None), ("03.04.25", None, None), ("25/04/2025", "month-first", None),
        ("31.04.2025", None, None), ("3 Ju 2025", None, None), ("3 Ma 2025", None, None), ("April 2025", None, None),
        ("45750", None, None), ("?", "day-first", None),
    ],
)  # fmt: skip
def test_a_day_is_read_where_only_one_can_be_meant(text, order, day):
    assert day_of(text, order) == day


@given(st.dates(date(1700, 1, 1), date(2999, 12, 31)), st.sampled_from(["day-first", "month-first"]))
def test_a_day_written_in_the_order_that_was_said_is_that_day(day, order):
    text = day.strftime("%d/%m/%Y" if order == "day-first" else "%m/%d/%Y")
    assert day_of(text, order) == day.isoformat()
    assert day_of(text) in {None, day.isoformat()}


@pytest.mark.parametrize(
    ("text", "parents"),
    [
        ("coc-1 × das-1", ("coc-1", "das-1")),
        ("coc-1 X das-1", ("coc-1", "das-1")),
        ("coc1×das1", ("coc1", "das1")),
        ("Echinocereus coccineus x E. dasyacanthus", ("Echinocereus coccineus", "E. dasyacanthus")),
        ("Echinocereus ×roetteri × E. coccineus", ("Echinocereus ×roetteri", "E. coccineus")),
        ("Echinocereus × roetteri × E. coccineus", ("Echinocereus × roetteri", "E. coccineus")),
        ("(coc-1 × das-1) × pec-1", ("(coc-1 × das-1)", "pec-1")),
        ("♀ coc-1 × ♂ das-1", ("coc-1", "das-1")),
        ("coc-1 ♂ × das-1", ("das-1", "coc-1")),
        ("coc-1 × ♀ das-1", ("das-1", "coc-1")),
    ],
)
def test_a_pair_is_cut_where_it_is_certain(text, parents):
    assert is_pair(text)
    assert parents_of(text) == parents


@pytest.mark.parametrize(
    "text", ["coc-1", "coc-1 × das-1 × pec-1", "Echinocereus × roetteri", "Echinocereus ×roetteri", "× das-1",
             "coc-1 × ",          "♀ coc-1 × ♀ das-1", "♂ coc-1 × ♂ das-1", "24-07"],
)  # fmt: skip
def test_a_pair_that_is_not_certain_is_refused(text):
    with pytest.raises(BadCell, match="not clear"):
        parents_of(text)


@pytest.mark.parametrize(
    ("row", "means", "becomes"),
    [
        ({"units": "4", "took": "3"}, "pod-set", {"units": "4", "pods_set": "3"}),
        ({"units": "4", "took": "no"}, "ripe-pod", {"units": "4", "pods_held": "0"}),
        ({"units": "1", "took": "yes"}, "ripe-pod", {"units": "1", "pods_held": "1"}),
        ({"units": "4", "took": "3"}, "seedling", {"units": "4", "tried": "4", "took": "3"}),
        ({"units": "4", "tried": "3", "took": "2"}, "seedling", {"units": "4", "tried": "3", "took": "2"}),
        ({"took": "yes"}, "seedling", {"seedlings": "1"}),
        ({"took": "0"}, "seedling", {"seedlings": "0"}),
        ({"took": "2", "pods_set": "2"}, "pod-set", {"pods_set": "2"}),
    ],
)
def test_took_goes_to_what_it_counts(row, means, becomes):
    put_took(row, means)
    assert row == becomes


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ({"units": "4", "took": "yes"}, "how many of the 4 flowers"),
        ({"took": "perhaps"}, "neither a number nor yes or no"),
        ({"took": "2", "pods_set": "3"}, "says 2, and another column of the row that counts the same says 3"),
    ],
)
def test_took_that_leaves_something_open_is_refused(row, says):
    with pytest.raises(BadCell, match=says):
        put_took(row, "pod-set")
