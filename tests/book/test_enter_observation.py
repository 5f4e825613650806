from __future__ import annotations

from datetime import date

import pytest

from crosscompat.book.cross_summary import CrossRecords, cross_of, cross_records, crosses_of
from crosscompat.book.entry import Bounds, own_ancestors
from crosscompat.book.entry.enter_observation import Seen, observe, surprises
from crosscompat.book.records import Cross, Emergence, Loss, Observation, Plant, Pollen, Pollination, SeedLot, Sowing
from crosscompat.ground.errors import WrongUse

MADE, DAY, TODAY = date(2026, 5, 1), date(2026, 8, 1), date(2026, 11, 1)
BOUNDS = Bounds(TODAY)


@pytest.fixture
def cross(book):
    cross = Cross(number="26-01")
    with book.writing("pollinated") as pen:
        pen.add(cross, Pollination(cross=cross.id, date=MADE, units=4, pollen_kind="open"))
    return cross


@pytest.fixture
def look(book, cross):
    def look(day=DAY, who="Ida", **seen):
        with book.writing("seen") as pen:
            return observe(pen, pen.find(Cross, id=cross.id), Seen(**seen), day, who, BOUNDS)

    return look


def whole(book, cross):
    with book.reading() as page:
        return cross_records(page, page.find(Cross, id=cross.id))


def test_one_look_may_say_everything(book, cross, look):
    look(
        swelling=3, dropped=1, ripe=2,
        harvest=SeedLot(cross="", pods=2, seeds=30, filled=20, weight=12.5, left=5, name="A"),
        sown=Sowing(cross="", seeds=25, lot="a", treatment="warm water", place="T1"), up=4, highest=6, tray="t1",
        lost="slugs", against="no", proof="looks hybrid", by_what="spines", over="germinate", note="wet year",
    )  # fmt: skip
    found = whole(book, cross)
    assert [(one.what, one.count, one.by, one.date) for one in found.counts] == [
        ("pods_set", 3, "Ida", DAY), ("pods_dropped", 1, "Ida", DAY), ("pods_held", 2, "Ida", DAY),
    ]  # fmt: skip
    assert found.counts[0].note == "wet year"
    (lot,), (tray,), (seen,), (loss,), (proof,) = found.lots, found.trays, found.looks, found.losses, found.proofs
    assert (lot.pods, lot.seeds, lot.filled, lot.weight, lot.left) == (2, 30, 20, 12.5, 5)
    assert (tray.lot, tray.seeds, tray.treatment, tray.place) == (lot.id, 25, "warm water", "T1")
    assert (seen.sowing, seen.up, seen.highest) == (tray.id, 4, 6)
    assert (loss.sowing, loss.cause, loss.against) == (tray.id, "slugs", "no")
    assert (proof.verdict, proof.by_what) == ("looks hybrid", "spines")
    assert found.cross.closed_stage == "germinate"
    with book.reading() as page:
        (line,) = crosses_of(page)
    assert (line.pods_set, line.pods_held, line.seeds_sown, line.seedlings) == (3, 2, 25, 6)


def test_what_cannot_be_is_refused_and_nothing_of_the_look_is_written(book, cross, look):
    with pytest.raises(WrongUse, match=r"more pods set than units pollinated \(5 > 4\).*crosscompat correct"):
        look(swelling=5, note="x", over="set")
    found = whole(book, cross)
    assert (found.counts, found.cross) == ((), cross)
    with book.reading() as page:
        assert len(page.changes()) == 1


def test_the_look_is_judged_over_all_that_was_written_before(look):
    look(swelling=2)
    look(dropped=1)
    with pytest.raises(WrongUse, match="1 pod dropped and 2 ripe"):
        look(ripe=2)
    look(ripe=1)


def test_an_old_contradiction_stops_nobody_from_writing_what_is_true(book, cross, look):
    with book.writing("from a table") as pen:
        pen.add(Observation(cross=cross.id, what="pods_set", count=9))
    look(ripe=2)
    with pytest.raises(WrongUse, match="units pollinated"):
        look(ripe=5)


def test_only_the_good_seeds_counted_leaves_the_others_unknown(book, cross, look):
    look(harvest=SeedLot(cross="", seeds=20), only_good=True)
    (lot,) = whole(book, cross).lots
    assert (lot.seeds, lot.filled) == (None, 20)
    with pytest.raises(WrongUse, match="good seeds only"):
        look(harvest=SeedLot(cross="", seeds=20, filled=10), only_good=True)


def test_a_loss_of_which_nothing_is_said_is_unsure(book, cross, look):
    look(lost="a dog")
    assert [(loss.sowing, loss.against) for loss in whole(book, cross).losses] == [(None, "unsure")]


def test_with_several_lots_or_trays_the_grower_says_which(book, cross, look):
    look(harvest=SeedLot(cross="", seeds=30, name="A"))
    look(harvest=SeedLot(cross="", seeds=30, name="B"))
    with pytest.raises(WrongUse, match=r"several lots: A, B\..*--from"):
        look(sown=Sowing(cross="", seeds=5))
    with pytest.raises(WrongUse, match=r"no lot “C”\. It has: A, B"):
        look(sown=Sowing(cross="", seeds=5, lot="C"))
    with pytest.raises(WrongUse, match="a lot “a” already"):
        look(harvest=SeedLot(cross="", name="a"))
    look(sown=Sowing(cross="", seeds=5, lot="A", place="T1"))
    look(sown=Sowing(cross="", seeds=5, lot="B", place="T2"))
    with pytest.raises(WrongUse, match=r"several trays: T1, T2\..*--tray"):
        look(up=1)
    with pytest.raises(WrongUse, match="a tray “t 1” already"):
        look(sown=Sowing(cross="", seeds=5, lot="B", place="t 1"))
    look(up=1, tray=whole(book, cross).trays[1].id[:8])
    assert whole(book, cross).looks[0].sowing == whole(book, cross).trays[1].id


def test_a_name_of_one_letter_is_never_the_beginning_of_an_identifier(book, cross, look):
    look(harvest=SeedLot(cross="", seeds=30, name="seed of May"))
    (lot,) = whole(book, cross).lots
    with pytest.raises(WrongUse, match="no lot"):
        look(sown=Sowing(cross="", seeds=5, lot=lot.id[0]))
    look(sown=Sowing(cross="", seeds=5, lot=lot.id[:4]))


def test_seedlings_of_seed_that_was_never_sown_are_asked_about(look):
    with pytest.raises(WrongUse, match="--sown N"):
        look(up=3)


@pytest.mark.parametrize(
    ("before", "seen", "asks"),
    [
        ({"swelling": 0}, {"swelling": 1}, "On 1 August no pod had set"),
        ({"ripe": 0}, {"ripe": 1}, "no pod was ripe"),
        ({"swelling": 4}, {"swelling": 2}, "On 1 August 4 pods had set, now 2. Did one drop?"),
        ({"swelling": 4}, {"swelling": 0}, "Save 0 anyway?"),
        ({"ripe": 2}, {"ripe": 1}, "2 pods were ripe, now 1"),
        ({"harvest": SeedLot(cross="", pods=2)}, {"ripe": 1}, "You harvested 2 ripe pods already"),
        ({"ripe": 2, "harvest": SeedLot(cross="", pods=1)}, {"ripe": 1}, "2 pods were ripe, now 1"),
        ({"sown": Sowing(cross="", seeds=9), "up": 5}, {"highest": 4}, "5 seedlings stood in this tray, and"),
        ({"sown": Sowing(cross="", seeds=9), "highest": 6}, {"highest": 5}, "6 seedlings stood in this tray, and"),
        ({"lost": "mice"}, {"swelling": 1}, "was lost to mice"),
        ({"lost": "mice"}, {"harvest": SeedLot(cross="", pods=1)}, "was lost to mice"),
        ({"over": "set"}, {"swelling": 1}, "recorded the stage “set” as over"),
        ({"swelling": 0}, {"swelling": 0}, None),
        ({"swelling": 2}, {"swelling": 2, "dropped": 1}, None),
        ({"dropped": 3}, {"dropped": 1}, None),
        ({"sown": Sowing(cross="", seeds=9), "highest": 6, "up": 5}, {"up": 3}, None),
        ({"sown": Sowing(cross="", seeds=9), "highest": 6}, {"highest": 6}, None),
        ({"sown": Sowing(cross="", seeds=9), "highest": 6}, {"sown": Sowing(cross="", seeds=3), "highest": 2}, None),
        ({"harvest": SeedLot(cross="", pods=2)}, {"ripe": 2}, None),
        ({"swelling": 1}, {"swelling": 2}, None),
        ({"over": "set"}, {"ripe": 1}, None),
        ({}, {"swelling": 1}, None),
    ],
)
def test_what_was_said_otherwise_before_is_asked(book, cross, look, before, seen, asks):
    if before:
        look(**before)
    found = surprises(whole(book, cross), Seen(**seen), DAY)
    assert ([asks in one for one in found] == [True]) if asks else found == []


@pytest.mark.parametrize(
    ("before", "day", "seen", "asks"),
    [
        ([(date(2026, 5, 20), 4)], date(2026, 5, 12), {"swelling": 2}, None),
        (
            [(date(2026, 5, 20), 2)],
            date(2026, 5, 12),
            {"swelling": 4},
            "Later, on 20 May, only 2 pods had set",
        ),
        (
            [(date(2026, 5, 20), 0)],
            date(2026, 5, 12),
            {"swelling": 1},
            "Later, on 20 May, only 0 pods had set",
        ),
        ([(None, 4)], date(2026, 5, 2), {"swelling": 2}, "On some earlier day 4 pods had set, now 2"),
        ([(date(2026, 5, 20), 4), (date(2026, 5, 12), 1)], date(2026, 5, 14), {"swelling": 3}, None),
        ([(date(2026, 5, 20), 4), (date(2026, 5, 12), 2)], date(2026, 5, 14), {"swelling": 1}, "On 12 May 2 pods"),
        ([(date(2026, 5, 12), 4), (date(2026, 5, 14), 2)], date(2026, 5, 20), {"swelling": 2}, None),
    ],
)
def test_counts_of_all_so_far_are_compared_by_their_days(before, day, seen, asks):
    cross = Cross(number="26-01")
    counts = tuple(Observation(cross=cross.id, what="pods_set", count=n, date=on) for on, n in before)
    found = surprises(CrossRecords(cross, counts=counts), Seen(**seen), day)
    assert ([asks in one for one in found] == [True]) if asks else found == []


def test_what_was_seen_before_the_cross_was_lost_is_no_surprise(book, cross, look):
    look(lost="mice")
    assert surprises(whole(book, cross), Seen(swelling=1), date(2026, 7, 1)) == []


def test_the_highest_number_is_that_of_one_tray(book, cross, look):
    look(sown=Sowing(cross="", seeds=9, place="T1"))
    look(sown=Sowing(cross="", seeds=9, place="T2"))
    look(highest=6, tray="T1")
    assert surprises(whole(book, cross), Seen(highest=2, tray="T2"), DAY) == []
    (question,) = surprises(whole(book, cross), Seen(highest=2, tray="T1"), DAY)
    assert "6 seedlings" in question
    (question,) = surprises(whole(book, cross), Seen(highest=7, tray="T1"), date(2026, 7, 31))
    assert "only 6 seedlings were the most" in question


def test_what_is_over_already_changes_nothing(book, cross, look):
    assert look(over="set")
    assert look(over="set") == []
    with book.reading() as page:
        assert [change.what for change in page.changes()] == ["pollinated", "seen"]


def test_a_note_alone_is_kept_on_the_cross(book, cross, look):
    look(note="two thrips")
    look(note="more thrips")
    assert whole(book, cross).cross.note == "2026-08-01: two thrips; 2026-08-01: more thrips"


def test_what_is_doubtful_is_written_down_and_teaches_nothing_until_it_is_settled(book, cross, look):
    look(swelling=3)
    look(ripe=2, doubtful="label lost, by its place")
    found = whole(book, cross)
    assert found.counts[-1].note == "doubtful: label lost, by its place"
    assert found.cross.doubt == "2026-08-01: label lost, by its place"
    with book.reading() as page:
        (line,) = crosses_of(page)
    assert (line.units, line.pods_set, line.pods_held) == (4, None, None)


def test_each_record_is_known_by_the_cross_it_belongs_to(book, cross, look):
    look(
        swelling=1,
        harvest=SeedLot(cross="", seeds=3),
        sown=Sowing(cross="", seeds=2),
        up=1,
        lost="mice",
        proof="proved",
    )
    with book.reading() as page:
        records = cross_records(page, cross).every
        assert {cross_of(page, record) for record in records} == {cross.id}
        assert cross_of(page, Plant(name="a")) is None
        assert {type(record) for record in records} >= {Observation, SeedLot, Sowing, Emergence, Loss}


def test_a_plant_that_would_be_its_own_ancestor_is_named(book, cross):
    visit = Pollination(cross=cross.id, date=MADE)
    child = Plant(name="child", cross=cross.id)
    other = Cross(number="26-02", seed_plant=child.id)
    with book.writing("raised") as pen:
        pen.add(visit, child, other)
        assert own_ancestors(pen) == []
        grandchild = Plant(name="grandchild", cross=other.id)
        pen.add(grandchild, Pollen(pollination=visit.id, plant=grandchild.id))
        assert own_ancestors(pen) == ["child", "grandchild"]
