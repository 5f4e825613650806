"""The page for the greenhouse as a file, and what a phone hands over from it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
from datetime import date, timedelta
from html.parser import HTMLParser
from uuid import UUID

import jsonschema
import pytest
from typer.testing import CliRunner

from crosscompat.advice.parents import find_parents
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.advice.season import pocket as carried
from crosscompat.advice.season.due import due_list
from crosscompat.book import records
from crosscompat.book.timelines import lives_of
from crosscompat.cli.app import app
from crosscompat.collection.opening import open_collection
from crosscompat.collection.settings import open_book
from crosscompat.ground.dates import today
from crosscompat.ground.wording import catalogue
from crosscompat.schemas import schema
from crosscompat.show.chances import one_in, whole_percent
from crosscompat.web.pocket import pocket_page

DAY = "2026-05-01"
EVIL = '</script><script>document.title="broken in"</script><img src=x onerror=alert(1)>'


@pytest.fixture
def own(demo, tmp_path):
    """A copy of the demonstration that may be written in."""
    return shutil.copytree(demo, tmp_path / "own")


@pytest.fixture
def book(own):
    """Read or write the book of the copy."""
    collection = open_collection(own)
    with open_book(own, collection.settings) as store:
        yield store


def page_of(folder, day=None):
    collection = open_collection(folder)
    with open_book(folder, collection.settings) as store:
        return pocket_page(carried.pocket(collection, store, day or today()), collection.settings)


def data_of(page):
    return json.loads(page.split('<script type="application/json" id="data">')[1].split("</script>")[0])


class Parts(HTMLParser):
    """Every tag with its attributes, and what stands in scripts and styles."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.inline, self._open = [], [], None
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._open = (tag, dict(attrs)) if tag in {"script", "style"} else None

    def handle_endtag(self, tag):
        self._open = None

    def handle_data(self, data):
        if self._open:
            self.inline.append((*self._open, data))


@pytest.fixture(scope="module")
def page(demo):
    return page_of(demo)


def test_a_page_of_300_plants_and_90_000_pairings_stays_under_two_megabytes(own, book):
    tips = open_collection(own).distances.tips
    with book.writing("many plants") as pen:
        there = len(pen.current(records.Plant))
        for n in range(300 - there):
            name = tips[n % len(tips)].replace("_", " ")
            pen.add(records.Plant(name=f"INVENTED-{n}", received_as=name, place=f"bench {n % 9}, row {n % 14}"))
    page = page_of(own)
    data = data_of(page)
    assert len(data["plants"]) == 300
    assert [len(base64.b64decode(data[side])) for side in ("mean", "low", "high")] == [90_000] * 3
    assert len(page.encode()) < 2_000_000


def test_nothing_outside_is_referenced(page):
    parts = Parts(page)
    assert {"src", "srcset", "action", "poster", "background", "style"}.isdisjoint(
        name for _, attributes in parts.tags for name in attributes
    )
    places = [attributes["href"] for _, attributes in parts.tags if "href" in attributes]
    assert len(places) > 6
    assert all(place.startswith("#") or place == "data:," for place in places)
    code = "".join(text for _, attributes, text in parts.inline if "type" not in attributes)
    assert len(code) > 10_000
    assert re.findall(r"https?:|//[a-z]|url\(|@import|\bimport\b|fetch\(|XMLHttp|WebSocket|sendBeacon", code) == []
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function", code)


def test_only_the_script_and_the_styles_of_the_page_may_run(page):
    parts = Parts(page)
    [policy] = [part["content"] for _, part in parts.tags if part.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules["default-src"] == "'none'"
    for tag, rule in (("style", "style-src"), ("script", "script-src")):
        [text] = [text for name, attributes, text in parts.inline if name == tag and "type" not in attributes]
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"


def test_a_script_in_every_name_field_stays_text(own, book):
    with book.writing("odd names") as pen:
        plant = records.Plant(name=EVIL, received_as=f"Echinocereus coccineus '{EVIL}'", place=EVIL)
        lot = records.PollenLot(name=f"lot {EVIL}", plant=plant.id)
        cross = records.Cross(number=EVIL, seed_plant=plant.id)
        visit = records.Pollination(cross=cross.id, date=today(), units=3, marker=EVIL, pollen_kind="one")
        pollen = records.Pollen(pollination=visit.id, name=EVIL)
        lots = records.SeedLot(cross=cross.id, name=EVIL, date=today())
        tray = records.Sowing(cross=cross.id, place=EVIL, date=today())
        pen.add(plant, lot, cross, visit, pollen, lots, tray)
    settings = own / "collection.toml"
    settings.write_text(re.sub(r'name = ".*"', f"name = {EVIL!r}", settings.read_text(), count=1))
    page = page_of(own)
    assert [tag for tag, _ in Parts(page).tags if tag in {"script", "img"}] == ["script", "script"]
    data = data_of(page)
    assert data["name"] == EVIL
    assert EVIL in [plant["name"] for plant in data["plants"]]
    assert EVIL in data["crosses"][0]["where"]


def test_every_day_for_two_months_it_tells_what_due_tells(demo, page):
    data, collection = data_of(page), open_collection(demo)
    seen = 0
    with open_book(demo, collection.settings) as store, store.reading() as reading:
        for n in range(carried.AHEAD):
            day = today() + timedelta(days=n)
            due = due_list(lives_of(reading, day), collection.settings, day).due
            shown = [one for one in data["due"] if one["shown_from"] <= day.isoformat() <= one["shown_until"]]
            assert sorted((one["id"], one["first"], one["last"]) for one in shown) == sorted(
                (one.id, one.first, one.last) for one in due
            )
            seen += len(due)
    assert seen > 100
    assert data["until"] == day.isoformat()


def test_the_chances_are_those_that_a_question_gets(demo, page):
    data, collection = data_of(page), open_collection(demo)
    names = [plant["name"] for plant in data["plants"]]
    mean, low, called = (base64.b64decode(data[side]) for side in ("mean", "low", "called"))
    model, told = basis_of(collection).model, set()
    for i, seed in enumerate(names):
        for j in range(i % 5, len(names), 5):
            place = i * len(names) + j
            if mean[place] == carried.NO_CHANCE:
                assert collection.plants.species(seed) == collection.plants.species(names[j])
                continue
            pair = find_parents(collection, seed, names[j])
            chance = chances_of(collection, model, parents_of([pair]), data["flowers"])
            assert (mean[place], low[place]) == (whole_percent(chance.mean[0]), whole_percent(chance.low[0]))
            assert data["words"][called[place]] == one_in(chance.mean[0])
            told.add(mean[place])
    assert len(told) > 20


def test_every_pairing_has_a_line_why(page):
    data = data_of(page)
    n = len(data["species"])
    assert [len(row) for row in data["why"]] == [n] * n
    assert {place for row in data["why"] for place in row} <= set(range(len(data["whys"])))
    assert any("You made this cross" in says for says in data["whys"])
    assert len(data["whys"]) > 5


def test_it_says_its_day_and_that_outcomes_are_invented(page, own):
    assert "The outcomes in this collection are invented." in page
    settings = own / "collection.toml"
    settings.write_text(settings.read_text().replace("invented = true", "invented = false"))
    (own / "model.json").unlink()
    older = page_of(own, date(2026, 5, 1))
    assert "outcomes in this collection" not in older
    assert "as of 1 May" in older


def test_every_sentence_of_the_script_is_said_and_exists(page):
    script = next(text for tag, part, text in Parts(page).inline if tag == "script" and "type" not in part)
    sentences = catalogue("pocket")["script"]
    assert [key for key in sentences if f'"{key}"' not in script] == []
    assert [key for key in re.findall(r'\bsay\("(\w+)"', script) if key not in sentences] == []


def entry(n, kind="pollination", **fields):
    """What a phone writes down; each has an identifier of its own."""
    usual = {"seed": "COC-F1", "pollen": "DAS-1", "flowers": 4} if kind == "pollination" else {}
    return {"id": str(UUID(int=n, version=4)), "kind": kind, "date": DAY, "time": "19:30"} | usual | fields


@pytest.fixture
def hand_over(own, book, tmp_path):
    """Hand entries over, and import them as JSON."""

    def hand_over(*entries, code=0, options=(), name=f"greenhouse-{DAY}.json", **more):
        content = {"schema": "crosscompat.pocket/1", "book": book.identity, "collection": "x", "entries": entries}
        file = tmp_path / name
        file.write_text(json.dumps(content | more))
        outcome = CliRunner().invoke(app, ["import", str(file), "--collection", str(own), "--json", *options])
        assert outcome.exit_code == code, outcome.output
        answer = json.loads(outcome.stdout)
        jsonschema.Draft202012Validator(schema(answer["schema"])).validate(answer)
        return answer

    return hand_over


def outcomes(answer):
    return [one["outcome"] for one in answer["entries"]]


def test_a_hand_over_given_twice_is_written_once(hand_over, book):
    entries = [
        entry(1, bag=True, marker="red thread", note="in full sun", who="A. Grower"),
        entry(2, "look", cross="26-01", note="colouring"),
        entry(3, "flowers", plant="DAS-1", count=6),
    ]
    assert outcomes(hand_over(*entries)) == ["written"] * 3
    with book.reading() as page:
        before = page.changes()
        assert [change.uid for change in before[-3:]] == [one["id"] for one in entries]
        [visit] = page.current(records.Pollination, date=date(2026, 5, 1), marker="red thread")
        assert (visit.units, visit.count_how, visit.isolation, visit.who) == (4, "counted", "bag", "A. Grower")
        assert str(visit.hour) == "19:30:00"
        assert len(page.current(records.GivenForecast, cross=visit.cross)) == 1
        assert len(page.current(records.Flowering, date=date(2026, 5, 1), open_flowers=6)) == 1
    assert outcomes(hand_over(*entries, entry(4, "flowers", plant="DAS-1", count=0))) == ["there"] * 3 + ["written"]
    with book.reading() as page:
        assert len(page.changes()) == len(before) + 1
        assert len(page.current(records.Pollination, date=date(2026, 5, 1), marker="red thread")) == 1


def test_it_is_written_as_the_command_writes_it(hand_over, book, own):
    hand_over(entry(1))
    typed = ["pollinate", "COC-F1", "DAS-2", "4", "--on", DAY, "--collection", str(own)]
    assert CliRunner().invoke(app, typed).exit_code == 0
    with book.reading() as page:
        ours, theirs = page.current(records.Cross)[-2:]
        assert (ours.seed_plant, ours.kind) == (theirs.seed_plant, theirs.kind)
        [one], [other] = (page.current(records.Pollination, cross=cross.id) for cross in (ours, theirs))
        assert (one.units, one.count_how, one.pollen_kind) == (other.units, other.count_how, other.pollen_kind)
        assert [int(cross.number.split("-")[1]) for cross in (ours, theirs)] == [8, 9]


def test_all_that_a_look_shows_is_written(hand_over, book):
    hand_over(entry(1))
    with book.reading() as page:
        cross = page.current(records.Cross)[-1]
    looks = [
        entry(2, "look", cross=cross.id, date="2026-05-20", swelling=3, dropped=1),
        entry(3, "look", cross=cross.number, date="2026-07-20", harvest=2, seeds=80, sown=None),
        entry(4, "look", cross=cross.number, date="2026-08-01", sown=60),
        entry(5, "look", cross=cross.number, date="2026-08-20", up=12, note="strong"),
        entry(6, "look", cross=cross.number, date="2026-09-20", lost="snails"),
    ]
    assert outcomes(hand_over(*looks)) == ["written"] * 5
    with book.reading() as page:
        counts = {one.what: one.count for one in page.current(records.Observation, cross=cross.id)}
        assert counts == {"pods_set": 3, "pods_dropped": 1}
        [lot] = page.current(records.SeedLot, cross=cross.id)
        [tray] = page.current(records.Sowing, cross=cross.id)
        [up] = page.current(records.Emergence, sowing=tray.id)
        [loss] = page.current(records.Loss, cross=cross.id)
    assert (lot.pods, lot.seeds, tray.lot, tray.seeds, up.up, up.note) == (2, 80, lot.id, 60, 12, "strong")
    assert (loss.cause, loss.against) == ("snails", "unsure")


def test_a_look_may_name_a_cross_by_the_visit_that_began_it_on_the_phone(hand_over, book):
    entries = [entry(1), entry(2, "look", cross=entry(1)["id"], number="COC-F1 × DAS-1", date="2026-05-20", swelling=3)]
    assert outcomes(hand_over(*entries, options=["--dry-run"])) == ["written"] * 2
    assert outcomes(hand_over(*entries)) == ["written"] * 2
    later = entry(3, "look", cross=entry(1)["id"], date="2026-05-28", swelling=4)
    assert outcomes(hand_over(later)) == ["written"]
    with book.reading() as page:
        cross = page.current(records.Cross)[-1]
        assert [one.count for one in page.current(records.Observation, cross=cross.id)] == [3, 4]
    assert outcomes(hand_over(entry(4, "look", cross=entry(9)["id"], swelling=1), code=3)) == ["refused"]


FAULTS = {
    "plant is gone": (entry(11, seed="COC-F99"), "COC-F99", "crosscompat pollinate COC-F99 DAS-1"),
    "unknown plant in flower": (entry(12, "flowers", plant="NO-SUCH", count=2), "NO-SUCH", "crosscompat plant"),
    "no such cross": (entry(13, "look", cross="26-99", swelling=1), "26-99", "crosscompat observe 26-99 --swelling 1"),
    "more pods than flowers": (entry(14, "look", cross="26-07", swelling=400), "400", "crosscompat observe 26-07"),
    "a male as mother": (entry(15, seed="COC-M1"), "COC-M1", "--anyway"),
    "still to come": (entry(16, date="2999-01-01"), "2999", "by hand"),
    "no number": (entry(17, flowers="many"), "flowers", "by hand"),
    "no day": (entry(18, date="soon"), "day", "by hand"),
    "no kind": (entry(19, "sneeze"), "sneeze", "by hand"),
    "nothing seen": (entry(20, "look", cross="26-01"), "what was seen", "by hand"),
    "no pollen": (entry(21, pollen=None), "pollen", "by hand"),
    "no identifier": (entry(22) | {"id": "1"}, "identifier", "by hand"),
    "a flag for a number": (entry(23, flowers=True), "flowers", "by hand"),
    "no entry": ("hello", "no entry", "by hand"),
}


def test_what_cannot_be_written_is_told_all_together_and_the_rest_is_in(hand_over, book):
    bad = [content for content, _, _ in FAULTS.values()]
    answer = hand_over(entry(1), *bad, entry(2, "flowers", plant="DAS-1", count=6), code=3)
    assert outcomes(answer) == ["written", *["refused"] * len(bad), "written"]
    for (name, (_, why, advice)), told in zip(FAULTS.items(), answer["entries"][1:-1], strict=True):
        assert why in told["why"], name
        assert advice in told["advice"], name
    with book.reading() as page:
        assert [change.uid for change in page.changes()[-2:]] == [entry(1)["id"], entry(2)["id"]]


def test_a_dry_run_says_the_same_and_writes_nothing(hand_over, book):
    with book.reading() as page:
        before = page.changes()
    entries = [entry(1), entry(2, seed="COC-F99")]
    answer = hand_over(*entries, code=3, options=["--dry-run"])
    assert outcomes(answer) == ["written", "refused"]
    assert answer["dry_run"]
    with book.reading() as page:
        assert page.changes() == before
    assert outcomes(hand_over(*entries, code=3)) == ["written", "refused"]


def test_what_was_asked_about_is_written_with_anyway_under_the_same_identifier(hand_over, book):
    odd = entry(1, seed="COC-M1")
    assert outcomes(hand_over(odd, code=3)) == ["refused"]
    assert outcomes(hand_over(odd, options=["--anyway"])) == ["written"]
    with book.reading() as page:
        assert page.changes()[-1].uid == odd["id"]
        assert page.current(records.Pollination, date=date(2026, 5, 1))[-1].overruled == "male as seed parent"
    assert outcomes(hand_over(odd)) == ["there"]


def test_what_a_change_took_back_does_not_come_in_again(hand_over, own, book):
    hand_over(entry(1))
    assert CliRunner().invoke(app, ["undo", "--collection", str(own)]).exit_code == 0
    with book.reading() as page:
        crosses = page.current(records.Cross)
    assert outcomes(hand_over(entry(1))) == ["there"]
    with book.reading() as page:
        assert page.current(records.Cross) == crosses


def refused(own, file):
    outcome = CliRunner().invoke(app, ["import", str(file), "--collection", str(own)])
    assert outcome.exit_code == 2, outcome.output
    return outcome.output


def test_a_file_of_another_book_or_cut_off_is_refused_as_a_whole(own, book, tmp_path):
    with book.reading() as page:
        before = page.changes()
    file = tmp_path / "greenhouse.json"
    whole = json.dumps({"schema": "crosscompat.pocket/1", "book": book.identity, "entries": [entry(1)]})
    for text, says in (
        (whole.replace(book.identity, "another"), "belongs to another collection"),
        (whole[:-20], "cut off"),
        ("[" * 100_000, "cut off"),
        ('{"schema": "crosscompat.due/1"}', "does not call itself"),
        ("[]", "does not call itself"),
    ):
        file.write_text(text)
        assert says in " ".join(refused(own, file).split())
    with book.reading() as page:
        assert page.changes() == before


def test_a_phone_may_call_the_file_a_text(hand_over):
    assert outcomes(hand_over(entry(1), name="greenhouse-2026-05-01.txt")) == ["written"]


def test_in_words_each_entry_has_its_line_and_what_to_do_next(own, book, tmp_path):
    file = tmp_path / "greenhouse.json"
    entries = [entry(1), entry(2, seed="COC-F99")]
    file.write_text(json.dumps({"schema": "crosscompat.pocket/1", "book": book.identity, "entries": entries}))
    outcome = CliRunner().invoke(app, ["import", str(file), "--collection", str(own)], env={"COLUMNS": "100"})
    assert outcome.exit_code == 3
    assert "+ COC-F1 × DAS-1, 4 flowers, 1 May" in outcome.output
    assert "! COC-F99 × DAS-1, 4 flowers, 1 May" in outcome.output
    assert "1 entry written" in outcome.output
    assert "1 entry could not be written" in outcome.output


def test_a_newer_page_knows_what_is_in_the_book(hand_over, own):
    hand_over(entry(1))
    assert entry(1)["id"] in data_of(page_of(own))["entered"]
