from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat import read_traits
from crosscompat.ground.csv_cells import BadCell
from crosscompat.ground.errors import BadInput, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.traits import KINDS, TraitColumn, TraitTable, from_memory, infer, months

TABLE = """species,Spines paired,2n,style_mm,flowering,colour,colour_source,remarks
Echinocereus_coccineus,yes,44,30.5,4-6,red,Flora of North America,mostly male or female plants
Echinocereus triglochidiatus,no,22,28,apr-jun,Red,?,the near relative of the red one
E. viereckii,?,,unknown,11-2,pink,,NA
"""


@pytest.fixture
def table(tmp_path):
    """Write a table of traits and read it."""

    def write(text=TABLE, **settings):
        path = tmp_path / "traits.csv"
        path.write_text(text, encoding="utf-8")
        return read_traits(path, **settings)

    return write


def test_a_value_has_the_source_that_stands_beside_it(table):
    told = table()
    assert told.source_of("Echinocereus coccineus", "Colour") == "Flora of North America"
    assert told.source_of("Echinocereus triglochidiatus", "colour") is None  # "?" is unknown
    assert told.source_of("E. viereckii", "colour") is None  # blank
    assert told.source_of("Echinocereus coccineus", "2n") is None  # no such column beside it


def test_an_unknown_value_has_no_source_whatever_the_column_beside_it_says(table):
    told = table("species,colour,colour_source\nAloe vera,?,a book\nAloe ferox,red,a book\n")
    assert (told.source_of("Aloe vera", "colour"), told.source_of("Aloe ferox", "colour")) == (None, "a book")


def test_a_source_is_asked_of_what_the_table_holds(table):
    with pytest.raises(WrongUse):
        table().source_of("Echinocereus coccineus", "height")
    with pytest.raises(UnknownName):
        table().source_of("Aloe vera", "colour")


@pytest.mark.parametrize(
    ("source", "memory"),
    [
        ("from memory", True),
        ("from memory (who belongs)", True),
        ("Sanchez 2014 (that the section holds together); from memory (who belongs)", True),
        ("Powell 1991 (authors from memory)", False),
        ("", False),
        (None, False),
    ],
)
def test_memory_is_a_source_of_its_own_and_no_word_in_a_remark(source, memory):
    assert from_memory(source) is memory


def faults_of(table, text, **settings):
    with pytest.raises(BadInput) as caught:
        table(text, **settings)
    return [str(fault).splitlines()[0] for fault in caught.value.faults]


def test_each_column_gets_its_kind(table):
    assert [(column.name, column.kind, column.known) for column in table().columns] == [
        ("spines_paired", "flag", 2),
        ("2n", "count", 2),
        ("style_mm", "measure", 2),
        ("flowering", "months", 3),
        ("colour", "category", 3),
        ("colour_source", "text", 1),
        ("remarks", "text", 2),
    ]


def test_values_are_plain_and_unknown_stays_unknown(table):
    traits = table()
    names = [column.name for column in traits.columns][:5]
    assert [traits.value("Echinocereus coccineus", name) for name in names] == [
        True, 44, 30.5, frozenset({4, 5, 6}), "red",
    ]  # fmt: skip
    assert [traits.value("E. viereckii", name) for name in names] == [
        None, None, None, frozenset({11, 12, 1, 2}), "pink",
    ]  # fmt: skip
    assert traits.value("Echinocereus_triglochidiatus", "Colour") == "red"  # one spelling a category


def test_what_is_not_there_is_said(table):
    with pytest.raises(UnknownName):
        table().value("Echinocereus rigidissimus", "2n")
    with pytest.raises(WrongUse, match="spines_paired, 2n, style_mm"):
        table().column("height")


def test_a_declared_kind_is_kept_and_shown(table):
    traits = table(kinds={"Style mm": "text", "2n": "category"})
    shown = {row.name: row for row in traits.columns}
    assert (shown["style_mm"].kind, shown["style_mm"].declared, shown["style_mm"].known) == ("text", True, 2)
    assert shown["style_mm"].sentence == "as the settings say"
    assert traits.value("Echinocereus coccineus", "2n") == "44"
    assert (shown["colour"].declared, shown["colour"].sentence) == (False, "words that species share or not")
    assert shown["colour_source"].sentence == "the source of colour; not used in forecasts"


def test_every_kind_and_reason_has_its_sentence(table):
    text = "species,a,b,c_mm,d,e,f,g\n" + "".join(
        f"s{i},,{i - 2},{i},{'yes' if i % 2 else 'no'},word{i},some words that tell {i},{'x' if i % 2 else 'y'}\n"
        for i in range(1, 7)
    )
    why = {row.name: (row.kind, row.sentence.split(",")[0].split(";")[0]) for row in table(text).columns}
    assert why == {
        "a": ("text", "blank"),
        "b": ("text", "numbers"),
        "c_mm": ("measure", "every cell is a number above zero"),
        "d": ("flag", "every word is yes or no"),
        "e": ("text", "different for every species"),
        "f": ("text", "mostly sentences"),
        "g": ("category", "words that species share or not"),
    }


@pytest.mark.parametrize(
    ("name", "cells", "kind"),
    [
        ("spines_per_areole", ["3-5", "4-6"], "category"),
        ("flowering", ["3-5", "4-6"], "months"),
        ("in_bloom", ["4", "5"], "months"),
        ("active", ["11-2", "4-6"], "months"),
        ("active", ["april to june"], "months"),
        ("ribs", ["4", "5"], "measure"),
        ("spiny", ["1", "0"], "flag"),
        ("chromosomes", ["22", "44 or 66"], "count"),
        ("woody", ["yes", "yess"], "category"),
        ("style", ["12", "12-14"], "category"),
    ],
)
def test_kinds_that_could_be_mistaken(name, cells, kind):
    assert infer(name, cells)[0] == kind


@pytest.mark.parametrize(
    ("text", "settings", "expected"),
    [
        (
            "name,2n\nA b,22\n",
            {},
            ["traits.csv, row 1: No column is called “species”."],
        ),
        (
            "species,2n\nAloe_vera,14\n,14\nAloe vera,14\naloe vera,14\n",
            {},
            [
                "traits.csv, row 3, column species: This must be filled in.",
                "traits.csv, row 4, column species: " + say("traits.twice", species="Aloe vera", row=2),
            ],
        ),
        (
            "species,Spiny,2n,mm,fl\na,maybe,22 or 44,0,spring\nb,yes,,-1,4\n",
            {"kinds": {"spiny": "flag", "mm": "measure", "fl": "months", "absent": "flag"}},
            [
                "traits.csv, row 1: The settings declare a kind for “absent”, but there is no such column.",
                "traits.csv, row 2, column Spiny: “maybe” is neither yes nor no.",
                "traits.csv, row 2, column 2n: “22 or 44” is not a whole number.",
                "traits.csv, row 2, column mm: “0” cannot be compared as a ratio.",
                "traits.csv, row 2, column fl: “spring” names no months.",
                "traits.csv, row 3, column mm: “-1” cannot be compared as a ratio.",
            ],
        ),
        ("species,a,a\nx,1\n", {}, None),
        ("", {}, ["traits.csv: The file is empty."]),
    ],
)
def test_faults_come_all_at_once(table, text, settings, expected):
    found = faults_of(table, text, **settings)
    if expected is None:
        assert len(found) == 2
    else:
        assert found == expected


def test_the_species_column_may_stand_anywhere_and_its_absence_names_the_first(table):
    assert table("2n,Species\n22,a\n").species == ("a",)
    with pytest.raises(BadInput, match="now the first one is called “Taxon”"):
        table("Taxon,2n\na,22\n")


def test_a_kind_that_is_none_is_a_wrong_use(table):
    with pytest.raises(WrongUse, match=", ".join(KINDS)):
        table(kinds={"2n": "number"})


def test_a_decimal_comma_is_read_where_semicolons_part_the_cells(table):
    traits = table("species;style_mm\na;30,5\nb;28\n")
    assert traits.column("style_mm").values == (30.5, 28.0)


def test_the_fingerprint_follows_the_content_alone(table):
    same_content = table(TABLE.replace(",", ";").replace("\n", "\r\n"))
    assert table().fingerprint == same_content.fingerprint
    assert table(TABLE.replace("44", "66")).fingerprint != table().fingerprint
    assert table(kinds={"2n": "measure"}).fingerprint != table().fingerprint
    assert len(table().fingerprint) == 64


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4-6", {4, 5, 6}),
        ("apr-jun", {4, 5, 6}),
        ("April – June", {4, 5, 6}),
        ("april to june", {4, 5, 6}),
        ("11-2", {11, 12, 1, 2}),
        ("4;5", {4, 5}),
        ("sept.", {9}),
        ("04", {4}),
        ("1-12", set(range(1, 13))),
        ("dec", {12}),
    ],
)
def test_months_are_read(text, expected):
    assert months(text) == expected


@pytest.mark.parametrize("text", ["0", "13", "4-5-6", "4-", "-", "spring", "", "4.5", "4;;5"])
def test_what_names_no_months_is_refused(text):
    with pytest.raises(BadCell):
        months(text)


@given(st.integers(1, 12), st.integers(1, 12))
def test_a_range_of_months_runs_round_the_year(first, last):
    found = months(f"{first}-{last}")
    assert {first, last} <= found
    assert len(found) == (last - first) % 12 + 1
    if first != last:
        assert found | months(f"{last}-{first}") == set(range(1, 13))


def test_a_table_can_be_made_by_hand():
    traits = TraitTable(("Aloe_vera", "Aloe ferox"), (TraitColumn("2n", "count", True, (14, None)),))
    assert traits.index.resolve("aloe ferox") == "Aloe ferox"
    assert traits.value("Aloe vera", "2n") == 14
    assert traits.columns[0].known == 1


@pytest.mark.shared
def test_published_tables_are_read(shared):
    nicotiana = read_traits(shared / "data/crosses/nicotiana/traits.csv")
    assert nicotiana.value("Nicotiana longiflora", "ovule_number") == 2367.92
    assert nicotiana.column("mating_system").kind == "category"
    schiedea = read_traits(shared / "data/crosses/schiedea/traits.csv")
    assert (len(schiedea.species), schiedea.value("adamantis", "Breeding System")) == (37, "gynodioecious")
