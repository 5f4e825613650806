"""The tree with the likely partners of one species, the distances on it, and the trees that come with the package."""

from __future__ import annotations

from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, BinaryIO, Literal, cast

import typer

from crosscompat.carried import CarriedTree, carried_trees
from crosscompat.cli.options import Flowers, Folder, Json, Output, plain
from crosscompat.cli.output import (
    deliver,
    give,
    line,
    paragraph,
    print_json,
    screen_width,
    speaks_unicode,
    talk,
    unit_in_words,
)
from crosscompat.cli.session import collection_or_carried
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import writing_atomically
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.pair_distances import PairDistances


def tree(
    species: Annotated[str, typer.Argument(metavar="SPECIES", help=say("help.tree_species"))],
    output: Output = None,
    role: Annotated[str, plain("--as", "help.role", "seed|pollen")] = "seed",
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Show the tree: as text on the screen, or as a picture in a file."""
    from crosscompat.advice.partners import drawn, partners, tree_of, tree_picture
    from crosscompat.show.tree_text import text_tree

    if role not in {"seed", "pollen"}:
        raise WrongUse(say("tree.role", got=role))
    collection = collection_or_carried(folder, (species,))
    seen = partners(collection, species, role=cast("Literal['seed', 'pollen']", role), flowers=flowers)
    if as_json:
        print_json(seen, output)
    elif output is not None:
        deliver(tree_picture(collection, seen), output)
    else:
        line(text_tree(tree_of(collection), width=screen_width(), unicode=speaks_unicode(), **drawn(collection, seen)))
        line()
        paragraph(seen.basis.words)


def distances(
    pairs: Annotated[Path, typer.Argument(metavar="PAIRS", help=say("help.distances_pairs"))],
    output: Output = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Write the table, or nothing at all if there is a fault in it."""
    from crosscompat.advice.pair_distances import PairTable, write_distances
    from crosscompat.cli.workers import watched

    to_screen = output is None or str(output) == "-"
    if as_json and to_screen:
        raise WrongUse(say("distances.json_where"))
    table = PairTable(pairs)
    first = next(table.blocks([]), None)
    collection = collection_or_carried(folder, table.parents(first[0][1]) if first else ())

    def written(stream: BinaryIO) -> PairDistances:
        return write_distances(collection, table, stream, lambda blocks: watched(blocks, table.size_in_blocks))

    if output is None or to_screen:
        held = BytesIO()
        written(held)
        deliver(held.getvalue().decode(), None)
        return
    with writing_atomically(output) as stream:
        answer = replace(written(stream), file=str(output))
    if as_json:
        print_json(answer)
    else:
        talk(say("distances.written", n=answer.pairs, unit=unit_in_words(answer.unit), file=str(output)))


@dataclass(frozen=True, slots=True)
class KnownTrait:
    """A trait, and of how many species it is known."""

    name: str
    known: int


@dataclass(frozen=True, slots=True)
class TreeEntry:
    """One tree that comes along, by the name that ``new --tree`` calls it; ``traits`` are those known of any."""

    name: str
    title: str
    genus: str
    species: int
    unit: str
    source: str
    doi: str
    licence: str
    changes: str
    traits: list[KnownTrait]


@dataclass(frozen=True, slots=True)
class CarriedTrees:
    """All trees that come along."""

    trees: list[TreeEntry]
    schema: Literal["crosscompat.trees/1"] = "crosscompat.trees/1"


def trees(*, as_json: Json = False) -> None:
    """Print every carried tree with its size, unit, source and licence."""
    listed = CarriedTrees([_entry(carried) for carried in carried_trees()])
    give(listed, _print_trees, as_json=as_json)


def _print_trees(listed: CarriedTrees) -> None:
    for entry in listed.trees:
        line(f"{entry.name}: {entry.title}")
        size = say("trees_listed.size", n=entry.species, unit=unit_in_words(entry.unit))
        counts = ", ".join(f"{trait.name} {trait.known:,}" for trait in entry.traits)
        traits = say("trees_listed.traits", counts=counts)
        source = say("trees_listed.source", source=entry.source, doi=entry.doi)
        for text in (size, traits, source, say("trees_listed.licence", licence=entry.licence, changes=entry.changes)):
            paragraph(text, indent=2, bullet="· ")
        line()
    line(say("trees_listed.next"))


def _entry(carried: CarriedTree) -> TreeEntry:
    from crosscompat.traits import read_traits

    columns = read_traits(carried.traits, carried.trait_kinds).columns
    known = [KnownTrait(column.name, column.known) for column in columns if not column.name.endswith("_source")]
    said = {
        key: getattr(carried, key) for key in ("name", "title", "genus", "unit", "source", "doi", "licence", "changes")
    }
    return TreeEntry(**said, species=carried.tips, traits=[trait for trait in known if trait.known])
