"""Texts as cells: what a spreadsheet would drop or change is written with a backslash, and read back as it was."""

from __future__ import annotations

import re

__all__ = ["EMPTY", "escaped", "guarded", "unescaped", "unguarded"]

EMPTY = r"\e"
"""A text of no letters, which is not the same as a blank cell."""

_UNFIT = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_EXCEL_CODE = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPE = re.compile(r"\\(?:u([0-9a-f]{4})|(.))", re.DOTALL)
_FORMULA = ("=", "+", "-", "@")


def escaped(text: str) -> str:
    r"""Return a text as it stands in a cell of CSV, XLSX or ODS.

    Control characters but the line feed, and blanks at either end, are written by their code; a backslash is doubled.
    Codes such as ``_x0041_``, which Excel would read as a letter, are broken by a backslash.

    Examples
    --------
    >>> escaped("red thread"), escaped(" a\\b\t"), escaped("")
    ('red thread', '\\u0020a\\\\b\\u0009', '\\e')
    """
    if not text:
        return EMPTY
    inner = _UNFIT.sub(_code, _EXCEL_CODE.sub(r"_\\", text.replace("\\", "\\\\")))
    start, stop = len(inner) - len(inner.lstrip()), len(inner.rstrip())
    if stop < start:
        return "".join(map(_code, inner))
    return "".join((*map(_code, inner[:start]), inner[start:stop], *map(_code, inner[stop:])))


def guarded(text: str) -> str:
    r"""Return the text of a cell of CSV so that no spreadsheet takes it for a formula.

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


def unescaped(cell: str) -> str:
    r"""Return the text that a cell stands for.

    Examples
    --------
    >>> unescaped(guarded(escaped(" =1+1"))), unescaped(r"\e")
    (' =1+1', '')
    """
    return "" if cell == EMPTY else _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else found[2], cell)


def _code(letter: str | re.Match[str]) -> str:
    return f"\\u{ord(letter if isinstance(letter, str) else letter[0]):04x}"
