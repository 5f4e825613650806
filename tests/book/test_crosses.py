from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.crosses import COUNT_COLUMNS, HEADER, Cross, crosses_fingerprint, read_crosses
from crosscompat.book.records import POLLEN_KINDS, STAGES
from crosscompat.ground.csv_cells import write_sheet
from crosscompat.ground.errors import BadInput

START = "date,seed_parent,pollen_parent"
ID = "6574aef3-81db-5ea1-a894-ad2fa9ccc1e5"


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "crosses.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(path):
    with pytest.raises(BadInput) as caught:
        read_crosses(path)
    return [(str(fault.place).removeprefix("crosses.csv, "), fault.what) for fault in caught.value.faults]


def test_the_header_is_the_fields_of_a_cross():
    assert set(HEADER) == set(Cross.__dataclass_fields__) - {"row"}
    assert len(HEADER) == 30


def test_every_column_becomes_a_value(written):
    cells = {
        "id": ID.upper(), "cross": "26-01", "date": "2026-04-03", "seed_parent": "E. coccineus",
        "pollen_parent": "Echinocereus_dasyacanthus", "seed_plant": "C1", "pollen_plant": "D1", "grower": "Ida",
        "pollen_kind": "One", "technique": "plain", "isolation": "bag", "units": "4", "unit_kind": "flower",
        "pods_set": "3", "pods_held": "2", "seeds": "90", "seeds_filled": "60", "seeds_sown": "30", "seedlings": "7",
        "tried": "4", "took": "1", "closed_stage": "Germinate", "lost_to": "mice", "only_successes": "no",
        "stamens_removed": "yes", "proof": "Looks hybrid",
        "source": "own", "recorded_at": "2026-04-03T14:05:00+02:00", "note": "a note",
        "kind": "Check of the pollen",
    }  # fmt: skip
    [cross] = read_crosses(written(",".join(HEADER) + "\n" + ",".join(cells[name] for name in HEADER) + "\n"))
    assert cross == Cross(
        date(2026, 4, 3), "E. coccineus", "Echinocereus_dasyacanthus", ID, "26-01", "C1", "D1", "Ida", "one", "plain",
        "bag", 4, "flower", 3, 2, 90, 60, 30, 7, 4, 1, "germinate", "mice", only_successes=False,
        stamens_removed=True, proof="looks hybrid", source="own",
        recorded_at=datetime(2026, 4, 3, 12, 5, tzinfo=UTC), note="a note",
        kind="check of the pollen", row=2,
    )  # fmt: skip


def test_all_but_date_and_parents_may_be_blank_and_blank_is_unknown(written):
    [cross] = read_crosses(written(f"{START},units,seedlings\n2026-04-03,A b,C d,,\n"))
    assert cross == Cross(date(2026, 4, 3), "A b", "C d", row=2)
    assert cross.number == "row 2"
    assert replace(cross, cross="26-01").number == "26-01"


@pytest.mark.parametrize("kind", [*POLLEN_KINDS, ""])
def test_only_open_and_bagged_flowers_need_no_pollen_parent(written, kind):
    path = written(f"{START},pollen_kind\n2026-04-03,A b,,{kind}\n")
    if kind in {"open", "none"}:
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
        ({name: 4, pod: 0}, name, f"the number of {words} is 0; leave that blank")
        for pod, words in (("pods_set", "pods set"), ("pods_held", "pods held to ripeness"))
        for name in ("seeds", "seeds_filled", "seeds_sown", "seedlings")
    ),
    ({"seeds_sown": 4, "seeds": 0}, "seeds_sown", "There cannot be seeds sown (4) where the number of seeds is 0"),
    ({"seedlings": 4, "seeds": 0}, "seedlings", "There cannot be seedlings (4) where the number of seeds is 0"),
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
