"""Texts as cells of CSV: what a spreadsheet would run, or a file would lose, is written with a backslash."""

from __future__ import annotations

import re

__all__ = ["escaped", "guarded", "unescaped", "unguarded"]

_EMPTY = r"\e"
_UNFIT = re.compile(r"[\x00-\x08\x0b-\x1f\\]")
_ESCAPE = re.compile(r"\\(?:u([0-9a-f]{4})|(.))", re.DOTALL)
_FORMULA = ("=", "+", "-", "@")


def guarded(text: str) -> str:
    r"""Return the text of a cell so that no spreadsheet takes it for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded("red thread")
    ('\\=1+1', 'red thread')
    """
    return f"\\{text}" if text.startswith(_FORMULA) else text


def unguarded(cell: str) -> str:
    r"""Return the text of a cell that was guarded, all else in it left alone.

    Examples
    --------
    >>> unguarded(guarded("+49")), unguarded("red thread")
    ('+49', 'red thread')
    """
    return cell[1:] if cell.startswith("\\") and cell[1:].startswith(_FORMULA) else cell


def escaped(text: str) -> str:
    r"""Return a text as a cell that is never blank, no formula, and the same again when it is read.

    Examples
    --------
    >>> escaped("red thread"), escaped("a\\b\r"), escaped(""), escaped("=1")
    ('red thread', 'a\\u005cb\\u000d', '\\e', '\\=1')
    """
    return guarded(_UNFIT.sub(lambda letter: f"\\u{ord(letter[0]):04x}", text)) if text else _EMPTY


def unescaped(cell: str) -> str:
    r"""Return the text that a cell of `escaped` stands for.

    Examples
    --------
    >>> unescaped(escaped("=1\\+1")), unescaped(r"\e")
    ('=1\\+1', '')
    """
    return "" if cell == _EMPTY else _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else found[2], cell)
