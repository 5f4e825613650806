"""The page for the greenhouse in a real browser, opened from a file on a phone without reception."""

from __future__ import annotations

import json
import re
import shutil
from datetime import timedelta

import pytest
from typer.testing import CliRunner

from crosscompat.book import records
from crosscompat.cli.app import app
from crosscompat.collection.opening import open_collection
from crosscompat.collection.settings import open_book
from crosscompat.ground.dates import today
from crosscompat.show.chances import percent

pytestmark = pytest.mark.browser

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "accept_downloads": True}
SCREENS = ("due", "pollinate", "pollinate/COC-F1", "pollinate/COC-F1/DAS-1", "look", "plants", "plants/COC-F1", "ask",
           "waiting")  # fmt: skip
EVIL = '</script><script>document.title="broken in"</script><img src=x onerror="document.title=1">'
LOW = """
[...document.querySelectorAll("a, button, select, input:not([type=checkbox]), summary, label.tick")]
  .filter(one => one.checkVisibility() && !one.classList.contains("skip"))
  .map(one => [one.tagName, one.id || one.textContent, one.getBoundingClientRect()])
  .filter(([, , box]) => box.height < 48 || box.width < 44 || box.right > innerWidth + 1)
  .map(([tag, text, box]) => [tag, text, box.width, box.height])
"""


def until_waits(page, n):
    """Wait until the page says that so many entries wait."""
    page.wait_for_function("(says) => document.getElementById('waits').textContent === says", arg=f"Waiting ({n})")


def make(folder, file):
    outcome = CliRunner().invoke(app, ["pocket", "--collection", str(folder), "-o", str(file)])
    assert outcome.exit_code == 0, outcome.output


@pytest.fixture(scope="module")
def made(demo, tmp_path_factory):
    """The page of the demonstration."""
    file = tmp_path_factory.mktemp("phone") / "greenhouse.html"
    make(demo, file)
    return file


@pytest.fixture
def phone(chromium):
    """Open pages on a phone that has no reception; anything that goes wrong in them fails the test."""
    contexts, faults, asked = [], [], []

    def phone(file, *, init=None, day=None, **more):
        context = chromium.new_context(**PHONE | more)
        contexts.append(context)
        context.set_offline(True)
        context.set_default_timeout(5000)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("request", lambda request: asked.append(request.url))
        if init:
            page.add_init_script(init)
        if day:
            page.clock.set_fixed_time(f"{day}T10:00:00")
        page.goto(file.as_uri())
        return page

    yield phone
    for context in contexts:
        context.close()
    assert faults == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []


def go(page, screen):
    page.evaluate("where => { location.hash = where; }", screen)
    page.wait_for_function("screen => !document.getElementById(`screen-${screen}`).hidden", arg=screen.split("/")[0])


def said(page):
    return page.locator("#said").inner_text()


def log_both(page):
    """Log a pollination and a look, each by what is tapped."""
    page.click("nav a[href='#pollinate']")
    page.click("#pollinate-list >> text=COC-F1")
    page.click("#pollinate-list a:has(b:text-is('× DAS-1'))")
    page.click("#pollinate-form >> text=Bagged")
    page.click("#pollinate-form button.main")
    assert "COC-F1 × DAS-1, 4 flowers" in said(page)
    page.click("nav a[href='#look']")
    page.fill("#look-filter", "26-07")
    page.click("#look-list a")
    page.click("#look-form >> text=Swollen")
    page.click("#of-swelling >> text=+")
    page.click("#of-swelling >> text=+")
    page.fill("#look-note", "both on the south side")
    page.click("#look-form button.main")
    assert "26-07" in said(page)


def handed_over(page, folder):
    page.click("nav a[href='#waiting']")
    with page.expect_download() as download:
        page.click("#download")
    file = folder / download.value.suggested_filename
    download.value.save_as(file)
    return file


def imported(file, folder):
    outcome = CliRunner().invoke(app, ["import", str(file), "--collection", str(folder), "--json"])
    assert outcome.exit_code == 0, outcome.output
    return [entry["outcome"] for entry in json.loads(outcome.stdout)["entries"]]


def test_a_day_in_the_greenhouse_is_kept_handed_over_and_imported_once(demo, phone, tmp_path):
    own, file = shutil.copytree(demo, tmp_path / "own"), tmp_path / "greenhouse.html"
    make(own, file)
    page = phone(file)
    log_both(page)
    page.reload()
    until_waits(page, 2)
    taken = handed_over(page, tmp_path)
    assert taken.name == f"greenhouse-{today().isoformat()}.json"
    assert imported(taken, own) == ["written"] * 2
    assert imported(taken, own) == ["there"] * 2
    collection = open_collection(own)
    with open_book(own, collection.settings) as store, store.reading() as reading:
        visit = reading.current(records.Pollination)[-1]
        assert (visit.date, visit.units, visit.isolation) == (today(), 4, "bag")
        seen = [one for one in reading.current(records.Observation) if one.date == today()]
        assert [(one.what, one.count, one.note) for one in seen] == [("pods_set", 2, "both on the south side")]
        assert {change.uid for change in reading.changes()[-2:]} == {
            entry["id"] for entry in json.loads(taken.read_text())["entries"]
        }
    page.wait_for_selector("text=handed over")
    make(own, file)
    page.reload()
    assert "2 entries are in the book now" in said(page)
    until_waits(page, 0)


def test_a_pollination_takes_four_taps(made, phone):
    page = phone(made)
    taps = [
        "nav a[href='#pollinate']",
        "#pollinate-list a >> nth=0",
        "#pollinate-list a >> nth=0",
        "button.main >> nth=0",
    ]
    for tap in taps:
        before = page.locator("main").inner_text()
        page.tap(tap)
        page.wait_for_function("(before) => document.querySelector('main').innerText !== before", arg=before)
    assert len(taps) == 4
    until_waits(page, 1)


def test_a_cross_begun_on_the_phone_can_be_looked_at_before_it_has_a_number(demo, made, phone, tmp_path):
    own = shutil.copytree(demo, tmp_path / "own")
    page = phone(made)
    log_both(page)
    page.click("#look-list a:has-text('on this phone')")
    page.click("#look-form >> text=Swollen")
    page.fill("#swelling", "1")
    page.click("#look-form button.main")
    assert imported(handed_over(page, tmp_path), own) == ["written"] * 3


def test_an_entry_is_taken_out_and_put_back(made, phone):
    page = phone(made)
    log_both(page)
    page.click("nav a[href='#waiting']")
    page.click("#waiting-list >> text=Take out >> nth=0")
    until_waits(page, 1)
    page.click("text=Put it back")
    until_waits(page, 2)
    ids = page.evaluate("stored().map(entry => entry.id)")
    assert len(set(ids)) == 2
    assert all(re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", one) for one in ids)


NO_STORE = (
    "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } });"
)
FULL = "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };"


@pytest.mark.parametrize("fault", [NO_STORE, FULL])
def test_where_the_browser_keeps_nothing_the_page_says_so_and_holds_it(made, phone, tmp_path, fault):
    page = phone(made, init=fault)
    assert "keeps nothing" in page.locator("#store").inner_text()
    log_both(page)
    assert said(page).startswith("Held on this page")
    taken = handed_over(page, tmp_path)
    assert [entry["kind"] for entry in json.loads(taken.read_text())["entries"]] == ["pollination", "look"]
    assert page.evaluate("const leaving = new Event('beforeunload', { cancelable: true }); !dispatchEvent(leaving)")


def test_two_windows_of_one_phone_lose_nothing(made, phone):
    page = phone(made)
    other = page.context.new_page()
    other.goto(made.as_uri())
    log_both(page)
    log_both(other)
    assert page.evaluate("stored().length") == 4
    page.wait_for_function("document.getElementById('waits').textContent === 'Waiting (4)'")


def test_the_percents_are_those_of_the_command_line(made, phone):
    page = phone(made)
    said = page.evaluate("Array.from({ length: 101 }, (_, whole) => percent(whole))")
    assert said == [percent(whole / 100) for whole in range(101)]


def test_what_it_says_of_a_pairing_is_what_a_question_says(demo, made, phone):
    outcome = CliRunner().invoke(app, ["ask", "COC-F1", "DAS-1", "--collection", str(demo), "--json"])
    chance = json.loads(outcome.stdout)["pairing"]["chance"]
    page = phone(made)
    go(page, "ask")
    page.select_option("#ask-seed", "COC-F1")
    page.select_option("#ask-pollen", "DAS-1")
    answer = page.locator("#ask-answer").inner_text()
    assert f"{percent(chance['mean'])}, between {percent(chance['low'])} and {percent(chance['high'])}" in answer
    assert chance["words"] in answer
    assert page.locator("#ask-answer .why").first.inner_text().strip()


def test_pollen_is_offered_by_its_chance(made, phone):
    page = phone(made)
    go(page, "pollinate/COC-F1")
    told = page.locator("#pollinate-list li").all_inner_texts()
    shares = [int(found[1]) if (found := re.search(r"(\d+)%", text)) else -1 for text in told]
    assert shares == sorted(shares, reverse=True)
    assert len({share for share in shares if share > 0}) > 5
    assert not any("COC-F2" in text for text in told)


def test_it_goes_by_the_day_of_the_phone(made, phone):
    def shown(page):
        return page.locator("#due-list a").all_inner_texts()

    first = phone(made, day=today().isoformat())
    assert first.locator("#age").is_hidden()
    later = phone(made, day=(today() + timedelta(days=15)).isoformat())
    assert "15 days ago" in later.locator("#age").inner_text()
    assert shown(first) != shown(later)
    assert "look ahead" not in later.locator("#age").inner_text()
    last = phone(made, day=(today() + timedelta(days=90)).isoformat())
    assert "no further" in last.locator("#age").inner_text()
    before = phone(made, day=(today() - timedelta(days=2)).isoformat())
    assert "clock" in before.locator("#age").inner_text()


def test_the_warning_comes_after_two_weeks_and_not_before(made, phone):
    assert phone(made, day=(today() + timedelta(days=14)).isoformat()).locator("#age").is_hidden()


def test_the_days_are_those_of_the_phone_wherever_it_is(made, phone):
    page = phone(made, timezone_id="Pacific/Auckland")
    page.clock.set_fixed_time("2026-12-01T20:30:00Z")
    go(page, "plants/DAS-1")
    page.fill("#open", "6")
    page.click("#plants-form button.main")
    [entry] = page.evaluate("stored()")
    assert (entry["date"], entry["time"], entry["plant"], entry["count"]) == ("2026-12-02", "09:30", "DAS-1", 6)


def test_a_plant_seen_in_flower_is_offered_as_such(made, phone):
    page = phone(made)
    go(page, "plants/COC-F1")
    page.fill("#open", "3")
    page.click("#plants-form button.main")
    go(page, "pollinate")
    assert page.locator("#pollinate-list h2").first.inner_text() == "In flower"
    assert "COC-F1" in page.locator("#pollinate-list ul").first.inner_text()


def test_what_is_half_typed_stays_when_the_phone_wakes_up(made, phone):
    page = phone(made)
    go(page, "pollinate/COC-F1/DAS-1")
    page.fill("#flowers", "7")
    page.check("#bag")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert (page.input_value("#flowers"), page.is_checked("#bag")) == ("7", True)
    go(page, "pollinate/COC-F1/DAS-2")
    assert (page.input_value("#flowers"), page.is_checked("#bag")) == ("4", False)


def test_what_cannot_be_read_in_the_phone_is_not_written_over(made, phone):
    page = phone(made)
    page.evaluate("localStorage.setItem(STORE, '{not ours')")
    page.reload()
    log_both(page)
    assert said(page).startswith("Held on this page")
    assert page.evaluate("localStorage.getItem(STORE)") == "{not ours"


def test_a_look_without_a_count_is_not_kept(made, phone):
    page = phone(made)
    go(page, "look")
    page.click("#look-list a >> nth=0")
    page.click("#look-form button.main")
    fault = page.locator("#look-form [role=alert]")
    assert "Tick what you see" in fault.inner_text()
    assert fault.evaluate("one => one.getBoundingClientRect().bottom <= innerHeight")
    page.click("#look-form >> text=Swollen")
    page.click("#look-form button.main")
    assert "whole number" in fault.inner_text()
    assert page.evaluate("stored().length") == 0


def test_with_the_keyboard_alone(made, phone):
    page = phone(made)

    def press_on(words):
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.textContent").strip().startswith(words):
                page.keyboard.press("Enter")
                page.wait_for_timeout(100)
                return
        raise AssertionError(words)

    press_on("Pollinate")
    assert page.evaluate("document.activeElement.id") == "pollinate-title"
    press_on("COC-F1")
    press_on("× ")
    press_on("Done")
    until_waits(page, 1)


def test_a_script_in_every_name_stays_text(demo, phone, tmp_path):
    own, file = shutil.copytree(demo, tmp_path / "own"), tmp_path / "greenhouse.html"
    collection = open_collection(own)
    with open_book(own, collection.settings) as store, store.writing("odd names") as pen:
        plant = records.Plant(name=EVIL, received_as=f"Echinocereus coccineus '{EVIL}'", place=EVIL)
        cross = records.Cross(number=EVIL, seed_plant=plant.id)
        visit = records.Pollination(cross=cross.id, date=today(), units=3, marker=EVIL, pollen_kind="one")
        pen.add(plant, records.PollenLot(name=f"lot {EVIL}", plant=plant.id), cross, visit)
    make(own, file)
    page = phone(file)
    title = page.title()
    for screen, where in (("plants", "#plants-list"), ("pollinate", "#pollinate-list"), ("look", "#look-list")):
        go(page, screen)
        page.click(f"{where} a:has-text('broken in') >> nth=0")
        assert EVIL in page.locator(f"#{screen}-title").inner_text()
    page.fill("#look-note", EVIL)
    page.click("#look-form button.main")
    go(page, "waiting")
    assert EVIL in page.locator("#waiting-list").inner_text()
    assert page.locator("img").count() == 0
    assert page.locator("script").count() == 2
    assert "broken in" not in title


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_each_screen_can_be_read_and_tapped(made, phone, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    page = phone(made, color_scheme=scheme)
    for screen in SCREENS:
        go(page, screen)
        if screen == "ask":
            page.select_option("#ask-seed", "COC-F1")
            page.select_option("#ask-pollen", "DAS-1")
        if screen == "look":
            page.click("#look-list a >> nth=0")
            for box in page.locator("[data-opens]").all():
                box.check()
        assert page.evaluate(LOW) == [], screen
        assert page.evaluate("document.documentElement.scrollWidth") == 360, screen
        found = axe.run(page).response["violations"]
        assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == [], screen


def test_without_javascript_it_says_what_it_needs(made, phone):
    page = phone(made, java_script_enabled=False)
    assert "open the file in a browser" in page.locator("noscript").inner_text().lower()


def test_a_file_can_be_shared_where_the_phone_can(made, phone):
    share = """
    navigator.canShare = ({ files }) => files[0].name.endsWith(".txt");
    navigator.share = async ({ files }) => { window.given = [files[0].name, await files[0].text()]; };
    """
    page = phone(made, init=share)
    log_both(page)
    page.click("nav a[href='#waiting']")
    page.click("#share")
    page.wait_for_function("window.given")
    name, text = page.evaluate("window.given")
    assert name == f"greenhouse-{today().isoformat()}.txt"
    assert len(json.loads(text)["entries"]) == 2
    page.wait_for_selector("text=handed over")
