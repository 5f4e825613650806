from __future__ import annotations

import hashlib
import tempfile
import zipfile
from dataclasses import fields, replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import take_back
from crosscompat.book.import_export.whole_book import book_in, read_book, write_book
from crosscompat.book.record_fields import admissible, choices, needed, reference, value_types
from crosscompat.book.records import KINDS
from crosscompat.book.store import open_store
from crosscompat.book.store.database import transaction
from crosscompat.book.store.pages import restore_history
from crosscompat.ground.errors import BadInput, CrosscompatError, WrongUse

AWKWARD = [
    "=1+1", "+49 30 123", "-3", "@here", "007", "2025-04-03", "03/04/2025", "1e5", "TRUE", "yes", "", " ", "\n", "\\e",
    "\\", "a\\u0041b", "_x0041_", "#N/A", "'quoted", 'He said "×"', "a,b;c\td", "two\nlines", "two\r\nlines", "\r",
    "a\n b  c \nd", "  both ends  ", "🌵 ×", "\ufffe\uffff", "\u00a0", "\u2028x", "<&>\"'",
    "ﬁ é e\u0301", "1,5", "0.1", "None", "\ufeffmark",
]  # fmt: skip
TEXT = st.sampled_from(AWKWARD) | st.text(max_size=8).filter(admissible)
VALUES = {
    str: TEXT,
    int: st.integers(0, 5) | st.integers(0, 10**9 - 1),
    float: st.floats(0, 50) | st.floats(0, 1e-300),
    bool: st.booleans(),
    date: st.dates(date(1700, 1, 1), date(2199, 12, 31)),
    time: st.times(),
    datetime: st.datetimes(datetime(1700, 1, 2), datetime(2199, 12, 30), timezones=st.just(UTC)),  # noqa: DTZ001
}


def written(store, folder, name="book.zip"):
    with store.reading() as page:
        write_book(book_in(page), folder / name)
    return folder / name


def restored(source):
    store = open_store("sqlite://")
    with store.writing("not to be seen") as pen:
        whole = read_book(source)
        restore_history(pen, whole.changes, whole.versions)
    return store


def everything(store):
    with store.reading() as page:
        return page.changes(), {kind: page.versions(kind) for kind in KINDS.values()}


@st.composite
def record(draw, kind, ids):
    """A record with any values, that points to records that are there."""
    values = {}
    for item in fields(kind):
        name, of, allowed = item.name, reference(item), choices(item)
        if name == "id":
            continue
        there = [one for kind in ids for one in ids[kind] if of in {kind, "records"}]
        some = st.sampled_from(there) if there else None
        if "range" in item.metadata:
            some = st.integers(*item.metadata["range"]).map(value_types(kind)[name])
        elif of is None:
            some = st.sampled_from(allowed) if allowed else VALUES[value_types(kind)[name]]
        if name in needed(kind):
            if some is None:
                return None
            values[name] = draw(some)
        else:
            values[name] = draw(st.none() | some) if some is not None else None
    return kind(**values)


def unlike(page, found):
    """Whether the name of a record is not yet taken."""
    column = {records.Plant: "name", records.Cross: "number"}.get(type(found))
    value = column and getattr(found, column)
    return value is None or page.find(type(found), **{column: value}) is None


def write_something(draw, store, ids):
    kind = draw(st.sampled_from(list(KINDS)))
    with store.writing(draw(TEXT), who=draw(st.none() | TEXT)) as pen:
        pen.imported = draw(st.booleans())
        standing = pen.current(KINDS[kind])
        act = draw(st.sampled_from(["add", "add", "replace", "withdraw"]))
        new = draw(record(KINDS[kind], ids))
        if act == "add" or not standing:
            if new is not None and unlike(pen, new):
                pen.add(new)
                ids[kind].append(new.id)
        elif act == "replace":
            if new is not None and unlike(pen, new):
                pen.replace(replace(new, id=draw(st.sampled_from(standing)).id))
        else:
            pen.withdraw(draw(st.sampled_from(standing)))


@st.composite
def books(draw):
    """A book with additions, corrections, things taken back, and undone changes."""
    store, ids = open_store("sqlite://"), {kind: [] for kind in KINDS}
    with store.writing("a plant and a cross") as pen:
        pen.add(records.Plant(id="p", name="coc-1"), records.Cross(id="c", number="26-01", seed_plant="p"))
    ids["plants"].append("p")
    ids["crosses"].append("c")
    for _ in range(draw(st.integers(0, 12))):
        write_something(draw, store, ids)
    for _ in range(draw(st.integers(0, 2))):
        try:
            with store.writing("undone") as pen:
                take_back(pen, None, Bounds(date.max))
        except WrongUse:
            pass
    return store


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(books())
def test_an_export_fills_an_empty_book_with_just_what_was_there(store):
    with tempfile.TemporaryDirectory() as place:
        source = written(store, Path(place))
        again = restored(source)
        assert everything(again) == everything(store)
        assert written(again, Path(place), "again.zip").read_bytes() == source.read_bytes()
        again.close()
    store.close()


@pytest.fixture
def season(tmp_path):
    """A small book with a correction, a change undone, a forecast, and texts that spreadsheets would spoil."""
    store = open_store(tmp_path / "season.sqlite")
    plant = records.Plant(name="007", field_number="+49", note="=1+1", acquired=date(2019, 4, 1), place="")
    cross = records.Cross(number="26-01", seed_plant=plant.id, recorded_at=datetime(2026, 5, 1, 9, 30, 0, 123456, UTC))
    visit = records.Pollination(
        cross=cross.id, date=date(2026, 5, 1), hour=time(14, 5), units=4, stamens_removed=False, temperature=1 / 3
    )
    told = records.GivenForecast(
        date=date(2026, 5, 1), model="m", seed_parent="Echinocereus coccineus", pollen_parent="E. dasyacanthus",
        flowers=4, mean=0.1, low=0.0, high=1.0,
    )  # fmt: skip
    with store.writing("a visit", who="A. Grower") as pen:
        pen.add(visit, cross, plant, told)
    with store.writing("moved") as pen:
        pen.replace(replace(plant, place="bench 2"))
    with store.writing("moved back") as pen:
        take_back(pen, None, Bounds(date.max))
    return SimpleNamespace(store=store, plant=plant, cross=cross, visit=visit)


def test_the_book_goes_on_after_the_changes_it_was_given(season, tmp_path, place):
    source = written(season.store, tmp_path)
    store = open_store(place)
    with store.writing("not to be seen") as pen:
        whole = read_book(source)
        restore_history(pen, whole.changes, whole.versions)
    assert everything(store) == everything(season.store)
    with store.writing("one more") as pen:
        pen.add(records.Plant(name="das-1"))
    with store.reading() as page:
        assert [change.id for change in page.changes()] == [1, 2, 3, 4]
        assert [plant.name for plant in page.current(records.Plant)] == ["007", "das-1"]
    store.close()


def test_a_book_that_is_not_empty_stays_as_it_is(season, tmp_path):
    source = written(season.store, tmp_path)
    store = open_store("sqlite://")
    with store.writing("planted") as pen:
        pen.add(records.Plant(name="das-1"))
    before = everything(store)
    whole = read_book(source)
    with pytest.raises(WrongUse, match="empty book"), store.writing("not to be seen") as pen:
        restore_history(pen, whole.changes, whole.versions)
    assert everything(store) == before


def test_nothing_becomes_a_formula_in_a_spreadsheet(season, tmp_path):
    lines = zipfile.Path(written(season.store, tmp_path), "plants.csv").read_text(encoding="utf-8")
    assert ",\\=1+1," in lines
    assert ",\\+49," in lines


def test_what_is_no_export_is_never_overwritten(season, tmp_path):
    with zipfile.ZipFile(tmp_path / "mine.zip", "w") as mine:
        mine.writestr("crosses.csv", "cross,date\n1,2025-04-03\n")
    (tmp_path / "none.zip").write_bytes(b"no zip")
    before = {path: path.read_bytes() for path in tmp_path.glob("*.zip")}
    for path in before:
        with pytest.raises(WrongUse, match="no export"):
            written(season.store, tmp_path, path.name)
    assert {path: path.read_bytes() for path in before} == before


def test_an_earlier_export_is_written_anew(season, tmp_path):
    source = written(season.store, tmp_path)
    with season.store.writing("one more") as pen:
        pen.add(records.Plant(name="das-1"))
    written(season.store, tmp_path)
    assert everything(restored(source)) == everything(season.store)


@pytest.mark.parametrize("name", ["book", "book.csv", "book.xlsx", "book.ods"])
def test_an_export_goes_to_a_zip(season, tmp_path, name):
    with pytest.raises(WrongUse, match=name):
        written(season.store, tmp_path, name)


def _changed(path, file, old, new):
    with zipfile.ZipFile(path) as package:
        texts = {name: package.read(name).decode("utf-8") for name in package.namelist()}
    assert old in texts[file]
    texts[file] = texts[file].replace(old, new)
    with zipfile.ZipFile(path, "w") as package:
        for name, text in texts.items():
            package.writestr(name, text)


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("plants.csv", "2019-04-01", "2019-04-02"),
        ("pollinations.csv", ",4,", ",5,"),
        ("plants.csv", ",1,2\n", ",1,\n"),
        ("changes.csv", "A. Grower", "B. Grower"),
        ("losses.csv", "\n", "\r\n"),
    ],
)
def test_an_export_that_was_changed_since_is_told_by_table_and_not_taken(season, tmp_path, file, old, new):
    source = written(season.store, tmp_path)
    _changed(source, file, old, new)
    with pytest.raises(BadInput, match=f"^{file}: This table is not as it was exported"):
        read_book(source)


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("plants.csv", ",007,", ",,"),
        ("plants.csv", "2019-04-01", "1.4.19"),
        ("pollinations.csv", ",no,", ",maybe,"),
        ("forecasts.csv", "low", "lowest"),
        ("plants.csv", ",1,2\n", ",1,9\n"),
        ("changes.csv", "\n2,", "\n1,"),
        ("plants.csv", ",1,2\n", ",1,2\n\n,,,\n"),
        ("pollinations.csv", "2026-05-01", "2026-05-01,"),
    ],
)
def test_an_export_with_a_list_of_contents_to_match_is_judged_by_what_it_holds(season, tmp_path, file, old, new):
    source = written(season.store, tmp_path)
    before = hashlib.sha256(zipfile.Path(source, file).read_bytes()).hexdigest()
    _changed(source, file, old, new)
    _changed(source, "contents.json", before, hashlib.sha256(zipfile.Path(source, file).read_bytes()).hexdigest())
    with pytest.raises(CrosscompatError):
        restored(source)


def test_what_is_no_export_is_told(season, tmp_path):
    source = written(season.store, tmp_path)
    with zipfile.ZipFile(source, "a") as package:
        package.writestr("seeds.csv", "id\n")
    with pytest.raises(BadInput, match=r"^seeds.csv: This was not in the export"):
        read_book(source)
    (tmp_path / "cut.zip").write_bytes(source.read_bytes()[:100])
    for name in ("cut.zip", "none.zip"):
        with pytest.raises(BadInput, match=f"{name}: This export of a cross book is damaged"):
            read_book(tmp_path / name)
    with zipfile.ZipFile(tmp_path / "few.zip", "w") as few, zipfile.ZipFile(source) as package:
        few.writestr("contents.json", package.read("contents.json"))
    with pytest.raises(BadInput) as bad:
        read_book(tmp_path / "few.zip")
    assert {fault.place.file for fault in bad.value.faults} == {f"{name}.csv" for name in ("changes", *KINDS)}


def test_an_export_whose_history_is_not_as_it_was_sealed_is_not_taken_in(season, tmp_path):
    with transaction(season.store.database, writing=True) as connection:
        connection.execute("UPDATE pollinations SET units = 5")
    source = written(season.store, tmp_path)
    with pytest.raises(WrongUse, match="Change 1 in this export is not as it was written"):
        restored(source)


def test_two_exports_in_one_are_none(season, tmp_path):
    """As a killed copying of files would leave it."""
    source = written(season.store, tmp_path)
    with season.store.writing("one more") as pen:
        pen.add(records.Plant(name="das-1"))
    later = written(season.store, tmp_path, "later.zip")
    with zipfile.ZipFile(source) as one, zipfile.ZipFile(later) as other, zipfile.ZipFile(tmp_path / "b.zip", "w") as b:
        for name in one.namelist():
            b.writestr(name, (other if name == "plants.csv" else one).read(name))
    with pytest.raises(BadInput, match=r"^plants.csv: This table is not as it was exported"):
        read_book(tmp_path / "b.zip")


def test_an_empty_book_goes_out_and_in(tmp_path):
    store = open_store("sqlite://")
    assert everything(restored(written(store, tmp_path))) == everything(store)
