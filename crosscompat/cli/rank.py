"""Print a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from crosscompat.advice.figures import Past
from crosscompat.advice.rank import (
    Candidate,
    Ranking,
    RankRow,
    Refused,
    among_species,
    partners_of,
    rank,
    records,
    wanted_pairs,
)
from crosscompat.advice.search import Best, search_of
from crosscompat.book.wanted import Wanted, read_wanted
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import columns, deliver, line, paragraph, print_json, screen_width, talk, who
from crosscompat.cli.workers import shared_out, watched
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.model.threads import one_thread
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
    flowers: int,
    most: int,
    output: Path | None,
    as_json: bool,
) -> None:
    """Rank and print; refused rows of the crosses wanted make the exit code 1."""
    if (wanted is not None) + bool(partners_of or among) + everything > 1:
        raise WrongUse(say("rank.one_kind"))
    listed = read_wanted(wanted) if wanted else ()
    names = [name for name in (partners_of, *among, *(row.seed_parent for row in listed)) if name]
    collection = collection_or_carried(folder, names)
    if everything:
        ranking = _likeliest(collection, flowers, most)
    else:
        candidates, refused = _candidates(collection, wanted, listed, partners_of, among)
        ranking = rank(collection, candidates, flowers=flowers, refused=refused, watch=watched)
    if as_json:
        print_json(ranking, output)
    elif output is not None:
        _write_table(ranking, output)
    else:
        print_ranking(ranking, most)
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


def _likeliest(collection: Collection, flowers: int, most: int) -> Ranking:
    """Search all pairings of the tree for the likeliest, and rank those."""
    search = search_of(collection, flowers=flowers, most=most)
    best = Best(search.most)
    with one_thread():  # the parts are shared out already
        for found in shared_out(lambda rows: search.among(rows, best.floor), search.parts):
            best.take(found)
    return search.ranking(best.found, watch=watched)


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


def print_ranking(ranking: Ranking, most: int) -> None:
    """Print the best pairings as a table, then what stands in the way of them."""
    if ranking.invented:
        paragraph(say("cli.invented"))
        line()
    shown = ranking.rows[:most]
    line(say("rank.heading", flowers=ranking.flowers))
    _print_rows(shown)
    if len(ranking.rows) > most:
        line(say("rank.more", n=len(ranking.rows) - most))
    _print_cautions(shown)
    if ranking.refused:
        line()
        for refused in ranking.refused:
            words = say("rank.refused", row=str(refused.row), seed=refused.seed_parent, pollen=refused.pollen_parent)
            paragraph(f"{words}: {refused.why}", bullet="x ")
    line()
    paragraph(ranking.basis.words)
    for note in ranking.notes:
        paragraph(note)


def _print_rows(rows: Sequence[RankRow]) -> None:
    """Print a table, or two lines a pairing where the screen is too narrow for one."""
    table = columns([_heading(rows), *(_cells(row, rows) for row in rows)], right=[0, 4])
    if max(map(len, table)) <= screen_width():
        for text in table:
            line(text)
        return
    for row in rows:
        place, seed, pollen, words, number, between, verdict, tried, *want = _cells(row, rows)
        line(say("rank.stacked.pairing", place=place.rjust(3), seed=seed, pollen=pollen))
        parts = [say("rank.stacked.chance", words=words, percent=number, range=between), verdict]
        parts += [say("rank.stacked.tried", tried=tried)] if tried else []
        parts += [say("rank.stacked.want", want=want[0])] if want and want[0] else []
        paragraph("; ".join(parts), indent=5)


def _heading(rows: Sequence[RankRow]) -> list[str]:
    want = ["rank.columns.want"] if any(row.want for row in rows) else []
    keys = ("place", "seed", "pollen", "chance", "percent", "range", "verdict", "tried")
    return [say(f"rank.columns.{key}") for key in keys] + [say(key) for key in want]


def _cells(row: RankRow, rows: Sequence[RankRow]) -> list[str]:
    cells = [
        str(row.place),
        who(row.seed_parent, row.seed_plant),
        who(row.pollen_parent, row.pollen_plant),
        row.chance.words,
        percent(row.chance.mean),
        say("rank.range", low=percent(row.chance.low), high=percent(row.chance.high)),
        row.verdict_words,
        _tried(row.past),
    ]
    return [*cells, str(row.want or "")] if any(other.want for other in rows) else cells


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
