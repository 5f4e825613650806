"""The way round, where a pairing will not take."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.options import Flowers, Folder, Json, two_parents
from crosscompat.cli.output import give, line, paragraph
from crosscompat.cli.session import collection_or_carried
from crosscompat.ground.names import bracketed, genus_of
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent

if TYPE_CHECKING:
    from collections.abc import Callable

    from crosscompat.advice.bridge import Bridge, WaysRound


def bridge(
    parents: Annotated[list[str], typer.Argument(metavar="SEED POLLEN", help=say("help.parents"))],
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Look for a way round a pairing that will not take."""
    from crosscompat.advice.bridge import ways_round
    from crosscompat.advice.figures import flowers_asked
    from crosscompat.advice.parents import find_parents

    seed, pollen = two_parents(parents)
    collection = collection_or_carried(folder, [seed, pollen])
    sides = find_parents(collection, seed, pollen)
    give(ways_round(collection, *sides, flowers_asked(collection, flowers)), _print, as_json=as_json)


def _print(answer: WaysRound) -> None:
    paragraph(say("bridge.heading", seed=answer.seed_parent, pollen=answer.pollen_parent))
    direct, other = answer.direct, answer.reverse
    paragraph(
        say(
            "bridge.direct", words=direct.words, percent=percent(direct.mean), n=answer.flowers, other=other.words,
            other_percent=percent(other.mean),
        ),
        indent=2,
    )  # fmt: skip
    for form in answer.forms:
        paragraph(form.says, indent=2)
    line(say("bridge.through" if answer.bridges else "bridge.none", n=answer.flowers))
    genus = genus_of(answer.seed_parent) or ""
    better = all(each.chance <= max(direct.mean, other.mean) for each in answer.bridges)
    for place, each in enumerate(answer.bridges[: 1 if better else None], 1):
        _print_bridge(place, each, lambda name: name.replace(f"{genus} ", f"{genus[:1]}. "))
    if answer.bridges and better:
        paragraph(say("bridge.better"))
    for advice in answer.advice:
        paragraph(advice)
    paragraph(answer.caution)


def _print_bridge(place: int, each: Bridge, short: Callable[[str], str]) -> None:
    crosses = say("bridge.then").join(
        say("bridge.cross", seed=short(bracketed(step.seed_parent)), pollen=short(bracketed(step.pollen_parent)))
        for step in each.steps
    )
    words, years = one_in(each.chance), f"{each.years:g}"
    paragraph(
        say("bridge.path", place=str(place), crosses=crosses, words=words, percent=percent(each.chance), years=years),
        indent=2,
    )
    shares = ", ".join(say("bridge.share", share=percent(part.share), name=short(part.species)) for part in each.shares)
    paragraph(" ".join([say("bridge.holds", shares=shares), each.says]).strip(), indent=5)
