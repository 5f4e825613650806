"""What is due on the command line, and for a phone."""

from __future__ import annotations

from datetime import date

import pytest

from crosscompat.book import records
from crosscompat.book.store import open_store


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize("columns", [40, 80])
def test_what_is_due_is_told_by_task_with_place_and_reason(run, demo, columns):
    text = run("due", "--as-of", "2026-07-15", "--collection", demo, columns=columns).stdout
    assert max(map(len, text.splitlines())) <= columns
    told = flat(text)
    assert "invented" in told
    assert (
        "! 26-07 Echinocereus rigidissimus × Echinocereus fendleri overdue since 20 June (day 39; usually 5 to 13)"
        in told
    )
    assert "Harvest what is ripe - 26-01" in told
    assert "14 to 17 July (ripe since 14 July); COC-F1" in told
    assert "brush to ripe 62 to 90 days (from 46 of your own)" in told
    assert told.count("Spines and glochids") == 1


def test_nothing_due_is_said_and_is_no_failure(run, demo, empty_folder):
    assert "Nothing is due until 16 January." in run("due", "--as-of", "2026-01-10", "--collection", demo).stdout
    run("new", "mine")
    assert "Nothing is under way." in run("due", "--all", "--collection", "mine").stdout


def test_what_is_printed_is_what_is_answered(run, answer, demo):
    found = answer("due", "--as-of", "2026-07-15", "--days", "30", "--collection", demo)
    text = flat(run("due", "--as-of", "2026-07-15", "--days", "30", "--collection", demo).stdout)
    assert len(found["due"]) >= 6
    for entry in found["due"]:
        assert entry["says"] in text
    assert len({entry["id"] for entry in found["due"]}) == len(found["due"])


def test_the_calendar_holds_all_that_can_be_foreseen_and_is_the_same_again(run, demo, empty_folder):
    from icalendar import Calendar

    asked = ("due", "--as-of", "2026-07-15", "--collection", demo, "--ics", "first.ics")
    assert "first.ics" in run(*asked).stderr
    first = (empty_folder / "first.ics").read_bytes()
    run(*asked)
    assert (empty_folder / "first.ics").read_bytes() == first
    events = Calendar.from_ical(first).walk("VEVENT")
    summaries = [str(event["summary"]) for event in events]
    assert "Harvest what is ripe: 26-01" in summaries
    assert len({str(event["uid"]) for event in events}) == len(events)
    assert all("Expected" in str(event["description"]) for event in events)
    assert all(event.decoded("dtstart") >= date(2026, 7, 15) for event in events)
    late = next(event for event in events if "26-07" in event["summary"])
    assert str(late["summary"]) == "See whether the fruit swells: 26-07 (overdue)"
    assert str(late["description"]) == (
        "Echinocereus rigidissimus × Echinocereus fendleri. RIG-2. "
        "Expected 11 to 19 June 2026 (from 63 of your own), counted from 6 June 2026. "
        "The outcomes in this collection are invented."
    )


def test_a_later_export_brings_the_same_entries_up_to_date(run, demo, empty_folder):
    from icalendar import Calendar

    found = []
    for day in ("2026-07-15", "2026-07-16"):
        run("due", "--as-of", day, "--collection", demo, "--ics", "due.ics")
        events = Calendar.from_ical((empty_folder / "due.ics").read_bytes()).walk("VEVENT")
        found.append({str(event["uid"]): (event.decoded("dtstamp"), event.decoded("dtstart")) for event in events})
    first, second = found
    assert first.keys() == second.keys()
    assert all(first[uid][0] == second[uid][0] and first[uid][1] <= second[uid][1] for uid in first)


def test_what_is_due_loads_no_heavy_library(process, demo):
    code = (
        "import sys; from crosscompat.__main__ import main\n"
        "sys.argv = ['crosscompat', 'due', '--as-of', '2026-07-15', '--collection', sys.argv[1]]\n"
        "try: main()\nexcept SystemExit: pass\n"
        "print(sorted({'pandas', 'sklearn', 'scipy', 'alembic', 'icalendar'} & set(sys.modules)))"
    )
    outcome = process(demo, switches=("-c", code))
    assert outcome.stdout.decode().splitlines()[-1] == "[]"


def test_of_crosses_whose_end_nobody_wrote_down_the_latest_ten_are_listed_and_none_goes_to_the_phone(
    run, answer, empty_folder
):
    run("new", "mine", "--tree", "echinocereus")
    crosses = [records.Cross(number=f"20-{i:02}", seed_parent="Echinocereus coccineus") for i in range(12)]
    visits = [records.Pollination(cross=cross.id, date=date(2020, 5, 1 + i)) for i, cross in enumerate(crosses)]
    store = open_store(empty_folder / "mine" / "book.sqlite")
    with store.writing("long ago") as pen:
        pen.add(*crosses, *visits)
    store.close()
    asked = ("due", "--as-of", "2026-07-15", "--collection", "mine")
    told = flat(run(*asked, "--ics", "due.ics").stdout)
    assert "20-01" not in told
    assert "20-02" in told
    assert "… and 2 older ones; --all lists them." in told
    assert "20-00" in run(*asked, "--all").stdout
    assert [entry["task"] for entry in answer(*asked)["due"]] == ["tell"] * 12
    assert b"VEVENT" not in (empty_folder / "due.ics").read_bytes()


def test_a_calendar_that_cannot_be_written_is_told_by_its_name(run, demo, empty_folder):
    outcome = run("due", "--collection", demo, "--ics", "none/due.ics", code=74)
    assert "none/due.ics: No such file or directory" in outcome.stderr
