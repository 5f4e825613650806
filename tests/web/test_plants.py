"""The plants on a phone: listed, added, in flower or not, their pollen, and their cards."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from threading import Barrier, Thread
from urllib.parse import unquote

import pytest

from crosscompat.book.records import Determination, Finding, Flowering, Plant, PollenLot, new_id
from crosscompat.ground.dates import today
from crosscompat.ground.wording import say


def listed(page):
    """Return the names of the plants that a page lists."""
    return [unquote(unescape(one)) for one in re.findall(r'<li><a href="/plants/([^"]+)">', page)]


def line_of(page, name):
    """Return what a page lists of a plant."""
    return re.search(rf"<li>(?:(?!</li>).)*<b>{re.escape(name)}</b>.*?</li>", page, re.DOTALL)[0]


def test_every_plant_is_listed_with_what_it_is(phone, written):
    page = phone.page("/plants")
    assert sorted(listed(page)) == sorted(plant.name for plant in written(Plant))
    assert "Echinocereus coccineus" in line_of(page, "COC-F1")
    assert "female" in line_of(page, "COC-F1")
    assert listed(phone.page("/plants?q=reichenbachii+2")) == ["REI-2"]
    assert listed(phone.page("/plants?q=nothing")) == []


def test_a_plant_is_added(phone, written, says):
    page = phone.send(
        "/plants", name="NEW 1", species="E. fendleri", sex="male", place="north bench", source="a friend", note="small"
    )
    assert "<h1>NEW 1</h1>" in page
    assert "Echinocereus fendleri" in says(page)
    [plant] = written(Plant, name="NEW 1")
    assert (plant.place, plant.source, plant.note) == ("north bench", "a friend", "small")
    assert [one.name for one in written(Determination, plant=plant.id)] == ["Echinocereus fendleri"]
    assert [(one.what, one.value) for one in written(Finding, plant=plant.id)] == [("sex", "male")]
    line = line_of(phone.page("/plants?q=north"), "NEW 1")
    assert "male" in line
    assert "north bench" in line


def test_a_name_alone_is_enough(phone, written):
    assert "<h1>X9</h1>" in phone.send("/plants", name="X9", species="", sex="", place="", source="", note="")
    assert len(written(Plant, name="X9")) == 1


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"name": " ", "place": "shelf"}, say("planting.no_name")),
        ({"name": "COC-F1", "place": "shelf"}, say("planting.there", name="COC-F1")),
        ({"name": "coc f1", "place": "shelf"}, say("planting.there", name="COC-F1")),
        ({"name": "Y1", "species": "×× 12 ((", "place": "shelf"}, "×× 12 (("),
    ],
)
def test_a_plant_that_cannot_be_is_refused_and_stays_typed(phone, written, says, fields, why):
    before = written(Plant)
    page = phone.send("/plants", code=409, **fields)
    assert why in says(page)
    assert 'name="place" value="shelf"' in page
    assert written(Plant) == before


def test_open_flowers_are_noted_and_show_on_every_page(phone, written, says):
    assert say("bench.open", n=4) not in phone.page("/plants")
    page = phone.send("/plants/COC-F1", open_flowers="4")
    assert "open now: 4 flowers" in says(page)
    [seen] = written(Flowering, plant=written(Plant, name="COC-F1")[0].id, date=today())
    assert seen.open_flowers == 4
    assert say("bench.open", n=4) in line_of(phone.page("/plants"), "COC-F1")
    phone.send("/plants/DAS-1", open_flowers="3")
    assert "COC-F1" in says(phone.page("/")).partition(say("web.in_flower"))[2]
    phone.send("/plants/COC-F1", open_flowers="0")
    assert say("bench.not_open") in line_of(phone.page("/plants"), "COC-F1")


def test_pollen_is_kept(phone, written, says):
    page = phone.send("/plants/COC-M1", pollen="M1 spring", kept="fridge")
    assert "M1 spring" in says(page).partition(say("plant.line.pollen"))[2]
    [lot] = written(PollenLot, name="M1 spring")
    assert (lot.kept, lot.collected) == ("fridge", today())
    assert lot.plant == written(Plant, name="COC-M1")[0].id
    yesterday = today() - timedelta(days=1)
    phone.send("/plants/COC-M1", pollen="M1 again", collected=yesterday.isoformat())
    assert written(PollenLot, name="M1 again")[0].collected == yesterday


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"open_flowers": "many"}, say("web.no_number", text="many")),
        ({"open_flowers": "-2"}, say("web.no_number", text="-2")),
        ({"open_flowers": ""}, say("bench.nothing_said")),
        ({"pollen": "", "kept": "fridge"}, say("bench.which_lot")),
        ({"pollen": "lot", "collected": "31.2.2026"}, "31.2.2026"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(phone, written, says, fields, why):
    before = written(Flowering), written(PollenLot)
    page = phone.send("/plants/COC-M1", code=409, **fields)
    assert why in says(page)
    for name, value in fields.items():
        assert f'name="{name}" value="{value}"' in page
    assert (written(Flowering), written(PollenLot)) == before


def test_the_lot_of_another_plant_is_refused(phone, written):
    phone.send("/plants/COC-M1", pollen="spring")
    phone.send("/plants/COC-M2", code=409, pollen="spring")
    assert len(written(PollenLot, name="spring")) == 1


def test_a_form_sent_twice_writes_once(phone, written, says):
    change = new_id()
    for _ in range(2):
        page = phone.send("/plants", change=change, name="NEW 1")
        assert "<h1>NEW 1</h1>" in page
    assert "Nothing more has been written" in says(page)
    assert len(written(Plant, name="NEW 1")) == 1
    before, change = len(written(Flowering)), new_id()
    for _ in range(2):
        phone.send("/plants/NEW 1", change=change, open_flowers="2")
    assert len(written(Flowering)) == before + 1


def test_a_card_leads_to_what_is_put_right_and_undone(phone, written, says):
    phone.send("/plants", name="NEW 1", place="shelf")
    plant = written(Plant, name="NEW 1")[0]
    page = phone.send(f"/correct/{plant.id}?field=place", value="bench")
    assert "<h1>NEW 1</h1>" in page
    assert written(Plant, id=plant.id)[0].place == "bench"
    where = unescape(re.search(r'href="(/undo/[^"]+)"', page)[1])
    assert "<h1>NEW 1</h1>" in phone.send(where)
    assert written(Plant, id=plant.id)[0].place == "shelf"
    assert "No such" not in says(phone.page("/plants/NEW 1"))
    assert phone.page("/plants/nobody", code=404)


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "a/b", "100%", "x?y", 'q"q', "{{ 7 * 7 }}"])
def test_any_name_opens_and_none_is_more_than_text(phone, written, name):
    page = phone.send("/plants", name=name, species="Echinocereus fendleri", place="<b>bold</b>", note="<i>n</i>")
    for shown in (page, phone.page("/plants"), phone.page("/look"), phone.page("/pollinate")):
        assert "<script>alert" not in shown
        assert "<b>bold" not in shown
        assert "<i>n</i>" not in shown
    assert name in listed(phone.page("/plants"))
    where = re.search(rf'<li><a href="([^"]+)"><b>{re.escape(_escaped(name))}</b>', phone.page("/plants"))[1]
    assert f"<h1>{_escaped(name)}</h1>" in phone.page(unescape(where))
    phone.send(unescape(where), open_flowers="1")
    assert len(written(Flowering, plant=written(Plant, name=name)[0].id)) == 1


def _escaped(text):
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&#34;")


def test_two_phones_at_once_add_one_plant_of_a_name(phone, written):
    both, codes = Barrier(2), []

    def send(one, place):
        one.page("/look")
        with one.client.session_transaction() as session:
            token = session["token"]
        both.wait()
        form = {"token": token, "change": new_id(), "name": "TWIN", "place": place}
        codes.append(one.client.post("/plants", data=form).status_code)

    threads = [Thread(target=send, args=pair) for pair in ((phone, "left"), (phone.another(), "right"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(codes) == [302, 409]
    assert len(written(Plant, name="TWIN")) == 1
