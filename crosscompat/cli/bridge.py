"""A pairing that will not take: why a cross of it failed, and the way round."""

from __future__ import annotations

from typing import Annotated

import typer

from crosscompat.advice.figures import flowers_or_usual
from crosscompat.advice.parents import find_parents
from crosscompat.advice.season.bridge import Bridge, WaysRound, WhyFailed, ways_round, why_failed
from crosscompat.cli.options import Flowers, Folder, Json, two_parents
from crosscompat.cli.output import give, line, paragraph
from crosscompat.cli.session import collection_at, collection_or_carried
from crosscompat.ground.names import bracketed, genus_of
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent

_MARKS = {"clear": "+ ", "suspect": "! ", "open": "? "}


def failed(
    cross: Annotated[str, typer.Argument(metavar="CROSS", help=say("help.of_failed"))],
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Say what may have failed a cross, and which check would tell."""
    give(why_failed(collection_at(folder), cross), _print_failed, as_json=as_json)


def _print_failed(answer: WhyFailed) -> None:
    paragraph(say("failed.heading", cross=answer.cross, seed=answer.seed_parent, pollen=answer.pollen_parent))
    paragraph(answer.stopped, indent=2)
    for suspect in answer.suspects:
        paragraph(suspect.says, indent=2, bullet=_MARKS[suspect.verdict])
    if answer.chromosomes:
        paragraph(answer.chromosomes, indent=2, bullet="! ")
    paragraph(answer.check)


def bridge(
    parents: Annotated[list[str], typer.Argument(metavar="SEED POLLEN", help=say("help.parents"))],
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Look for a way round a pairing that will not take."""
    seed, pollen = two_parents(parents)
    collection = collection_or_carried(folder, [seed, pollen])
    sides = find_parents(collection, seed, pollen)
    give(ways_round(collection, *sides, flowers_or_usual(collection, flowers)), _print_ways, as_json=as_json)


def _print_ways(answer: WaysRound) -> None:
    paragraph(say("bridge.heading", seed=answer.seed_parent, pollen=answer.pollen_parent))
    direct, other = answer.direct, answer.reverse
    chances = {"percent": percent(direct.mean), "other": other.words, "other_percent": percent(other.mean)}
    paragraph(say("bridge.direct", words=direct.words, n=answer.flowers, **chances), indent=2)
    for form in answer.forms:
        paragraph(form.says, indent=2)
    line(say("bridge.through" if answer.bridges else "bridge.none", n=answer.flowers))
    better = all(way.chance <= max(direct.mean, other.mean) for way in answer.bridges)
    for place, way in enumerate(answer.bridges[: 1 if better else None], 1):
        _print_bridge(place, way, genus_of(answer.seed_parent) or "")
    if answer.bridges and better:
        paragraph(say("bridge.better"))
    for advice in answer.advice:
        paragraph(advice)
    paragraph(answer.caution)


def _print_bridge(place: int, way: Bridge, genus: str) -> None:
    def short(name: str) -> str:
        return name.replace(f"{genus} ", f"{genus[:1]}. ")

    crosses = say("bridge.then").join(
        say("bridge.cross", seed=short(bracketed(step.seed_parent)), pollen=short(bracketed(step.pollen_parent)))
        for step in way.steps
    )
    chance = {"words": one_in(way.chance), "percent": percent(way.chance)}
    paragraph(say("bridge.path", place=str(place), crosses=crosses, years=f"{way.years:g}", **chance), indent=2)
    shares = ", ".join(say("bridge.share", share=percent(part.share), name=short(part.species)) for part in way.shares)
    paragraph(" ".join([say("bridge.holds", shares=shares), way.says]).strip(), indent=5)
