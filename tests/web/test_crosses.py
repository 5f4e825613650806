"""The crosses on a phone: found, opened, put right, undone, labelled and taken along."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from datetime import date, timedelta
from html import unescape
from threading import Barrier, Thread
from urllib.parse import quote, unquote

import pytest
from markupsafe import escape

from crosscompat.advice.season.cross_list import STATES, cross_lines, matching
from crosscompat.advice.season.labels import labels_for
from crosscompat.book import records
from crosscompat.book.import_export.whole_book import book_in, read_book, write_book
from crosscompat.book.records import Cross, Observation, Plant, Pollination, new_id
from crosscompat.collection.opening import open_collection
from crosscompat.collection.settings import FILE_NAME, open_book, read_settings
from crosscompat.ground.wording import say
from crosscompat.show.label import labels_page


def listed(page):
    """Return the numbers of the crosses that a page lists."""
    return [unquote(unescape(one)) for one in re.findall(r'<li><a href="/crosses/([^"]+)">', page)]


def add(folder, *entries):
    """Write records by hand."""
    with open_book(folder, read_settings(folder / FILE_NAME)) as store, store.writing("by hand") as pen:
        pen.add(*entries)


def with_visit(number, day=date(2026, 11, 1), **more):
    """Return a cross of a number with one visit."""
    cross = Cross(number=number, seed_parent="Echinocereus coccineus", **more)
    return cross, Pollination(cross=cross.id, date=day, units=3)


def test_the_newest_come_first_fifty_at_a_time(phone, folder):
    add(folder, *(one for n in range(40) for one in with_visit(f"new {n:02}", date(2026, 10, 1) + timedelta(n))))
    numbers, where = [], "/crosses"
    while where:
        page = phone.page(where)
        found, more = listed(page), re.search(r'rel="next" href="([^"]+)"', page)
        assert len(found) <= 50
        numbers += found
        where = more and more[1].replace("&amp;", "&")
    every = [line.number for line in cross_lines(open_collection(folder))]
    assert numbers == every
    assert numbers[0] == "new 39"
    assert len(every) == 126


@pytest.mark.parametrize("page", ["0", "99", "-1", "x", "9" * 5000])
def test_a_page_that_is_none_is_the_nearest(phone, page):
    assert listed(phone.page(f"/crosses?page={page}"))


def test_text_and_state_narrow_the_list(phone, folder):
    lines = cross_lines(open_collection(folder))
    for state in STATES:
        assert len(listed(phone.page(f"/crosses?state={state}"))) == min(50, len(matching(lines, state=state)))
    assert sum(len(matching(lines, state=state)) for state in STATES) == len(lines)
    assert {one.state for one in lines} >= {"open", "took", "failed"}
    assert listed(phone.page("/crosses?q=26-05")) == ["26-05"]
    assert listed(phone.page("/crosses?q=STR-1+poselgeri&state=open")) == ["26-05"]
    assert listed(phone.page("/crosses?q=STR-1+poselgeri&state=took")) == []


def test_a_line_says_what_came_of_it(folder):
    says = {line.number: line.says for line in cross_lines(open_collection(folder))}
    fruit = read_settings(folder / FILE_NAME).fruit_word
    assert fruit == "fruit"
    assert says["26-07"] == say("crosses_listed.under_way", how_far=say("crosses_listed.how_far.pollinated"))
    assert says["25-13"] == say("ask.outcome.took")
    assert says["26-06"] == say("ask.outcome.failed")


@pytest.mark.parametrize(
    ("seen", "how_far"),
    [
        (("swelling", "0"), "none_swelling"),
        (("swelling", "2"), "swelling"),
        (("ripe", "2"), "ripe"),
        (("harvest", "1"), "harvested"),
    ],
)
def test_how_far_a_cross_has_come(phone, folder, seen, how_far):
    what, count = seen
    phone.send("/look/26-07", seen=what, count=count, **({"seeds": "9"} if what == "harvest" else {}))
    line = next(one for one in cross_lines(open_collection(folder)) if one.number == "26-07")
    assert (line.state, line.says) in {
        ("open", say("crosses_listed.under_way", how_far=say(f"crosses_listed.how_far.{how_far}"))),
        ("failed", say("ask.outcome.failed")),
    }
    assert (line.state == "failed") == (count == "0")


def test_a_cross_shows_its_story_odds_and_history(phone, says):
    page = says(phone.page("/crosses/26-02"))
    for part in ("visits", "counts"):
        assert say(f"observe.parts.{part}") in page
    assert "Forecast of" in page
    assert "tables imported" in page
    assert phone.page("/crosses/nothing", code=404)


def test_one_thing_is_put_right_by_a_new_entry(phone, written, says):
    visit = written(Pollination, cross=written(Cross, number="26-05")[0].id)[0]
    assert f"/correct/{visit.id}" in phone.page("/crosses/26-05")
    assert f"/correct/{visit.id}?field=units" in phone.page(f"/correct/{visit.id}")
    assert 'value="3"' in phone.page(f"/correct/{visit.id}?field=units")
    page = phone.send(f"/correct/{visit.id}?field=units", value="4")
    assert "<h1>26-05</h1>" in page
    assert "units: 3 → 4" in says(page)
    assert written(Pollination, id=visit.id) == (replace(visit, units=4),)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("units", "some"),
        ("units", "1"),
        ("date", "31.2.2026"),
        ("date", ""),
        ("nothing", "4"),
        ("units", "3"),
        ("", ""),
    ],
)
def test_a_correction_that_cannot_be_is_refused_and_stays_typed(phone, written, field, value):
    visit = written(Pollination, cross=written(Cross, number="26-05")[0].id)[0]
    page = phone.send(f"/correct/{visit.id}?field={field}", code=409, value=value)
    assert f'name="value" value="{value}"' in page
    assert written(Pollination, id=visit.id) == (visit,)


def test_a_correction_sent_twice_writes_once(phone, folder, written, says):
    visit, change = written(Pollination, cross=written(Cross, number="26-05")[0].id)[0], new_id()
    phone.send(f"/correct/{visit.id}?field=units", change=change, value="4")
    page = phone.send(f"/correct/{visit.id}?field=units", change=change, value="4")
    assert "<h1>26-05</h1>" in page
    with open_book(folder, read_settings(folder / FILE_NAME)) as store, store.reading() as book:
        assert len(book.versions(Pollination, ids=[visit.id])) == 2


def test_a_forecast_stays_as_it_was_given(phone, written, says):
    given = written(records.GivenForecast)[0]
    assert say("crosses_listed.no_correction") in says(phone.page(f"/correct/{given.id}"))
    phone.send(f"/correct/{given.id}?field=mean", code=409, value="0.9")
    assert phone.page("/correct/nothing", code=404)


def test_a_record_is_taken_back(phone, written, says):
    phone.send("/look/26-05", seen="dropped", count="1", note="a mistake")
    count = written(Observation)[-1]
    assert "a mistake" in says(phone.page(f"/withdraw/{count.id}"))
    page = phone.send(f"/withdraw/{count.id}?of=26-05")
    assert "<h1>26-05</h1>" in page
    assert count not in written(Observation)
    phone.send(f"/withdraw/{written(Cross, number='26-05')[0].id}?of=26-05", code=409)
    page = phone.send(f"/withdraw/{written(Cross, number='26-05')[0].id}?of=26-05", with_rest="1")
    assert "26-05" not in listed(page)
    assert written(Cross, number="26-05") == ()


def test_the_last_change_is_undone_once_it_is_agreed(phone, written, says):
    before = written(Observation)
    phone.send("/look/26-05", seen="dropped", count="1", note="by mistake")
    where = re.search(r'href="(/undo/\d+\?of=26-05)"', phone.page("/crosses/26-05"))[1]
    page = phone.page(where)
    assert "by mistake" in says(page)
    assert len(written(Observation)) == len(before) + 1
    change = new_id()
    for _ in range(2):
        page = phone.send(where, change=change)
        assert "<h1>26-05</h1>" in page
    assert written(Observation) == before
    assert re.search(r'href="(/undo/\d+\?of=26-05)"', page)[1] != where
    phone.send(where, code=409)
    assert phone.page("/undo/999", code=404)


def test_an_undo_says_what_else_would_go_and_can_be_undone(phone, folder, written, says):
    assert " of it do not belong to 26-05" in says(phone.page("/undo/1?of=26-05"))
    phone.send("/look/26-05", seen="dropped", count="1")
    last = unescape(re.search(r'href="(/undo/[^"]+)"', phone.page("/crosses/26-05"))[1])
    assert "do not belong to" not in says(phone.page(last))
    before = written(Observation)
    phone.send(last)
    assert written(Observation) == before[:-1]
    again = unescape(re.search(r'href="(/undo/[^"]+)"', phone.page("/crosses"))[1])
    phone.send(again)
    assert written(Observation) == before


def test_undoing_a_cross_leads_to_the_list(phone, written):
    before = set(written(Cross))
    phone.send("/pollinate", seed="STR-1", pollen="POS-1", flowers="2")
    [new] = set(written(Cross)) - before
    where = re.search(r'href="(/undo/[^"]+)"', phone.page(f"/crosses/{new.number}"))[1]
    assert len(listed(phone.send(where))) == 50
    assert written(Cross, number=new.number) == ()


def test_the_label_is_that_of_the_command_and_only_its_own_style_is_let_in(phone, folder):
    labels = labels_for(open_collection(folder), ["26-05"])
    answer = phone.client.get("/label/26-05")
    assert answer.text == labels_page(labels.cards, invented=True)
    [style] = re.findall("<style>(.*?)</style>", answer.text, re.DOTALL)
    policy = answer.headers["Content-Security-Policy"]
    assert base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() in policy
    assert "unsafe" not in policy
    assert " style=" not in answer.text
    assert "default-src 'none'" in phone.client.get("/crosses/26-05").headers["Content-Security-Policy"]


def test_the_whole_book_goes_out_as_the_command_writes_it(phone, folder, tmp_path):
    answer = phone.client.get("/export.zip")
    assert answer.headers["Content-Disposition"].startswith("attachment")
    with open_book(folder, read_settings(folder / FILE_NAME)) as store, store.reading() as page:
        whole = book_in(page)
    write_book(whole, tmp_path / "book.zip", invented=True, collection=folder)
    assert answer.data == (tmp_path / "book.zip").read_bytes()
    assert read_book(tmp_path / "book.zip").changes == whole.changes


@pytest.mark.parametrize("number", ["26/014", "a b", "100%", "<script>alert(1)</script>", "?x=1&y", "../look", "#3"])
def test_any_number_opens_and_none_is_more_than_text(phone, folder, number):
    add(folder, *with_visit(number, note="<script>alert(2)</script>"))
    page = phone.page("/crosses")
    assert "<script>alert" not in page
    assert listed(page)[0] == number
    where = unescape(re.search(r'<li><a href="/crosses/([^"]+)">', page)[1])
    for page in (phone.page(f"/crosses/{where}"), phone.page(f"/look/{where}")):
        assert "<script>alert" not in page
        assert f"<h1>{escape(number)}</h1>" in page
    assert phone.client.get(f"/label/{where}").status_code == 200
    assert listed(phone.page(f"/crosses?q={quote(number)}"))[0] == number


def test_a_cross_without_a_number_opens(phone, folder):
    cross, visit = with_visit(None)
    add(folder, cross, visit)
    number = listed(phone.page("/crosses"))[0]
    assert cross.id.startswith(number)
    assert cross.id in phone.page(f"/crosses/{number}")


def test_a_script_in_a_plants_name_is_only_text(phone, folder):
    plant = Plant(name="<script>alert(3)</script>", received_as="<b>bold</b>")
    cross = Cross(number="evil", seed_plant=plant.id, aim="<i>")
    add(folder, plant, cross, Pollination(cross=cross.id, date=date(2026, 11, 1)))
    for where in ("/crosses", "/crosses/evil", "/look/evil", f"/correct/{cross.id}", f"/correct/{plant.id}?field=name"):
        page = phone.page(where)
        assert "<script>alert" not in page
        assert "<b>bold" not in page
    assert "<script>alert" not in phone.client.get("/label/evil").text


def test_two_phones_that_correct_at_once_both_hold(phone, written):
    visit = written(Pollination, cross=written(Cross, number="26-05")[0].id)[0]
    both, answers = Barrier(2), []

    def send(one, field, value):
        one.page("/look")
        both.wait()
        answers.append(one.send(f"/correct/{visit.id}?field={field}", value=value))

    pairs = ((phone, "units", "4"), (phone.another(), "note", "on the left"))
    threads = [Thread(target=send, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 2
    assert written(Pollination, id=visit.id) == (replace(visit, units=4, note="on the left"),)


def test_nothing_is_written_without_the_token_of_the_page(phone, written):
    visit = written(Pollination)[-1]
    phone.page("/look")
    for where in (f"/correct/{visit.id}?field=units", f"/withdraw/{visit.id}", "/undo/1"):
        assert phone.client.post(where, data={"change": new_id(), "value": "9"}).status_code == 403
    assert visit in written(Pollination)
