"""The plan on the command line: on the screen, as a table and as a calendar; the outcomes are invented."""

from __future__ import annotations

import csv
import shlex

import pytest
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


def test_every_line_of_the_plan_is_explained_by_ask(run, answer, demo):
    """The command that a line of the plan names gives the same chance, with its reasons."""
    crosses = answer("plan", *APRIL, "--collection", demo)["crosses"]
    for cross in crosses:
        program, *words = shlex.split(cross["explained_by"])
        asked = answer(*words[:-1], "--collection", demo)["pairing"]
        assert (program, words[-1], asked["seed_plant"]) == ("crosscompat", "--why", cross["seed_plant"])
        assert asked["chance"]["mean"] == pytest.approx(cross["chance"]["mean"], abs=1e-9)
        assert "Why, for one flower" in run(*words, "--collection", demo).stdout
    shown = " ".join(run("plan", *APRIL, "--collection", demo).stdout.split())
    assert crosses[0]["explained_by"] in shown


def test_the_plan_is_a_checklist_and_labels_of_the_same_crosses(run, answer, demo, empty_folder):
    asked = ("plan", *APRIL, "--controls", "--collection", demo)
    plan = answer(*asked)
    run(*asked, "-o", "list.html", "--labels", "labels.html")
    run(*asked, "--labels", "labels.pdf")
    page, labels = ((empty_folder / name).read_text(encoding="utf-8") for name in ("list.html", "labels.html"))
    lines = len(plan["crosses"]) + len(plan["controls"])
    assert page.count('class="box"') == 7 * lines
    assert all(f"{cross['seed_plant']} × {cross['pollen_parent']}" in page for cross in plan["crosses"])
    assert labels.count('class="card"') == len(plan["crosses"])
    assert "invented" in page
    assert "invented" in labels.split("</style>")[1]
    assert (empty_folder / "labels.pdf").read_bytes().startswith(b"%PDF")


def test_what_is_left_out_is_gathered_by_its_reason(run, answer, demo):
    left = answer("plan", *APRIL, "--collection", demo)["left_out"]
    shown = run("plan", *APRIL, "--collection", demo).stdout.split("Left out")[1]
    for each in left:
        assert shown.count(each["why"][1:40].split("\n")[0][:20]) == 1
        assert each["pollen_parent"].split()[-1] in shown
