"""A table taken into the book, and a whole book into an empty one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from crosscompat.cli.options import By, DryRun, Folder, Json, choice, plain, text
from crosscompat.cli.output import give, line, paragraph, print_json, print_table, talk
from crosscompat.cli.prompts import author, choose, on_a_terminal, today
from crosscompat.cli.session import open_with_collection
from crosscompat.ground.errors import Fault, UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.import_export.column_mapping import Answers, Grid
    from crosscompat.book.import_export.import_table import ImportedRows
    from crosscompat.book.store import Store
    from crosscompat.cli.book.import_prompts import OpenTable
    from crosscompat.collection.opening import Collection

_BAD_DATA = 3
_SHOWN = 30
_ROWS = ("crosses", "plants")
_TOOK = ("pod-set", "ripe-pod", "seedling")
_ONLY_SUCCESSES = ("yes", "no", "unknown")
_ORDERS = ("day-first", "month-first")


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
class Request:
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
    rows_are: Annotated[str | None, choice("--rows-are", _ROWS, "help.import_rows_are")] = None,
    took_means: Annotated[str | None, choice("--took-means", _TOOK, "help.import_took_means")] = None,
    only_successes: Annotated[
        str | None, choice("--only-successes", _ONLY_SUCCESSES, "help.import_only_successes")
    ] = None,
    dates: Annotated[str | None, choice("--dates", _ORDERS, "help.import_dates")] = None,
    answers_file: Annotated[Path | None, plain("--columns", "help.import_columns", "FILE")] = None,
    friend: Annotated[str | None, text("--from", "NAME", "help.import_from")] = None,
    folder: Folder = None,
    *,
    yes: Annotated[bool, plain("--yes", "help.import_yes")] = False,
    good_rows: Annotated[bool, plain("--good-rows", "help.import_good_rows")] = False,
    by: By = None,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    """Read, show how it is understood, ask what is open, and write it down."""
    from crosscompat.book.import_export.column_mapping import Answers
    from crosscompat.book.import_export.whole_book import ENDING

    options = {"took": took_means, "only successes": only_successes, "dates": dates, "rows": rows_are}
    with open_with_collection(folder, crosses=True) as (collection, store):
        south = collection.settings.hemisphere == "south"
        said = {question: answer for question, answer in options.items() if answer is not None}
        answers = Answers(questions=said, friend=friend, south=south)
        request = Request(file, sheet, answers, answers_file, yes, good_rows, author(by), dry_run, as_json)
        if file.suffix.lower() != ENDING:
            _import_rows(store, collection, request)
        elif friend is None:
            _import_book(store, collection, request)
        else:
            with TemporaryDirectory() as place:
                summary = _summary_of(file, Path(place))
                _import_rows(store, collection, replace(request, file=summary))


def _summary_of(file: Path, folder: Path) -> Path:
    """Write the crosses of an exported book into a table."""
    from crosscompat.book.import_export.whole_book import read_book, write_summary
    from crosscompat.book.store import open_store
    from crosscompat.book.store.pages import restore_history

    whole, store = read_book(file), open_store("sqlite://")
    with store.writing(file.name) as pen:
        restore_history(pen, whole.changes, whole.versions)
    with store.reading() as page:
        write_summary(page, folder / f"{file.stem}.csv", invented=whole.invented)
    store.engine.dispose()
    return folder / f"{file.stem}.csv"


def _import_book(store: Store, collection: Collection, request: Request) -> None:
    from crosscompat.book.import_export.whole_book import read_book, unpack_attachments
    from crosscompat.book.store.pages import restore_history

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


def _chosen(grids: Sequence[Grid], request: Request) -> Grid:
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


def _import_rows(store: Store, collection: Collection, request: Request) -> None:
    from crosscompat.book.import_export.column_mapping import read_grids
    from crosscompat.cli.book.import_prompts import open_table

    grid, folder = _chosen(read_grids(request.file), request), collection.folder or Path()
    asks = on_a_terminal() and not (request.as_json or request.dry_run)
    table = open_table(grid, request.answers_file, folder, request.answers, at_terminal=asks)
    if not request.yes:
        table.ask_columns()
    mapping = table.mapping
    columns = [ColumnRead(column.heading, column.example, column.becomes) for column in mapping.columns]
    answer = Imported(
        grid.file, grid.sheet, mapping.rows_are, mapping.row + 1, columns, invented=collection.settings.invented
    )
    if not request.as_json:
        _print_mapping(answer)
    if mapping.missing:
        missing = "; ".join(say("import.or").join(group) for group in mapping.missing)
        table.still_open["missing"] = say("import.missing", columns=missing, file=str(table.path))
    else:
        table.ask_rows(store)
    readable = table.still_open.keys() <= {"notes"}
    table.accept(yes=request.yes)
    if not (request.dry_run or mapping.is_ours):
        table.keep()
    if mapping.missing:
        raise WrongUse(table.still_open["missing"])
    if readable and (request.dry_run or not table.still_open):
        _write(store, collection, table, answer, request)
    else:
        _say_open(answer, table, request)


def _say_open(answer: Imported, table: OpenTable, request: Request) -> None:
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


def _write(store: Store, collection: Collection, table: OpenTable, answer: Imported, request: Request) -> None:
    from crosscompat.book.import_export.import_table import read_table, records_of_rows

    what = say("import.change", where=_place(answer))
    with store.writing(what, who=request.who, dry_run=request.dry_run) as pen:
        taken = read_table(pen, table.grid, table.mapping, table.answers, today())
        if request.good_rows or not taken.faults:
            pen.imported = True
            pen.add(*records_of_rows(pen, taken))
        change = None if request.dry_run else pen.change
    outcome = _with_outcome(answer, collection, taken, change)
    stopped = bool(taken.faults) and not request.good_rows
    if request.as_json:
        print_json(outcome)
    else:
        _print_outcome(outcome, taken, stopped=stopped, dry_run=request.dry_run)
    if stopped:
        raise typer.Exit(_BAD_DATA)


def _with_outcome(answer: Imported, collection: Collection, taken: ImportedRows, change: int | None) -> Imported:
    """Return an answer with what came of its rows; without a change nothing was written."""
    return replace(
        answer,
        rows=taken.rows,
        crosses=len(taken.crosses),
        plants=len(taken.plants),
        same=taken.same,
        bad_rows=len({fault.place.row for fault in taken.faults}),
        faults=list(map(_problem, taken.faults, taken.values)),
        said=list(map(str, taken.said)),
        unplaced=_unplaced(collection, taken),
        change=change,
        written=change is not None,
    )


def _problem(fault: Fault, value: str | None) -> Problem:
    place = fault.place
    return Problem(place.file, place.sheet, place.row, place.column, value, fault.what, fault.advice)


def _unplaced(collection: Collection, taken: ImportedRows) -> list[Unplaced]:
    """Return the names that the tree does not know, each once; that is no fault of a record."""
    from crosscompat.advice.check import names_in

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
