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
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crosscompat.advice.candidates import Refused
    from crosscompat.advice.rank import Ranking, RankRow

_OUTCOMES = ("took", "failed", "lost", "open")


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
    from crosscompat.advice import candidates as pairings
    from crosscompat.advice import rank as advice
    from crosscompat.advice.figures import usual_flowers
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
    usual = usual_flowers(collection) if flowers is None else flowers
    refused: list[Refused] = []
    basis = basis_of(collection)
    if everything:
        candidates = pairings.likeliest(collection, flowers=usual, most=most, watch=watched, basis=basis)
    elif partners_of or among:
        candidates = pairings.chosen_pairs(collection, partners_of, among or ())
    else:
        rows = collection.wanted if listed is None else listed
        if not rows:
            raise WrongUse(say("rank.nothing"))
        candidates, refused = pairings.wanted_pairs(collection, rows)
    ranking = advice.rank(collection, candidates, flowers=usual, refused=refused, watch=watched, basis=basis, by=by)
    if as_json:
        print_json(ranking, output)
    elif output is not None:
        _write_table(ranking, output)
    else:
        print_ranking(ranking, most, why=why)
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


def print_ranking(ranking: Ranking, most: int, *, why: bool = False) -> None:
    """Print the best pairings, a line each, and on request what stands in the way of them."""
    shown = ranking.rows[:most]
    heading = say("rank.heading" if ranking.by == "chance" else f"rank.heading_{ranking.by}", flowers=ranking.flowers)
    paragraph(heading + (say("ask.invented") if ranking.invented else ""))
    _print_rows(shown)
    if len(ranking.rows) > most:
        line(say("rank.more", n=len(ranking.rows) - most))
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
        head = say("rank.stacked", seed=seed, pollen=pollen)
        return f"{place:>10}  ", head, "; ".join([f"{words} ({number})", *(part for part in rest if part)])

    more = [
        name
        for name, shown in (("want", any(r.want for r in rows)), ("teaches", any(r.teaches for r in rows)))
        if shown
    ]
    heading = headings("rank.columns", "place", "seed", "pollen", "chance", "percent", "tried", *more)
    print_table(heading, [_cells(row, more) for row in rows], right=[0, 4], indent=0, narrow=narrow)


def _cells(row: RankRow, more: Sequence[str]) -> list[str]:
    outcomes = [cross.outcome for cross in row.past]
    last = {
        "want": say("rank.want", want=str(row.want)) if row.want else "",
        "teaches": row.teaches.says if row.teaches else "",
    }
    return [
        str(row.place) if row.equal == 1 else say("rank.equal", place=str(row.place)),
        who(row.seed_parent, row.seed_plant),
        who(row.pollen_parent, row.pollen_plant),
        row.chance.words,
        percent(row.chance.mean),
        ", ".join(say(f"rank.tried.{word}", n=outcomes.count(word)) for word in _OUTCOMES if word in outcomes),
        *(last[name] for name in more),
    ]


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
