"""Printing: answers to standard output, talk to standard error."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import named, write_atomically
from crosscompat.ground.wording import catalogue, say

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from crosscompat.show.exports import Reminder
    from crosscompat.show.label import LabelCard

    _A = TypeVar("_A", bound=DataclassInstance)

_WIDEST = 100
_NARROWEST = 40
_WORKBOOKS = (".xlsx", ".xls", ".ods")


def width() -> int:
    """Return how many letters a line of text takes here."""
    return max(_NARROWEST, min(_WIDEST, screen_width()))


def screen_width() -> int:
    """Return how many letters the screen holds in a line, for tables."""
    return shutil.get_terminal_size((_WIDEST, 24)).columns


def speaks_unicode() -> bool:
    """Tell whether standard output can show box lines and the sign of hybrids."""
    try:
        "└─×".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def who(species: str, plant: str | None) -> str:
    """Return one side of a pairing, with the very plant in brackets where one was named.

    Examples
    --------
    >>> who("Echinocereus coccineus", "COC-F1")
    'Echinocereus coccineus [COC-F1]'
    """
    from crosscompat.ground.names import bracketed

    name = bracketed(species)
    return f"{name} [{plant}]" if plant else name


def spoken(day: str) -> str:
    """Return a day of an answer, ISO 8601, as people say it."""
    return spoken_date(date.fromisoformat(day), today())


def unit_in_words(unit: str | None) -> str:
    """Return what a distance of 1 is called.

    Examples
    --------
    >>> unit_in_words("My"), unit_in_words("substitutions per site")
    ('million years', 'substitutions per site')
    """
    known = catalogue("cli")["units"]
    return str(known.get(unit or "none", unit))


_STEERING = (*range(9), *range(11, 32), *range(127, 160), 0x061C, 0x200E, 0x200F, *range(0x2028, 0x202F),
             *range(0x2066, 0x206A))  # fmt: skip
_ESCAPED = {code: f"\\u{code:04x}" for code in _STEERING}


def shown(text: str) -> str:
    r"""Return text with every sign that would steer the screen, or turn the line about, written out.

    In JSON it means the same as before.

    Examples
    --------
    >>> print(shown("a\x1b[2J\u202eb"))
    a\u001b[2J\u202eb
    """
    return text.translate(_ESCAPED)


def line(text: str = "") -> None:
    """Print one line."""
    sys.stdout.write(f"{shown(text)}\n")


def paragraph(text: str, *, indent: int = 0, bullet: str = "") -> None:
    """Print text broken to the width of the screen, behind a bullet if there is one."""
    head = " " * indent + bullet
    line(textwrap.fill(text, width(), initial_indent=head, subsequent_indent=" " * len(head)))


def talk(text: str) -> None:
    """Say something beside the answer."""
    sys.stderr.write(f"{shown(text)}\n")


def headings(room: str, *keys: str) -> list[str]:
    """Return the heading of each column, the entry ``room.key``; of a blank key a blank."""
    return [say(f"{room}.{key}") if key else "" for key in keys]


def columns(rows: Sequence[Sequence[str]], *, right: Iterable[int] = ()) -> list[str]:
    """Return rows of cells, all of one length, as aligned lines; ``right`` are the columns aligned to the right.

    Examples
    --------
    >>> columns([["name", "n"], ["a", "10"]], right=[1])
    ['name   n', 'a     10']
    """
    sizes = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    sides = [">" if i in set(right) else "<" for i in range(len(sizes))]
    return [
        "  ".join(f"{cell:{side}{size}}" for cell, side, size in zip(row, sides, sizes, strict=True)).rstrip()
        for row in rows
    ]


def print_table(
    heading: Sequence[str], rows: Sequence[Sequence[str]], *, right: Iterable[int] = (), indent: int = 2,
    narrow: Callable[..., tuple[str, str, str]] | None = None, spare: int | None = None,
) -> None:  # fmt: skip
    """Print a table; where the screen is too narrow for it without ``spare``, each row as bullet, head and rest."""
    table, most = [heading, *rows], screen_width() - indent
    lines = columns(table, right=right)
    if spare is not None and max(map(len, lines)) > most:
        kept = [i for i in range(len(heading)) if i != spare]
        right = [kept.index(i) for i in right if i != spare]
        lines = columns([[row[i] for i in kept] for row in table], right=right)
    if narrow is None or max(map(len, lines)) <= most:
        for text in lines:
            line(" " * indent + text)
        return
    for row in rows:
        bullet, head, rest = narrow(*row)
        paragraph(head, indent=indent, bullet=bullet)
        paragraph(rest, indent=6)


def give(answer: _A, printed: Callable[[_A], None], *, as_json: bool) -> None:
    """Print an answer as JSON, or for a person, who is told first where its outcomes are invented."""
    if as_json:
        print_json(answer)
        return
    if getattr(answer, "invented", False):
        paragraph(say("cli.invented"))
        line()
    printed(answer)


def print_json(answer: DataclassInstance, output: Path | None = None) -> None:
    """Print an answer as JSON, its schema first, or write it into a file; numbers are not rounded."""
    content: dict[str, Any] = asdict(answer)
    content = {"schema": content.pop("schema"), **content}
    deliver(shown(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False, default=date.isoformat)), output)


def deliver(text: str, output: Path | None, says: str = "") -> None:
    """Write text into a file and say so, or print it for want of one; ``-`` is standard output.

    It is for programs and browsers, so it is UTF-8 wherever it goes, whatever letters the screen has. `OSError` says
    that the file cannot be written, `WrongUse` that it is called a workbook.
    """
    if output is not None and output.suffix.lower() in _WORKBOOKS:
        raise WrongUse(say("cli.no_workbook", file=str(output)))
    content = (text if text.endswith("\n") else text + "\n").encode(errors="replace")
    if output is None or str(output) == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(shown(content.decode()).encode() if sys.stdout.isatty() else content)
        return
    try:
        _write(output, content)
    except OSError as error:
        raise named(error, output) from None
    talk(says or say("cli.written", file=str(output)))


def deliver_labels(cards: Sequence[LabelCard], output: Path, *, invented: bool) -> None:
    """Write labels as PDF where the file is called so, else as HTML; `deliver` says what it raises."""
    from crosscompat.show.label import labels_page, labels_pdf

    if output.suffix.lower() == ".pdf":
        write_atomically(output, labels_pdf(cards, invented=invented))
        talk(say("cli.written", file=str(output)))
    else:
        deliver(labels_page(cards, invented=invented), output)


def deliver_calendar(name: str, reminders: Sequence[Reminder], stamp: datetime, output: Path) -> None:
    """Write days to remember as a calendar, and say how many they are; `calendar_file` says what ``stamp`` is."""
    from crosscompat.show.exports import calendar_file

    says = say("due.written", n=len(reminders), file=str(output))
    deliver(calendar_file(name, reminders, stamp).decode(), output, says)


def _write(output: Path, content: bytes) -> None:
    """Replace a file in one step; a device or a pipe is written to as it stands."""
    if output.exists() and not output.is_file() and not output.is_dir():
        output.write_bytes(content)
    else:
        write_atomically(output, content)
