"""The commands that forecast: what each takes. What it does is in the file of its name."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crosscompat.cli.options import Day, Flowers, Folder, Json, Output, Why, count, text
from crosscompat.ground.wording import say


def ask(
    seed: Annotated[str, typer.Argument(metavar="SEED", help=say("help.seed"))],
    pollen: Annotated[str, typer.Argument(metavar="POLLEN", help=say("help.pollen"))],
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    why: Why = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.ask import run

    run(folder, seed, pollen, flowers=flowers, as_json=as_json, why=why)


def rank(
    wanted: Annotated[Path | None, typer.Argument(metavar="WANTED", help=say("help.wanted"))] = None,
    partners_of: Annotated[str | None, text("--partners-of", "SPECIES", "help.partners_of")] = None,
    among: Annotated[list[str] | None, typer.Option(metavar="SPECIES", help=say("help.among"))] = None,
    flowers: Flowers = None,
    most: Annotated[int, count("--most", "help.most", least=1)] = 20,
    output: Output = None,
    folder: Folder = None,
    *,
    everything: Annotated[bool, typer.Option("--all", help=say("help.rank_all"))] = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.rank import run

    run(
        folder,
        wanted,
        partners_of=partners_of,
        among=among or (),
        everything=everything,
        flowers=flowers,
        most=most,
        output=output,
        as_json=as_json,
        why=why,
    )


def retrain(
    as_of: Day = None,
    folder: Folder = None,
    *,
    dry_run: Annotated[bool, typer.Option("--dry-run", help=say("help.dry_run"))] = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.retrain import run

    run(folder, as_of=as_of, dry_run=dry_run, as_json=as_json, why=why)


def score(
    way: Annotated[list[str] | None, typer.Option("--way", metavar="WAY", help=say("help.way"))] = None,
    as_of: Day = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.score import run

    run(folder, as_of=as_of, ways=way or (), as_json=as_json)


def priors(folder: Folder = None, *, as_json: Json = False) -> None:
    from crosscompat.cli.priors import run

    run(folder, as_json=as_json)


def tree(
    species: Annotated[str, typer.Argument(metavar="SPECIES", help=say("help.tree_species"))],
    output: Output = None,
    role: Annotated[str, typer.Option("--as", metavar="seed|pollen", help=say("help.role"))] = "seed",
    flowers: Flowers = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.tree import run

    run(folder, species, output, role=role, flowers=flowers, as_json=as_json)


def demo(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help=say("help.demo_folder"))] = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.demo import run

    run(folder, as_json=as_json)
