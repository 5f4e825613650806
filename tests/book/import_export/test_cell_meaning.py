"""Counts, days and words as growers write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book.import_export.cell_meaning import (
    count_of,
    day_of,
    decides,
    fathers_of,
    middle_of,
    our_word,
    says_nothing,
    vocabulary,
)
from crosscompat.book.import_export.column_mapping import COLUMNS, meaning_of
from crosscompat.book.records import POLLEN_KINDS, PROOFS, SEXES


@pytest.mark.parametrize(
    ("text", "number", "sure"),
    [
        ("12", 12, True), ("~10", 10, False), ("ca. 15", 15, False), ("c 15", 15, False), ("100+", 100, False),
        ("2-3", 2, False), ("2 – 3", 2, False), ("½", None, False), ("1½", 1, False), ("lots", None, False),
        ("few", None, False), ("a few", None, False),
        ("none", 0, True), ("keine", 0, True), ("no", 0, True), ("–", None, True), ("?", None, True),
        ("5?", 5, False), ("3 fl.", 3, True), ("12 seeds", 12, True), ("etwa 20", 20, False), ("unos 8", 8, False),
        ("ungefähr 30 Samen", 30, False), (">50", 50, False), ("viele", None, False), ("yes", None, False),
        ("±7", 7, False), ("env. 40", 40, False), ("about 4", 4, False), ("0", 0, True), ("12 of 20", 12, True),
    ],
)  # fmt: skip
def test_a_count_has_the_doubt_with_which_it_was_written(text, number, sure):
    count = count_of(text)
    assert (count.number, count.sure) == (number, sure)


@pytest.mark.parametrize("text", ["1.5", "-1", "1,200", "some 4", "3 dead", "12 x", "2025-04-03", "twelve"])
def test_what_is_no_count_is_left_to_be_refused(text):
    assert count_of(text) is None


@given(st.integers(0, 999_999_999))
def test_a_plain_number_is_just_that(number):
    assert count_of(str(number)) == type(count_of("1"))(number)


@given(st.text(max_size=20))
def test_no_text_breaks_the_reading_of_a_cell(text):
    for read in (count_of, day_of, middle_of, decides, fathers_of, says_nothing):
        read(text)
    assert our_word(text, "pollen") in {None, *POLLEN_KINDS}


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("self", "self"), ("selfed", "self"), ("x self", "self"), ("× Self", "self"), ("selbst", "self"),
        ("open", "open"), ("OP", "open"), ("o.p.", "open"), ("bees", "open"), ("mixed", "several"), ("mix", "several"),
        ("sib", "sib"), ("bagged", "none"), ("?", "one"), ("unknown", "one"), ("unbekannt", "one"),
        ("Echinocereus coccineus", None), ("selfii", None), ("openshaw-1", None),
    ],
)  # fmt: skip
def test_a_word_for_pollen_is_no_name(text, kind):
    assert our_word(text, "pollen") == kind


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("poss. hybrid", "not checked"), ("looks true", "looks hybrid"), ("looks hybrid", "looks hybrid"),
        ("Selfed", "like the mother"), ("looks like mother", "like the mother"), ("confirmed", "proved"),
        ("DNA", "proved"), ("vielleicht", "not checked"), ("probable", "looks hybrid"), ("red flowers", None),
        ("hybrid?", "not checked"), ("hybrid", "looks hybrid"),
    ],
)  # fmt: skip
def test_a_word_of_the_grower_is_a_state_of_proof(text, state):
    known = our_word(text, "proof") or (text if text in PROOFS else None)
    assert known == state


@pytest.mark.parametrize(
    ("text", "south", "day"),
    [
        ("2023-03", False, "2023-03-15"), ("2023/13", False, None), ("05/0000", False, None),
        ("March 2023", False, "2023-03-15"), ("Mar '23", False, None), ("03/2023", False, "2023-03-15"),
        ("März 2023", False, "2023-03-15"), ("spring 22", False, "2022-04-15"), ("spring 22", True, "2022-10-15"),
        ("Herbst 2021", False, "2021-10-15"), ("verano 2020", True, "2020-01-15"), ("2023", False, None),
        ("13/2023", False, None), ("spring", False, None), ("6 Mar 23", False, None),
    ],
)  # fmt: skip
def test_a_month_or_season_has_its_middle(text, south, day):
    assert middle_of(text, south=south) == day


@pytest.mark.parametrize(
    ("note", "kind"),
    [
        ("Frost", "accident"), ("slugs ate the spike", "accident"), ("knocked off", "accident"),
        ("forgot to water", "accident"), ("mislabelled?", "accident"), ("von Schnecken gefressen", "accident"),
        ("vertrocknet", "accident"), ("perdu, limaces", "accident"), ("muffa", "accident"), ("pod aborted", "failed"),
        ("did not take", "failed"), ("nicht angesetzt", "failed"), ("red thread", None), ("roter Faden", None),
        ("gelbe Blüten", None), ("red label on spike 2", None), ("seed parent in bud since Easter", None),
        ("good pollen", None), ("lovely strong plant", None),
    ],
)  # fmt: skip
def test_a_note_that_may_decide_is_known(note, kind):
    assert decides(note) == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [("das-1 or das-2", "one"), ("A oder B", "one"), ("das-1 + pec-1", "several"), ("A und B", "several"),
     ("Echinocereus coccineus", None), ("E. ×roetteri", None), ("coc-1/2", None)],
)  # fmt: skip
def test_two_fathers_are_not_one_name(text, kind):
    assert fathers_of(text) == kind


def test_words_mean_what_the_book_can_hold():
    assert set(vocabulary()["proof"]) <= set(PROOFS)
    assert set(vocabulary()["pollen"]) <= set(POLLEN_KINDS)
    assert set(vocabulary()["sex"]) <= set(SEXES)
    for rows_are in COLUMNS:
        assert set(vocabulary()["headings"][rows_are]) <= set(COLUMNS[rows_are])
    assert set(vocabulary()["headings"]["dated"].values()) <= set(COLUMNS["crosses"])


@pytest.mark.parametrize(
    ("column", "headings"),
    [
        ("seed_parent", ["Mother ♀", "Mutterpflanze", "mère", "Madre", "moeder", "Porte-graine", "SeedParent", "♀"]),
        ("pollen_parent", ["Father ♂", "Vater", "père", "padre", "vader", "polline", "PP"]),
        ("date", ["Date poll.", "Bestäubt am", "Bestaeubt", "fecha", "datum", "data", "Pollinisé", "Kreuzungsdatum"]),
        ("units", ["# flowers", "No. of fl.", "Blüten", "Anzahl Blüten", "nombre de fleurs", "nº de flores",
                   "aantal bloemen", "fiori"]),
        ("pods_set", ["fruits", "Früchte", "frutos", "vruchten", "frutti", "Fruit set", "capsules"]),
        ("seeds", ["# seeds", "Samen", "graines", "semillas", "zaden", "semi", "No. seeds"]),
        ("seedlings", ["germ.", "Sämlinge", "gekeimt", "plantules", "plántulas", "zaailingen", "piantine", "# germ"]),
        ("harvested_on", ["Harvest date", "Erntedatum", "récolte", "cosecha", "oogst", "raccolta"]),
        ("sown_on", ["Date sown", "Aussaat", "semis le", "siembra", "zaaidatum", "semina"]),
        ("first_seedling_on", ["First seedling", "erster Sämling", "1st germ.", "Keimdatum", "levée le"]),
        ("ended_on", ["End date", "beendet", "Date lost"]),
        ("note", ["Remarks", "Bemerkungen", "remarques", "observaciones", "opmerkingen", "osservazioni"]),
        ("cross", ["No.", "#", "X no.", "Kreuzung Nr.", "nº", "croisement", "Lfd. Nr."]),
        ("lost_to", ["Verlust", "perte", "lost to"]),
        ("stamens_removed", ["Emasc.?", "kastriert", "castrato"]),
        (None, ["Soil", "Substrat", "Wetter", "pot size", "moon"]),
    ],
)  # fmt: skip
def test_headings_of_six_languages_mean_our_columns(column, headings):
    assert {heading: meaning_of(heading, "crosses") for heading in headings} == dict.fromkeys(headings, column)
