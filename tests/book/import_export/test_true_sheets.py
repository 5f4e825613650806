"""Twenty sheets as growers keep them, all invented, taken in with few questions and right cell by cell."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plants
from crosscompat.book.import_export.cell_meaning import count_of, our_word, two_days
from crosscompat.book.import_export.column_mapping import Answers, Grid, best_guess, map_columns, read_grids
from crosscompat.book.import_export.import_table import read_table, records_of, records_of_rows
from crosscompat.book.import_export.whole_book import write_summary
from crosscompat.book.store import open_store

TODAY = date(2026, 11, 25)
MOST_QUESTIONS = 5


@dataclass(frozen=True)
class Book:
    """A sheet in lines of cells parted by ``|``, the answers to its questions, and what each cross must be."""

    ending: str
    table: str
    crosses: list[dict]
    questions: dict = field(default_factory=dict)
    notes: dict = field(default_factory=dict)

    @property
    def rows(self):
        lines = (line.strip() for line in self.table.strip().splitlines())
        return [[cell.strip() or None for cell in line.split("|")] for line in lines]


D = date
BOOKS = {
    "plain English CSV": Book("csv", """
        No.|Mother|Father|Date|Flowers|Pods|Seeds|Seedlings|Notes
        24-01|Echinocereus coccineus|Echinocereus dasyacanthus|3 April 2024|4|2|110|61|red thread
        24-02|Echinocereus pectinatus|Echinocereus coccineus|6 Apr 24|3|0|||
        """, [
        {"cross": "24-01", "date": D(2024, 4, 3), "units": 4, "pods_set": 2, "seeds": 110, "seedlings": 61,
         "note": "red thread"},
        {"cross": "24-02", "date": D(2024, 4, 6), "units": 3, "pods_set": 0, "seeds": None, "seedlings": None},
    ]),
    "headings in row 3 with signs": Book("xlsx", """
        Hybrid book of the bench by the door
        |
        #|Mother ♀|Father ♂|Date poll.|# flowers|# fruits|germ.|Remarks
        7|E. reichenbachii|E. pectinatus|12 May 2023|5|~3|ca. 40|
        8|E. reichenbachii|self|12 May 2023|2|none||
        """, [
        {"cross": "7", "seed_parent": "E. reichenbachii", "pollen_parent": "E. pectinatus", "pods_set": 3,
         "seedlings": 40, "note": "# fruits: ~3; germ.: ca. 40"},
        {"cross": "8", "pollen_kind": "self", "pollen_parent": "E. reichenbachii", "pods_set": 0},
    ]),
    "German CSV with semicolons": Book("csv;", """
        Lfd. Nr.|Mutter|Vater|Bestäubt am|Blüten|Früchte|Samen|Sämlinge|Bemerkungen
        1|Echinocereus coccineus|Echinocereus pectinatus|25.04.2024|3|2|ca. 90|viele|roter Faden
        2|Echinocereus coccineus|selbst|26.04.2024|2|keine|||
        3|Echinocereus rigidissimus|unbekannt|März 2024|–|1|30|12|
        """, [
        {"cross": "1", "date": D(2024, 4, 25), "seeds": 90, "seedlings": None,
         "note": "Samen: ca. 90; Sämlinge: viele; roter Faden"},
        {"cross": "2", "pollen_kind": "self", "pods_set": 0},
        {"cross": "3", "date": D(2024, 3, 15), "pollen_parent": None, "pollen_kind": "one", "units": None,
         "seedlings": 12, "date_words": "März 2024", "note": None},
    ]),
    "French ODS": Book("ods", """
        N°|Plante mère|Pollinisateur|Date pollinisation|Nombre de fleurs|Fruits noués|Graines|Plantules|Remarques
        A1|Echinocereus viridiflorus|Echinocereus fendleri|14 mai 2022|6|4|env. 120|50+|
        A2|Echinocereus fendleri|libre|2 juin 2022||3|80||très beau
        """, [
        {"cross": "A1", "date": D(2022, 5, 14), "units": 6, "pods_set": 4, "seeds": 120, "seedlings": 50},
        {"cross": "A2", "date": D(2022, 6, 2), "pollen_kind": "open", "pollen_parent": None, "pods_set": 3,
         "note": "très beau"},
    ]),
    "Spanish XLSX": Book("xlsx", """
        Nº|Madre|Padre|Fecha|Flores|Frutos|Semillas|Plántulas|Observaciones
        1|Echinocereus stramineus|Echinocereus enneacanthus|5 mayo 2021|4|unos 3|200|algunas|hilo azul
        2|Echinocereus enneacanthus|desconocido|6 mayo 2021|2|ninguno||||
        """, [
        {"date": D(2021, 5, 5), "pods_set": 3, "seedlings": None,
         "note": "Frutos: unos 3; Plántulas: algunas; hilo azul"},
        {"pollen_kind": "one", "pollen_parent": None, "pods_set": 0},
    ]),
    "Dutch": Book("csv;", """
        Nummer|Moeder|Vader|Bestuivingsdatum|Bloemen|Vruchten|Gezaaid|Zaailingen|Opmerkingen
        12|Echinocereus scheeri|Echinocereus pentalophus|7 mei 2025|3|2|40|18|
        13|Echinocereus scheeri|zelf|8 mei 2025|1|geen||||
        """, [
        {"date": D(2025, 5, 7), "seeds_sown": 40, "seedlings": 18},
        {"pollen_kind": "self", "pods_set": 0},
    ]),
    "Italian": Book("csv", """
        Numero|Pianta madre|Pianta padre|Data impollinazione|Fiori|Frutti|Semi|Piantine|Note
        1|Echinocereus pulchellus|Echinocereus knippelianus|3 aprile 2023|2|1|25|circa 9|filo giallo
        """, [
        {"date": D(2023, 4, 3), "units": 2, "pods_set": 1, "seeds": 25, "seedlings": 9,
         "note": "Piantine: circa 9; filo giallo"},
    ]),
    "pairs in one cell": Book("csv", """
        Cross|Pollinated|Fl.|Set
        Echinocereus coccineus x Echinocereus triglochidiatus|2024-04-11|3|1
        Echinocereus coccineus selfed|2024-04-12|2|0
        E. pectinatus × E. reichenbachii|2024-04-13|2-3|2
        """, [
        {"seed_parent": "Echinocereus coccineus", "pollen_parent": "Echinocereus triglochidiatus", "pods_set": 1},
        {"pollen_kind": "self", "seed_parent": "Echinocereus coccineus", "pods_set": 0},
        {"seed_parent": "E. pectinatus", "units": 2, "note": "Fl.: 2-3"},
    ]),
    "days of every step": Book("xlsx", """
        No|SP|PP|Poll. date|Harvested|Date sown|First seedling|Sdlgs|Lost to|End
        1|Echinocereus fendleri|Echinocereus coccineus|2024-04-01|2024-07-10|2025-03-01|2025-03-15|22||
        2|Echinocereus fendleri|Echinocereus pectinatus|2024-04-02||||0||2024-05-20
        3|Echinocereus fendleri|Echinocereus scheeri|2024-04-03|||||mice|21.5.2024
        """, [
        {"cross": "1", "seedlings": 22, "harvested_on": {D(2024, 7, 10)}, "sown_on": {D(2025, 3, 1)},
         "first_seedling_on": {D(2025, 3, 15)}},
        {"cross": "2", "seedlings": 0, "note": "End: 2024-05-20"},
        {"cross": "3", "lost_to": "mice", "note": None, "ended_on": {D(2024, 5, 21)}},
    ]),
    "comments that decide": Book("csv", """
        X no.|Seed parent|Pollen parent|Date crossed|Flowers|Pods|Comments
        1|Echinocereus coccineus|Echinocereus pectinatus|1 May 2023|2||Frost
        2|Echinocereus coccineus|Echinocereus fendleri|2 May 2023|3||pod aborted
        3|Echinocereus coccineus|Echinocereus scheeri|3 May 2023|1|1|knocked off
        4|Echinocereus coccineus|Echinocereus rigidissimus|4 May 2023|1|1|mislabelled?
        """, [
        {"lost_to": "Frost", "took": None}, {"lost_to": None, "tried": 3, "took": 0},
        {"lost_to": "knocked off", "pods_set": 1}, {"lost_to": None, "note": "mislabelled?", "took": None},
    ], {}, {"Frost": "accident", "pod aborted": "failed", "knocked off": "accident", "mislabelled?": "note"}),
    "a took column": Book("csv", """
        Number|Pod parent|Pollen from|Date|Flowers|Took?
        a|Echinocereus dasyacanthus|Echinocereus coccineus|2022-04-20|4|3
        b|Echinocereus dasyacanthus|Echinocereus pectinatus|2022-04-21|1|ja
        c|Echinocereus dasyacanthus|Echinocereus fendleri|2022-04-22|2|no
        d|Echinocereus dasyacanthus|Echinocereus scheeri|2022-04-22|2|?
        """, [
        {"tried": 4, "took": 3}, {"tried": 1, "took": 1}, {"tried": 2, "took": 0}, {"tried": None, "took": None},
    ], {"took": "seedling"}),
    "American days": Book("csv", """
        ID no.|Female|Male|Pollination date|Blooms|Capsules
        1|Echinocereus engelmannii|Echinocereus coccineus|4/5/2024|2|1
        2|Echinocereus engelmannii|Echinocereus fendleri|4/25/24|3|0
        """, [{"date": D(2024, 4, 5), "pods_set": 1}, {"date": D(2024, 4, 25), "pods_set": 0}],
        {"dates": "month-first"}),
    "British days": Book("ods", """
        ID no.|Female|Male|Pollinated on|Blooms|Ripe fruit
        1|Echinocereus engelmannii|Echinocereus coccineus|04/05/2024|2|1
        2|Echinocereus engelmannii|Echinocereus fendleri|25/4/24|3|0
        """, [{"date": D(2024, 5, 4), "pods_held": 1}, {"date": D(2024, 4, 25), "pods_held": 0}],
        {"dates": "day-first"}),
    "proof in the grower's words": Book("csv", """
        Nr.|Mother|Father|Day|Seedlings|True?
        1|Echinocereus coccineus|Echinocereus fendleri|2020-04-01|5|looks true
        2|Echinocereus coccineus|Echinocereus scheeri|2020-04-02|3|poss. hybrid
        3|Echinocereus coccineus|Echinocereus pectinatus|2020-04-03|2|selfed
        4|Echinocereus coccineus|Echinocereus pulchellus|2020-04-04|2|DNA
        """, [
        {"proof": "looks hybrid", "note": "True?: looks true"}, {"proof": "not checked"},
        {"proof": "like the mother"}, {"proof": "proved"},
    ]),
    "clones and field numbers": Book("xlsx", """
        No|Mother|Father|Date|Flowers|Pods
        1|Echinocereus coccineus 'Red Lamp'|Echinocereus aff. pectinatus|2024-04-01|2|1
        2|Echinocereus sp. nov. QX 123|Echinocereus ×roetteri|2024-04-02|1|0
        3|Echinocereus hort. 'Twilight'|(Echinocereus coccineus × E. pectinatus)|2024-04-03|1|1
        4|coc-1|Echinocereus cf. scheeri|2024-04-04|1|1
        """, [
        {"seed_parent": "Echinocereus coccineus 'Red Lamp'", "pollen_parent": "Echinocereus aff. pectinatus"},
        {"seed_parent": "Echinocereus sp. nov. QX 123", "pollen_parent": "Echinocereus ×roetteri"},
        {"seed_parent": "Echinocereus hort. 'Twilight'", "pollen_parent": "(Echinocereus coccineus × E. pectinatus)"},
        {"seed_plant": "coc-1", "seed_parent": "Echinocereus coccineus", "pollen_parent": "Echinocereus cf. scheeri"},
    ]),
    "columns of the grower's own": Book("csv", """
        No|Mother|Father|Date|Flowers|Seedlingz|Substrate|Moon
        1|Echinocereus coccineus|Echinocereus scheeri|2023-05-01|2|8|pumice|full
        2|Echinocereus coccineus|Echinocereus fendleri|2023-05-02|2|0||new
        """, [
        {"seedlings": 8, "note": "Substrate: pumice; Moon: full"}, {"seedlings": 0, "note": "Moon: new"},
    ]),
    "two fathers": Book("csv", """
        No|Mother|Father|Date|Fruit
        1|Echinocereus coccineus|Echinocereus fendleri or Echinocereus scheeri|2023-05-01|2
        2|Echinocereus coccineus|mixed|2023-05-02|1
        3|Echinocereus coccineus|OP|2023-05-03|1
        4|Echinocereus coccineus|x self|2023-05-04|0
        """, [
        {"pollen_parent": None, "pollen_kind": "one",
         "note": "Father: Echinocereus fendleri or Echinocereus scheeri"},
        {"pollen_parent": None, "pollen_kind": "several"}, {"pollen_parent": None, "pollen_kind": "open"},
        {"pollen_parent": "Echinocereus coccineus", "pollen_kind": "self"},
    ]),
    "seasons and halves": Book("ods", """
        No|Mother|Father|When|Fl|Pods|Seeds|Germ
        1|Echinocereus coccineus|Echinocereus fendleri|spring 22|2|½|lots|
        2|Echinocereus coccineus|Echinocereus scheeri|summer 2022|1|1|100+|12/20
        """, [
        {"date": D(2022, 4, 15), "date_words": "spring 22", "pods_set": None, "seeds": None,
         "note": "Pods: ½; Seeds: lots"},
        {"date": D(2022, 7, 15), "date_words": "summer 2022", "seeds": 100, "seeds_sown": 20, "seedlings": 12},
    ]),
    "a method and stamens": Book("csv", """
        Ref|Dam|Sire|Date of pollination|Method|Emasculated|Bagged|Flowers used|Fruit set|Good seeds|Lost to
        x|Echinocereus scheeri|Echinocereus coccineus|9.6.2021|brush|oui|bag|3 fl.|1|14 seeds|–
        y|Echinocereus scheeri|Echinocereus fendleri|13.6.2021|paintbrush|no|none|2|1||mice
        """, [
        {"technique": "plain", "stamens_removed": True, "isolation": "bag", "units": 3, "seeds_filled": 14,
         "lost_to": None, "date": D(2021, 6, 9)},
        {"technique": "plain", "stamens_removed": False, "lost_to": "mice"},
    ], {"dates": "day-first"}),
    "tabs, initials and many notes": Book("csv\t", """
        Code|Mum|Dad|Date|By|# sown|Up|Remarks|Notes
        R-1|Echinocereus pentalophus|Echinocereus scheeri|11 Nov 2019|R.|30|11|tag 4|strong
        R-2|Echinocereus pentalophus|Echinocereus fendleri|12-Nov-19|R.|30|0|tag 5|
        """, [
        {"grower": "R.", "seeds_sown": 30, "seedlings": 11, "note": "tag 4; strong", "date": D(2019, 11, 11)},
        {"date": D(2019, 11, 12), "seedlings": 0, "note": "tag 5"},
    ]),
}  # fmt: skip


@pytest.fixture
def store():
    store = open_store("sqlite://")
    with store.writing("planted") as pen:
        plant = records.Plant(id="p", name="coc-1")
        pen.add(plant, records.Determination(plant="p", name="Echinocereus coccineus"))
    yield store
    store.close()


@pytest.fixture
def file(tmp_path, xlsx, ods):
    def write(book):
        if book.ending.startswith("csv"):
            separator, path = book.ending[3:] or ",", tmp_path / "season.csv"
            path.write_text("\n".join(separator.join(c or "" for c in row) for row in book.rows), encoding="utf-8")
            return path
        return (xlsx if book.ending == "xlsx" else ods)(tmp_path / f"season.{book.ending}", Season=book.rows)

    return write


def understood(grid):
    """The mapping with each guess accepted, and how many questions that took."""
    mapping, answers = map_columns(grid), {}
    for column in mapping.columns:
        if column.becomes is None and column.example:
            answers[column.heading] = best_guess(mapping, column.heading)
            mapping = map_columns(grid, answers=answers)
    return mapping, len(answers)


def questions(grid, mapping, taken):
    """Questions beside those of columns: took, failures, the order of days, two of notes, and the last yes."""
    day = mapping.column("date").at
    dates = any(isinstance(row[day], str) and two_days(row[day]) for row in grid.rows[mapping.row + 1 :])
    return (mapping.column("took") is not None) + 1 + dates + 2 * bool(taken.open_notes) + 1


@pytest.mark.parametrize("name", BOOKS)
def test_a_true_sheet_goes_in_right_cell_by_cell(name, file, store):
    book = BOOKS[name]
    (grid,) = read_grids(file(book))
    mapping, asked = understood(grid)
    with store.reading() as page:
        asked += questions(grid, mapping, read_table(page, grid, mapping, Answers(), TODAY))
    assert asked <= MOST_QUESTIONS
    answers = Answers(notes=book.notes, questions={"only successes": "no", **book.questions})
    with store.writing("imported") as pen:
        taken = read_table(pen, grid, mapping, answers, TODAY)
        assert (list(map(str, taken.faults)), taken.open_notes) == ([], {})
        pen.add(*records_of_rows(pen, taken))
    with store.reading() as page:
        crosses, again = crosses_of(page), read_table(page, grid, mapping, answers, TODAY)
        days = {key: {day for _, day in page.columns(*where)} for key, where in {
            "harvested_on": (records.SeedLot, "cross", "date"), "ended_on": (records.Loss, "cross", "date"),
            "sown_on": (records.Sowing, "cross", "date"),
            "first_seedling_on": (records.Emergence, "sowing", "date")}.items()}  # fmt: skip
    assert (again.crosses, again.same, again.faults) == ((), len(book.crosses), ())
    assert len(crosses) == len(book.crosses)
    for cross, wanted in zip(crosses, book.crosses, strict=True):
        held = {key: days[key] - {None} if key in days else getattr(cross, key) for key in wanted}
        assert held == wanted


def test_there_are_twenty_and_no_two_alike():
    assert len({book.table for book in BOOKS.values()}) == len(BOOKS) == 20


COUNTS = ["4", "~3", "ca. 2", "2-3", "100+", "lots", "none", "–", "?", "½", "7 up", None]
FATHERS = ["Echinocereus fendleri", "self", "OP", "mixed", "?", "coc-1", "Echinocereus scheeri or E. fendleri"]
MESSY = st.tuples(
    st.sampled_from(["2024-04-03", "3 April 2024", "April 2024", "spring 24"]), st.sampled_from(FATHERS),
    *(st.sampled_from(COUNTS) for _ in range(3)),
    st.sampled_from(["frost", "did not take", "red thread", None]), st.sampled_from(["looks true", "selfed", None]),
)  # fmt: skip
COUNTED = {"Flowers": "units", "Pods": "pods_set", "Seedlings": "seedlings"}


@settings(max_examples=60, deadline=None)
@given(st.lists(MESSY, min_size=1, max_size=5), st.sampled_from(["accident", "failed", "note"]))
def test_no_cell_is_lost_and_no_row_doubled(rows, answer):
    headings = ("No.", "Mother", "Date", "Father", *COUNTED, "Notes", "True?")
    table = [(str(n), "Echinocereus coccineus", *row) for n, row in enumerate(rows)]
    grid = Grid("messy.csv", None, [headings, *table])
    mapping = map_columns(grid)
    answers = Answers(notes=dict.fromkeys(("frost", "did not take"), answer), questions={"only successes": "no"})
    store = open_store("sqlite://")
    with store.writing("imported") as pen:
        taken = read_table(pen, grid, mapping, answers, TODAY)
        pen.add(*records_of_rows(pen, taken))
        again = read_table(pen, grid, mapping, answers, TODAY)
        crosses = {cross.cross: cross for cross in crosses_of(pen)}
    store.close()
    bad = {table[fault.place.row - 2][0] for fault in taken.faults}
    assert (again.crosses, again.same) == ((), len(crosses))
    assert sorted({*crosses, *bad}) == sorted(row[0] for row in table)
    for row in table:
        if row[0] not in bad:
            kept(crosses[row[0]], dict(zip(headings, row, strict=True)))


def kept(cross, cells):
    """Hold each cell against what became of it: the value itself, or the words in the note."""
    note = cross.note or ""
    for heading, column in COUNTED.items():
        count = count_of(cells[heading] or "?")
        if count.number is not None and cross.took is None:
            assert getattr(cross, column) == count.number
        assert count.sure or f"{heading}: {cells[heading]}" in note
    assert cross.date.isoformat() == "2024-04-03" or cross.date_words == cells["Date"]
    kind = our_word(cells["Father"], "pollen")
    assert (
        cells["Father"] in {cross.pollen_parent, cross.pollen_plant}
        or kind == cross.pollen_kind
        or (f"Father: {cells['Father']}" in note)
    )
    assert cells["Notes"] is None or cells["Notes"] in note
    assert cells["True?"] is None or cross.proof == our_word(cells["True?"], "proof")


def test_what_cannot_be_is_refused_with_all_other_faults_of_the_file(store):
    grid = Grid("a.csv", None, [
        ("No", "Mother", "Father", "Date", "Seeds", "Germ", "Harvest", "First seedling"),
        ("1", "coc-1", "Echinocereus scheeri", "2024-04-03", "40", "41", None, None),
        ("2", "coc-1", "Echinocereus scheeri", "2024-04-03", None, None, "2024-03-03", None),
        ("3", "coc-1", "Echinocereus scheeri", "2024-04-03", None, "0", None, "2025-03-03"),
        ("4", "coc-1", "Echinocereus scheeri", "2024-04-03", "12/20", None, "2027-01-01", None),
    ])  # fmt: skip
    with store.reading() as page:
        told = [str(fault) for fault in read_table(page, grid, map_columns(grid), Answers(), TODAY).faults]
    assert [next(words for words in EXPECTED if words in line) for line in told] == EXPECTED


EXPECTED = [
    "row 2, column Germ: There are more seedlings than seeds (41 > 40).",
    "row 3, column Harvest: 2024-03-03 is before 2024-04-03, which stands under Date.",
    "row 4, column Germ: A first seedling has its day, and none is said to have come up.",
    "row 5, column Seeds: “12/20” is not a whole number.",
    "row 5, column Harvest: 2027-01-01 has not come yet.",
]


@pytest.mark.parametrize(
    "name",
    [
        "Echinocereus coccineus 'Red Lamp'", 'E. coccineus "Red Lamp"', "Echinocereus QX 123", "coc hort.", "?",
        "Echinocereus aff. pectinatus", "Echinocereus cf. scheeri", "Echinocereus sp. nov.", "Echinocereus sp.",
        "E. ×roetteri", "(E. coccineus × E. scheeri) × E. fendleri", "Nachbars Roter", "Twilight Group", "No. 7 (red)",
        "Echinocereus Abendrot®", "coc/das-1", "#12", "+ graft", "E. coccineus f. alba hort. ex Nemo", "x",
    ],
)  # fmt: skip
def test_nothing_is_refused_for_its_name(store, name):
    grid = Grid("a.csv", None, [("Mother", "Father", "Date"), (name, "E. scheeri", "2024-04-03"),
                                ("E. scheeri", name, "2024-04-03")])  # fmt: skip
    with store.writing("imported") as pen:
        taken = read_table(pen, grid, map_columns(grid), Answers(), TODAY)
        assert taken.faults == ()
        pen.add(*records_of_rows(pen, taken))
        first, second = crosses_of(pen)
    assert first.seed_parent == name
    assert second.pollen_parent == (None if name == "?" else name)


def test_crosses_whose_father_is_not_one_come_back_from_the_summary(tmp_path, store):
    with store.writing("two fathers") as pen:
        for number, kind, sure in (("1", "one", "unknown"), ("2", "several", "certain"), ("3", None, "unknown")):
            cross = records.Cross(number=number, seed_plant="p")
            visit = records.Pollination(cross=cross.id, date=date(2024, 4, 3), pollen_kind=kind)
            pen.add(cross, visit, *(records.Pollen(pollination=visit.id, name=name, certainty=sure) for name in
                                    ("Echinocereus scheeri", "Echinocereus fendleri")))  # fmt: skip
    with store.reading() as page:
        write_summary(page, tmp_path / "summary.csv")
        sent = crosses_of(page)
        (grid,) = read_grids(tmp_path / "summary.csv")
        assert read_table(page, grid, map_columns(grid), Answers(), TODAY).same == 3
    other = open_store("sqlite://")
    with other.writing("imported") as pen:
        taken = read_table(pen, grid, map_columns(grid), Answers(), TODAY)
        pen.add(*records_of_rows(pen, taken))
        back = crosses_of(pen)
    other.close()
    assert [(one.cross, one.pollen_parent) for one in back] == [(one.cross, one.pollen_parent) for one in sent]


MADE = Cross(date(2024, 4, 3), "Echinocereus coccineus", "Echinocereus scheeri", cross="24-01", units=4)


@pytest.mark.parametrize(
    "change",
    [
        {}, {"cross": None}, {"seed_plant": "coc-1", "pollen_plant": "sch-1"}, {"pollen_kind": "several"},
        {"pollen_kind": "several", "pollen_parent": None}, {"pollen_kind": "one", "pollen_parent": None},
        {"pollen_kind": "open", "pollen_parent": None}, {"pollen_kind": "none", "pollen_parent": None},
        {"pollen_kind": "self", "pollen_parent": "Echinocereus coccineus"}, {"date_words": "spring 24"},
        {"pods_set": 3, "pods_held": 2, "seeds": 90, "seeds_filled": 60, "seeds_sown": 40, "seedlings": 0},
        {"tried": 4, "took": 2}, {"lost_to": "mice"}, {"proof": "looks hybrid"}, {"friend": "N.N.", "grower": "N.N."},
        {"only_successes": True, "stamens_removed": False, "isolation": "bag", "technique": "stump"},
        {"note": "=1+1, frost; did not take", "source": "+49"}, {"kind": "check of the pollen"},
        {"pollen_parent": "Echinocereus scheeri or E. fendleri"}, {"closed_stage": "hold", "unit_kind": "raceme"},
    ],
)  # fmt: skip
def test_a_cross_of_the_summary_goes_in_again_as_it_was(tmp_path, change):
    store, other = open_store("sqlite://"), open_store("sqlite://")
    with store.writing("made") as pen:
        pen.add(*records_of(Plants.of([]), [replace(MADE, **change)]))
        write_summary(pen, tmp_path / "summary.csv")
        (sent,) = crosses_of(pen)
    (grid,) = read_grids(tmp_path / "summary.csv")
    with other.writing("imported") as pen:
        taken = read_table(pen, grid, map_columns(grid), Answers(), TODAY)
        assert (list(map(str, taken.faults)), taken.open_notes) == ([], {})
        pen.add(*records_of_rows(pen, taken))
        (back,) = crosses_of(pen)
    assert replace(back, recorded_at=sent.recorded_at) == sent
    for book in (store, other):
        book.close()
