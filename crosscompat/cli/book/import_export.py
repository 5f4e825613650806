"""A table taken into the book, a whole book into an empty one, and the book written to tables."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from crosscompat.cli.options import By, DryRun, Folder, Json, choice, plain, text
from crosscompat.cli.output import give, line, paragraph, print_json, print_table, talk
from crosscompat.cli.prompts import author, choose, on_a_terminal, today
from crosscompat.cli.session import open_here, open_with_collection
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.import_export.column_mapping import Grid, TableMapping
    from crosscompat.book.import_export.import_table import ImportedRows
    from crosscompat.book.import_export.read_rows import Answers
    from crosscompat.book.import_export.saved_answers import SavedAnswers
    from crosscompat.book.store import Store
    from crosscompat.cli.book.import_prompts import Questions
    from crosscompat.collection.opening import Collection

_BAD_DATA = 3
_ROWS = ("crosses", "plants")
_TOOK = ("pod-set", "ripe-pod", "seedling")
_ONLY_SUCCESSES = {"yes": True, "no": False, "unknown": None}
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
    schema: Literal["crosscompat.import/1"] = "crosscompat.import/1"


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    Attributes
    ----------
    changes, versions : int
        Changes, and versions of records, that went out; none where only the summary was written.
    crosses : int or None
        Lines of the summary; null if it was not asked for.
    """

    files: list[str]
    changes: int
    versions: int
    crosses: int | None
    invented: bool
    schema: Literal["crosscompat.export/1"] = "crosscompat.export/1"


@dataclass(frozen=True, slots=True)
class Request:
    """How a table is to be read, as it was said with the command; what is None was not."""

    file: Path
    sheet: str | None
    rows_are: str | None
    maps: Sequence[str]
    ignored: Sequence[str]
    answers: dict[str, str]
    answers_file: Path | None
    friend: str | None
    yes: bool
    good_rows: bool
    who: str | None
    dry_run: bool
    as_json: bool


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help=say("help.import_file"))],
    sheet: Annotated[str | None, text("--sheet", "NAME", "help.import_sheet")] = None,
    rows_are: Annotated[str | None, choice("--rows-are", _ROWS, "help.import_rows_are")] = None,
    maps: Annotated[list[str] | None, plain("--map", "help.import_map", "THEIRS=OURS")] = None,
    ignored: Annotated[list[str] | None, plain("--ignore", "help.import_ignore", "HEADING")] = None,
    took_means: Annotated[str | None, choice("--took-means", _TOOK, "help.import_took_means")] = None,
    only_successes: Annotated[
        str | None, choice("--only-successes", tuple(_ONLY_SUCCESSES), "help.import_only_successes")
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
    from crosscompat.book.import_export.whole_book import ENDING

    options = {"took": took_means, "only successes": only_successes, "dates": dates, "rows": rows_are}
    answers = {question: answer for question, answer in options.items() if answer is not None}
    request = Request(
        file, sheet, rows_are, maps or (), ignored or (), answers, answers_file, friend, yes, good_rows,
        author(by), dry_run, as_json,
    )  # fmt: skip
    with open_with_collection(folder, crosses=True) as (collection, store):
        if file.suffix.lower() != ENDING:
            _import_rows(store, collection, request)
        elif friend is None:
            _import_book(store, request)
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
        write_summary(page, folder / f"{file.stem}.csv")
    store.engine.dispose()
    return folder / f"{file.stem}.csv"


def _import_book(store: Store, request: Request) -> None:
    from crosscompat.book.import_export.whole_book import read_book
    from crosscompat.book.store.pages import refuse_filled, restore_history

    whole = read_book(request.file)
    rows = sum(map(len, whole.versions.values()))
    if request.dry_run:
        with store.reading() as page:
            refuse_filled(page)
    else:
        with store.writing(request.file.name) as pen:
            restore_history(pen, whole.changes, whole.versions)
    answer = Imported(request.file.name, None, "whole book", rows=rows, written=not request.dry_run)
    says = say(f"import.whole{'_dry' if request.dry_run else ''}", n=rows, changes=len(whole.changes))
    give(answer, lambda _: line(says), as_json=request.as_json)


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


@dataclass(slots=True)
class _Table:
    """A table as it is understood so far, and the file of what is said of it."""

    grid: Grid
    mapping: TableMapping
    path: Path
    saved: SavedAnswers
    settled: frozenset[str]
    questions: Questions

    def keep(self, notes: Mapping[str, str], open_notes: Mapping[str, list[int]], *, guess: bool) -> None:
        """Write down the answers and what is open, with guesses for columns that are not known."""
        from crosscompat.book.import_export.saved_answers import SavedAnswers, write_answers
        from crosscompat.cli.book.import_prompts import with_guesses

        mapping = with_guesses(self.mapping, self.settled) if guess else self.mapping
        headings = {column.heading: column.becomes or "" for column in mapping.columns}
        write_answers(self.path, self.grid, mapping, SavedAnswers(headings, notes, self.questions.answers), open_notes)

    @property
    def accepted(self) -> bool:
        """Whether the columns were accepted before, and there are no others."""
        unknown = (column for column in self.mapping.columns if column.example and not column.becomes)
        accepted = self.questions.answers.get("columns") == "yes"
        return self.mapping.is_ours or (accepted and self.settled.issuperset(column.heading for column in unknown))


def _understood(grid: Grid, collection: Collection, request: Request) -> _Table:
    from crosscompat.book.import_export.column_mapping import changed, guess, named
    from crosscompat.book.import_export.saved_answers import SavedAnswers, read_answers, with_saved
    from crosscompat.cli.book.import_prompts import Questions, ask_columns

    path = request.answers_file or _memory(collection, grid)
    saved = read_answers(path) if path.exists() else SavedAnswers()
    at_terminal = on_a_terminal() and not (request.as_json or request.dry_run)
    questions = Questions(at_terminal, {**saved.questions, **request.answers})
    mapping = with_saved(guess(grid, questions.answers.get("rows")), saved)
    settled = frozenset({*saved.columns, *(named(mapping, heading).heading for heading in request.ignored)})
    mapping = changed(mapping, request.maps, request.ignored)
    if at_terminal and not request.yes:
        mapping = ask_columns(grid, mapping, settled)
    return _Table(grid, mapping, path, saved, settled, questions)


def _memory(collection: Collection, grid: Grid) -> Path:
    """Return where the answers to a table are kept in a collection."""
    name = " ".join(filter(None, (Path(grid.file).stem, grid.sheet)))
    kept = re.sub(r"[^\w -]+", "_", name)
    return (collection.folder or Path()) / "imports" / f"{kept}.csv"


def _import_rows(store: Store, collection: Collection, request: Request) -> None:
    from crosscompat.book.import_export.column_mapping import read_grids

    table = _understood(_chosen(read_grids(request.file), request), collection, request)
    grid, mapping, questions = table.grid, table.mapping, table.questions
    answer = Imported(
        file=grid.file,
        sheet=grid.sheet,
        rows_are=mapping.rows_are,
        heading_row=mapping.row + 1,
        columns=[ColumnRead(column.heading, column.example, column.becomes) for column in mapping.columns],
    )
    if not request.as_json:
        _print_mapping(answer)
    if mapping.missing:
        missing = "; ".join(say("import.or").join(group) for group in mapping.missing)
        if not request.dry_run:
            table.keep(table.saved.notes, {}, guess=True)
        raise WrongUse(say("import.missing", columns=missing, file=str(table.path)))
    answers, open_notes = _answered(store, collection, table, request)
    questions.accept(known=request.yes or table.accepted)
    done = not questions.still_open
    if done:
        questions.answers["columns"] = "yes"
    if not (request.dry_run or (mapping.is_ours and done)):
        table.keep(answers.notes if answers else table.saved.notes, open_notes, guess=not done)
    if answers is not None and (request.dry_run or done):
        _write(store, collection, (grid, mapping, answers), answer, request)
    else:
        _say_open(answer, table, request)


def _say_open(answer: Imported, table: _Table, request: Request) -> None:
    """Say what has to be answered first."""
    if request.as_json:
        file = None if request.dry_run else str(table.path)
        print_json(replace(answer, questions=table.questions.still_open, answers_file=file))
    else:
        line()
        for question in table.questions.still_open:
            paragraph(question, bullet="? ")
        if not request.dry_run:
            paragraph(say("import.fill_in", file=str(table.path)))
    if not request.dry_run:
        raise typer.Exit(1)


def _answered(
    store: Store, collection: Collection, table: _Table, request: Request
) -> tuple[Answers | None, Mapping[str, list[int]]]:
    """Return the answers, None without those that the rows need; and the notes that may decide and are not answered."""
    from crosscompat.book.import_export.import_table import read_table
    from crosscompat.book.import_export.read_rows import Answers
    from crosscompat.cli.book.import_prompts import ask_notes

    grid, mapping, questions, notes = table.grid, table.mapping, table.questions, table.saved.notes
    if mapping.column("took") is not None:
        if mapping.is_ours:
            questions.answers.setdefault("took", "seedling")
        questions.ask("took", "took", _TOOK)
    if mapping.rows_are == "crosses" and not mapping.column("only_successes") and not mapping.is_ours:
        questions.ask("only successes", "only", tuple(_ONLY_SUCCESSES))
    if questions.at_terminal and _two_ways(grid, mapping):
        questions.ask("dates", "dates", _ORDERS)
    if questions.still_open:
        return None, {}
    said = questions.answers
    only = _ONLY_SUCCESSES[said.get("only successes", "unknown")]
    south = collection.settings.hemisphere == "south"
    answers = Answers(said.get("dates"), said.get("took"), only, notes, request.friend, south)
    with store.reading() as page:
        open_notes = read_table(page, grid, mapping, answers, today()).open_notes
    if open_notes and questions.at_terminal:
        answers, open_notes = replace(answers, notes={**notes, **ask_notes(open_notes)}), {}
    if open_notes:
        listed = "; ".join(say("import.quoted", text=text) for text in open_notes)
        questions.still_open.append(say("import.ask.notes_option", notes=listed))
    return answers, open_notes


def _two_ways(grid: Grid, mapping: TableMapping) -> bool:
    """Tell whether a day of the table could be two days."""
    from crosscompat.book.import_export.cell_meaning import two_days

    day = mapping.column("date") or mapping.column("acquired")
    below = (row[day.at] for row in grid.rows[mapping.row + 1 :] if day and day.at < len(row))
    return any(isinstance(cell, str) and two_days(cell) for cell in below)


def _write(
    store: Store, collection: Collection, table: tuple[Grid, TableMapping, Answers], answer: Imported, request: Request
) -> None:
    from crosscompat.book.import_export.import_table import read_table, records_of_rows

    change = None
    if request.dry_run:
        with store.reading() as page:
            taken = read_table(page, *table, today())
    else:
        with store.writing(say("import.change", where=_place(answer)), who=request.who) as pen:
            taken = read_table(pen, *table, today())
            if (taken.crosses or taken.plants) and (request.good_rows or not taken.faults):
                pen.imported = True
                pen.add(*records_of_rows(pen, taken))
                change = pen.change
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
        faults=[
            Problem(place.file, place.sheet, place.row, place.column, value, fault.what, fault.advice)
            for fault, value in zip(taken.faults, taken.values, strict=True)
            for place in (fault.place,)
        ],
        said=list(map(str, taken.said)),
        unplaced=_unplaced(collection, taken),
        change=change,
        written=change is not None,
    )


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
    for said in outcome.said:
        paragraph(said, bullet="- ")
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


def export(
    target: Annotated[Path | None, typer.Argument(metavar="DIR|FILE", help=say("help.export_target"))] = None,
    crosses: Annotated[Path | None, plain("--crosses", "help.export_crosses", "FILE")] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Write what is asked for and say what went out."""
    from crosscompat.book.import_export.whole_book import WholeBook, book_in, write_book, write_summary

    if target is None and crosses is None:
        raise WrongUse(say("export.which"))
    with open_here(folder) as (settings, store), store.reading() as page:
        invented = settings.invented
        whole = book_in(page) if target else WholeBook((), {})
        if target:
            write_book(whole, target, invented=invented)
        summary = write_summary(page, crosses, invented=invented) if crosses else None
    files = [str(path) for path in (target, crosses) if path]
    answer = Exported(files, len(whole.changes), sum(map(len, whole.versions.values())), summary, invented)

    def printed(done: Exported) -> None:
        if target:
            line(say("export.whole", target=str(target), n=done.versions, changes=done.changes))
        if done.crosses is not None:
            line(say("export.summary", file=str(crosses), n=done.crosses))

    give(answer, printed, as_json=as_json)
