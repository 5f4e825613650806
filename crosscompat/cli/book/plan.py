"""A season's plan: what to cross on which plant, week by week."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, date, datetime, time
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from crosscompat.cli.options import Day, Folder, Json, Output, count, plain
from crosscompat.cli.output import deliver, deliver_calendar, deliver_labels, give, line, paragraph, who
from crosscompat.cli.prompts import spoken, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

if TYPE_CHECKING:
    from crosscompat.advice.plan import Plan, PlannedCross
    from crosscompat.show.exports import Reminder

_TOLD = 0.0005
"""A plan that can fall short of the best by less is as good as it."""


def plan(
    begins: Day = None,
    weeks: Annotated[int, count("--weeks", "help.plan_weeks", least=1, most=52)] = 26,
    evenings: Annotated[int, count("--evenings", "help.plan_evenings", least=1)] = 5,
    spare: Annotated[int | None, count("--spare", "help.plan_spare", least=1, most=100)] = None,
    output: Output = None,
    ics: Annotated[Path | None, plain("--ics", "help.plan_ics", "FILE")] = None,
    labels: Annotated[Path | None, plain("--labels", "help.plan_labels", "FILE")] = None,
    folder: Folder = None,
    *,
    controls: Annotated[bool, plain("--controls", "help.plan_controls")] = False,
    as_json: Json = False,
) -> None:
    """Plan the crosses wanted; -o, --ics and --labels write the plan for other programs and for paper."""
    from crosscompat.advice.labels import cards_of_plan
    from crosscompat.advice.plan import plan_season
    from crosscompat.cli.session import open_with_collection

    with open_with_collection(folder, crosses=True) as (collection, store), store.reading() as page:
        if not collection.wanted:
            raise WrongUse(say("plan.no_wanted"))
        answer = plan_season(
            collection, page, begins or today(), weeks=weeks, evenings=evenings, spare=spare, controls=controls
        )
    give(answer, _print, as_json=as_json)
    if output is not None:
        deliver(_checklist(answer) if output.suffix.lower() in {".html", ".htm"} else _table(answer), output)
    if ics is not None:
        stamp = datetime.combine(date.fromisoformat(answer.begins), time(), UTC)
        deliver_calendar(say("plan.calendar.name"), _reminders(answer), stamp, ics)
    if labels is not None:
        deliver_labels(cards_of_plan(collection, answer), labels, invented=answer.invented)


def _table(answer: Plan) -> str:
    from crosscompat.show.exports import csv_text

    return csv_text([
        {**asdict(cross), "pollen_plants": " ".join(cross.pollen_plants), "chance": cross.chance.mean,
         "other_way": cross.other_way.mean if cross.other_way else None, "outcomes_invented": answer.invented}
        for cross in answer.crosses
    ])  # fmt: skip


def _checklist(answer: Plan) -> str:
    from crosscompat.show.exports import checklist_page

    weeks: dict[date, list[tuple[str, str]]] = {}
    for cross in answer.crosses:
        task = say("plan.calendar.summary", plant=cross.seed_plant, pollen=_pollen(cross), n=cross.flowers)
        weeks.setdefault(date.fromisoformat(cross.week), []).append((task, cross.says))
    for control in answer.controls:
        task = say("plan.control", plant=control.seed_plant)
        weeks[date.fromisoformat(control.week)].append((task, say("plan.control_why")))
    title = say("plan.heading", begins=spoken(answer.begins), ends=spoken(answer.ends))
    notes = [say("plan.tick"), say("plan.isolate"), *([say("cli.invented")] if answer.invented else [])]
    return checklist_page(title, weeks, [*notes, answer.caution] if answer.caution else notes)


def _reminders(answer: Plan) -> list[Reminder]:
    """Return an entry on the first day of each cross; the same cross in the same season keeps its entry."""
    from crosscompat.show.exports import Reminder

    entries = []
    for cross in answer.crosses:
        summary = say("plan.calendar.summary", plant=cross.seed_plant, pollen=_pollen(cross), n=cross.flowers)
        says = [say("plan.calendar.says", seed=cross.seed_parent, says=cross.says, words=cross.chance.words)]
        says += [say("cli.invented")] if answer.invented else []
        id_ = f"plan-{cross.week[:4]}-{cross.seed_plant}-{cross.pollen_parent}".replace(" ", "-")
        entries.append(Reminder(id_, date.fromisoformat(cross.week), summary, " ".join(says)))
    return entries


def _pollen(cross: PlannedCross) -> str:
    return who(cross.pollen_parent, ", ".join(cross.pollen_plants))


def _print(answer: Plan) -> None:
    paragraph(say("plan.heading", begins=spoken(answer.begins), ends=spoken(answer.ends)))
    for week, crosses in groupby(answer.crosses, key=lambda cross: cross.week):
        line(say("plan.week", date=spoken(week)))
        for cross in crosses:
            paragraph(_says(cross), indent=2)
        if plants := [control.seed_plant for control in answer.controls if control.week == week]:
            paragraph(say("plan.controls", plants=", ".join(plants)), indent=2)
    if answer.crosses:
        low, high, n = str(answer.low), str(answer.high), len(answer.crosses)
        paragraph(say("plan.expected", expected=f"{answer.expected:.1f}", n=n, low=low, high=high))
    else:
        paragraph(say("plan.nothing"))
    _print_more(answer)
    if answer.left_out:
        line(say("plan.left_out"))
    for why in dict.fromkeys(left.why for left in answer.left_out):
        pairs = [f"{left.seed_parent} × {left.pollen_parent}" for left in answer.left_out if left.why == why]
        paragraph(say("plan.left", why=(why[0].upper() + why[1:]).rstrip("."), pairs="; ".join(pairs)), indent=2)
    for cross in answer.crosses[:1]:
        paragraph(say("plan.isolate"))
        paragraph(say("plan.why", command=cross.explained_by))
        paragraph(answer.caution)


def _says(cross: PlannedCross) -> str:
    text = say(
        "plan.cross", plant=cross.seed_plant, seed=cross.seed_parent, pollen=_pollen(cross), n=cross.flowers,
        words=cross.chance.words, percent=percent(cross.chance.mean), says=cross.says,
    )  # fmt: skip
    return text if cross.other_way is None else say("plan.other_way", text=text, words=cross.other_way.words)


def _print_more(answer: Plan) -> None:
    for key, more in (("one_more", answer.one_more), ("borrowed", answer.borrowed)):
        if more is not None:
            paragraph(say(f"plan.{key}", plant=more.seed_plant, pollen=more.pollen_parent, n=more.flowers,
                          before=percent(more.before), after=percent(more.after)))  # fmt: skip
    if answer.gap > _TOLD:
        paragraph(say("plan.gap", gap=f"{max(answer.gap, 2 * _TOLD):.1%}"))
