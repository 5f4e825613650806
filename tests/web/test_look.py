"""A look at a cross on a phone: found, tapped, counted, and the next one."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from threading import Barrier, Thread

import pytest
from typer.testing import CliRunner

from crosscompat.advice.season.cross_story import LOOKS
from crosscompat.advice.season.labels import labels_for
from crosscompat.book.records import Cross, Emergence, Loss, Observation, SeedLot, Sowing, new_id
from crosscompat.cli.app import app as command
from crosscompat.collection.opening import open_collection
from crosscompat.ground.wording import say
from crosscompat.show.label import code_text


def choices(page):
    """Return what can be tapped, in the order of the page."""
    return re.findall(r'name="seen" value="(\w+)"', page)


def cross_of(written, number):
    return written(Cross, number=number)[0]


@pytest.mark.parametrize("typed", ["26-05", "26 05", "26-5", " 2605 "])
def test_a_number_may_be_typed_in_any_way(phone, typed):
    assert "<h1>26-05</h1>" in phone.page(f"/look?number={typed}")


def test_what_the_code_of_a_label_says_opens_the_cross(phone, folder):
    text = code_text(labels_for(open_collection(folder), ["26-05"]).cards[0], invented=True)
    assert text.splitlines()[0] == "26-05"
    for pasted in (text, text.replace("\n", " "), text.replace("\n", "")):
        answer = phone.client.get("/look", query_string={"number": pasted}, follow_redirects=True)
        assert "<h1>26-05</h1>" in answer.text


def test_a_longer_number_is_not_taken_for_a_shorter_one(phone):
    page = phone.page("/look?number=26-059", code=404)
    assert 'value="26-059"' in page
    assert 'role="alert"' in page


def test_an_unknown_number_is_told_and_kept(phone, says):
    page = phone.page("/look?number=<b>99", code=404)
    assert say("addresses.unknown.cross", text="<b>99") in says(page)
    assert 'value="&lt;b&gt;99"' in page


def test_what_makes_sense_at_its_stage_comes_first(phone):
    swollen, ripe, up = (choices(phone.page(f"/look/{number}")) for number in ("26-05", "26-02", "24-02"))
    assert (swollen[0], ripe[0], up[0]) == ("ripe", "harvest", "up")
    for every in (swollen, ripe, up):
        assert sorted(every) == sorted(LOOKS)


def test_a_days_work_goes_from_one_due_cross_to_the_next(phone, written, says):
    due = re.findall(r'href="/look/([^"]+)"', phone.page("/look"))
    assert len(due) > 3
    number, seen = due[0], []
    for _ in due:
        page = phone.send(f"/look/{number}", seen="note", note=f"looked at {number}")
        assert "Saved." in says(page)
        seen.append(number)
        number = re.search(r'class="button main" href="/look/([^"]+)"', page)[1]
    assert seen == due
    assert number == due[0]
    assert all("looked at" in cross_of(written, number).note for number in due)


def test_from_pod_to_seedling(phone, written, says):
    cross = cross_of(written, "26-05").id
    page = phone.send("/look/26-05", seen="ripe", count="2", note="red by now")
    assert "2 ripe" in says(page)
    phone.send("/look/26-05", seen="harvest", count="2", seeds="31")
    page = phone.send("/look/26-05", seen="sown", count="20", place="tray 9")
    assert choices(page)[0] == "up"
    page = phone.send("/look/26-05", seen="up", count="3")
    assert "31 seeds, 20 sown, 3 seedlings" in says(page)
    assert written(Observation, cross=cross)[-1].note == "red by now"
    assert [(lot.pods, lot.seeds) for lot in written(SeedLot, cross=cross)] == [(2, 31)]
    [tray] = written(Sowing, cross=cross)
    assert (tray.place, tray.seeds) == ("tray 9", 20)
    assert [look.up for look in written(Emergence, sowing=tray.id)] == [3]


def test_only_good_seeds_leave_the_seeds_in_all_unknown(phone, written):
    phone.send("/look/26-05", seen="harvest", count="1", seeds="12", only_good="1")
    [lot] = written(SeedLot, cross=cross_of(written, "26-05").id)
    assert (lot.seeds, lot.filled) == (None, 12)


def test_an_end_is_noted(phone, written, says):
    phone.send("/look/26-04", seen="lost", note="mice")
    page = phone.send("/look/26-07", seen="over")
    assert [loss.cause for loss in written(Loss, cross=cross_of(written, "26-04").id)] == ["mice"]
    assert cross_of(written, "26-07").closed_stage == "germinate"
    assert say("observe.is_over", stage=say("look.stage.germinate")) in says(page)


def test_a_page_writes_what_the_command_writes(phone, folder, written, tmp_path):
    other = shutil.copytree(folder, tmp_path / "other")
    phone.send("/look/26-05", seen="ripe", count="2", note="soft", who="Ida", date="2026-08-01")
    arguments = ["observe", "26-05", "--ripe", "2", "--note", "soft", "--by", "Ida", "--on", "2026-08-01"]
    done = CliRunner().invoke(command, [*arguments, "--collection", str(other)])
    assert done.exit_code == 0, done.output
    by_page = written(Observation)
    shutil.rmtree(folder)
    shutil.copytree(other, folder)
    by_command = written(Observation)
    assert by_page[:-1] == by_command[:-1]
    assert replace(by_page[-1], id="") == replace(by_command[-1], id="")


def test_a_form_sent_twice_writes_once(phone, written, says):
    before, change = len(written(Observation)), new_id()
    for _ in range(2):
        page = phone.send("/look/26-05", change=change, seen="dropped", count="1")
    assert len(written(Observation)) == before + 1
    assert "Nothing more has been written" in says(page)
    phone.send("/look/26-05", seen="dropped", count="1")
    assert len(written(Observation)) == before + 2


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"seen": "ripe", "count": "two"}, say("web.no_number", text="two")),
        ({"seen": "ripe", "count": "-1"}, say("web.no_number", text="-1")),
        ({"seen": "ripe", "count": "9" * 5000}, "is no whole number"),
        ({"seen": "ripe"}, say("look.no_count")),
        ({"seen": "", "count": "1"}, say("look.which_first")),
        ({"seen": "units", "count": "1"}, say("look.which_first")),
        ({"seen": "ripe", "count": "1", "seeds": "4"}, say("look.lone_seeds")),
        ({"seen": "lost"}, say("look.no_cause")),
        ({"seen": "note"}, say("look.no_note")),
        ({"seen": "up", "count": "4"}, say("observe.no_tray")),
        ({"seen": "ripe", "count": "400"}, "400"),
        ({"seen": "ripe", "count": "1", "date": "31.2.2026"}, "31.2.2026"),
        ({"seen": "ripe", "count": "1", "date": "2099-01-01"}, "2099"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(phone, written, says, fields, why):
    before = written(Observation)
    page = phone.send("/look/26-05", code=409, **fields)
    assert why in says(page)
    assert written(Observation) == before
    for name, value in fields.items():
        assert re.search(rf'name="{name}" value="{re.escape(value)}"', page)


def test_what_was_refused_can_be_put_right_and_sent_again(phone, written, says):
    change = new_id()
    page = phone.send("/look/26-05", code=409, change=change, seen="ripe", count="two", note="red")
    assert f'name="change" value="{change}"' in page
    assert "2 ripe" in says(phone.send("/look/26-05", change=change, seen="ripe", count="2", note="red"))
    assert written(Observation)[-1].note == "red"


def test_fewer_than_before_is_asked_about_first(phone, written, says):
    before = len(written(Observation))
    page = phone.send("/look/26-05", seen="swelling", count="1", note="I looked twice")
    assert say("web.sure") in says(page)
    assert len(written(Observation)) == before
    assert "Saved." in says(phone.agree("/look/26-05", page))
    assert written(Observation)[-1].note == "I looked twice"
    assert "Nothing more" in says(phone.agree("/look/26-05", page))
    assert len(written(Observation)) == before + 1


def test_of_several_trays_one_is_chosen(phone, written, says):
    phone.send("/look/26-05", seen="harvest", count="2", seeds="31")
    for place in ("north", "south"):
        phone.send("/look/26-05", seen="sown", count="10", place=place)
    page = phone.page("/look/26-05")
    trays = dict(re.findall(r'<option value="([0-9a-f-]+)">(\w+)</option>', page))
    assert sorted(trays.values()) == ["north", "south"]
    assert "north, south" in says(phone.send("/look/26-05", code=409, seen="up", count="2"))
    south = next(tray for tray, place in trays.items() if place == "south")
    phone.send("/look/26-05", seen="up", count="2", tray=south)
    assert [look.up for look in written(Emergence, sowing=south)] == [2]


def test_a_script_is_only_text(phone):
    phone.send("/look/26-05", seen="ripe", count="2", note="<script>alert(1)</script>", who="<img src=x>")
    for where in ("/look/26-05", "/crosses/26-05"):
        page = phone.page(where)
        assert "<script>alert" not in page
        assert "<img src=x" not in page
    assert "&lt;script&gt;alert(1)" in phone.page("/crosses/26-05")


def test_a_form_of_nobodys_writes_nothing(phone, written):
    before = written(Observation)
    phone.page("/look/26-05")
    for token in ({}, {"token": "guessed"}):
        fields = {"change": new_id(), "seen": "ripe", "count": "2", **token}
        assert phone.client.post("/look/26-05", data=fields).status_code == 403
    assert written(Observation) == before


@pytest.mark.parametrize("same", [True, False])
def test_two_phones_at_once_lose_nothing(phone, written, same):
    before, changes, both = len(written(Observation)), [new_id(), new_id()], Barrier(2)
    answers = []

    def send(one, change, note):
        one.page("/look")
        both.wait()
        answers.append(one.send("/look/26-05", change=change, seen="dropped", count="1", note=note))

    notes = ("one", "the other")
    pairs = zip((phone, phone.another()), [changes[0]] * 2 if same else changes, notes, strict=True)
    threads = [Thread(target=send, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 2
    assert len(written(Observation)) == before + (1 if same else 2)
