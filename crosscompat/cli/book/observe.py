"""What was seen of a cross, written down; or the cross as it stands."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from crosscompat.advice.season.cross_story import CrossStory, counts_in_words, observe_cross, story_of, written_in_words
from crosscompat.book import records
from crosscompat.book.entry.enter_observation import Seen
from crosscompat.book.numbers_and_names import find_cross, read_pattern
from crosscompat.cli import options
from crosscompat.cli.options import count, option, options_of, plain, taking
from crosscompat.cli.output import give, line, paragraph
from crosscompat.cli.session import Stopped, agreed, open_here
from crosscompat.ground.dates import spoken_date, spoken_dates, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent_range
from crosscompat.stages import STAGES

_LOT = ("pods", "seeds", "filled", "weight", "left", "name")
_BELONG = {
    "harvest": (*_LOT, "only_good"),
    "sown": ("from_lot", "treatment"),
    "lost": ("against",),
    "proof": ("by_what",),
}
"""Options that say more of another one."""
_OF_A_TRAY = ("sown", "up", "highest", "lost")
_TOTALS = ("units", "pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings")
_WORDS = {"against": records.AGAINST, "proof": records.PROOFS, "over": tuple(STAGES)}


def _seen(names: str, kind: type) -> dict[str, Any]:
    called = {name: f"--{name.removesuffix('_lot').replace('_', '-')}" for name in names.split()}
    return {name: option(to, f"help.of_observe.{name}", kind, _WORDS.get(name, ())) for name, to in called.items()}


@taking(
    _seen("swelling dropped ripe", int),
    options_of(records.SeedLot, f"{' '.join(_LOT)}=lot", "help.of_observe"),
    _seen("from_lot treatment tray", str),
    _seen("up highest", int),
    _seen("lost against proof by_what over note doubtful", str),
)
def observe(
    cross: Annotated[str, typer.Argument(metavar="CROSS", help=say("help.of_observe.cross"))],
    sown: Annotated[int | None, count("--sown", "help.of_observe.sown")] = None,
    on: options.On = None,
    by: options.By = None,
    folder: options.Folder = None,
    *,
    harvest: Annotated[bool, plain("--harvest", "help.of_observe.harvest")] = False,
    only_good: Annotated[bool, plain("--only-good", "help.of_observe.only_good")] = False,
    anyway: options.Anyway = False,
    dry_run: options.DryRun = False,
    why: options.Why = False,
    as_json: options.Json = False,
    **fields: Any,
) -> None:
    """Write if there is something to write, then say so; else print the cross."""
    _refuse_lone_options({"harvest": harvest, "only_good": only_good, "sown": sown, **fields})
    packet = {name: fields.pop(name) for name in _LOT}
    sowing = {"seeds": sown, "lot": fields.pop("from_lot"), "treatment": fields.pop("treatment")}
    if sown is not None:
        sowing["place"] = fields["tray"]
        if all(fields[name] is None for name in _OF_A_TRAY[1:]):
            fields["tray"] = None
    seen = Seen(
        **fields,
        harvest=records.SeedLot(cross="", **packet) if harvest else None,
        only_good=only_good,
        sown=None if sown is None else records.Sowing(cross="", **sowing),
    )
    if asks := seen == Seen():
        story = _found(folder, cross)
    else:
        story = agreed(
            partial(_written, folder, cross, seen, day=on or today(), who=options.author(by), dry_run=dry_run),
            anyway=anyway,
        )
    give(story, lambda one: _print(one, asks=asks, why=why), as_json=as_json)


def _refuse_lone_options(said: dict[str, Any]) -> None:
    """Refuse an option without the one that it belongs to."""
    given = {name for name, value in said.items() if value is not None and value is not False}
    alone = {key: given.intersection(more) for key, more in _BELONG.items() if key not in given}
    alone["tray"] = {"tray"} if "tray" in given and given.isdisjoint(_OF_A_TRAY) else set()
    wrong = ["pods" if names == {"pods"} else key for key, names in alone.items() if names]
    if wrong:
        raise WrongUse(" ".join(say(f"observe.needs.{key}", n=said["pods"]) for key in wrong))


def _found(folder: Path | None, number: str) -> CrossStory:
    with open_here(folder) as (settings, store), store.reading() as page:
        return story_of(page, find_cross(page, number, read_pattern(settings.cross_number)), invented=settings.invented)


def _written(
    folder: Path | None, number: str, seen: Seen, yes: frozenset[str], *, day: date, who: str | None, dry_run: bool
) -> CrossStory:
    """Write what was seen of a cross and return the cross; what is odd is asked first."""
    with open_here(folder) as (settings, store), store.writing("", who=who, dry_run=dry_run) as pen:
        observed = observe_cross(pen, number, seen, settings, day=day, today=today(), who=who, dry_run=dry_run)
        questions = [one for one in observed.surprises if one not in yes]
        if questions:
            raise Stopped(questions)
        return observed.story


def _print(story: CrossStory, *, asks: bool, why: bool) -> None:
    if asks or why:
        _print_story(story)
    if asks:
        return
    if not story.wrote:
        paragraph(say("observe.already", cross=story.cross))
        return
    key = "observe.would" if story.dry_run else "observe.wrote"
    paragraph(say(key, cross=story.cross, what=written_in_words(story), number=story.change))


def _print_story(story: CrossStory) -> None:
    line(say("observe.head", cross=story.cross, seed=story.seed_parent, pollen=story.pollen_parent or "?"))
    if story.doubt:
        paragraph(say("observe.in_doubt", why=spoken_dates(story.doubt)))
    for part in ("visits", "counts", "lots", "trays", "losses", "proofs", "attachments"):
        if lines := getattr(story, part):
            line(say(f"observe.parts.{part}"))
        for one in lines:
            paragraph(one.says, indent=2, bullet=f"[{one.short}] ")
    if story.over:
        paragraph(say("observe.is_over", stage=story.over))
    if counts := counts_in_words(story):
        paragraph(say("observe.together", counts=counts))
    for chance in story.chances:
        spread = percent_range(chance.mean, chance.low, chance.high)
        day = spoken_date(chance.date, today())
        paragraph(say("observe.chance", date=day, n=chance.flowers, chance=spread))
