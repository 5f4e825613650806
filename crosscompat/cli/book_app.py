"""The commands of the cross book: what each is called, takes and says of itself."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from crosscompat.cli.guard import guarded
from crosscompat.cli.options import DATE, Anyway, By, DryRun, Folder, Json, On, count_option, example, text_option
from crosscompat.ground.wording import say

__all__ = ["commands_of_the_book"]

commands_of_the_book = typer.Typer()


@commands_of_the_book.command(help=say("help.plant"), epilog=example("plant"))
@guarded
def plant(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help=say("help.plant_name"))] = None,
    species: Annotated[str | None, typer.Option("--as", metavar="SPECIES", help=say("help.plant_as"))] = None,
    on: On = None,
    by: By = None,
    received_as: Annotated[str | None, typer.Option(metavar="NAME", help=say("help.received_as"))] = None,
    clone: Annotated[str | None, typer.Option(metavar="CLONE", help=say("help.clone"))] = None,
    accession: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.accession"))] = None,
    field_number: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.field_number"))] = None,
    source: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.source"))] = None,
    papers: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.papers"))] = None,
    parents: Annotated[str | None, typer.Option(metavar='"A × B"', help=say("help.parents"))] = None,
    raised_from: Annotated[str | None, typer.Option(metavar="CROSS", help=say("help.raised_from"))] = None,
    owner: Annotated[str | None, typer.Option(metavar="WHO", help=say("help.owner"))] = None,
    place: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.place"))] = None,
    acquired: Annotated[datetime | None, typer.Option(help=say("help.acquired"), **DATE)] = None,
    died: Annotated[datetime | None, typer.Option(help=say("help.died"), **DATE)] = None,
    sex: Annotated[
        Literal["female", "male", "both", "male that sometimes fruits", "unknown"] | None,
        typer.Option(help=say("help.sex")),
    ] = None,
    chromosomes: Annotated[int | None, typer.Option("--2n", metavar="N", min=2, help=say("help.two_n"))] = None,
    self_fertile: Annotated[Literal["yes", "no"] | None, typer.Option(help=say("help.self_fertile"))] = None,
    fertility: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.fertility"))] = None,
    first_flower: Annotated[datetime | None, typer.Option(help=say("help.first_flower"), **DATE)] = None,
    how: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.how"))] = None,
    flowers: Annotated[int | None, typer.Option(metavar="N", min=0, help=say("help.plant_flowers"))] = None,
    pollen: Annotated[str | None, typer.Option(metavar="LOT", help=say("help.plant_pollen"))] = None,
    kept: Annotated[str | None, typer.Option(metavar="WHERE", help=say("help.kept"))] = None,
    dried: Annotated[bool | None, typer.Option("--dried/--not-dried", help=say("help.dried"))] = None,
    collected: Annotated[datetime | None, typer.Option(help=say("help.collected"), **DATE)] = None,
    tested: Annotated[datetime | None, typer.Option(help=say("help.tested"), **DATE)] = None,
    result: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.result"))] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.note"))] = None,
    folder: Folder = None,
    *,
    new_plant: Annotated[bool, typer.Option("--new", help=say("help.plant_new"))] = False,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.dates_and_author import day_told, hand
    from crosscompat.cli.plant import PlantTold, findings_told, pollen_told, run

    told = PlantTold(
        name=name,
        new=new_plant,
        day=day_told(on),
        by=hand(by),
        species=species,
        received_as=received_as,
        clone=clone,
        accession=accession,
        field_number=field_number,
        source=source,
        papers=papers,
        parents=parents,
        raised_from=raised_from,
        owner=owner,
        place=place,
        acquired=acquired and day_told(acquired),
        died=died and day_told(died),
        note=note,
        findings=findings_told(sex, chromosomes, self_fertile, fertility, first_flower),
        how=how,
        flowers=flowers,
        pollen=pollen_told(pollen, kept=kept, dried=dried, collected=collected, tested=tested, result=result),
    )
    run(folder, told, dry_run=dry_run, as_json=as_json)


@commands_of_the_book.command(help=say("help.pollinate"), epilog=example("pollinate"))
@guarded
def pollinate(
    seed: Annotated[str | None, typer.Argument(metavar="SEED", help=say("help.pollinate_seed"))] = None,
    pollen: Annotated[list[str] | None, typer.Argument(metavar="POLLEN", help=say("help.pollinate_pollen"))] = None,
    certainty: Annotated[
        list[str] | None, typer.Option(metavar="certain|likely|unknown", help=say("help.certainty"))
    ] = None,
    lot: Annotated[str | None, typer.Option(metavar="LOT", help=say("help.pollen_lot"))] = None,
    on: On = None,
    hour: Annotated[str | None, typer.Option(metavar="HH:MM", help=say("help.hour"))] = None,
    by: By = None,
    marker: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.marker"))] = None,
    unit: Annotated[str | None, typer.Option(metavar="KIND", help=say("help.unit"))] = None,
    count: Annotated[int | None, typer.Option("--count", "-n", metavar="N", min=1, help=say("help.count"))] = None,
    cross: Annotated[str | None, typer.Option(metavar="NUMBER", help=say("help.pollinate_cross"))] = None,
    number: Annotated[str | None, typer.Option(metavar="NUMBER", help=say("help.number"))] = None,
    technique: Annotated[
        Literal["plain", "cut style", "mentor pollen", "stump", "grafted style", "in water", "other"] | None,
        typer.Option(help=say("help.technique")),
    ] = None,
    stamens: Annotated[bool | None, typer.Option("--stamens-removed/--stamens-left", help=say("help.stamens"))] = None,
    isolation: Annotated[
        Literal["bag", "cap", "insect-free house", "tied shut", "none"] | None, typer.Option(help=say("help.isolation"))
    ] = None,
    temperature: Annotated[float | None, typer.Option(metavar="°C", help=say("help.temperature"))] = None,
    humidity: Annotated[
        float | None, typer.Option(metavar="PERCENT", min=0, max=100, help=say("help.humidity"))
    ] = None,
    aim: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.aim"))] = None,
    want: Annotated[int | None, typer.Option("--wanted", min=1, max=5, help=say("help.want"))] = None,
    check: Annotated[Literal["seed", "pollen"] | None, typer.Option(help=say("help.pollinate_check"))] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help=say("help.note"))] = None,
    folder: Folder = None,
    *,
    open_: Annotated[bool, typer.Option("--open", help=say("help.pollinate_open"))] = False,
    self_: Annotated[bool, typer.Option("--self", help=say("help.pollinate_self"))] = False,
    sib: Annotated[bool, typer.Option("--sib", help=say("help.pollinate_sib"))] = False,
    none: Annotated[bool, typer.Option("--none", help=say("help.pollinate_none"))] = False,
    about: Annotated[bool, typer.Option("--about", help=say("help.about"))] = False,
    all_open: Annotated[bool, typer.Option("--all-open", help=say("help.all_open"))] = False,
    again: Annotated[bool, typer.Option("--again", help=say("help.again"))] = False,
    left_alone: Annotated[bool, typer.Option("--left-alone", help=say("help.left_alone"))] = False,
    anyway: Anyway = False,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    from crosscompat.advice.visit_request import VisitRequest, count_told, kind_told
    from crosscompat.cli.dates_and_author import day_told, hand, hour_told
    from crosscompat.cli.pollinate import run

    request = VisitRequest(
        seed=seed,
        pollen=tuple(pollen or ()),
        kind=kind_told(open=open_, self=self_, sib=sib, none=none),
        certainty=tuple(certainty or ()),
        lot=lot,
        day=day_told(on),
        hour=hour_told(hour),
        who=hand(by),
        marker=marker,
        unit=unit,
        count=count,
        count_how=count_told(count, about=about, all_open=all_open),
        again=again,
        cross=cross,
        number=number,
        technique=technique,
        stamens_removed=stamens,
        isolation=isolation,
        temperature=temperature,
        humidity=humidity,
        aim=aim,
        wanted=want,
        check=check,
        left_alone=left_alone,
        note=note,
    )
    run(folder, request, anyway=anyway, dry_run=dry_run, as_json=as_json)


@commands_of_the_book.command(help=say("help.observe"), epilog=example("observe"))
@guarded
def observe(
    cross: Annotated[str, typer.Argument(metavar="CROSS", help=say("help.observe_cross"))],
    swelling: Annotated[int | None, count_option("swelling", "swelling")] = None,
    dropped: Annotated[int | None, count_option("dropped", "dropped")] = None,
    ripe: Annotated[int | None, count_option("ripe", "ripe")] = None,
    pods: Annotated[int | None, count_option("pods", "pods")] = None,
    seeds: Annotated[int | None, count_option("seeds", "seeds")] = None,
    filled: Annotated[int | None, count_option("filled", "filled")] = None,
    weight: Annotated[
        float | None, typer.Option("--weight", metavar="MG", min=0, help=say("help.observe_weight"))
    ] = None,
    left: Annotated[int | None, count_option("left", "left")] = None,
    lot: Annotated[str | None, text_option("lot", "NAME", "lot")] = None,
    sown: Annotated[int | None, count_option("sown", "sown")] = None,
    from_lot: Annotated[str | None, text_option("from", "LOT", "from")] = None,
    treatment: Annotated[str | None, text_option("treatment", "TEXT", "treatment")] = None,
    tray: Annotated[str | None, text_option("tray", "NAME", "tray")] = None,
    up: Annotated[int | None, count_option("up", "up")] = None,
    highest: Annotated[int | None, count_option("highest", "highest")] = None,
    lost: Annotated[str | None, text_option("lost", "CAUSE", "lost")] = None,
    against: Annotated[str | None, text_option("against", "yes|no|unsure", "against")] = None,
    proof: Annotated[str | None, text_option("proof", "VERDICT", "proof")] = None,
    by_what: Annotated[str | None, text_option("by-what", "TEXT", "by_what")] = None,
    over: Annotated[str | None, text_option("over", "STAGE", "over")] = None,
    note: Annotated[str | None, text_option("note", "TEXT", "note")] = None,
    doubtful: Annotated[str | None, text_option("doubtful", "WHY", "doubtful")] = None,
    on: On = None,
    by: By = None,
    folder: Folder = None,
    *,
    harvest: Annotated[bool, typer.Option("--harvest", help=say("help.observe_harvest"))] = False,
    only_good: Annotated[bool, typer.Option("--only-good", help=say("help.observe_only_good"))] = False,
    anyway: Anyway = False,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.observe import run
    from crosscompat.cli.observe_options import seen_of

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


@commands_of_the_book.command(help=say("help.correct"), epilog=example("correct"))
@guarded
def correct(
    record: Annotated[str, typer.Argument(metavar="RECORD", help=say("help.correct_record"))],
    given: Annotated[list[str] | None, typer.Argument(metavar="FIELD=VALUE", help=say("help.correct_given"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    withdraw: Annotated[bool, typer.Option("--withdraw", help=say("help.correct_withdraw"))] = False,
    with_rest: Annotated[bool, typer.Option("--with-rest", help=say("help.correct_with_rest"))] = False,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.correct import run

    run(folder, record, given or (), take_back=withdraw, with_rest=with_rest, by=by, dry_run=dry_run, as_json=as_json)


@commands_of_the_book.command(help=say("help.history"), epilog=example("history"))
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


@commands_of_the_book.command(help=say("help.undo"), epilog=example("undo"))
@guarded
def undo(
    number: Annotated[int | None, typer.Argument(metavar="NUMBER", help=say("help.undo_number"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.history import run_undo

    run_undo(folder, number, by=by, dry_run=dry_run, as_json=as_json)


@commands_of_the_book.command(help=say("help.backup"), epilog=example("backup"))
@guarded
def backup(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help=say("help.backup_file"))] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.backup import run

    run(folder, file, as_json=as_json)


@commands_of_the_book.command(help=say("help.restore"), epilog=example("restore"))
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


@commands_of_the_book.command(help=say("help.find"), epilog=example("find"))
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


@commands_of_the_book.command("import", help=say("help.import"), epilog=example("import"))
@guarded
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help=say("help.import_file"))],
    sheet: Annotated[str | None, typer.Option("--sheet", metavar="NAME", help=say("help.import_sheet"))] = None,
    rows_are: Annotated[
        str | None, typer.Option("--rows-are", metavar="crosses|plants", help=say("help.import_rows_are"))
    ] = None,
    maps: Annotated[list[str] | None, typer.Option("--map", metavar="THEIRS=OURS", help=say("help.import_map"))] = None,
    ignored: Annotated[
        list[str] | None, typer.Option("--ignore", metavar="HEADING", help=say("help.import_ignore"))
    ] = None,
    took_means: Annotated[
        str | None,
        typer.Option("--took-means", metavar="pod-set|ripe-pod|seedling", help=say("help.import_took_means")),
    ] = None,
    only_successes: Annotated[
        str | None,
        typer.Option("--only-successes", metavar="yes|no|unknown", help=say("help.import_only_successes")),
    ] = None,
    dates: Annotated[
        str | None, typer.Option("--dates", metavar="day-first|month-first", help=say("help.import_dates"))
    ] = None,
    folder: Folder = None,
    *,
    yes: Annotated[bool, typer.Option("--yes", help=say("help.import_yes"))] = False,
    good_rows: Annotated[bool, typer.Option("--good-rows", help=say("help.import_good_rows"))] = False,
    by: By = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help=say("help.dry_run"))] = False,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.dates_and_author import hand
    from crosscompat.cli.import_prompts import Given
    from crosscompat.cli.importing import Request, run

    given = Given(took_means, only_successes, dates, yes)
    request = Request(file, sheet, rows_are, maps or (), ignored or (), given, good_rows, hand(by), dry_run, as_json)
    run(folder, request)


@commands_of_the_book.command(help=say("help.export"), epilog=example("export"))
@guarded
def export(
    target: Annotated[Path | None, typer.Argument(metavar="DIR|FILE", help=say("help.export_target"))] = None,
    crosses: Annotated[Path | None, typer.Option("--crosses", metavar="FILE", help=say("help.export_crosses"))] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    from crosscompat.cli.exporting import run

    run(folder, target, crosses, as_json=as_json)
