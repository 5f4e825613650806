"""What to put on the brush tonight."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from crosscompat.cli.options import Day, Flowers, Folder, Json, count
from crosscompat.cli.output import give, line, paragraph, who
from crosscompat.cli.prompts import spoken, today
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

if TYPE_CHECKING:
    from crosscompat.advice.tonight import Father, Mother, Tonight

_FATHERS = 3


def tonight(
    on: Day = None,
    flowers: Flowers = None,
    most: Annotated[int, count("--most", "help.tonight_most", least=1)] = 8,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Say which plants can be crossed tonight, with what pollen."""
    from crosscompat.advice.tonight import tonight as what_to_cross
    from crosscompat.cli.session import open_with_collection

    with open_with_collection(folder, crosses=True) as (collection, store), store.reading() as page:
        found = what_to_cross(collection, page, on or today(), flowers=flowers)
    give(found, lambda answer: _print(answer, most), as_json=as_json)


def _print(answer: Tonight, most: int) -> None:
    day = spoken(answer.day)
    if answer.mothers:
        paragraph(say("tonight.heading", date=day, n=answer.flowers))
    else:
        paragraph(say("tonight.nothing", date=day))
    for mother in answer.mothers[:most]:
        _print_mother(mother)
    if len(answer.mothers) > most:
        line(say("tonight.more", n=len(answer.mothers) - most))
    if answer.keep:
        line(say("tonight.keep"))
    for each in answer.keep:
        paragraph(
            say("tonight.keep_line", who=who(each.pollen_parent, ", ".join(each.plants)), says=each.says), indent=2
        )
    if answer.closed:
        paragraph(say("tonight.closed", n=len(answer.closed)))
    if answer.unknown:
        paragraph(say("tonight.unknown_plants", plants=", ".join(answer.unknown)))
    if answer.caution:
        paragraph(answer.caution)


def _print_mother(mother: Mother) -> None:
    paragraph(say("tonight.mother", plant=mother.seed_plant, species=mother.seed_parent, says=mother.opening.says))
    for father in mother.fathers[:_FATHERS]:
        text = say(
            "tonight.father", words=father.chance.words, percent=percent(father.chance.mean),
            who=who(father.pollen_parent, ", ".join(father.plants)), details="; ".join(["", *_details(father)]),
        )  # fmt: skip
        paragraph(text, indent=4)


def _details(father: Father) -> Iterator[str]:
    if father.says:
        yield father.says
    if father.want is not None:
        yield say("rank.want", want=str(father.want))
    if father.took:
        yield say("rank.tried.took", n=father.took)
    if father.failed:
        yield say("rank.tried.failed", n=father.failed)
