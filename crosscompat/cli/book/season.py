"""What to cross: tonight, and over the season week by week."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, date, datetime, time
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from crosscompat.advice.season.labels import cards_of_plan
from crosscompat.advice.season.tonight import Father, Tonight
from crosscompat.advice.season.tonight import tonight as crosses_tonight
from crosscompat.cli.options import Day, Flowers, Folder, Json, Output, count, plain
from crosscompat.cli.output import deliver, deliver_calendar, deliver_labels, give, line, paragraph, spoken, who
from crosscompat.cli.session import open_with_collection
from crosscompat.ground.dates import today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent
from crosscompat.show.exports import Reminder, checklist_page, csv_text

if TYPE_CHECKING:
    from crosscompat.advice.season.plan import Plan, PlannedCross

_FATHERS = 3
_AS_GOOD = 0.0005
"""A plan that can fall short of the best by less is as good as it."""


def tonight(
    on: Day = None,
    flowers: Flowers = None,
    most: Annotated[int, count("--most", "help.tonight_most", least=1)] = 8,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Say which plants can be crossed tonight, with what pollen."""
    with open_with_collection(folder, crosses=True) as (collection, store), store.reading() as page:
        answer = crosses_tonight(collection, page, on or today(), flowers=flowers)
    give(answer, lambda answer: _print_tonight(answer, most), as_json=as_json)


def _print_tonight(answer: Tonight, most: int) -> None:
    key = "heading" if answer.mothers else "nothing"
    paragraph(say(f"tonight.{key}", date=spoken(answer.day), n=answer.flowers))
    for mother in answer.mothers[:most]:
        paragraph(say("tonight.mother", plant=mother.seed_plant, species=mother.seed_parent, says=mother.opening.says))
        for father in mother.fathers[:_FATHERS]:
            paragraph(_father(father), indent=4)
    if len(answer.mothers) > most:
        line(say("tonight.more", n=len(answer.mothers) - most))
    if answer.keep:
        line(say("tonight.keep"))
    for kept in answer.keep:
        pollen = who(kept.pollen_parent, ", ".join(kept.plants))
        paragraph(say("tonight.keep_line", who=pollen, says=kept.says), indent=2)
    if answer.closed:
        paragraph(say("tonight.closed", n=len(answer.closed)))
    if answer.unknown:
        paragraph(say("tonight.unknown_plants", plants=", ".join(answer.unknown)))
    if answer.caution:
        paragraph(answer.caution)


def _father(father: Father) -> str:
    details = [father.says] if father.says else []
    details += [say("rank.want", want=str(father.want))] if father.want is not None else []
    details += [say(f"rank.tried.{how}", n=n) for how, n in (("took", father.took), ("failed", father.failed)) if n]
    return say(
        "tonight.father", words=father.chance.words, percent=percent(father.chance.mean),
        who=who(father.pollen_parent, ", ".join(father.plants)), details="; ".join(["", *details]),
    )  # fmt: skip


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
    from crosscompat.advice.season.plan import plan_season  # its integer programme, which tonight does not need

    with open_with_collection(folder, crosses=True) as (collection, store), store.reading() as page:
        if not collection.wanted:
            raise WrongUse(say("plan.no_wanted"))
        answer = plan_season(
            collection, page, begins or today(), weeks=weeks, evenings=evenings, spare=spare, controls=controls
        )
    give(answer, _print_plan, as_json=as_json)
    if output is not None:
        deliver(_checklist(answer) if output.suffix.lower() in {".html", ".htm"} else _table(answer), output)
    if ics is not None:
        stamp = datetime.combine(date.fromisoformat(answer.begins), time(), UTC)
        deliver_calendar(say("plan.calendar.name"), [*_reminders(answer)], stamp, ics)
    if labels is not None:
        deliver_labels(cards_of_plan(collection, answer), labels, invented=answer.invented)


def _table(answer: Plan) -> str:
    return csv_text([
        {**asdict(cross), "pollen_plants": " ".join(cross.pollen_plants), "chance": cross.chance.mean,
         "other_way": cross.other_way.mean if cross.other_way else None, "outcomes_invented": answer.invented}
        for cross in answer.crosses
    ])  # fmt: skip


def _checklist(answer: Plan) -> str:
    weeks: dict[date, list[tuple[str, str]]] = {}
    for cross in answer.crosses:
        weeks.setdefault(date.fromisoformat(cross.week), []).append((_task(cross), cross.says))
    for control in answer.controls:
        task = say("plan.control", plant=control.seed_plant)
        weeks[date.fromisoformat(control.week)].append((task, say("plan.control_why")))
    notes = [say("plan.tick"), say("plan.isolate"), *([say("cli.invented")] if answer.invented else [])]
    return checklist_page(_heading(answer), weeks, [*notes, answer.caution] if answer.caution else notes)


def _reminders(answer: Plan) -> Iterator[Reminder]:
    """Yield an entry on the first day of each cross; the same cross in the same season keeps its entry."""
    invented = f" {say('cli.invented')}" if answer.invented else ""
    for cross in answer.crosses:
        says = say("plan.calendar.says", seed=cross.seed_parent, says=cross.says, words=cross.chance.words)
        id_ = f"plan-{cross.week[:4]}-{cross.seed_plant}-{cross.pollen_parent}".replace(" ", "-")
        yield Reminder(id_, date.fromisoformat(cross.week), _task(cross), says + invented)


def _heading(answer: Plan) -> str:
    return say("plan.heading", begins=spoken(answer.begins), ends=spoken(answer.ends))


def _task(cross: PlannedCross) -> str:
    return say("plan.calendar.summary", plant=cross.seed_plant, pollen=_pollen(cross), n=cross.flowers)


def _pollen(cross: PlannedCross) -> str:
    return who(cross.pollen_parent, ", ".join(cross.pollen_plants))


def _print_plan(answer: Plan) -> None:
    paragraph(_heading(answer))
    for week, crosses in groupby(answer.crosses, key=lambda cross: cross.week):
        line(say("plan.week", date=spoken(week)))
        for cross in crosses:
            paragraph(_says(cross), indent=2)
        if plants := [control.seed_plant for control in answer.controls if control.week == week]:
            paragraph(say("plan.controls", plants=", ".join(plants)), indent=2)
    expected, between = f"{answer.expected:.1f}", {"low": str(answer.low), "high": str(answer.high)}
    key = "expected" if answer.crosses else "nothing"
    paragraph(say(f"plan.{key}", expected=expected, n=len(answer.crosses), **between))
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
    if answer.gap > _AS_GOOD:
        paragraph(say("plan.gap", gap=f"{max(answer.gap, 2 * _AS_GOOD):.1%}"))
