"""Today and the brush: what is due, what can be crossed, and a visit that is written once."""

from __future__ import annotations

import pytest

from crosscompat.book.records import Cross, Flowering, Plant, Pollination
from crosscompat.book.store import open_store
from crosscompat.ground.dates import today


def visits(folder):
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        return page.current(Pollination)


def flowering(folder, *names):
    with open_store(folder / "book.sqlite") as store, store.writing("seen") as pen:
        plants = {plant.name: plant.id for plant in pen.current(Plant)}
        pen.add(*(Flowering(plant=plants[name], date=today(), open_flowers=4) for name in names))


def test_today_says_what_is_due_by_plant_and_that_it_is_invented(client):
    said = client.get("/")
    assert "The crosses in this collection are invented." in said
    assert "26-01" in said
    assert "COC-F1" in said
    assert said.index("To look at this week") < said.index("In flower now")


def test_plants_in_flower_offer_their_pollen_the_best_first(client, folder):
    flowering(folder, "COC-F1", "DAS-1", "FAS-1")
    said = client.get("/")
    assert "× FAS-1" in said
    assert "× DAS-1" in said
    client.get("/pollinate?seed=COC-F1")
    assert client.words.index("FAS-1") < client.words.index("DAS-1")


def test_a_visit_is_written_once_however_often_it_is_sent(client, folder):
    before = len(visits(folder))
    client.get("/pollinate?seed=COC-F1&pollen=DAS-1")
    fields = client.hidden("/pollinate")
    said = client.send("/pollinate", flowers="3", bag="1", marker="red thread")
    assert "3 flowers" in said
    assert "Next: See whether the fruit swells, " in said
    client.send("/pollinate", again=False, **fields | {"bag": "1", "marker": "red thread"})
    assert "already" in client.words
    (visit,) = visits(folder)[before:]
    assert (visit.units, visit.isolation, visit.marker) == (3, "bag", "red thread")


def test_what_cannot_well_be_is_asked_about_and_written_only_after_a_yes(client, folder):
    before = len(visits(folder))
    client.get("/pollinate?seed=COC-M1&pollen=DAS-1")
    said = client.send("/pollinate", flowers="2")
    assert "Are you sure?" in said
    assert len(visits(folder)) == before
    client.send("/pollinate")
    assert len(visits(folder)) == before + 1


@pytest.mark.parametrize(
    ("field", "value"), [("flowers", "three"), ("flowers", "-1"), ("date", "2026-13-45"), ("date", "2999-01-01")]
)
def test_what_cannot_be_read_is_refused_and_stays_typed(client, folder, field, value):
    before = len(visits(folder))
    client.get("/pollinate?seed=COC-F1&pollen=DAS-1")
    client.send("/pollinate", 409, **{"note": "red thread", field: value})
    assert 'value="red thread"' in client.page
    assert len(visits(folder)) == before
    client.send("/pollinate", note="red thread", flowers="2", date="")
    assert len(visits(folder)) == before + 1


def test_script_in_a_name_is_only_shown(client, folder):
    script = "<script>alert(1)</script>"
    with open_store(folder / "book.sqlite") as store, store.writing("named") as pen:
        pen.add(Plant(name=script, received_as="Echinocereus coccineus"))
    flowering(folder, script, "DAS-1")
    for path in (
        "/",
        "/pollinate",
        f"/pollinate?seed={script}",
        f"/pollinate?seed={script}&pollen={script}",
        f"/ask?seed={script}&pollen=DAS-1",
    ):
        client.client.get(path)
        assert script not in client.client.get(path).get_data(as_text=True)


def test_two_browsers_that_brush_at_once_both_write(client, folder, make_client):
    other = make_client(folder)
    for browser, pollen in ((client, "DAS-1"), (other, "FAS-1")):
        browser.get(f"/pollinate?seed=COC-F1&pollen={pollen}")
    before = len(visits(folder))
    client.send("/pollinate", flowers="2")
    other.send("/pollinate", flowers="2")
    assert len(visits(folder)) == before + 2
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        numbers = [cross.number for cross in page.current(Cross)]
    assert len(numbers) == len(set(numbers))


def test_what_is_written_at_the_terminal_is_on_the_page_at_once(client, folder):
    assert "× DAS-1" not in client.get("/")
    flowering(folder, "COC-F1", "DAS-1")
    assert "× DAS-1" in client.get("/")


def test_a_collection_that_cannot_be_read_is_told_on_a_page_with_its_style(client, folder):
    (folder / "collection.toml").write_text("format = 1\ntree = [\n", encoding="utf-8")
    assert "collection.toml" in client.get("/", 409)
    with client.client.get("/static/pages.css") as style:
        assert style.status_code == 200
