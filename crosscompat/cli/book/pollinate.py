"""A visit with the brush: it begins a cross, or goes on with one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from crosscompat.advice.season.pollinate import Pollinated, VisitRequest
from crosscompat.advice.season.pollinate import pollinate as log_visit
from crosscompat.book import records
from crosscompat.book.cross_summary import in_words, units_told
from crosscompat.cli import options
from crosscompat.cli.options import author, choice, count, options_of, plain, text
from crosscompat.cli.output import give, paragraph, print_json, who
from crosscompat.cli.session import Stopped, agreed, open_with_collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent_range

_VISIT = options_of(
    records.Pollination,
    "hour marker unit_kind=unit technique stamens_removed isolation temperature humidity note",
    "help.of_pollinate",
    {"technique": records.TECHNIQUES, "isolation": records.ISOLATIONS},
)
_CROSS = options_of(records.Cross, "number aim wanted", "help.of_pollinate")


@options.taking(_VISIT, _CROSS)
def pollinate(
    seed: Annotated[str | None, typer.Argument(metavar="SEED", help=say("help.of_pollinate.seed"))] = None,
    pollen: Annotated[list[str] | None, typer.Argument(metavar="POLLEN", help=say("help.of_pollinate.pollen"))] = None,
    certainty: Annotated[
        list[str] | None, choice("--certainty", records.CERTAINTIES, "help.of_pollinate.certainty")
    ] = None,
    lot: Annotated[str | None, text("--lot", "LOT", "help.of_pollinate.lot")] = None,
    on: options.On = None,
    by: options.By = None,
    units: Annotated[int | None, count("--count", "help.of_pollinate.count", "-n", least=1)] = None,
    cross: Annotated[str | None, text("--cross", "NUMBER", "help.of_pollinate.cross")] = None,
    check: Annotated[str | None, choice("--check", ("seed", "pollen"), "help.of_pollinate.check")] = None,
    folder: options.Folder = None,
    *,
    open_: Annotated[bool, plain("--open", "help.of_pollinate.open")] = False,
    self_: Annotated[bool, plain("--self", "help.of_pollinate.self")] = False,
    sib: Annotated[bool, plain("--sib", "help.of_pollinate.sib")] = False,
    none: Annotated[bool, plain("--none", "help.of_pollinate.none")] = False,
    about: Annotated[bool, plain("--about", "help.of_pollinate.about")] = False,
    all_open: Annotated[bool, plain("--all-open", "help.of_pollinate.all_open")] = False,
    again: Annotated[bool, plain("--again", "help.of_pollinate.again")] = False,
    left_alone: Annotated[bool, plain("--left-alone", "help.of_pollinate.left_alone")] = False,
    anyway: options.Anyway = False,
    dry_run: options.DryRun = False,
    why: options.Why = False,
    as_json: options.Json = False,
    **fields: Any,
) -> None:
    """Log a visit and say what was written; what cannot be is asked about first, or stops it."""
    pollen = [name for name in pollen or () if name.casefold() not in {"x", "×"}]
    if pollen and pollen[-1].isdecimal() and units is None:
        units = int(pollen.pop())
    begins = records.Cross(**{name: fields.pop(name) for name in _CROSS})
    visit = records.Pollination(
        cross="",
        date=on or today(),
        who=author(by),
        units=units,
        count_how=_how_counted(units, about=about, all_open=all_open),
        flowers="same again" if again else "new",
        **fields,
    )
    kinds = {"open": open_, "self": self_, "sib": sib, "none": none}
    request = VisitRequest(
        visit=visit,
        begins=begins,
        seed=seed,
        pollen=tuple(pollen),
        kinds=tuple(name for name, yes in kinds.items() if yes),
        certainty=tuple(certainty or ()),
        lot=lot,
        cross=cross,
        check=check,
        left_alone=left_alone,
    )
    try:
        answer = _written(folder, request, anyway=anyway, dry_run=dry_run)
    except Stopped as stopped:
        if as_json:
            print_json(stopped.answer)
        raise
    give(answer, lambda one: _print(one, why=why), as_json=as_json)


def _how_counted(units: int | None, *, about: bool, all_open: bool) -> str | None:
    if about and (all_open or units is None):
        raise WrongUse(say("pollinate.about_or_all" if all_open else "pollinate.about_what"))
    counted = "about" if about else None if units is None else "counted"
    return "all open" if all_open else counted


def _written(folder: Path | None, request: VisitRequest, *, anyway: bool, dry_run: bool) -> Pollinated:
    with open_with_collection(folder) as (collection, store):

        def written(yes: frozenset[str]) -> Pollinated:
            """Write a visit down; all is judged while nobody else can write, and nothing stays that is not agreed."""
            with store.writing("", who=request.visit.who, dry_run=dry_run) as pen:
                answer = log_visit(collection, pen, request, today())
                reasons = [one.says for one in answer.obstacles]
                if not yes.issuperset(reasons):
                    raise Stopped(reasons, ask=say("entry.ask"), answer=replace(answer, written=False))
            return replace(answer, written=not dry_run)

        return agreed(written, anyway=anyway)


def _print(answer: Pollinated, *, why: bool) -> None:
    """Print a visit for a person: which cross and its chances in a line each, then what to mind."""
    key = ("begun" if answer.begun else "continued") if answer.written else "would"
    paragraph(say(f"pollinate.{key}", cross=answer.cross, visits=answer.visits, what=_what(answer)))
    if answer.chance is not None:
        chance = percent_range(answer.chance.mean, answer.chance.low, answer.chance.high, short=True)
        paragraph(say("ask.chance", words=answer.chance.words, percent=chance, flowers=answer.flowers or 1), indent=2)
    elif answer.no_chance:
        paragraph(answer.no_chance, indent=2)
    for says in (*answer.queries, *(one.says for one in answer.warnings)):
        paragraph(says, indent=2, bullet="! ")
    if why and answer.overruled:
        paragraph(say("pollinate.overruled", marks=answer.overruled), indent=2)
    for says in (*answer.notes, *(one.says for one in answer.handling)):
        paragraph(says)


def _what(answer: Pollinated) -> str:
    """Return a visit in one sentence."""
    mother = who(answer.seed_parent, answer.seed_plant)
    fathers = [
        who(one.species, one.plant) if one.certainty in {None, "certain"}
        else say("pollinate.unsure", name=who(one.species, one.plant), certainty=one.certainty)
        for one in answer.pollen
    ]  # fmt: skip
    kind = answer.pollen_kind if answer.pollen_kind in {"open", "self", "sib", "none"} else "pollen"
    made = say(f"pollinate.made.{kind}", seed=mother, pollen=say("pollinate.or").join(fathers))
    lot = say("pollinate.stored", lot=answer.lot) if answer.lot else ""
    units = units_told(answer.unit_kind, answer.units).words or say("pollinate.uncounted")
    in_all = answer.units_in_all or in_words(answer.units_by_kind) if answer.visits > 1 else ""
    total = say("pollinate.in_all", n=in_all) if in_all else ""
    return say("pollinate.visit", made=made, lot=lot, units=units, total=total, date=spoken_date(answer.date, today()))
