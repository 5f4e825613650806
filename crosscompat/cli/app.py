"""The commands: what each is called, takes and says of itself. What it does is in the file of its name."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from crosscompat import __version__
from crosscompat.cli.guard import guarded
from crosscompat.wording import say

__all__ = ["app"]

app = typer.Typer(
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=say("help.app"),
    context_settings={"help_option_names": ["-h", "--help"]},
)

Folder = Annotated[Path | None, typer.Option("--collection", metavar="DIR", help=say("help.collection"))]
Json = Annotated[bool, typer.Option("--json", help=say("help.json"))]
Flowers = Annotated[int, typer.Option("--flowers", "-n", metavar="N", help=say("help.flowers"))]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help=say("help.output"))]
Day = Annotated[
    datetime | None,
    typer.Option("--as-of", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.as_of")),
]


def _example(command: str) -> str:
    return say("help.example", command=say(f"help.examples.{command}"))


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


@app.command(help=say("help.new"), epilog=_example("new"))
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


@app.command(help=say("help.check"), epilog=_example("check"))
@guarded
def check(folder: Folder = None, *, as_json: Json = False) -> None:
    from crosscompat.cli.check import run

    run(folder, as_json=as_json)


@app.command(help=say("help.ask"), epilog=_example("ask"))
@guarded
def ask(
    seed: Annotated[str, typer.Argument(metavar="SEED", help=say("help.seed"))],
    pollen: Annotated[str, typer.Argument(metavar="POLLEN", help=say("help.pollen"))],
    flowers: Flowers = 1,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.ask import run

    run(folder, seed, pollen, flowers=flowers, as_json=as_json)


@app.command(help=say("help.rank"), epilog=_example("rank"))
@guarded
def rank(
    wanted: Annotated[Path | None, typer.Argument(metavar="WANTED", help=say("help.wanted"))] = None,
    partners_of: Annotated[str | None, typer.Option(metavar="SPECIES", help=say("help.partners_of"))] = None,
    among: Annotated[list[str] | None, typer.Option(metavar="SPECIES", help=say("help.among"))] = None,
    flowers: Flowers = 1,
    most: Annotated[int, typer.Option("--most", metavar="N", min=1, help=say("help.most"))] = 20,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.rank import run

    run(folder, wanted, partners_of=partners_of, among=among or (), flowers=flowers, most=most, as_json=as_json)


@app.command(help=say("help.retrain"), epilog=_example("retrain"))
@guarded
def retrain(
    as_of: Day = None,
    folder: Folder = None,
    *,
    dry_run: Annotated[bool, typer.Option("--dry-run", help=say("help.dry_run"))] = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.retrain import run

    run(folder, as_of=as_of.date() if as_of else None, dry_run=dry_run, as_json=as_json)


@app.command(help=say("help.score"), epilog=_example("score"))
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


@app.command(help=say("help.priors"), epilog=_example("priors"))
@guarded
def priors(folder: Folder = None, *, as_json: Json = False) -> None:
    from crosscompat.cli.priors import run

    run(folder, as_json=as_json)


@app.command(help=say("help.tree"), epilog=_example("tree"))
@guarded
def tree(
    species: Annotated[str, typer.Argument(metavar="SPECIES", help=say("help.tree_species"))],
    output: Output = None,
    role: Annotated[str, typer.Option("--as", metavar="seed|pollen", help=say("help.role"))] = "seed",
    flowers: Flowers = 1,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.tree import run

    run(folder, species, output, role=role, flowers=flowers, as_json=as_json)


@app.command(help=say("help.trees"), epilog=_example("trees"))
@guarded
def trees(*, as_json: Json = False) -> None:
    from crosscompat.cli.trees import run

    run(as_json=as_json)


@app.command(help=say("help.label"), epilog=_example("label"))
@guarded
def label(
    crosses: Annotated[list[str], typer.Argument(metavar="CROSS", help=say("help.label_crosses"))],
    output: Output = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.label import run

    run(folder, crosses, output, as_json=as_json)


By = Annotated[str | None, typer.Option("--by", metavar="WHO", help=say("help.by"))]
On = Annotated[datetime | None, typer.Option("--on", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.on"))]
Anyway = Annotated[bool, typer.Option("--anyway", help=say("help.anyway"))]
WriteNothing = Annotated[bool, typer.Option("--dry-run", help=say("help.write_nothing"))]


def _count(name: str, help_of: str) -> Any:
    return typer.Option(f"--{name}", metavar="N", min=0, max=999_999_999, help=say(f"help.observe_{help_of}"))


def _text(name: str, metavar: str, help_of: str) -> Any:
    return typer.Option(f"--{name}", metavar=metavar, help=say(f"help.observe_{help_of}"))


@app.command(help=say("help.observe"), epilog=_example("observe"))
@guarded
def observe(
    cross: Annotated[str, typer.Argument(metavar="CROSS", help=say("help.observe_cross"))],
    swelling: Annotated[int | None, _count("swelling", "swelling")] = None,
    dropped: Annotated[int | None, _count("dropped", "dropped")] = None,
    ripe: Annotated[int | None, _count("ripe", "ripe")] = None,
    pods: Annotated[int | None, _count("pods", "pods")] = None,
    seeds: Annotated[int | None, _count("seeds", "seeds")] = None,
    filled: Annotated[int | None, _count("filled", "filled")] = None,
    weight: Annotated[
        float | None, typer.Option("--weight", metavar="MG", min=0, help=say("help.observe_weight"))
    ] = None,
    left: Annotated[int | None, _count("left", "left")] = None,
    lot: Annotated[str | None, _text("lot", "NAME", "lot")] = None,
    sown: Annotated[int | None, _count("sown", "sown")] = None,
    from_lot: Annotated[str | None, _text("from", "LOT", "from")] = None,
    treatment: Annotated[str | None, _text("treatment", "TEXT", "treatment")] = None,
    tray: Annotated[str | None, _text("tray", "NAME", "tray")] = None,
    up: Annotated[int | None, _count("up", "up")] = None,
    highest: Annotated[int | None, _count("highest", "highest")] = None,
    lost: Annotated[str | None, _text("lost", "CAUSE", "lost")] = None,
    against: Annotated[str | None, _text("against", "yes|no|unsure", "against")] = None,
    proof: Annotated[str | None, _text("proof", "VERDICT", "proof")] = None,
    by_what: Annotated[str | None, _text("by-what", "TEXT", "by_what")] = None,
    over: Annotated[str | None, _text("over", "STAGE", "over")] = None,
    note: Annotated[str | None, _text("note", "TEXT", "note")] = None,
    doubtful: Annotated[str | None, _text("doubtful", "WHY", "doubtful")] = None,
    on: On = None,
    by: By = None,
    folder: Folder = None,
    *,
    harvest: Annotated[bool, typer.Option("--harvest", help=say("help.observe_harvest"))] = False,
    only_good: Annotated[bool, typer.Option("--only-good", help=say("help.observe_only_good"))] = False,
    anyway: Anyway = False,
    dry_run: WriteNothing = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.observe import run
    from crosscompat.cli.seen import seen_of

    seen = seen_of(
        {"swelling": swelling, "dropped": dropped, "ripe": ripe, "up": up, "highest": highest, "lost": lost,
         "against": against, "proof": proof, "by_what": by_what, "over": over, "note": note, "doubtful": doubtful},
        {"pods": pods, "seeds": seeds, "filled": filled, "weight": weight, "left": left, "lot": lot},
        {"seeds": sown, "lot": from_lot, "treatment": treatment},
        tray=tray,
        harvest=harvest,
        only_good=only_good,
    )  # fmt: skip
    run(folder, cross, seen, on=on, by=by, anyway=anyway, dry_run=dry_run, as_json=as_json)


@app.command(help=say("help.correct"), epilog=_example("correct"))
@guarded
def correct(
    record: Annotated[str, typer.Argument(metavar="RECORD", help=say("help.correct_record"))],
    given: Annotated[list[str] | None, typer.Argument(metavar="FIELD=VALUE", help=say("help.correct_given"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    withdraw: Annotated[bool, typer.Option("--withdraw", help=say("help.correct_withdraw"))] = False,
    with_rest: Annotated[bool, typer.Option("--with-rest", help=say("help.correct_with_rest"))] = False,
    dry_run: WriteNothing = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.correct import run

    run(folder, record, given or (), take_back=withdraw, with_rest=with_rest, by=by, dry_run=dry_run, as_json=as_json)


@app.command(help=say("help.history"), epilog=_example("history"))
@guarded
def history(
    about: Annotated[str | None, typer.Argument(metavar="CROSS|PLANT", help=say("help.history_about"))] = None,
    most: Annotated[int, typer.Option("--most", metavar="N", min=1, help=say("help.history_most"))] = 20,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.history import run

    run(folder, about, most=most, as_json=as_json)


@app.command(help=say("help.undo"), epilog=_example("undo"))
@guarded
def undo(
    number: Annotated[int | None, typer.Argument(metavar="NUMBER", help=say("help.undo_number"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    dry_run: WriteNothing = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.history import run_undo

    run_undo(folder, number, by=by, dry_run=dry_run, as_json=as_json)


@app.command(help=say("help.backup"), epilog=_example("backup"))
@guarded
def backup(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help=say("help.backup_file"))] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.backup import run

    run(folder, file, as_json=as_json)


@app.command(help=say("help.restore"), epilog=_example("restore"))
@guarded
def restore(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help=say("help.restore_file"))] = None,
    folder: Folder = None,
    *,
    last: Annotated[bool, typer.Option("--last", help=say("help.restore_last"))] = False,
    anyway: Anyway = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.backup import run_restore

    run_restore(folder, file, last=last, anyway=anyway, as_json=as_json)


@app.command(help=say("help.find"), epilog=_example("find"))
@guarded
def find(
    plant: Annotated[str | None, typer.Option("--plant", metavar="PLANT", help=say("help.find_plant"))] = None,
    day: Annotated[
        datetime | None, typer.Option("--date", metavar="DATE", formats=["%Y-%m-%d"], help=say("help.find_date"))
    ] = None,
    between: Annotated[
        tuple[datetime, datetime] | None,
        typer.Option("--between", metavar="DATE DATE", formats=["%Y-%m-%d"], help=say("help.find_between")),
    ] = None,
    marker: Annotated[str | None, typer.Option("--marker", metavar="TEXT", help=say("help.find_marker"))] = None,
    pollen: Annotated[str | None, typer.Option("--pollen", metavar="PLANT", help=say("help.find_pollen"))] = None,
    most: Annotated[int, typer.Option("--most", metavar="N", min=1, help=say("help.most"))] = 5,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.find import run

    run(folder, plant=plant, day=day, between=between, marker=marker, pollen=pollen, most=most, as_json=as_json)


@app.command(help=say("help.demo"), epilog=_example("demo"))
@guarded
def demo(
    folder: Annotated[Path | None, typer.Argument(metavar="DIR", help=say("help.demo_folder"))] = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.demo import run

    run(folder, as_json=as_json)
