"""What is due for one cross, from the brush to the last seedling."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.advice.season.due import due_list, due_of
from crosscompat.book import records
from crosscompat.book.store import open_store
from crosscompat.book.timelines import FEWEST, Life, Span, Tray, days_of_book, lives_of, usual_days
from crosscompat.collection.settings import Settings
from crosscompat.ground.wording import say
from crosscompat.show.exports import Reminder, calendar_file

BRUSH = date(2025, 5, 1)
CACTUS, SPURGE = usual_days("cactus"), usual_days("spurge")


def on(days):
    return BRUSH + timedelta(days=days)


def life(**known):
    return Life("0" * 36, "25-01", seed_parent="Echinocereus coccineus", brushed=[BRUSH], **known)


def lot(name, day, pods=None, good=None, left=None):
    return records.SeedLot(id=name, cross="0" * 36, date=day, pods=pods, filled=good, left=left)


def found(one, day, spans=CACTUS, **more):
    return [(entry.task, (date.fromisoformat(entry.first) - BRUSH).days, entry.late) for entry in
            due_of(one, spans, on(day), **more)]  # fmt: skip


@pytest.mark.parametrize(
    ("known", "day", "expected"),
    [
        ({}, 1, [("swelling", 5, False)]),
        ({}, 30, [("swelling", 5, False)]),
        ({}, 31, [("swelling", 5, True)]),
        ({}, 91, [("tell", 90, True)]),
        ({"swelling": [(on(8), 0)]}, 20, [("swelling", 30, False)]),
        ({"swelling": [(on(8), 0)]}, 31, []),
        ({"swelling": [(on(30), 0)]}, 30, []),
        ({"swelling": [(None, 0)]}, 20, []),
        ({"swelling": [(on(3), 0)]}, 20, [("swelling", 5, False)]),
        ({"swelling": [(on(3), 1)]}, 20, [("harvest", 60, False)]),
        ({"closed": "set"}, 20, []),
        ({"closed": "set", "swelling": [(on(8), 2)]}, 20, [("harvest", 60, False)]),
        ({"closed": "hold", "ripe": [(on(70), 2)]}, 71, [("ripe", 70, False)]),
        ({"closed": "hold", "swelling": [(on(8), 2)]}, 20, []),
        ({"swelling": [(on(8), 2)]}, 20, [("harvest", 60, False)]),
        ({"swelling": [(on(8), 2)]}, 91, [("harvest", 60, True)]),
        ({"swelling": [(on(8), 2)]}, 366, [("tell", 365, True)]),
        ({"swelling": [(on(8), 2)], "dropped": 1}, 20, [("harvest", 60, False)]),
        ({"swelling": [(on(8), 2)], "dropped": 2}, 20, []),
        ({"swelling": [(on(8), 2)], "ripe": [(on(70), 1)]}, 71, [("ripe", 70, False)]),
        ({"ripe": [(on(70), 0)]}, 71, []),
        ({"swelling": [(on(8), 2)], "ripe": [(on(50), 0)]}, 71, [("harvest", 60, False)]),
        ({"ripe": [(on(70), 1)], "lots": [lot("l", on(70))]}, 80, [("sow", 70, False)]),
        ({"ripe": [(on(70), 1)], "lots": [lot("l", on(70), good=0)]}, 80, []),
        ({"ripe": [(on(70), 1)], "lots": [lot("l", None, good=9)]}, 80, []),
        ({"swelling": [(on(8), 3)], "lots": [lot("l", on(70), 3)]}, 80, [("sow", 70, False)]),
        ({"swelling": [(on(8), 3)], "lots": [lot("l", on(70), 1)]}, 80, [("harvest", 60, False), ("sow", 70, False)]),
        ({"swelling": [(on(8), 3)], "lots": [lot("l", on(70), 1)]}, 91, [("sow", 70, False)]),
        ({"swelling": [(on(8), 3)], "lots": [lot("l", on(70), 1, left=0)]}, 91, []),
        ({"died": on(10)}, 11, [("tell", 10, True)]),
        ({"died": on(10), "swelling": [(on(8), 2)]}, 70, [("tell", 10, True)]),
        ({"died": on(80), "swelling": [(on(8), 2)], "lots": [lot("l", on(70), 1)]}, 81, [("sow", 70, False)]),
        ({"died": on(10), "swelling": [(on(8), 0)]}, 11, []),
        ({"over": True}, 10, []),
        ({"over": True, "swelling": [(on(8), 2)]}, 70, []),
    ],
)
def test_from_the_brush_to_the_seed(known, day, expected):
    assert found(life(**known), day) == expected


def tray(**known):
    return Tray("t" * 36, on(100), **{"seeds": 20, **known})


@pytest.mark.parametrize(
    ("sown", "day", "expected"),
    [
        ([tray()], 101, [("count", 107, False), ("give_up", 190, False)]),
        ([tray()], 131, [("count", 107, True), ("give_up", 190, False)]),
        ([tray()], 191, [("give_up", 190, True)]),
        ([tray(looks=[(on(120), 3)])], 121, [("count", 134, False), ("give_up", 190, False)]),
        ([tray(looks=[(on(180), 3)])], 181, [("give_up", 190, False)]),
        ([tray(looks=[(on(120), 20)])], 121, []),
        ([tray(looks=[(on(120), 3), (on(190), 3)])], 191, []),
        ([tray(lost=True)], 101, []),
        ([tray(lost=True), tray()], 101, [("count", 107, False), ("give_up", 190, False)]),
        ([Tray("t", None)], 101, []),
    ],
)
def test_from_the_seed_to_the_last_seedling(sown, day, expected):
    assert found(life(trays=sown), day) == expected


def test_what_bursts_is_bagged_before_and_first_looked_at_on_the_second_day():
    assert found(life(), 2, SPURGE) == [("swelling", 2, False)]
    assert found(life(swelling=[(on(8), 1)]), 10, SPURGE, bursts=True) == [("bag", 21, False), ("harvest", 35, False)]


def test_flowers_brushed_on_a_later_visit_are_looked_at_too():
    twice = replace(life(), brushed=[BRUSH, on(10)])
    assert found(twice, 12) == [("swelling", 5, False)]
    twice = replace(twice, swelling=[(on(12), 1)])
    assert found(twice, 12) == [("swelling", 15, False), ("harvest", 60, False)]
    twice = replace(twice, swelling=[*twice.swelling, (on(16), 1)])
    assert [(e.task, e.last) for e in due_of(twice, CACTUS, on(16))] == [("harvest", on(100).isoformat())]


def test_a_second_harvest_is_sown_though_the_first_one_was():
    lots = [lot("a", on(70), 1), lot("b", on(80), 1)]
    assert found(life(lots=lots, trays=[tray(lot="a", lost=True)]), 110) == [("sow", 80, False)]
    assert found(life(lots=lots, trays=[tray(lost=True)]), 110) == []


@pytest.mark.parametrize(
    ("kind", "task"),
    [("check of the seed parent", "check"), ("check of the pollen", "check"), ("left alone", "left_alone")],
)
def test_checks_and_flowers_left_alone_are_kinds_of_their_own(kind, task):
    assert found(life(kind=kind), 6) == [(task, 5, False)]


@pytest.mark.parametrize(
    ("known", "pairing"),
    [
        ({"pollen_parent": "E. dasyacanthus"}, "Echinocereus coccineus × E. dasyacanthus"),
        ({"pollen_parent": "Echinocereus fendleri", "kind": "check of the pollen"},
         "Echinocereus coccineus × Echinocereus fendleri (check of the pollen)"),
        ({"pollen_kind": "self", "pollen_parent": "Echinocereus coccineus"}, "Echinocereus coccineus ⊗ selfed"),
        ({"pollen_kind": "several"}, "Echinocereus coccineus × mixed"),
        ({"pollen_kind": "open"}, "Echinocereus coccineus × open"),
        ({"pollen_kind": "none", "kind": "left alone"}, "Echinocereus coccineus, no pollen (left alone)"),
        ({"pollen_kind": "one"}, "Echinocereus coccineus, pollen not known"),
        ({}, "Echinocereus coccineus, pollen not known"),
    ],
)  # fmt: skip
def test_the_formula_says_whose_pollen_it_was(known, pairing):
    assert {entry.pairing for entry in due_of(life(**known), CACTUS, on(6))} == {pairing}


DAYS = st.integers(0, 500)


@given(DAYS, DAYS)
def test_a_thing_is_late_only_once_its_last_day_has_passed(day, later):
    for one in (life(), life(swelling=[(on(8), 2)]), life(swelling=[(on(8), 0)]), life(trays=[tray()])):
        for entry in due_of(one, CACTUS, on(day)):
            assert entry.late == (on(day).isoformat() > entry.last)
            assert entry.first <= entry.last


LOOKS = ("swelling", "ripe", "lots", "trays")
STAGE = {"swelling": 0, "bag": 1, "ripe": 1, "harvest": 1, "sow": 2, "count": 3, "give_up": 3, "tell": 0}
SEEN = st.lists(st.tuples(st.sampled_from(LOOKS), st.integers(0, 300), st.integers(0, 3)), max_size=6)


def seen_on(one, what, day, n):
    """One more thing written down of a life."""
    new = {
        "swelling": lambda: (on(day), n),
        "ripe": lambda: (on(day), n),
        "lots": lambda: lot(f"l{day}", on(day), n, 10 * n),
        "trays": lambda: Tray(f"t{len(one.trays)}", on(day), 10, looks=[(on(day + 9), n)] if n else []),
    }[what]()
    return replace(one, **{what: [*getattr(one, what), new]})


@given(st.lists(st.integers(0, 60), min_size=1, max_size=3), SEEN, st.sampled_from(LOOKS), st.integers(0, 3))
def test_what_is_written_down_makes_nothing_earlier_due_again(brushed, seen, what, n):
    one = replace(life(), brushed=sorted(map(on, brushed)))
    for look in sorted(seen, key=lambda look: look[1]):
        one = seen_on(one, *look)
    day = max([*brushed, *(day for _, day, _ in seen)]) + 10
    before = {entry.id: entry for entry in due_of(one, CACTUS, on(day))}
    after = {entry.id: entry for entry in due_of(seen_on(one, what, day, n), CACTUS, on(day))}
    assert len(before) == len(due_of(one, CACTUS, on(day)))
    for id_, entry in after.items():
        if id_ in before:
            assert entry.first >= before[id_].first
        else:
            rest_of_what_ripens = entry.task == "harvest" and what == "lots" and one.ripe
            assert rest_of_what_ripens or STAGE[entry.task] >= LOOKS.index(what) or entry.first >= on(day).isoformat()


def test_a_week_ahead_is_seen_and_no_more_and_the_late_come_first():
    lives = [replace(life(), id=f"{i}" * 36, number=f"25-0{i}", brushed=[on(-10 * i)]) for i in range(1, 5)]
    told = due_list(lives, Settings(group="cactus"), on(0))
    assert [(entry.cross, entry.late) for entry in told.due] == [
        ("25-04", True), ("25-03", False), ("25-02", False), ("25-01", False),
    ]  # fmt: skip
    assert told.caution == say("cautions.handling.cactus")
    early = due_list([life()], Settings(group="cactus"), on(-1), ahead=6)
    assert (early.due, early.caution) == ([], "")
    sown = due_list([life(trays=[tray()])], Settings(group="cactus"), on(101))
    assert ([entry.task for entry in sown.due], sown.caution) == (["count"], "")
    assert len(due_list([life()], Settings(group="cactus"), on(-1), ahead=7).due) == 1
    assert len(due_list([life()], Settings(group="cactus"), on(-1), ahead=None).due) == 1


def grown(n, swelling=9, ripe=70, up=12):
    trays = [Tray(f"t{i}", on(100), 30, looks=[(on(100 + up), 4), (on(140), 5)]) for i in range(n)]
    return [
        replace(
            life(), swelling=[(on(swelling), 1)], ripe=[(on(ripe), 1)], lots=[lot(f"l{i}", on(ripe))], trays=[trays[i]]
        )
        for i in range(n)
    ]


def test_a_book_with_enough_intervals_speaks_for_itself_and_says_how_many():
    spans = days_of_book(grown(FEWEST), CACTUS, on(400))
    assert spans["swelling"] == Span(9, 9, "own", FEWEST)
    assert spans["ripe"] == Span(70, 70, "own", FEWEST)
    assert spans["up"] == Span(12, 12, "own", FEWEST)
    assert spans["last_up"] == Span(12, 40, "own", FEWEST)
    assert dict(days_of_book(grown(FEWEST - 1), CACTUS, on(400))) == dict(CACTUS)


def test_crosses_under_way_have_waited_so_far_and_failed_ones_say_nothing():
    waiting = [replace(life(), brushed=[on(-60)]) for _ in range(20)]
    failed = [replace(life(), swelling=[(on(30), 0)]) for _ in range(20)]
    alone = days_of_book(grown(FEWEST), CACTUS, on(0) + timedelta(days=400))["swelling"]
    assert days_of_book([*grown(FEWEST), *failed], CACTUS, on(400))["swelling"] == alone
    assert days_of_book([*grown(FEWEST), *waiting], CACTUS, on(400))["swelling"].events == FEWEST


def test_crosses_that_were_never_looked_at_do_not_put_the_days_off():
    forgotten = [replace(life(), brushed=[on(-4000)]) for _ in range(200)]
    alone = days_of_book(grown(FEWEST), CACTUS, on(400))
    assert days_of_book([*grown(FEWEST), *forgotten], CACTUS, on(400)) == alone


def test_giving_up_tells_the_trays_behind_it():
    spans = days_of_book(grown(FEWEST), CACTUS, on(400))
    assert [entry.task for entry in due_of(life(trays=[tray()]), spans, on(140))] == ["count", "give_up"]
    [entry] = due_of(life(trays=[tray()]), spans, on(152))
    assert entry.says.endswith("(day 52; in 5 trays of yours 95% were up by day 40)")
    [entry] = due_of(life(trays=[tray()]), CACTUS, on(200))
    assert entry.says.endswith("(day 100; usually all are up by day 90)")


def test_the_days_that_the_grower_has_set_hold():
    [entry] = due_list([life()], Settings(group="cactus", set_days=10), on(11)).due
    assert (entry.last, entry.late) == (on(10).isoformat(), True)


def test_a_life_is_read_from_the_book_and_what_is_later_has_not_happened():
    plant = records.Plant(name="COC-F1", place="bench 2", received_as="Echinocereus coccineus", died=on(150))
    cross = records.Cross(number="25-01", seed_plant=plant.id)
    visit = records.Pollination(cross=cross.id, date=BRUSH, marker="red thread")
    again = records.Pollination(cross=cross.id, date=on(2), flowers="same again")
    seen = [
        records.Pollen(pollination=visit.id, name="Echinocereus dasyacanthus"),
        records.Observation(cross=cross.id, date=on(9), what="pods_set", count=2),
        records.Observation(cross=cross.id, date=on(20), what="pods_dropped", count=1),
        records.SeedLot(cross=cross.id, date=on(70), pods=1, filled=30),
    ]
    sowing = records.Sowing(cross=cross.id, date=on(90), seeds=30, place="tray 4")
    looks = [records.Emergence(sowing=sowing.id, date=on(100), up=2, highest=3)]
    lost = records.Loss(cross=cross.id, sowing=sowing.id, date=on(120), cause="mice")
    store = open_store("sqlite://")
    with store.writing("a season") as pen:
        pen.add(plant, cross, visit, again, *seen, sowing, *looks, lost)
    with store.reading() as page:
        [whole], [early] = lives_of(page, on(200)), lives_of(page, on(80))
    assert (whole.plant, whole.place, whole.marker) == ("COC-F1", "bench 2", "red thread")
    assert (whole.seed_parent, whole.pollen_parent) == ("Echinocereus coccineus", "Echinocereus dasyacanthus")
    assert (whole.died, early.died) == (on(150), None)
    assert (whole.brushed, whole.pods, whole.dropped, whole.ripe) == ([BRUSH], 2, 1, [(on(70), 1)])
    assert (whole.lots[0].filled, whole.trays[0].looks, whole.trays[0].lost) == (30, [(on(100), 3)], True)
    assert (early.pods, [one.date for one in early.lots], early.trays) == (2, [on(70)], [])


def test_a_cross_called_over_was_not_yet_before_what_was_seen_later():
    cross = records.Cross(number="25-01", seed_parent="Echinocereus coccineus", closed_stage="germinate")
    kept = [
        records.Pollination(cross=cross.id, date=BRUSH),
        records.Observation(cross=cross.id, date=on(9), what="pods_set", count=2),
    ]
    sowing = records.Sowing(cross=cross.id, date=on(90), seeds=30)
    store = open_store("sqlite://")
    with store.writing("a season") as pen:
        pen.add(cross, *kept, sowing, records.Emergence(sowing=sowing.id, date=on(100), up=2))
    with store.reading() as page:
        told = [found(lives_of(page, on(day))[0], day) for day in (20, 95, 100)]
    assert told == [[("harvest", 60, False)], [("count", 97, False), ("give_up", 180, False)], []]


@pytest.mark.parametrize(
    ("seen", "kind", "father"),
    [
        ([("Echinocereus fendleri", None)], "one", "Echinocereus fendleri"),
        ([("Echinocereus fendleri", "unknown")], "one", ""),
        ([("Echinocereus fendleri", None), ("Echinocereus rigidissimus", "likely")], "several", ""),
    ],
)
def test_a_pollen_parent_is_told_where_it_is_one_and_known(seen, kind, father):
    cross = records.Cross(number="25-01", seed_parent="Echinocereus coccineus")
    late = records.Pollination(cross=cross.id, date=on(4), pollen_kind="one")
    early = records.Pollination(cross=cross.id, date=BRUSH, pollen_kind="one")
    store = open_store("sqlite://")
    with store.writing("a visit") as pen:
        pen.add(cross, late, early)
        pen.add(*(records.Pollen(pollination=early.id, name=name, certainty=sure) for name, sure in seen))
    with store.reading() as page:
        [one] = lives_of(page, on(10))
    assert (one.pollen_kind, one.pollen_parent, one.brushed) == (kind, father, [BRUSH, on(4)])


def test_what_was_taken_back_is_not_due():
    cross = records.Cross(number="25-01", seed_parent="Echinocereus coccineus")
    visit = records.Pollination(cross=cross.id, date=BRUSH)
    store = open_store("sqlite://")
    with store.writing("a visit") as pen:
        pen.add(cross, visit)
    with store.writing("a mistake") as pen:
        pen.withdraw(cross, visit)
    with store.reading() as page:
        assert lives_of(page, on(10)) == ()


def reminders():
    words = "Mind, the × of “25-01”; a comma, a semicolon and a backslash \\ stay"
    return [Reminder("a-swelling", date(2025, 5, 3), words, f"{words}\nand a second line " * 4, "bench 2")]


def unfolded(content):
    """Name, parameters and value of each line; lines that begin with a space go on the one before (RFC 5545, 3.1)."""
    assert content.endswith(b"\r\n")
    physical = content.removesuffix(b"\r\n").split(b"\r\n")
    assert all(len(line) <= 75 and b"\n" not in line and b"\r" not in line for line in physical)
    whole = content.removesuffix(b"\r\n").replace(b"\r\n ", b"").decode("utf-8").split("\r\n")
    return [tuple(re.fullmatch(r"([A-Z-]+)((?:;[^:]*)?):(.*)", line).groups()) for line in whole]


def unescaped(text):
    """A TEXT value: backslash, semicolon, comma and new line are written behind a backslash (RFC 5545, 3.3.11)."""
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", text)
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], text)


def test_a_calendar_is_what_rfc_5545_asks_for():
    """Read here line by line, and not by the library that wrote it."""
    stamp = datetime(2025, 5, 1, 9, 30, tzinfo=UTC)
    content = calendar_file("Hedgehogs: crosses", reminders(), stamp)
    assert content == calendar_file("Hedgehogs: crosses", reminders(), stamp)
    lines = unfolded(content)
    assert [(name, value) for name, _, value in lines if name in {"BEGIN", "END"}] == [
        ("BEGIN", "VCALENDAR"), ("BEGIN", "VEVENT"), ("BEGIN", "VALARM"),
        ("END", "VALARM"), ("END", "VEVENT"), ("END", "VCALENDAR"),
    ]  # fmt: skip
    start = lines.index(("BEGIN", "", "VEVENT"))
    head = {name: value for name, _, value in lines[:start]}
    assert (head["VERSION"], unescaped(head["X-WR-CALNAME"])) == ("2.0", "Hedgehogs: crosses")
    assert head["PRODID"]
    event = {
        name: (parameters, value) for name, parameters, value in lines[start : lines.index(("BEGIN", "", "VALARM"))]
    }
    assert event["UID"][1] == "a-swelling@crosscompat"
    assert event["DTSTAMP"] == ("", "20250501T093000Z")
    assert event["DTSTART"] == (";VALUE=DATE", "20250503")
    assert event["DTEND"] == (";VALUE=DATE", "20250504")  # the day after the last: 3.6.1
    [one] = reminders()
    assert unescaped(event["SUMMARY"][1]) == one.summary
    assert unescaped(event["DESCRIPTION"][1]) == one.description
    assert unescaped(event["LOCATION"][1]) == "bench 2"
    assert ("TRIGGER", "", "PT8H") in lines
    assert ("ACTION", "", "DISPLAY") in lines
