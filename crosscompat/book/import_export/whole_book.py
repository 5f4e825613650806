"""The whole book as one zip of CSV and back: a table for each kind of record with every version, and the changes."""

from __future__ import annotations

import json
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from crosscompat.book.attachments import FOLDER, MOST_BYTES, content_of, put
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import HEADER
from crosscompat.book.record_fields import READERS, value_types
from crosscompat.book.records import KINDS, Attachment, Record
from crosscompat.book.store import Change, Reading, Version
from crosscompat.ground.csv_cells import guarded, raise_faults, read_records, sheet_text, write_sheet
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.files import writing_atomically
from crosscompat.ground.wording import say

ENDING = ".zip"
INVENTED = "the outcomes are invented.txt"
"""In the archive of a collection whose outcomes are."""

_CHANGES = "changes"
_CONTENTS = "contents.json"
_SCHEMA = "crosscompat.book/1"
_INVENTED = "invented"
_CHANGE_TYPES = value_types(Change)
_MARKS: Mapping[str, type] = {"made_in": int, "replaced_in": int}


@dataclass(frozen=True, slots=True)
class WholeBook:
    """All that was ever written in a book, and whether its archive says that the outcomes are invented."""

    changes: tuple[Change, ...]
    versions: Mapping[type[Record], tuple[Version, ...]]
    invented: bool = False


def book_in(page: Reading) -> WholeBook:
    """Return everything that was ever written in a book."""
    return WholeBook(page.changes(), {kind: page.versions(kind) for kind in KINDS.values()})


def write_book(whole: WholeBook, path: Path, *, invented: bool = False, collection: Path | None = None) -> int:
    """Write a whole book; the same book always gives the same bytes. Invented outcomes are marked in the archive.

    The files that are kept with it in its ``collection`` go along; how many are not as they were kept and stay behind
    is returned. The list of contents comes last, so that nothing can be missing unnoticed.

    Raises
    ------
    WrongUse
        If the name does not end in ``.zip``, or there is something there already that is no earlier export.
    """
    if path.suffix.lower() != ENDING:
        raise WrongUse(say("sheets.export_to", target=str(path)))
    if path.exists() and not _is_export(path):
        raise WrongUse(say("sheets.other_file", file=str(path)))
    texts = {
        _CHANGES: sheet_text(tuple(_CHANGE_TYPES), (_row(change, _CHANGE_TYPES, escaped) for change in whole.changes))
    }
    for name, kind in KINDS.items():
        header = [item.name for item in fields(kind)]
        rows = (_row(one.record, header, escaped) | _row(one, _MARKS, escaped) for one in whole.versions.get(kind, ()))
        texts[name] = sheet_text([*header, *_MARKS], rows)
    content = {f"{name}.csv": text.encode() for name, text in texts.items()}
    if invented:
        content[INVENTED] = say("sheets.invented").encode()
    sums = {name: sha256(part).hexdigest() for name, part in content.items()}
    kept = {one.record.kept_as for one in whole.versions.get(Attachment, ()) if isinstance(one.record, Attachment)}
    with writing_atomically(path) as stream, zipfile.ZipFile(stream, "w") as package:
        for name, part in content.items():
            _pack(package, name, part)
        for name in sorted(kept):
            with suppress(WrongUse):
                _pack(package, f"{FOLDER}/{name}", content_of(collection or Path(), name))
                sums[f"{FOLDER}/{name}"] = name[:64]
        _pack(package, _CONTENTS, json.dumps({"schema": _SCHEMA, "sha256": sums}, indent=1).encode())
    return len(kept) - sum(name.startswith(f"{FOLDER}/") for name in sums)


def _pack(package: zipfile.ZipFile, name: str, content: bytes) -> None:
    entry = zipfile.ZipInfo(name)  # dated 1980, whenever it is made
    entry.compress_type = zipfile.ZIP_DEFLATED
    package.writestr(entry, content)


def _row(holder: object, names: Iterable[str], write: Callable[[str], str]) -> dict[str, object]:
    values = {name: getattr(holder, name) for name in names}
    return {name: write(value) if isinstance(value, str) else value for name, value in values.items()}


def write_summary(page: Reading, path: Path, *, invented: bool = False) -> int:
    """Write each cross in one line, for a person, and return how many there are; texts never become formulas.

    Where the outcomes are invented, the source of every cross says so. `WrongUse` refuses to replace another file.
    """
    if path.exists() and tuple(next(read_records(path, [])[0], [])) != HEADER:
        raise WrongUse(say("sheets.other_file", file=str(path)))
    crosses = crosses_of(page)
    if invented:
        crosses = tuple(replace(cross, source=cross.source or _INVENTED) for cross in crosses)
    write_sheet(path, HEADER, (_row(cross, HEADER, guarded) for cross in crosses))
    return len(crosses)


def read_book(path: Path) -> WholeBook:
    """Read a whole book; `BadInput` says which tables are not, byte for byte, what `write_book` wrote."""
    try:
        with zipfile.ZipFile(path) as package:
            _check_contents(package)
            changes = tuple(Change(**row) for row in _rows(package, _CHANGES, _CHANGE_TYPES))
            versions = {
                kind: tuple(
                    Version(kind(**{key: row[key] for key in row.keys() - _MARKS}), row["made_in"], row["replaced_in"])
                    for row in _rows(package, name, {**value_types(kind), **_MARKS})
                )
                for name, kind in KINDS.items()
            }
            invented = INVENTED in package.namelist()
    except _UNSOUND as error:
        reason = (error.strerror if isinstance(error, OSError) and error.strerror else str(error)).rstrip(".")
        raise BadInput([Fault(Place(path.name), say("sheets.no_export", reason=reason))]) from None
    return WholeBook(changes, versions, invented)


def unpack_attachments(path: Path, collection: Path) -> None:
    """Put the files that a whole book brought with it, once `read_book` has read it, into a collection."""
    with zipfile.ZipFile(path) as package:
        for entry in package.infolist():
            folder, _, name = entry.filename.rpartition("/")
            if folder == FOLDER and entry.file_size <= MOST_BYTES:
                put(collection, name, package.read(entry))


_UNSOUND = (OSError, zipfile.BadZipFile, zlib.error, LookupError, TypeError, ValueError, RuntimeError)
"""What reading a file raises that is no export, or that somebody has put together by hand."""


def _check_contents(package: zipfile.ZipFile) -> None:
    """Raise `BadInput` with every table that is missing, added, or not as it was written."""
    sums, names = json.loads(package.read(_CONTENTS))["sha256"], {*package.namelist()} - {_CONTENTS}
    wrong = {"gone": sums.keys() - names, "added": names - sums.keys()}
    wrong["altered"] = {name for name in names & sums.keys() if sha256(package.read(name)).hexdigest() != sums[name]}
    raise_faults([Fault(Place(one), say(f"sheets.{how}")) for how, which in wrong.items() for one in sorted(which)])


def _is_export(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as package:
            return f"{_CHANGES}.csv" in package.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


_EMPTY = r"\e"
_UNFIT = re.compile(r"[\x00-\x08\x0b-\x1f\\]")
_ESCAPE = re.compile(r"\\(?:u([0-9a-f]{4})|(.))", re.DOTALL)


def escaped(text: str) -> str:
    """Return a text as a cell that is never blank, no formula, and the same again when it is read (`unescaped`)."""
    return guarded(_UNFIT.sub(lambda letter: f"\\u{ord(letter[0]):04x}", text)) if text else _EMPTY


def unescaped(cell: str) -> str:
    r"""Return the text that a cell of `escaped` stands for.

    Examples
    --------
    >>> escaped("a\\b\r"), escaped("=1"), unescaped(escaped("=1\\+1")), unescaped(r"\e")
    ('a\\u005cb\\u000d', '\\=1', '=1\\+1', '')
    """
    return "" if cell == _EMPTY else _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else found[2], cell)


def _rows(package: zipfile.ZipFile, name: str, types: Mapping[str, type]) -> Iterator[dict[str, Any]]:
    faults: list[Fault] = []
    (header, *lines), _ = read_records(zipfile.Path(package, f"{name}.csv"), faults)
    raise_faults(faults)
    for line in lines:
        row = dict(zip(header, line, strict=True))
        yield {column: _READERS[kind](row[column]) if row[column] else None for column, kind in types.items()}


_READERS: Mapping[type, Callable[[str], Any]] = {**READERS, str: unescaped}
