"""The pages in a real browser: a phone in the greenhouse, without reception in the middle, and by keyboard alone."""

from __future__ import annotations

import time

import pytest

from crosscompat.book.records import Flowering, Observation, Plant, Pollination
from crosscompat.book.store import open_store
from crosscompat.ground.dates import today

pytestmark = pytest.mark.browser

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
DESKTOP = {"viewport": {"width": 1280, "height": 900}}
SCREENS = ["/", "/pollinate", "/pollinate?seed=COC-F1", "/pollinate?seed=COC-F1&pollen=DAS-1", "/look", "/look/26-01",
           "/ask?seed=COC-F1&pollen=fendleri", "/tree?species=coccineus", "/crosses", "/crosses/26-01", "/plants",
           "/plants/COC-F1", "/undo/1?of=26-01", "/start"]  # fmt: skip


TAPPED = "button, .button, .list a, nav a, input:not([type=hidden]), select, .choice, .tick, .narrow-tree rect.row"
SMALL = f"""() => [...document.querySelectorAll("{TAPPED}")]
    .filter((one) => !["checkbox", "radio"].includes(one.type))
    .map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect().height])
    .filter(([, height]) => height > 0 && height < 47)"""
"""What is shown and tapped and lower than a finger; a box to tick is as large as its label."""


@pytest.fixture
def address(folder, serve):
    """The pages of a nursery in which three plants flower today."""
    with open_store(folder / "book.sqlite") as store, store.writing("seen") as pen:
        plants = {plant.name: plant.id for plant in pen.current(Plant)}
        pen.add(*(Flowering(plant=plants[name], date=today(), open_flowers=4) for name in ("COC-F1", "DAS-1", "FAS-1")))
    return serve(folder)


@pytest.fixture
def opened(chromium, address):
    """Opens a page in a browser of its own; what the page complains of fails the test."""
    contexts, complaints = [], []

    def new(path="/", **kind):
        context = chromium.new_context(**(kind or PHONE))
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(f"{address}{path}")
        page.complaints = complaints
        return page

    yield new
    for context in contexts:
        context.close()


def visits(folder):
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        return page.current(Pollination)


@pytest.mark.parametrize("path", SCREENS)
@pytest.mark.parametrize("kind", [PHONE, DESKTOP | {"color_scheme": "dark"}], ids=["phone", "dark desktop"])
def test_every_screen_can_be_read_by_a_screen_reader_and_fits(opened, path, kind):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(path, **kind)
    found = axe.Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in {"serious", "critical"}] == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.complaints == []


@pytest.mark.parametrize("path", SCREENS)
def test_what_is_to_be_tapped_is_large_enough(opened, path):
    page = opened(path)
    small = page.evaluate(SMALL)
    assert small == []


def test_a_pollination_takes_four_taps_and_less_than_ten_seconds(opened, folder):
    before, page = len(visits(folder)), opened("/")
    taps, begun = 0, time.monotonic()
    for target in ("text=× FAS-1", "role=button[name^='one more']", "text=Bagged", "role=button[name='Done']"):
        page.locator(target).first.tap()
        taps += 1
    page.get_by_role("status").wait_for()
    assert taps <= 4
    assert time.monotonic() - begun < 10
    (visit,) = visits(folder)[before:]
    assert (visit.units, visit.isolation) == (5, "bag")
    assert visit.date == today()


def test_without_reception_nothing_is_lost_and_sent_again_it_is_written_once(opened, folder):
    before, page = len(visits(folder)), opened("/pollinate?seed=COC-F1&pollen=DAS-1")
    page.locator("summary").tap()
    page.get_by_label("Note").fill("the one with the red thread")
    page.context.set_offline(True)
    page.get_by_role("button", name="Done").tap()
    page.get_by_role("alert").wait_for()
    assert "has not been sent" in page.get_by_role("alert").inner_text()
    assert page.get_by_label("Note").input_value() == "the one with the red thread"
    assert len(visits(folder)) == before
    page.context.set_offline(False)
    page.get_by_role("button", name="Done").tap()
    page.get_by_role("status").wait_for()
    assert [visit.note for visit in visits(folder)[before:]] == ["the one with the red thread"]


def test_a_reply_that_is_lost_does_not_double_the_flowers(opened, folder):
    before, page = len(visits(folder)), opened("/pollinate?seed=COC-F1&pollen=DAS-1")

    def lose_reply(route):
        route.fetch()
        route.abort()

    page.route("**/pollinate", lose_reply)
    page.get_by_role("button", name="Done").tap()
    page.get_by_role("alert").wait_for()
    page.unroute("**/pollinate")
    page.get_by_role("button", name="Done").tap()
    page.get_by_role("status").wait_for()
    assert "already" in page.get_by_role("status").inner_text()
    assert len(visits(folder)) == before + 1


def test_two_phones_at_once_both_write(opened, folder):
    before, phones = (
        len(visits(folder)),
        [opened(f"/pollinate?seed=COC-F1&pollen={name}") for name in ("DAS-1", "FAS-1")],
    )
    for phone in phones:
        phone.get_by_role("button", name="Done").tap()
    for phone in phones:
        phone.get_by_role("status").wait_for()
    assert len(visits(folder)) == before + 2


def test_the_keyboard_alone_is_enough(opened, folder):
    before, page = len(visits(folder)), opened("/pollinate?seed=COC-F1&pollen=DAS-1", **DESKTOP)
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Done":
            break
    page.keyboard.press("Enter")
    page.get_by_role("status").wait_for()
    assert len(visits(folder)) == before + 1


def test_without_javascript_a_days_work_goes_through(opened, folder):
    before, page = len(visits(folder)), opened("/", **PHONE, java_script_enabled=False)
    page.locator("text=× FAS-1").first.tap()
    page.get_by_label("Flowers brushed").fill("3")
    page.get_by_role("button", name="Done").tap()
    assert "3 flowers" in page.get_by_role("status").inner_text()
    assert len(visits(folder)) == before + 1
    page.goto(page.url.split("/crosses")[0] + "/ask?seed=COC-F1&pollen=fendleri")
    assert "A seedling from" in page.inner_text("main")


def test_a_species_is_found_on_the_tree(opened):
    page = opened("/tree?species=coccineus")
    page.get_by_label("Find a species on the tree").fill("stramin")
    assert page.locator(".found").count() == 1
    box = page.locator(".found").bounding_box()
    assert 0 <= box["y"] < PHONE["viewport"]["height"] - box["height"]
    page.locator(".found").tap()
    assert "stramineus" in page.inner_text("h2")


def test_crosses_are_looked_at_in_a_row_and_the_buttons_of_the_counter_stay(opened, folder):
    page, before = opened("/look"), len(counts(folder))
    page.locator(".list a").first.tap()
    looked = []
    for _ in range(3):
        page.get_by_role("heading", level=1).wait_for()
        looked.append(page.get_by_role("heading", level=1).inner_text())
        if not page.locator("[value=dropped]").is_visible():
            page.get_by_text("Something else").tap()
        page.locator("[value=dropped]").check()
        page.get_by_role("button", name="one more: How many").tap()
        page.get_by_role("button", name="one less: How many").tap()
        page.get_by_role("button", name="Save").tap()
        page.get_by_role("status").wait_for()
        following = page.get_by_role("link", name="Next").inner_text().removeprefix("Next: ")
        page.get_by_role("link", name="Next").tap()
        page.wait_for_url(f"**/look/{following}")
    assert len(set(looked)) == 3
    assert [one.count for one in counts(folder)[before:]] == [0, 0, 0]
    assert page.complaints == []


def counts(folder):
    with open_store(folder / "book.sqlite") as store, store.reading() as page:
        return page.current(Observation)
