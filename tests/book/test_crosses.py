from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.crosses import (
    COUNT_COLUMNS,
    HEADER,
    STAGE_COLUMNS,
    Cross,
    Wanted,
    crosses_fingerprint,
    find_label,
    outcomes_of,
    placed,
    read_crosses,
    read_wanted,
)
from crosscompat.book.records import POLLEN_KINDS
from crosscompat.ground.csv_cells import write_sheet
from crosscompat.ground.errors import BadInput
from crosscompat.ground.names import NameIndex
from crosscompat.stages import STAGES

START = "date,seed_parent,pollen_parent"
ID = "6574aef3-81db-5ea1-a894-ad2fa9ccc1e5"


@pytest.fixture
def written(tmp_path):
    def write(text, name="crosses.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(path):
    with pytest.raises(BadInput) as caught:
        read_crosses(path)
    return [(str(fault.place).removeprefix("crosses.csv, "), fault.what) for fault in caught.value.faults]


def test_the_header_is_the_fields_of_a_cross():
    assert set(HEADER) == set(Cross.__dataclass_fields__) - {"row"}
    assert len(HEADER) == 32


def test_every_column_becomes_a_value(written):
    cells = {
        "id": ID.upper(), "cross": "26-01", "date": "2026-04-03", "seed_parent": "E. coccineus",
        "pollen_parent": "Echinocereus_dasyacanthus", "seed_plant": "C1", "pollen_plant": "D1", "grower": "Ida",
        "pollen_kind": "One", "technique": "plain", "isolation": "bag", "units": "4", "unit_kind": "flower",
        "pods_set": "3", "pods_held": "2", "seeds": "90", "seeds_filled": "60", "seeds_sown": "30", "seedlings": "7",
        "tried": "4", "took": "1", "closed_stage": "Germinate", "lost_to": "mice", "only_successes": "no",
        "stamens_removed": "yes", "proof": "Looks hybrid",
        "source": "own", "recorded_at": "2026-04-03T14:05:00+02:00", "note": "a note",
        "kind": "Check of the pollen", "date_words": "", "friend": "N.N.",
    }  # fmt: skip
    [cross] = read_crosses(written(",".join(HEADER) + "\n" + ",".join(cells[name] for name in HEADER) + "\n"))
    assert cross == Cross(
        date(2026, 4, 3), "E. coccineus", "Echinocereus_dasyacanthus", ID, "26-01", "C1", "D1", "Ida", "one", "plain",
        "bag", 4, "flower", 3, 2, 90, 60, 30, 7, 4, 1, "germinate", "mice", only_successes=False,
        stamens_removed=True, proof="looks hybrid", source="own",
        recorded_at=datetime(2026, 4, 3, 12, 5, tzinfo=UTC), note="a note",
        kind="check of the pollen", friend="N.N.", row=2,
    )  # fmt: skip


def test_all_but_date_and_parents_may_be_blank_and_blank_is_unknown(written):
    [cross] = read_crosses(written(f"{START},units,seedlings\n2026-04-03,A b,C d,,\n"))
    assert cross == Cross(date(2026, 4, 3), "A b", "C d", row=2)
    assert cross.number == "row 2"
    assert replace(cross, cross="26-01").number == "26-01"


@pytest.mark.parametrize("kind", [*POLLEN_KINDS, ""])
def test_flowers_left_open_or_bagged_and_pollen_that_is_said_to_be_unknown_need_no_parent(written, kind):
    path = written(f"{START},pollen_kind\n2026-04-03,A b,,{kind}\n")
    if kind in {"open", "none", "one", "several"}:
        assert read_crosses(path)[0].pollen_parent is None
    else:
        assert faults_of(path) == [("row 2, column pollen_parent", "This must be filled in.")]


def test_every_fault_is_told_at_once_row_by_row(written):
    found = faults_of(
        written(
            f"{START},id,units,pods_set,tried,took,closed_stage,only_successes,recorded_at,tokk\n"
            "03/04/2026,,C d,not-an-id,four,2,,,never,maybe,2026,x\n"
            f"2026-04-03,A b,C d,{ID},4,5,3,,,,,\n"
            f"2026-04-03,A b,C d,{ID},,,2,3,,,,\n"
        )
    )
    rows = [place.split(", ")[0] for place, _ in found]
    assert rows == sorted(rows)
    assert {place for place, _ in found} == {
        "row 1",
        *(
            f"row 2, column {name}"
            for name in (
                "date", "seed_parent", "id", "units", "closed_stage", "only_successes", "recorded_at",
            )
        ),
        *("row 3, column pods_set", "row 3, column took"),
        *("row 4, column took", "row 4, column id"),
    }  # fmt: skip
    told = dict(found)
    assert told["row 3, column took"] == "Fill in both tried and took, or neither."
    assert told["row 4, column id"] == "This identifier is also in row 3."
    assert len(found) == len(told)


def test_without_its_columns_nothing_more_is_said_of_a_file(written):
    assert faults_of(written("date,seed_parent\nyesterday,A b\n")) == [
        ("row 1", "The column “pollen_parent” is missing."),
    ]


IMPOSSIBLE = [
    ({"units": 0}, "units", "A cross has at least one unit; leave the cell blank if they were not counted."),
    ({"tried": 0, "took": 0}, "tried", "A cross has at least one unit; leave the cell blank if they were not counted."),
    ({"pods_set": 3, "units": 2}, "pods_set", "There are more pods set than units pollinated (3 > 2)."),
    ({"pods_held": 3, "pods_set": 2}, "pods_held", "There are more pods held to ripeness than pods set (3 > 2)."),
    ({"pods_held": 3, "units": 2}, "pods_held", "There are more pods held to ripeness than units pollinated (3 > 2)."),
    ({"seeds_filled": 3, "seeds": 2}, "seeds_filled", "There are more filled seeds than seeds (3 > 2)."),
    ({"seedlings": 3, "seeds_sown": 2}, "seedlings", "There are more seedlings than seeds sown (3 > 2)."),
    ({"took": 3, "tried": 2}, "took", "There are more units that took than units tried (3 > 2)."),
    *(
        ({name: 4, pod: 0}, name, f"{words} is 0; leave {words} blank")
        for pod, words in (("pods_set", "pods set"), ("pods_held", "pods held to ripeness"))
        for name in ("seeds", "seeds_filled", "seeds_sown", "seedlings")
    ),
    ({"seeds_sown": 4, "seeds": 0}, "seeds_sown", "more seeds sown than seeds (4 > 0)"),
    ({"seedlings": 41, "seeds": 40}, "seedlings", "more seedlings than seeds (41 > 40)"),
    ({"seedlings": 4, "seeds": 0}, "seedlings", "more seedlings than seeds (4 > 0)"),
]


@pytest.mark.parametrize(("counts", "column", "told"), IMPOSSIBLE)
def test_counts_that_cannot_be_are_refused_where_they_stand(written, counts, column, told):
    path = written(f"{START},{','.join(counts)}\n2026-04-03,A b,C d,{','.join(map(str, counts.values()))}\n")
    [(place, what)] = faults_of(path)
    assert place == f"row 2, column {column}"
    assert told in what


@pytest.mark.parametrize(
    "counts",
    [
        {"seedlings": 4, "seeds_filled": 0},  # seeds that looked empty and came up after all
        {"seeds_sown": 9, "seeds_filled": 3},
        {"pods_held": 0, "seeds": 0, "seedlings": 0},
        {"units": 4, "seeds": 300},
        {"tried": 4, "took": 0},
    ],
)
def test_counts_that_can_be_are_read(written, counts):
    path = written(f"{START},{','.join(counts)}\n2026-04-03,A b,C d,{','.join(map(str, counts.values()))}\n")
    assert {name: getattr(read_crosses(path)[0], name) for name in counts} == counts


crosses = st.builds(
    Cross,
    date=st.dates(date(1950, 1, 1), date(2100, 1, 1)),
    seed_parent=st.sampled_from(["A b", "E. ×roetteri", 'A b "Red, hardy"']),
    pollen_parent=st.just("C d"),
    id=st.none() | st.uuids().map(str),
    pollen_kind=st.sampled_from([None, *POLLEN_KINDS]),
    closed_stage=st.sampled_from([None, *STAGES]),
    only_successes=st.sampled_from([None, True, False]),
    recorded_at=st.none() | st.integers(0, 4_000_000_000).map(lambda second: datetime.fromtimestamp(second, UTC)),
    note=st.sampled_from([None, "two\nlines", "; , \t"]),
    **dict.fromkeys(["units", "pods_set", "pods_held"], st.sampled_from([None, 3])),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(crosses, max_size=4, unique_by=lambda cross: cross.id or object()))
def test_what_is_written_is_read_back(tmp_path_factory, book):
    path = tmp_path_factory.mktemp("book") / "crosses.csv"
    write_sheet(path, HEADER, [{name: getattr(cross, name) for name in HEADER} for cross in book])
    found = read_crosses(path)
    tidy = [replace(cross, row=row, note=cross.note and cross.note.strip()) for row, cross in enumerate(book, 2)]
    assert list(found) == tidy
    assert crosses_fingerprint(found) == crosses_fingerprint(tidy)


def test_the_fingerprint_follows_the_content_and_not_the_columns(written):
    head = f"{START},units,note\n2026-04-03,A b,C d,4,x\n"
    same = "note,units,pollen_parent,date,seed_parent,took,tried\n\nx,4,C d,2026-04-03,A b,,\n"
    first = crosses_fingerprint(read_crosses(written(head)))
    assert len(first) == 64
    assert crosses_fingerprint(read_crosses(written(same))) == first
    for changed in (head.replace(",4,", ",5,"), head.replace(",4,", ",,"), head + "2026-04-03,A b,C d,4,x\n"):
        assert crosses_fingerprint(read_crosses(written(changed))) != first


def test_every_count_column_can_be_read(written):
    path = written(f"{START},{','.join(COUNT_COLUMNS)}\n2026-04-03,A b,C d,{','.join('1' * len(COUNT_COLUMNS))}\n")
    assert {getattr(read_crosses(path)[0], column) for column in COUNT_COLUMNS} == {1}


def naive(count, *, lost):
    """Read one row as a grower would: units, takes, and "some of them"; None while the outcome is open."""
    one_by_one = count["tried"] is not None and count["took"] is not None
    units, up = (count["tried"], count["took"]) if one_by_one else (count["units"], count["seedlings"])
    found = None
    if one_by_one and not lost:
        found = units, up, False
    elif up is not None and up > 0:
        found = (1, 1, False) if units in {1, None} else (units, None, True)
    elif not lost and not one_by_one:
        nothing_left = any(count[stage] == 0 for stage in ("pods_set", "pods_held", "seeds", "seeds_filled"))
        if nothing_left or (up == 0 and count["seeds_sown"] != 0):
            found = units or 1, 0, False
    return None if units == 0 else found


def arrays(rows):
    return {
        name: np.array([np.nan if row[name] is None else row[name] for row in rows], dtype=float)
        for name in COUNT_COLUMNS
    }


row = st.fixed_dictionaries({name: st.sampled_from([None, None, 0, 1, 4]) for name in COUNT_COLUMNS})


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(row, st.booleans()), min_size=1, max_size=8))
def test_columns_are_read_as_a_row_by_row_reading_reads_them(rows):
    counts, lost = arrays([row for row, _ in rows]), np.array([lost for _, lost in rows])
    found = outcomes_of(counts, lost)
    for i, (row, was_lost) in enumerate(rows):
        expected = naive(row, lost=was_lost)
        assert found.known[i] == (expected is not None)
        if expected is None:
            assert not found.some[i]
            assert not found.uncounted[i]
            continue
        units, took, some = expected
        assert (found.tried[i], found.some[i]) == (units, some)
        assert some or found.took[i] == took
        counted = row["tried"] if row["tried"] is not None and row["took"] is not None else row["units"]
        assert found.uncounted[i] == (counted is None)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"units": 4, "pods_set": 0}, (4, 0, False)),
        ({"units": 4, "pods_set": 3, "pods_held": 0}, (4, 0, False)),
        ({"units": 4, "pods_held": 2, "seeds_filled": 0}, (4, 0, False)),
        ({"units": 4, "seeds_sown": 30, "seedlings": 0}, (4, 0, False)),
        ({"units": 4, "seedlings": 0}, (4, 0, False)),
        ({"units": 4, "seedlings": 9}, (4, None, True)),
        ({"units": 1, "seedlings": 9}, (1, 1, False)),
        ({"seedlings": 9}, (1, 1, False)),
        ({"pods_set": 0}, (1, 0, False)),
        ({"tried": 6, "took": 2, "seedlings": 0}, (6, 2, False)),
        ({"units": 4}, None),
        ({"units": 4, "pods_set": 3}, None),
        ({"units": 4, "pods_held": 3, "seeds_filled": 90}, None),
        ({"units": 4, "seeds_filled": 90, "seeds_sown": 0, "seedlings": 0}, None),
        ({"units": 0, "seedlings": 3}, None),
        ({}, None),
    ],
)
def test_blank_is_unknown_and_never_a_failure(told, expected):
    found = outcomes_of(
        {name: np.array([float(value)]) for name, value in told.items()} or {"units": np.array([np.nan])}
    )
    assert found.known[0] == (expected is not None)
    if expected is not None:
        units, took, some = expected
        assert (found.tried[0], found.some[0]) == (units, some)
        assert some or found.took[0] == took


@pytest.mark.parametrize(
    ("told", "known", "some"),
    [
        ({"units": 4, "pods_set": 3, "pods_held": 0}, False, False),
        ({"units": 4, "seeds_sown": 30, "seedlings": 0}, False, False),
        ({"units": 4, "seeds_sown": 30, "seedlings": 5}, True, True),
        ({"tried": 6, "took": 0}, False, False),
        ({"tried": 6, "took": 2}, True, True),
        ({"tried": 1, "took": 1}, True, False),
    ],
)
def test_an_accident_is_no_failure_of_the_cross(told, known, some):
    found = outcomes_of({name: np.array([float(value)]) for name, value in told.items()}, np.array([True]))
    assert (found.known[0], found.some[0]) == (known, some)
    assert not known or some or found.took[0] == 1


@settings(max_examples=100, deadline=None)
@given(row, st.sampled_from(STAGE_COLUMNS))
def test_blanking_a_count_never_makes_a_failure_of_anything(row, column):
    """What is not written down may hide an outcome, but a take can never turn into a failure by it."""
    before = outcomes_of(arrays([row]))
    after = outcomes_of(arrays([{**row, column: None}]))
    if column != "seedlings" and before.known[0] and (before.some[0] or before.took[0] > 0):
        assert after.known[0]
        assert after.some[0] or after.took[0] > 0
    if not before.known[0] and after.known[0]:
        assert row["seeds_sown"] == 0  # "sown none, none up" says nothing; "none up" alone does


def test_no_crosses_have_no_outcomes():
    for counts in ({}, {"units": np.array([])}):
        assert outcomes_of(counts).known.shape == (0,)


def test_the_crosses_wanted_keep_their_order_and_names_as_written(written):
    found = read_wanted(
        written(
            'Pollen parent,Seed parent,note,want\nE. ×roetteri,C-1,"red, and hardy",5\n\nAus_bus,A b,,\n', "wanted.csv"
        )
    )
    assert found == (Wanted("C-1", "E. ×roetteri", 5, "red, and hardy", 2), Wanted("A b", "Aus_bus", None, None, 4))


def test_an_empty_list_is_no_fault(written):
    assert read_wanted(written("seed_parent,pollen_parent\n", "wanted.csv")) == ()


def test_every_fault_of_the_wishes_is_told_at_once(written):
    path = written("seed_parent,pollen_parent,want,colour\nA b,,6,red\n,C d,0,\nA b,C d,much,\n", "wanted.csv")
    with pytest.raises(BadInput) as caught:
        read_wanted(path)
    assert [(str(fault.place), fault.what) for fault in caught.value.faults] == [
        ("wanted.csv, row 1", "Nothing here is called “colour”."),
        ("wanted.csv, row 2, column pollen_parent", "This must be filled in."),
        ("wanted.csv, row 2, column want", "“6” is out of range."),
        ("wanted.csv, row 3, column seed_parent", "This must be filled in."),
        ("wanted.csv, row 3, column want", "“0” is out of range."),
        ("wanted.csv, row 4, column want", "“much” is not a whole number."),
    ]


INDEX = NameIndex(["Echinocereus_coccineus", "Echinocereus_dasyacanthus", "Aus bus subsp. cus", "Aus bus var. cus"])
COC, DAS = "Echinocereus_coccineus", "Echinocereus_dasyacanthus"


@pytest.mark.parametrize(
    ("seed", "pollen", "expected"),
    [
        ("Echinocereus coccineus", "E. dasyacanthus", (COC, DAS)),
        ("Echinocereus coccineus", "Echinocereus_dasyacanthus", (COC, DAS)),
        ("E. coccineus", "Echinocereus dasyacanthus", (COC, DAS)),  # one genus fits
        ("Mammillaria elongata", "M. dasyacanthus", (None, None)),
        ("Echinocereus coccineus", "A. dasyacanthus", (COC, None)),
        ("Echinocereus coccineus", None, (COC, None)),
        ("Echinocereus coccineus", "Aus bus cus", (COC, None)),  # could be either of two
        ("Echinocereus coccineus subsp. roemeri", "E. dasyacanthus 'Yellow'", (COC, DAS)),
        ("", "", (None, None)),
    ],
)
def test_an_abbreviated_pollen_parent_is_of_the_seed_parents_genus(seed, pollen, expected):
    assert placed(INDEX, [(seed, pollen)]) == [expected]


def test_pairs_keep_their_order_and_may_come_twice():
    pairs = [("Echinocereus coccineus", "E. coccineus"), ("no plant", "M. coccineus")]
    assert placed(INDEX, [*pairs, *pairs]) == [(COC, COC), (None, None)] * 2
    assert placed(INDEX, []) == []


def test_a_name_that_could_be_two_has_no_place():
    assert find_label(INDEX, "Aus bus cus") is None
    assert find_label(INDEX, "E. coccineus", "Echinocereus") == COC
