"""A table taken into the book, and a whole book into an empty one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Literal

import typer

from crosscompat.advice.check import names_in
from crosscompat.advice.season.hand_over import take_in
from crosscompat.book.crosses import written_out
from crosscompat.book.entry.enter_plant import settle_names
from crosscompat.book.import_export.column_mapping import QUESTIONS, Answers, Grid, read_grids
from crosscompat.book.import_export.import_table import ImportedRows, records_of_rows
from crosscompat.book.import_export.whole_book import ENDING, read_book, unpack_attachments, write_summary
from crosscompat.book.store import Store, open_store
from crosscompat.book.store.pages import restore_history
from crosscompat.cli.book.import_prompts import OpenTable, ask_names, open_table
from crosscompat.cli.options import By, DryRun, Folder, Json, author, choice, choose, on_a_terminal, plain, text
from crosscompat.cli.output import give, line, paragraph, print_json, print_table, talk
from crosscompat.cli.pocket import give_hand_over, text_of_hand_over
from crosscompat.cli.session import open_with_collection
from crosscompat.collection.opening import Collection, with_missing
from crosscompat.ground.dates import today
from crosscompat.ground.errors import Fault, UnknownName, WrongUse
from crosscompat.ground.names import PlantName, fold, read_name
from crosscompat.ground.wording import say

_BAD_DATA = 3
_SHOWN = 30


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """A column of a table, the first thing in it and what it becomes; null is left out."""

    heading: str
    example: str
    becomes: str | None


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a table: where it stands, what is there, what is wrong and what to do."""

    file: str | None
    sheet: str | None
    row: int | None
    column: str | None
    value: str | None
    rule: str
    advice: str


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A name that has no place on the tree, and the nearest that have."""

    name: str
    nearest: list[str]
    says: str


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of a table.

    Attributes
    ----------
    rows_are : str
        ``crosses``, ``plants`` or ``whole book``.
    heading_row : int or None
        The row in which the headings stand; null for a whole book.
    rows : int
        With anything in them.
    crosses, plants : int
        New ones.
    same : int
        Rows that say what the book says already.
    bad_rows : int
        Rows with a fault.
    said : list of str
        What was read otherwise than it is written, and how.
    questions : list of str
        What the grower has to say first.
    answers_file : str or None
        Where it can be filled in; null if nothing is open.
    invented : bool
        Whether the outcomes are, in the collection or in the whole book that came in.
    change : int or None
        Number of the change in the book; null if nothing was written, or for a whole book.
    """

    file: str
    sheet: str | None
    rows_are: str
    heading_row: int | None = None
    columns: list[ColumnRead] = field(default_factory=list)
    rows: int = 0
    crosses: int = 0
    plants: int = 0
    same: int = 0
    bad_rows: int = 0
    faults: list[Problem] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    unplaced: list[Unplaced] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    answers_file: str | None = None
    change: int | None = None
    written: bool = False
    invented: bool = False
    schema: Literal["crosscompat.import/1"] = "crosscompat.import/1"


@dataclass(frozen=True, slots=True)
class _Request:
    """How a table is to be read, as it was said with the command; what is None was not."""

    file: Path
    sheet: str | None
    answers: Answers
    answers_file: Path | None
    yes: bool
    good_rows: bool
    who: str | None
    dry_run: bool
    as_json: bool


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help=say("help.import_file"))],
    sheet: Annotated[str | None, text("--sheet", "NAME", "help.import_sheet")] = None,
    rows_are: Annotated[str | None, choice("--rows-are", QUESTIONS["rows"], "help.import_rows_are")] = None,
    took_means: Annotated[str | None, choice("--took-means", QUESTIONS["took"], "help.import_took_means")] = None,
    only_successes: Annotated[
        str | None, choice("--only-successes", QUESTIONS["only successes"], "help.import_only_successes")
    ] = None,
    dates: Annotated[str | None, choice("--dates", QUESTIONS["dates"], "help.import_dates")] = None,
    answers_file: Annotated[Path | None, plain("--columns", "help.import_columns", "FILE")] = None,
    friend: Annotated[str | None, text("--from", "NAME", "help.import_from")] = None,
    folder: Folder = None,
    *,
    yes: Annotated[bool, plain("--yes", "help.import_yes")] = False,
    good_rows: Annotated[bool, plain("--good-rows", "help.import_good_rows")] = False,
    anyway: Annotated[bool, plain("--anyway", "help.import_anyway")] = False,
    by: By = None,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    """Read, show how it is understood, ask what is open, and write it down."""
    options = {"took": took_means, "only successes": only_successes, "dates": dates, "rows": rows_are}
    said = {question: answer for question, answer in options.items() if answer is not None}
    with open_with_collection(folder, crosses=True) as (collection, store), TemporaryDirectory() as place:
        answers = Answers(questions=said, friend=friend, south=collection.settings.hemisphere == "south")
        request = _Request(file, sheet, answers, answers_file, yes, good_rows, author(by), dry_run, as_json)
        if handed := text_of_hand_over(file):
            taken = take_in(
                collection, store, file.name, handed, today(), who=request.who, anyway=anyway, dry_run=dry_run
            )
            give_hand_over(taken, as_json=as_json)
        elif anyway:
            raise WrongUse(say("import.anyway_alone", file=file.name))
        elif file.suffix.lower() != ENDING:
            _import_rows(store, collection, request)
        elif friend is None:
            _import_book(store, collection, request)
        else:
            _import_rows(store, collection, replace(request, file=_summary_of(file, Path(place))))


def _summary_of(file: Path, folder: Path) -> Path:
    """Write the crosses of an exported book into a table."""
    whole, store = read_book(file), open_store("sqlite://")
    with store.writing(file.name) as pen:
        restore_history(pen, whole.changes, whole.versions)
    with store.reading() as page:
        write_summary(page, folder / f"{file.stem}.csv", invented=whole.invented)
    store.close()
    return folder / f"{file.stem}.csv"


def _import_book(store: Store, collection: Collection, request: _Request) -> None:
    whole = read_book(request.file)
    rows = sum(map(len, whole.versions.values()))
    with store.writing(request.file.name, dry_run=request.dry_run) as pen:
        restore_history(pen, whole.changes, whole.versions)
        if not request.dry_run:
            unpack_attachments(request.file, collection.folder or Path())
    marked = collection.settings.invented
    answer = Imported(
        request.file.name, None, "whole book", rows=rows, written=not request.dry_run, invented=marked or whole.invented
    )
    says = [say(f"import.whole{'_dry' if request.dry_run else ''}", n=rows, changes=len(whole.changes))]
    if whole.invented and not marked:
        says.append(say("import.whole_invented"))
    give(answer, lambda _: paragraph(" ".join(says)), as_json=request.as_json)


def _chosen(grids: Sequence[Grid], request: _Request) -> Grid:
    """Return the sheet that is meant: the one named, else the only one with anything in it."""
    filled = [grid for grid in grids if not grid.blank]
    if request.sheet is not None:
        filled = [grid for grid in grids if (grid.sheet or "").casefold() == request.sheet.casefold()]
    if len(filled) > 1 and on_a_terminal() and not request.as_json:
        names = {(grid.sheet or "").casefold(): grid for grid in filled}
        return names[choose(say("import.ask.sheet"), tuple(names)) or next(iter(names))]
    if len(filled) != 1:
        named = ", ".join(grid.sheet or grid.file for grid in grids)
        key = "which_sheet" if len(filled) > 1 else ("no_sheet" if request.sheet else "nothing")
        raise WrongUse(say(f"import.{key}", file=request.file.name, sheet=request.sheet, sheets=named))
    return filled[0]


def _import_rows(store: Store, collection: Collection, request: _Request) -> None:
    asks = on_a_terminal() and not (request.as_json or request.dry_run)
    sheet, folder = _chosen(read_grids(request.file), request), collection.folder or Path()
    table = open_table(sheet, request.answers_file, folder, request.answers, at_terminal=asks)
    if not request.yes:
        table.ask_columns()
    grid, mapping = table.grid, table.mapping
    columns = [ColumnRead(column.heading, column.example, column.becomes) for column in mapping.columns]
    answer = Imported(
        grid.file, grid.sheet, mapping.rows_are, mapping.row + 1, columns, invented=collection.settings.invented
    )
    if not request.as_json:
        _print_mapping(answer)
    readable = table.settle(store, yes=request.yes, keep=not request.dry_run)
    if readable and (request.dry_run or not table.still_open):
        _write(store, collection, table, answer, request)
    else:
        _say_open(answer, table, request)


def _say_open(answer: Imported, table: OpenTable, request: _Request) -> None:
    """Say what has to be answered first."""
    if request.as_json:
        file = None if request.dry_run else str(table.path)
        print_json(replace(answer, questions=list(table.still_open.values()), answers_file=file))
    else:
        line()
        for question in table.still_open.values():
            paragraph(question, bullet="? ")
        if not request.dry_run:
            paragraph(say("import.fill_in", file=str(table.path)))
    if not request.dry_run:
        raise typer.Exit(1)


def _write(store: Store, collection: Collection, table: OpenTable, answer: Imported, request: _Request) -> None:
    meanings = _settled(store, collection, table, request) if table.at_terminal else {}
    what = say("import.change", where=_place(answer))
    with store.writing(what, who=request.who, dry_run=request.dry_run) as pen:
        taken = table.read(pen)
        stopped = bool(taken.faults) and not request.good_rows
        if not stopped:
            pen.imported = True
            pen.add(*records_of_rows(pen, taken))
            settle_names(pen, meanings, today(), request.who)
        change = None if request.dry_run else pen.change
    outcome = replace(
        answer,
        rows=taken.rows,
        crosses=len(taken.crosses),
        plants=len(taken.plants),
        same=taken.same,
        bad_rows=len({fault.place.row for fault in taken.faults}),
        faults=list(map(_problem, taken.faults, taken.values)),
        said=list(map(str, taken.said)),
        unplaced=[one for one in _unplaced(collection, taken) if one.name not in meanings],
        change=change,
        written=change is not None,
    )
    if request.as_json:
        print_json(outcome)
    else:
        _print_outcome(outcome, taken, stopped=stopped, dry_run=request.dry_run)
    if stopped:
        raise typer.Exit(_BAD_DATA)


def _settled(store: Store, collection: Collection, table: OpenTable, request: _Request) -> dict[str, str]:
    """Ask what each name is that has no place, if the rows can be written; the book is not held meanwhile."""
    with store.reading() as page:
        taken = table.read(page)
    if taken.faults and not request.good_rows:
        return {}
    to_ask = _names_to_ask(taken)
    unplaced = {one.name: one.says for one in _unplaced(collection, taken) if one.name in to_ask}
    return ask_names(unplaced, partial(_with_place, collection))


def _names_to_ask(taken: ImportedRows) -> set[str]:
    """Return what plants are taken for, and the names in crosses that may be one plant's own.

    A misspelt species is none: two plants of it would become one.
    """
    sides = [
        side
        for cross in taken.crosses
        for side in ((cross.seed_plant, cross.seed_parent), (cross.pollen_plant, cross.pollen_parent))
    ]
    of_plants = {plant.species for plant in taken.plants} | {name for plant, name in sides if plant and name}
    read = {name: read_name(name, genus) for *_, name, genus in names_in((), taken.crosses)}
    return of_plants | {name for name, parts in read.items() if parts is None or not _is_species(parts)}


def _is_species(name: PlantName) -> bool:
    """Tell whether a name is a species' or a hybrid's, with nothing that marks a plant of it."""
    marks = (name.cultivar, name.group, name.qualifier, name.field_number)
    return bool(name.epithet or name.parents) and not any(marks)


def _with_place(collection: Collection, name: str) -> str:
    """Return a name that has a place on the tree, its genus in full; `UnknownName` says that it has none."""
    _, grouped = with_missing(collection.distances, collection.traits, collection.synonyms, [name])
    if name not in {one.species for one in grouped}:
        collection.index.match(name)
    return written_out(collection.index, name)[0]


def _problem(fault: Fault, value: str | None) -> Problem:
    place = fault.place
    return Problem(place.file, place.sheet, place.row, place.column, value, fault.what, fault.advice)


def _unplaced(collection: Collection, taken: ImportedRows) -> list[Unplaced]:
    """Return the names that the tree does not know, each once; that is no fault of a record."""
    lacking: dict[str, Unplaced] = {}
    for name, genus in dict.fromkeys((name, genus) for _, _, name, genus in names_in(taken.plants, taken.crosses)):
        try:
            collection.taxa.index.match(name, genus)
        except UnknownName as unknown:
            lacking.setdefault(name, Unplaced(name, [fold(near) for near in unknown.nearest], str(unknown)))
    return list(lacking.values())


def _place(answer: Imported) -> str:
    return answer.file if answer.sheet is None else say("import.sheet", file=answer.file, sheet=answer.sheet)


def _print_mapping(answer: Imported) -> None:
    if answer.invented:
        paragraph(say("cli.invented"))
        line()
    kind = say(f"import.rows.{answer.rows_are}")
    line(say("import.mapping", where=_place(answer), rows=kind, row=str(answer.heading_row)))
    rows = [
        (column.heading, column.becomes or say("import.left_out"), " ".join(column.example.split()))
        for column in answer.columns
        if column.example
    ]
    print_table([say(f"import.{key}") for key in ("heading", "becomes", "example")], rows)


def _print_outcome(outcome: Imported, taken: ImportedRows, *, stopped: bool, dry_run: bool) -> None:
    line()
    for fault in taken.faults:
        talk(str(fault))
    for said in outcome.said[:_SHOWN]:
        paragraph(said, bullet="- ")
    if more := len(outcome.said[_SHOWN:]):
        paragraph(say("import.said_more", n=more))
    for name in outcome.unplaced:
        paragraph(name.says, bullet="- ")
    if outcome.unplaced:
        paragraph(say("import.unplaced"))
    if outcome.same:
        paragraph(say("import.same", n=outcome.same))
    counts = (("crosses", outcome.crosses), ("plants", outcome.plants))
    new = " ".join(say(f"import.new.{kind}", n=n) for kind, n in counts if n)
    if stopped:
        talk(say("import.stopped", bad=outcome.bad_rows, good=outcome.crosses + outcome.plants))
    elif dry_run:
        paragraph(say("import.dry", new=new or say("import.new.none")))
    else:
        paragraph(say("import.done", new=new) if outcome.written else say("import.nothing_new"))
