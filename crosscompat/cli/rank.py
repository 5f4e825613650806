"""Print a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from crosscompat.advice.figures import Past, usual_flowers
from crosscompat.advice.rank import (
    Candidate,
    Ranking,
    RankRow,
    Refused,
    among_species,
    likeliest,
    partners_of,
    rank,
    records,
    wanted_pairs,
)
from crosscompat.book.crosses import Wanted, read_wanted
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import columns, deliver, line, paragraph, print_json, screen_width, talk, who
from crosscompat.cli.workers import watched
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent
from crosscompat.show.records import csv_text, parquet

__all__ = ["print_ranking", "run"]


def run(
    folder: Path | None,
    wanted: Path | None,
    *,
    partners_of: str | None,
    among: Sequence[str],
    everything: bool,
    flowers: int | None,
    most: int,
    output: Path | None,
    as_json: bool = False,
    why: bool = False,
) -> None:
    """Rank and print; refused rows of the crosses wanted make the exit code 1."""
    if (wanted is not None) + bool(partners_of or among) + everything > 1:
        raise WrongUse(say("rank.one_kind"))
    listed = read_wanted(wanted) if wanted else ()
    names = [name for name in (partners_of, *among, *(row.seed_parent for row in listed)) if name]
    collection = collection_or_carried(folder, names)
    usual = usual_flowers(collection) if flowers is None else flowers
    refused: list[Refused] = []
    if everything:
        candidates = likeliest(collection, flowers=usual, most=most, watch=watched)
    else:
        candidates, refused = _candidates(collection, wanted, listed, partners_of, among)
    ranking = rank(collection, candidates, flowers=usual, refused=refused, watch=watched)
    if as_json:
        print_json(ranking, output)
    elif output is not None:
        _write_table(ranking, output)
    else:
        print_ranking(ranking, most, why=why)
    if ranking.refused:
        raise typer.Exit(1)


def _candidates(
    collection: Collection, wanted: Path | None, listed: Sequence[Wanted], species: str | None, among: Sequence[str]
) -> tuple[list[Candidate], list[Refused]]:
    if species:
        return _pairs_of(collection, species, among), []
    if among:
        return _pairs_among(collection, among), []
    rows = listed if wanted else collection.wanted
    if not rows:
        raise WrongUse(say("rank.nothing"))
    return wanted_pairs(collection, rows)


def _write_table(ranking: Ranking, output: Path) -> None:
    """Write a ranking as Parquet where the file is called so, else as CSV."""
    if output.suffix.lower() == ".parquet":
        write_atomically(output, parquet(records(ranking)))
        talk(say("cli.written", file=str(output)))
    else:
        deliver(csv_text(records(ranking)), output)


def _pairs_of(collection: Collection, species: str, among: Sequence[str]) -> list[Candidate]:
    found = partners_of(collection, species, among)
    if not found:
        raise WrongUse(say("rank.no_partner", name=species))
    return found


def _pairs_among(collection: Collection, among: Sequence[str]) -> list[Candidate]:
    if len(among) == 1:
        raise WrongUse(say("rank.one_alone", name=among[0]))
    return among_species(collection, among)


def print_ranking(ranking: Ranking, most: int, *, why: bool = False) -> None:
    """Print the best pairings, a line each, and on request what stands in the way of them."""
    shown = ranking.rows[:most]
    paragraph(say("rank.heading", flowers=ranking.flowers) + (say("ask.invented") if ranking.invented else ""))
    _print_rows(shown)
    if len(ranking.rows) > most:
        line(say("rank.more", n=len(ranking.rows) - most))
    for refused in ranking.refused:
        words = say("rank.refused", row=str(refused.row), seed=refused.seed_parent, pollen=refused.pollen_parent)
        paragraph(f"{words}: {refused.why}", bullet="x ")
    paragraph(ranking.basis.words)
    if why:
        _print_why(ranking, shown)


def _print_why(ranking: Ranking, shown: Sequence[RankRow]) -> None:
    _print_cautions(shown)
    for note in ranking.notes:
        paragraph(note)


def _print_rows(rows: Sequence[RankRow]) -> None:
    """Print a table, or two lines a pairing where the screen is too narrow for one."""
    cells = [_cells(row, rows) for row in rows]
    table = columns([_heading(rows), *cells], right=[0, 4])
    if max(map(len, table)) <= screen_width():
        for text in table:
            line(text)
        return
    for place, seed, pollen, words, number, *rest in cells:
        paragraph(say("rank.stacked", seed=seed, pollen=pollen), indent=6, bullet=f"{place.rjust(4)}  ")
        paragraph("; ".join([f"{words} ({number})", *(text for text in rest if text)]), indent=6)


def _heading(rows: Sequence[RankRow]) -> list[str]:
    want = ["rank.columns.want"] if any(row.want for row in rows) else []
    keys = ("place", "seed", "pollen", "chance", "percent", "tried")
    return [say(f"rank.columns.{key}") for key in keys] + [say(key) for key in want]


def _cells(row: RankRow, rows: Sequence[RankRow]) -> list[str]:
    place = str(row.place) if row.equal == 1 else say("rank.equal", place=str(row.place))
    cells = [
        place,
        who(row.seed_parent, row.seed_plant),
        who(row.pollen_parent, row.pollen_plant),
        row.chance.words,
        percent(row.chance.mean),
        _tried(row.past),
    ]
    want = say("rank.want", want=str(row.want)) if row.want else ""
    return [*cells, want] if any(other.want for other in rows) else cells


def _tried(past: Sequence[Past]) -> str:
    counts = [(word, sum(cross.outcome == word for cross in past)) for word in ("took", "failed", "open")]
    return ", ".join(say(f"rank.tried.{word}", n=n) for word, n in counts if n)


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
