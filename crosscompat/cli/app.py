"""The commands: what each is called, takes and says of itself. What it does is in the file of its name.

Those of the cross book stand in `book_app`.
"""

from copy import copy
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from crosscompat import __version__
from crosscompat.cli.book_app import commands_of_the_book
from crosscompat.cli.guard import guarded
from crosscompat.cli.lean import unconverted
from crosscompat.cli.options import Day, Flowers, Folder, Json, Output, Why, example
from crosscompat.ground.wording import say

__all__ = ["app", "command_line"]

app = typer.Typer(
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=say("help.app"),
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(value: bool) -> None:  # noqa: FBT001 - typer's way of calling
    if value:
        typer.echo(f"crosscompat {__version__}")
        raise typer.Exit


Version = Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help=say("help.version"))]


@app.callback(invoke_without_command=True)
@guarded
def first(
    context: typer.Context,
    *,
    version: Version = False,  # noqa: ARG001 - its callback has already answered
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(say("cli.first"))


@app.command(help=say("help.new"), epilog=example("new"))
@guarded
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help=say("help.new_folder"))],
    tree: Annotated[str | None, typer.Option("--tree", metavar="NAME|FILE", help=say("help.new_tree"))] = None,
    unit: Annotated[str | None, typer.Option("--unit", metavar="UNIT", help=say("help.new_unit"))] = None,
    classification: Annotated[
        Path | None, typer.Option("--classification", metavar="FILE", help=say("help.new_classification"))
    ] = None,
    alignment: Annotated[
        Path | None, typer.Option("--alignment", metavar="FILE", help=say("help.new_alignment"))
    ] = None,
    outgroup: Annotated[
        list[str] | None, typer.Option("--outgroup", metavar="SPECIES", help=say("help.new_outgroup"))
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.new import run

    run(
        folder,
        tree=tree,
        unit=unit,
        classification=classification,
        alignment=alignment,
        outgroup=outgroup or (),
        as_json=as_json,
    )


@app.command(help=say("help.check"), epilog=example("check"))
@guarded
def check(folder: Folder = None, *, as_json: Json = False) -> None:
    from crosscompat.cli.check import run

    run(folder, as_json=as_json)


@app.command(help=say("help.ask"), epilog=example("ask"))
@guarded
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


@app.command(help=say("help.rank"), epilog=example("rank"))
@guarded
def rank(
    wanted: Annotated[Path | None, typer.Argument(metavar="WANTED", help=say("help.wanted"))] = None,
    partners_of: Annotated[str | None, typer.Option(metavar="SPECIES", help=say("help.partners_of"))] = None,
    among: Annotated[list[str] | None, typer.Option(metavar="SPECIES", help=say("help.among"))] = None,
    flowers: Flowers = None,
    most: Annotated[int, typer.Option("--most", metavar="N", min=1, help=say("help.most"))] = 20,
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


@app.command(help=say("help.distances"), epilog=example("distances"))
@guarded
def distances(
    pairs: Annotated[Path, typer.Argument(metavar="PAIRS", help=say("help.distances_pairs"))],
    output: Output = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.distances import run

    run(folder, pairs, output, as_json=as_json)


@app.command(help=say("help.retrain"), epilog=example("retrain"))
@guarded
def retrain(
    as_of: Day = None,
    folder: Folder = None,
    *,
    dry_run: Annotated[bool, typer.Option("--dry-run", help=say("help.dry_run"))] = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.retrain import run

    run(folder, as_of=as_of.date() if as_of else None, dry_run=dry_run, as_json=as_json, why=why)


@app.command(help=say("help.due"), epilog=example("due"))
@guarded
def due(
    as_of: Day = None,
    days: Annotated[int, typer.Option("--days", metavar="N", min=1, help=say("help.due_days"))] = 7,
    ics: Annotated[Path | None, typer.Option("--ics", metavar="FILE", help=say("help.due_ics"))] = None,
    folder: Folder = None,
    *,
    everything: Annotated[bool, typer.Option("--all", help=say("help.due_all"))] = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.due import run

    ahead = None if everything else days
    run(folder, as_of=as_of.date() if as_of else None, ahead=ahead, calendar=ics, as_json=as_json)


@app.command(help=say("help.score"), epilog=example("score"))
@guarded
def score(
    way: Annotated[list[str] | None, typer.Option("--way", metavar="WAY", help=say("help.way"))] = None,
    as_of: Day = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.score import run

    run(folder, as_of=as_of.date() if as_of else None, ways=way or (), as_json=as_json)


@app.command(help=say("help.priors"), epilog=example("priors"))
@guarded
def priors(folder: Folder = None, *, as_json: Json = False) -> None:
    from crosscompat.cli.priors import run

    run(folder, as_json=as_json)


@app.command(help=say("help.tree"), epilog=example("tree"))
@guarded
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


@app.command(help=say("help.trees"), epilog=example("trees"))
@guarded
def trees(*, as_json: Json = False) -> None:
    from crosscompat.cli.trees import run

    run(as_json=as_json)


@app.command(help=say("help.label"), epilog=example("label"))
@guarded
def label(
    crosses: Annotated[list[str] | None, typer.Argument(metavar="CROSS", help=say("help.label_crosses"))] = None,
    output: Output = None,
    since: Annotated[
        datetime | None, typer.Option("--since", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.label_since"))
    ] = None,
    season: Annotated[int | None, typer.Option("--season", metavar="YEAR", help=say("help.label_season"))] = None,
    folder: Folder = None,
    *,
    every: Annotated[bool, typer.Option("--all", help=say("help.label_all"))] = False,
    twins: Annotated[bool, typer.Option("--twins", help=say("help.label_twins"))] = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.label import run

    day = date.min if every else since.date() if since else None
    run(folder, crosses or (), output, since=day, season=season, twins=twins, as_json=as_json)


@app.command(help=say("help.demo"), epilog=example("demo"))
@guarded
def demo(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help=say("help.demo_folder"))] = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.demo import run

    run(folder, as_json=as_json)


app.registered_commands += commands_of_the_book.registered_commands


def command_line(called: str = "") -> Any:
    """Return the command line with the called command alone: to make all of them takes longer than most answers.

    What is no command's name gets the whole, which lists them or says which was meant.
    """
    named = {info.name or getattr(info.callback, "__name__", ""): info for info in app.registered_commands}
    lean = copy(app)
    lean.registered_commands = [named[called]] if called in named else app.registered_commands
    return unconverted(typer.main.get_command(lean))
