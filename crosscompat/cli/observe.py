"""Write down what was seen of a cross, or show it as it stands."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from crosscompat.advice.cross_story import CrossStory, story_of
from crosscompat.book.cross_summary import cross_records
from crosscompat.book.entry.enter_observation import Seen, observe, surprises
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.find_records import find_cross
from crosscompat.book.history import Line
from crosscompat.book.numbers import read_pattern
from crosscompat.book.records import AGAINST, PROOFS, STAGES
from crosscompat.book.store import Store
from crosscompat.book.units import in_words
from crosscompat.cli.book_session import BookHere, Stopped, agreed, chosen, open_here
from crosscompat.cli.dates_and_author import day_told, hand, today
from crosscompat.cli.output import line, paragraph, print_json
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent_range

__all__ = ["run"]


def run(
    folder: Path | None,
    cross: str,
    seen: Seen,
    *,
    on: datetime | None,
    by: str | None,
    anyway: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Write if there is something to write, then print."""
    asked, day = _checked(seen), day_told(on)
    with open_here(folder) as (here, store):
        if asked.empty:
            with store.reading() as page:
                story = story_of(
                    page,
                    find_cross(page, cross, read_pattern(here.settings.cross_number)),
                    invented=here.settings.invented,
                )
        else:
            story = agreed(
                lambda yes: _written(here, store, cross, asked, day, hand(by), yes, dry_run=dry_run), anyway=anyway
            )
    if as_json:
        print_json(story)
    else:
        _print(story, already=not asked.empty and not story.wrote)


def _checked(seen: Seen) -> Seen:
    """Return what was said in the book's own words."""
    return replace(
        seen,
        against=chosen("against", seen.against, AGAINST),
        proof=chosen("proof", seen.proof, PROOFS),
        over=chosen("over", seen.over, STAGES),
    )


def _written(
    here: BookHere, store: Store, number: str, seen: Seen, day: date, who: str | None, yes: frozenset[str], *,
    dry_run: bool,
) -> CrossStory:  # fmt: skip
    bounds = Bounds(today(), here.settings.pod[1])
    with store.writing("", who=who, dry_run=dry_run) as pen:
        cross = find_cross(pen, number, read_pattern(here.settings.cross_number))
        pen.what = say("observe.what", cross=cross.number or cross.id)
        before = cross_records(pen, cross)
        wrote = observe(pen, cross, seen, day, who, bounds)
        questions = [one for one in surprises(before, seen, day) if one not in yes]
        if questions:
            raise Stopped(questions)
        now = find_cross(pen, cross.id)
        change = None if dry_run else pen.change
        invented = here.settings.invented
        return story_of(pen, now, wrote=wrote, change=change, dry_run=dry_run, invented=invented)


def _print(story: CrossStory, *, already: bool) -> None:
    line(say("observe.head", cross=story.cross, seed=story.seed_parent, pollen=story.pollen_parent or "?"))
    if story.invented:
        paragraph(say("cli.invented"))
    if story.doubt:
        paragraph(say("observe.in_doubt", why=story.doubt))
    for part in ("visits", "counts", "lots", "trays", "losses", "proofs"):
        _print_lines(say(f"observe.parts.{part}"), getattr(story, part))
    if story.over:
        paragraph(say("observe.is_over", stage=say(f"observe.stages.{story.over}")))
    apart = in_words(story.units_by_kind) if story.totals.units is None else ""
    known = [say("observe.totals.units", n=apart)] if apart else []
    known += [say(f"observe.totals.{name}", n=n) for name in _TOTALS if (n := getattr(story.totals, name)) is not None]
    if known:
        paragraph(say("observe.together", counts=", ".join(known)))
    for chance in story.chances:
        spread = percent_range(chance.mean, chance.low, chance.high)
        paragraph(say("observe.chance", date=chance.date, n=chance.flowers, chance=spread))
    if story.wrote:
        _print_lines(say("observe.parts.would" if story.dry_run else "observe.parts.wrote"), story.wrote)
    _print_end(story, already=already)


def _print_end(story: CrossStory, *, already: bool) -> None:
    if already:
        paragraph(say("observe.already"))
    elif story.dry_run:
        paragraph(say("entry.dry_run"))
    elif story.change is not None:
        paragraph(say("the_book.change", number=story.change))


_TOTALS = ("units", "pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings")


def _print_lines(heading: str, lines: list[Line]) -> None:
    if lines:
        line(heading)
    for one in lines:
        paragraph(one.says, indent=2, bullet=f"[{one.short}] ")
