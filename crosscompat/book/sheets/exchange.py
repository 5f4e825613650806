"""The whole book written to a folder or a workbook, and an empty book filled from one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from crosscompat.book.crosses import HEADER
from crosscompat.book.records import KINDS
from crosscompat.book.sheets.escapes import guarded
from crosscompat.book.sheets.grids import WORKBOOKS, Grid, read_grids
from crosscompat.book.sheets.soundness import faults_of
from crosscompat.book.sheets.tables import Table, write_folder, write_workbook
from crosscompat.book.sheets.whole import CHANGES, Whole, is_whole, whole_of
from crosscompat.book.store import Reading
from crosscompat.book.summary import crosses_of
from crosscompat.ground.csv_cells import raise_faults, read_records, write_sheet
from crosscompat.ground.errors import BadInput, Fault, WrongUse
from crosscompat.ground.wording import say

__all__ = ["read_any", "whole_in", "write_summary", "write_whole"]


def write_whole(tables: Sequence[Table], target: Path) -> list[Path]:
    """Write a whole book, to a workbook by its ending, else to a folder.

    Raises
    ------
    WrongUse
        If there is something there already that is no earlier export.
    """
    if target.suffix.lower() in WORKBOOKS:
        _refuse_other_file(target)
        write_workbook(target, tables)
        return [target]
    if target.suffix:
        raise WrongUse(say("sheets.export_to", target=str(target)))
    _refuse_other_folder(target)
    return write_folder(target, tables)


def write_summary(page: Reading, path: Path) -> int:
    """Write each cross in one line, for a person, and return how many there are; texts never become formulas.

    Raises
    ------
    WrongUse
        If there is a file already that is no such summary.
    """
    if path.exists() and tuple(_first_row(path)) != HEADER:
        raise WrongUse(say("sheets.other_file", file=str(path)))
    crosses = crosses_of(page)
    write_sheet(path, HEADER, ({name: _guarded(getattr(cross, name)) for name in HEADER} for cross in crosses))
    return len(crosses)


def _first_row(path: Path) -> list[str]:
    records, _ = read_records(path, [])
    return records[0] if records else []


def _guarded(value: object) -> object:
    return guarded(value) if isinstance(value, str) else value


def read_any(source: Path) -> tuple[Grid, ...]:
    """Read a file of tables, or the folder that an export made.

    Raises
    ------
    BadInput, WrongUse
        As `read_grids`; a folder without the table of changes is no export.
    """
    if not source.is_dir():
        return read_grids(source)
    if not (source / f"{CHANGES}.csv").is_file():
        raise WrongUse(say("sheets.no_export", folder=str(source)))
    found: list[Grid] = []
    faults: list[Fault] = []
    for path in [path for name in (CHANGES, *KINDS) if (path := source / f"{name}.csv").is_file()]:
        try:
            found += read_grids(path)
        except BadInput as bad:
            faults += bad.faults
    raise_faults(faults)
    return tuple(found)


def whole_in(grids: Sequence[Grid]) -> Whole:
    """Return the whole book that tables hold.

    Raises
    ------
    BadInput
        With everything in them that cannot be read or contradicts itself.
    """
    faults: list[Fault] = []
    whole = whole_of(grids, faults)
    raise_faults(faults)
    raise_faults(faults_of(whole))
    return whole


def _refuse_other_file(target: Path) -> None:
    if not target.exists():
        return
    try:
        ours = is_whole(read_grids(target))
    except BadInput:
        ours = False
    if not ours:
        raise WrongUse(say("sheets.other_file", file=str(target)))


def _refuse_other_folder(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise WrongUse(say("sheets.export_to", target=str(target)))
    there = {path.name for path in target.iterdir()}
    if there and not there <= {f"{name}.csv" for name in (CHANGES, *KINDS)} | {".DS_Store"}:
        raise WrongUse(say("sheets.other_folder", folder=str(target)))
    path = target / f"{CHANGES}.csv"
    if there and not (path.is_file() and is_whole(read_grids(path))):
        raise WrongUse(say("sheets.other_folder", folder=str(target)))
