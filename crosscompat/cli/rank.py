"""Rank the crosses wanted, the partners of a species, or all pairings there are."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crosscompat.cli.options import Flowers, Folder, Json, Output, Why, count, plain, text, words
from crosscompat.cli.output import deliver, headings, line, paragraph, print_json, print_table, talk, who
from crosscompat.cli.session import collection_or_carried
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crosscompat.advice.rank import Ranking, RankRow, Refused


def rank(
    typed: Annotated[list[str] | None, typer.Argument(metavar="SPECIES|WANTED", help=say("help.wanted"))] = None,
    partners_of: Annotated[str | None, text("--partners-of", "SPECIES", "help.partners_of")] = None,
    among: Annotated[list[str] | None, typer.Option(metavar="SPECIES", help=say("help.among"))] = None,
    flowers: Flowers = None,
    by: Annotated[
        Any, typer.Option(metavar="WHAT", parser=words("--by", ("chance", "teach", "both")), help=say("help.rank_by"))
    ] = "chance",
    most: Annotated[int, count("--most", "help.most", least=1)] = 20,
    output: Output = None,
    folder: Folder = None,
    *,
    everything: Annotated[bool, plain("--all", "help.rank_all")] = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Rank and print; refused rows of the crosses wanted make the exit code 1."""
    from crosscompat.advice import rank as advice
    from crosscompat.advice.figures import flowers_or_usual, is_usual
    from crosscompat.advice.predict import basis_of
    from crosscompat.book.crosses import read_wanted
    from crosscompat.cli.workers import watched

    wanted = Path(" ".join(typed)) if typed else None
    if wanted is not None and not re.search(r"\.\w+$", wanted.name) and not wanted.exists() and partners_of is None:
        wanted, partners_of = None, str(wanted)
    if (wanted is not None) + bool(partners_of or among) + everything > 1:
        raise WrongUse(say("rank.one_kind"))
    listed = read_wanted(wanted) if wanted else None
    names = [name for name in (partners_of, *(among or ()), *(row.seed_parent for row in listed or ())) if name]
    collection = collection_or_carried(folder, names)
    usual, flowers = is_usual(collection, flowers), flowers_or_usual(collection, flowers)
    refused: list[Refused] = []
    basis = basis_of(collection)
    if everything:
        candidates = advice.likeliest(collection, flowers=flowers, most=most, watch=watched, basis=basis)
    elif partners_of or among:
        candidates = advice.chosen_pairs(collection, partners_of, among or ())
    else:
        rows = collection.wanted if listed is None else listed
        if not rows:
            raise WrongUse(say("rank.nothing"))
        candidates, refused = advice.wanted_pairs(collection, rows)
    ranking = advice.rank(collection, candidates, flowers=flowers, refused=refused, watch=watched, basis=basis, by=by)
    if as_json:
        print_json(ranking, output)
    elif output is not None:
        _write_table(ranking, output)
    else:
        print_ranking(ranking, most, why=why, usual=usual)
    if ranking.refused:
        raise typer.Exit(1)


def _write_table(ranking: Ranking, output: Path) -> None:
    """Write a ranking as Parquet where the file is called so, else as CSV."""
    from crosscompat.advice.rank import records
    from crosscompat.ground.files import write_atomically
    from crosscompat.show.exports import csv_text, parquet

    if output.suffix.lower() == ".parquet":
        write_atomically(output, parquet(records(ranking)))
        talk(say("cli.written", file=str(output)))
    else:
        deliver(csv_text(records(ranking)), output)


def print_ranking(ranking: Ranking, most: int, *, why: bool = False, usual: bool = False) -> None:
    """Print the best pairings, a line each, and on request what stands in their way; flowers may be ``usual``."""
    shown = ranking.rows[:most]
    whose = say("rank.usual") if usual else ""
    heading = say(f"rank.headings.{ranking.by}", usual=whose, flowers=ranking.flowers)
    paragraph(heading + (say("ask.invented") if ranking.invented else ""))
    _print_rows(shown)
    if len(ranking.rows) > most:
        alike = sum(row.place == shown[-1].place for row in ranking.rows[most:])
        line(say("rank.more_alike" if alike else "rank.more", n=len(ranking.rows) - most, alike=alike))
    for refused in ranking.refused:
        words = say("rank.refused", row=str(refused.row), seed=refused.seed_parent, pollen=refused.pollen_parent)
        paragraph(f"{words}: {refused.why}", bullet="x ")
    paragraph(ranking.basis.words)
    if why:
        _print_cautions(shown)
        for note in ranking.notes:
            paragraph(note)


def _print_rows(rows: Sequence[RankRow]) -> None:
    """Print a table, or two lines a pairing where the screen is too narrow for one."""

    def narrow(place: str, seed: str, pollen: str, words: str, number: str, *rest: str) -> tuple[str, str, str]:
        said = [f"{name}: {cell}" for name, cell in zip(heading[5:], rest, strict=True) if cell]
        return f"{place:>4}  ", say("rank.stacked", seed=seed, pollen=pollen), "; ".join([f"{words} ({number})", *said])

    genera = {genus_of(name) for row in rows for name in (row.seed_parent, row.pollen_parent)}
    genus = genera.pop() if len(genera) == 1 else None
    more = [name for name in ("want", "teaches") if any(getattr(row, name) for row in rows)]
    heading = headings("rank.columns", "place", "seed", "pollen", "chance", "percent", "tried", *more)
    cells = [
        [
            str(row.place) if row.equal == 1 else say("rank.equal", place=str(row.place)),
            _short(who(row.seed_parent, row.seed_plant), genus),
            _short(who(row.pollen_parent, row.pollen_plant), genus),
            row.chance.words,
            percent(row.chance.mean),
            _tried([cross.outcome for cross in row.past]),
            *([str(row.want or "")] if "want" in more else []),
            *([row.teaches.says if row.teaches else ""] if "teaches" in more else []),
        ]
        for row in rows
    ]
    print_table(heading, cells, right=[0, 4], indent=0, narrow=narrow, spare=4)


def _short(name: str, genus: str | None) -> str:
    """Cut the genus that all of a table share."""
    return re.sub(rf"\b{genus} ", f"{genus[0]}. ", name) if genus else name


def _tried(outcomes: Sequence[str]) -> str:
    """Say how many of the crosses made gave a seedling, and how many were lost or are not finished."""
    took, failed = outcomes.count("took"), outcomes.count("failed")
    parts = [say("rank.tried.of", took=str(took), of=str(took + failed))] if took + failed else []
    parts += [say(f"rank.tried.{word}", n=outcomes.count(word)) for word in ("lost", "open") if word in outcomes]
    return ", ".join(parts)


def _print_cautions(rows: Sequence[RankRow]) -> None:
    """Print each caution once, with the places of the pairings that it concerns."""
    places: dict[str, list[str]] = {}
    for row in rows:
        for caution in row.cautions:
            places.setdefault(caution.says, []).append(str(row.place))
    if places:
        line()
        line(say("rank.mind"))
    for says, at in places.items():
        paragraph(say("rank.caution", places=", ".join(at), says=says), indent=2, bullet="! ")
