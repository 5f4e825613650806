"""Take a table into the book, or a whole book into an empty one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import typer

from crosscompat.advice.sheets import ColumnRead, Imported, problems, unplaced
from crosscompat.book.import_export.column_mapping import TableMapping, changed, guess
from crosscompat.book.import_export.import_table import Answers, Taken, records_taken, take_table
from crosscompat.book.import_export.whole_book import ENDING, read_book
from crosscompat.book.import_export.workbook import Grid, read_grids
from crosscompat.book.store import Store
from crosscompat.book.store.restore import refuse_filled, restore_history
from crosscompat.cli.import_prompts import Given, answered
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json, talk
from crosscompat.cli.prompts import on_a_terminal
from crosscompat.collection.books import open_book
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["Request", "run"]

_ASKED, _BAD_DATA = 1, 3


@dataclass(frozen=True, slots=True)
class Request:
    """How a table is to be read, as it was asked for."""

    file: Path
    sheet: str | None
    rows_are: str | None
    maps: Sequence[str]
    ignored: Sequence[str]
    given: Given
    good_rows: bool
    who: str | None
    dry_run: bool
    as_json: bool


def run(folder: Path | None, request: Request) -> None:
    """Read, show how it is understood, ask what is open, and write it down."""
    collection = collection_at(folder)
    store = open_book(folder or Path(), collection.settings)
    try:
        if request.file.suffix.lower() == ENDING:
            _take_whole(store, request)
        else:
            _take_rows(store, collection, _chosen(read_grids(request.file), request), request)
    finally:
        store.engine.dispose()


def _take_whole(store: Store, request: Request) -> None:
    whole = read_book(request.file)
    rows = sum(map(len, whole.entries.values()))
    if request.dry_run:
        with store.reading() as page:
            refuse_filled(page)
    else:
        with store.writing(request.file.name) as pen:
            restore_history(pen, whole.changes, whole.versions)
    answer = Imported(request.file.name, None, "whole book", rows=rows, written=not request.dry_run)
    if request.as_json:
        print_json(answer)
    else:
        line(say(f"import.whole{'_dry' if request.dry_run else ''}", n=rows, changes=len(whole.changes)))


def _chosen(grids: Sequence[Grid], request: Request) -> Grid:
    """Return the sheet that is meant: the one named, else the only one with anything in it."""
    filled = [grid for grid in grids if not grid.blank]
    if request.sheet is not None:
        filled = [grid for grid in grids if grid.sheet == request.sheet]
    if len(filled) != 1:
        named = ", ".join(grid.sheet or grid.file for grid in grids)
        key = "which_sheet" if len(filled) > 1 else ("no_sheet" if request.sheet else "nothing")
        raise WrongUse(say(f"import.{key}", file=request.file.name, sheet=request.sheet, sheets=named))
    return filled[0]


def _take_rows(store: Store, collection: Collection, grid: Grid, request: Request) -> None:
    mapping = changed(guess(grid, request.rows_are), request.maps, request.ignored)
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
        told = "; ".join(say("import.or").join(group) for group in mapping.missing)
        raise WrongUse(say("import.missing", columns=told))
    asking = on_a_terminal() and not (request.as_json or request.dry_run)
    answers, questions = answered(mapping, request.given, asking=asking)
    if questions and not (request.dry_run and answers):
        _stop(replace(answer, questions=questions), request)
    elif answers is not None:
        _write(store, collection, (grid, mapping, answers), answer, request)


def _stop(answer: Imported, request: Request) -> None:
    """Say what has to be said first."""
    if request.as_json:
        print_json(answer)
    else:
        line()
        for question in answer.questions:
            paragraph(question, bullet="? ")
    if not request.dry_run:
        raise typer.Exit(_ASKED)


def _write(
    store: Store,
    collection: Collection,
    table: tuple[Grid, TableMapping, Answers],
    answer: Imported,
    request: Request,
) -> None:
    grid = table[0]
    where = grid.file if grid.sheet is None else say("import.sheet", file=grid.file, sheet=grid.sheet)
    change = None
    if request.dry_run:
        with store.reading() as page:
            taken = take_table(page, *table, date.today())  # noqa: DTZ011 - the grower's own day
    else:
        with store.writing(say("import.change", where=where), who=request.who) as pen:
            taken = take_table(pen, *table, date.today())  # noqa: DTZ011 - as above
            if (taken.crosses or taken.plants) and (request.good_rows or not taken.faults):
                pen.imported = True
                pen.add(*records_taken(pen, taken))
                change = pen.change
    found = _told(answer, collection, taken)
    stopped = bool(taken.faults) and not request.good_rows
    found = replace(found, change=change, written=change is not None)
    if request.as_json:
        print_json(found)
    else:
        _print_outcome(found, taken, stopped=stopped, dry_run=request.dry_run)
    if stopped:
        raise typer.Exit(_BAD_DATA)


def _told(answer: Imported, collection: Collection, taken: Taken) -> Imported:
    return replace(
        answer,
        rows=taken.rows,
        crosses=len(taken.crosses),
        plants=len(taken.plants),
        same=taken.same,
        bad_rows=len({fault.place.row for fault in taken.faults}),
        faults=problems(taken.faults, taken.values),
        unplaced=unplaced(collection, taken.crosses, taken.plants),
    )


def _print_mapping(answer: Imported) -> None:
    where = answer.file if answer.sheet is None else say("import.sheet", file=answer.file, sheet=answer.sheet)
    kind = say(f"import.rows.{answer.rows_are}")
    line(say("import.mapping", where=where, rows=kind, row=str(answer.heading_row)))
    head = (say("import.heading"), say("import.becomes"), say("import.example"))
    rows = [
        (column.heading, column.becomes or say("import.left_out"), " ".join(column.example.split()))
        for column in answer.columns
        if column.example
    ]
    for text in columns([head, *rows]):
        line(f"  {text}")


def _print_outcome(found: Imported, taken: Taken, *, stopped: bool, dry_run: bool) -> None:
    line()
    for fault in taken.faults:
        talk(str(fault))
    for name in found.unplaced:
        paragraph(say("import.unplaced", says=name.says), bullet="- ")
    if found.same:
        paragraph(say("import.same", n=found.same))
    new = " ".join(
        say(f"import.new.{kind}", n=n) for kind, n in (("crosses", found.crosses), ("plants", found.plants)) if n
    )
    if stopped:
        talk(say("import.stopped", bad=found.bad_rows, good=found.crosses + found.plants))
    elif dry_run:
        paragraph(say("import.dry", new=new or say("import.new.none")))
    elif found.written:
        paragraph(say("import.done", new=new))
    else:
        paragraph(say("import.nothing_new"))
