"""A season's plan: what to cross on which plant, week by week."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, date, datetime, time
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from crosscompat.cli.options import Day, Folder, Json, Output, count, plain
from crosscompat.cli.output import deliver, give, line, paragraph, talk, who
from crosscompat.cli.prompts import spoken, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

if TYPE_CHECKING:
    from crosscompat.advice.plan import Plan, PlannedCross


def plan(
    begins: Day = None,
    weeks: Annotated[int, count("--weeks", "help.plan_weeks", least=1, most=52)] = 26,
    evenings: Annotated[int, count("--evenings", "help.plan_evenings", least=1)] = 5,
    spare: Annotated[int | None, count("--spare", "help.plan_spare", least=1, most=100)] = None,
    output: Output = None,
    ics: Annotated[Path | None, plain("--ics", "help.plan_ics", "FILE")] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Plan the crosses wanted; with -o the plan is also a table, with --ics a calendar."""
    from crosscompat.advice.plan import plan_season
    from crosscompat.cli.session import open_with_collection
    from crosscompat.show.exports import csv_text

    with open_with_collection(folder, crosses=True) as (collection, store), store.reading() as page:
        if not collection.wanted:
            raise WrongUse(say("plan.no_wanted"))
        found = plan_season(collection, page, begins or today(), weeks=weeks, evenings=evenings, spare=spare)
    give(found, _print, as_json=as_json)
    if output is not None:
        rows = [
            {**asdict(cross), "pollen_plants": " ".join(cross.pollen_plants), "chance": cross.chance.mean,
             "outcomes_invented": found.invented}
            for cross in found.crosses
        ]  # fmt: skip
        deliver(csv_text(rows), output)
    if ics is not None:
        _write_calendar(ics, found)


def _write_calendar(file: Path, answer: Plan) -> None:
    """Write an entry on the first day of each cross; the same cross in the same season keeps its entry."""
    from crosscompat.ground.files import write_atomically
    from crosscompat.show.exports import Reminder, calendar_file

    def reminder(cross: PlannedCross) -> Reminder:
        summary = say("plan.calendar.summary", plant=cross.seed_plant, pollen=_pollen(cross), n=cross.flowers)
        says = [say("plan.calendar.says", seed=cross.seed_parent, says=cross.says, words=cross.chance.words)]
        says += [say("cli.invented")] if answer.invented else []
        id_ = f"plan-{cross.week[:4]}-{cross.seed_plant}-{cross.pollen_parent}".replace(" ", "-")
        return Reminder(id_, date.fromisoformat(cross.week), summary, " ".join(says))

    stamp = datetime.combine(date.fromisoformat(answer.begins), time(), UTC)
    write_atomically(file, calendar_file(say("plan.calendar.name"), map(reminder, answer.crosses), stamp))
    talk(say("due.written", n=len(answer.crosses), file=str(file)))


def _pollen(cross: PlannedCross) -> str:
    return who(cross.pollen_parent, ", ".join(cross.pollen_plants))


def _print(answer: Plan) -> None:
    paragraph(say("plan.heading", begins=spoken(answer.begins), ends=spoken(answer.ends)))
    if not answer.crosses:
        paragraph(say("plan.nothing"))
    for week, crosses in groupby(answer.crosses, key=lambda cross: cross.week):
        line(say("plan.week", date=spoken(week)))
        for cross in crosses:
            text = say(
                "plan.cross", plant=cross.seed_plant, seed=cross.seed_parent, pollen=_pollen(cross), n=cross.flowers,
                words=cross.chance.words, percent=percent(cross.chance.mean), says=cross.says,
            )  # fmt: skip
            paragraph(text, indent=2)
    if answer.crosses:
        expected = f"{answer.expected:.1f}"
        paragraph(
            say("plan.expected", expected=expected, n=len(answer.crosses), low=str(answer.low), high=str(answer.high))
        )
    if answer.one_more:
        paragraph(say("plan.one_more", plant=answer.one_more))
    if answer.left_out:
        line(say("plan.left_out"))
    for why in dict.fromkeys(left.why for left in answer.left_out):
        pairs = [f"{left.seed_parent} × {left.pollen_parent}" for left in answer.left_out if left.why == why]
        paragraph(say("plan.left", why=(why[0].upper() + why[1:]).rstrip("."), pairs="; ".join(pairs)), indent=2)
    if answer.caution:
        paragraph(answer.caution)
