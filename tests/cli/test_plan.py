"""The plan on the command line: on the screen, as a table and as a calendar; the outcomes are invented."""

from __future__ import annotations

import csv

from icalendar import Calendar

APRIL = ("--on", "2026-04-01")


def test_the_plan_is_a_table_and_a_calendar_of_the_same_crosses(run, answer, demo, empty_folder):
    asked = ("plan", *APRIL, "--collection", demo)
    planned = answer(*asked)["crosses"]
    outcome = run(*asked, "-o", "plan.csv", "--ics", "plan.ics")
    assert "plan.ics" in outcome.stderr
    rows = list(csv.DictReader((empty_folder / "plan.csv").read_text(encoding="utf-8").splitlines()))
    assert [(row["week"], row["seed_plant"], int(row["flowers"])) for row in rows] == [
        (each["week"], each["seed_plant"], each["flowers"]) for each in planned
    ]
    events = Calendar.from_ical((empty_folder / "plan.ics").read_bytes()).walk("VEVENT")
    assert [event["dtstart"].dt.isoformat() for event in events] == [each["week"] for each in planned]
    assert all("invented" in event["description"] for event in events)
    assert len({event["uid"] for event in events}) == len(events)


def test_what_is_left_out_is_gathered_by_its_reason(run, answer, demo):
    left = answer("plan", *APRIL, "--collection", demo)["left_out"]
    shown = run("plan", *APRIL, "--collection", demo).stdout.split("Left out")[1]
    for each in left:
        assert shown.count(each["why"][1:40].split("\n")[0][:20]) == 1
        assert each["pollen_parent"].split()[-1] in shown
