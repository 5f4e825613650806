"""Make the collection of an invented nursery and run the whole job on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from crosscompat.advice.ask import ask
from crosscompat.advice.partners import partners, tree_picture
from crosscompat.advice.rank import rank, wanted_pairs
from crosscompat.advice.retrain import keep, learn
from crosscompat.advice.season.labels import labels_for
from crosscompat.cli.ask import print_answer
from crosscompat.cli.learn import print_lesson
from crosscompat.cli.options import Json
from crosscompat.cli.output import line, paragraph, print_json, width
from crosscompat.cli.rank import print_ranking
from crosscompat.collection.create import make_demonstration
from crosscompat.collection.opening import MODEL_FILE, Collection, open_collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.show.label import labels_page

_DEFAULT = "crosscompat-demo"
_READ_ON = date(2026, 10, 31)
_SEED, _POLLEN = "Echinocereus dasyacanthus", "Echinocereus coccineus"
_NEAR_BUT_UNLIKE = "Echinocereus triglochidiatus"
_PICTURE, _LABELS = "coccineus.svg", "labels.html"
_TO_LABEL = ("26-01", "26-02", "26-03")
_FLOWERS, _SHOWN = 4, 8


@dataclass(frozen=True, slots=True)
class Demonstration:
    """What the demonstration left behind."""

    folder: str
    files: list[str]
    invented: bool = True
    schema: Literal["crosscompat.demo/1"] = "crosscompat.demo/1"


def demo(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help=say("help.demo_folder"))] = None,
    *,
    as_json: Json = False,
) -> None:
    """Make the collection with its model, picture and labels; then print each step of the job."""
    place = _new_folder(folder)
    made = make_demonstration(place)
    new = open_collection(place)
    lesson, saved = learn(new, as_of=_READ_ON)
    keep(new, saved)
    collection = open_collection(place)
    _write_pages(collection, place)
    if as_json:
        print_json(Demonstration(str(place), [*made, MODEL_FILE, _PICTURE, _LABELS]))
        return
    _heading("retrain", place)
    print_lesson(lesson)
    _ask_and_rank(collection, place)
    _heading("files", place)
    paragraph(say("cli.invented"))
    paragraph(say("demo.files", folder=str(place), picture=_PICTURE, labels=_LABELS))
    line(say("demo.next", folder=str(place)))


def _new_folder(folder: Path | None) -> Path:
    """Return where to make it: nothing that is there already is ever overwritten."""
    if folder is not None:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise WrongUse(say("demo.there", folder=str(folder)))
        return folder
    tries = (Path(_DEFAULT if i == 1 else f"{_DEFAULT}-{i}") for i in range(1, 1000))
    return next(path for path in tries if not path.exists())


def _heading(step: str, folder: Path) -> None:
    line()
    line(say(f"demo.steps.{step}", folder=str(folder)))
    line("=" * width())


def _ask_and_rank(collection: Collection, place: Path) -> None:
    _heading("ask", place)
    print_answer(ask(collection, _SEED, _POLLEN, flowers=_FLOWERS))
    _heading("ploidy", place)
    print_answer(ask(collection, _POLLEN, _NEAR_BUT_UNLIKE, flowers=_FLOWERS))
    _heading("rank", place)
    candidates, refused = wanted_pairs(collection, collection.wanted)
    print_ranking(rank(collection, candidates, flowers=_FLOWERS, refused=refused), most=_SHOWN)


def _write_pages(collection: Collection, place: Path) -> None:
    drawn = tree_picture(collection, partners(collection, _POLLEN, role="seed", flowers=_FLOWERS))
    write_atomically(place / _PICTURE, drawn.encode())
    labels = labels_for(collection, _TO_LABEL)
    write_atomically(place / _LABELS, labels_page(labels.cards, invented=labels.invented).encode())
