"""Everything that can go wrong, in one family.

A wrong call raises; a wrong file is read to its end first and raises once, with every fault it holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple, TypeVar

from crosscompat.ground.wording import say

SHOWN = 20
"""So many faults of one kind are printed; of the rest only the number."""

_Item = TypeVar("_Item")


class Place(NamedTuple):
    """Where in the user's files something stands.

    Rows and lines count from 1 as a text editor or a spreadsheet shows them; ``None`` means "not of that kind".

    Examples
    --------
    >>> str(Place("crosses.csv", row=4, column="date"))
    'crosses.csv, row 4, column date'
    >>> str(Place("tree.nwk", line=1, character=5))
    'tree.nwk, line 1, character 5'
    >>> str(Place("crosses.ods", row=4, sheet="2025"))
    'crosses.ods, sheet 2025, row 4'
    """

    file: str | None = None
    row: int | None = None
    column: str | None = None
    line: int | None = None
    character: int | None = None
    sheet: str | None = None

    def __str__(self) -> str:
        parts = [self.file] if self.file else []
        values = {word: getattr(self, word) for word in ("sheet", "row", "column", "line", "character")}
        return ", ".join(parts + [f"{word} {value}" for word, value in values.items() if value is not None])


class Fault(NamedTuple):
    """One thing wrong in a file: where it is, what is wrong, what to do next.

    ``excerpt`` is the piece of text and ``mark`` the zero-based span in it that is pointed at.

    Examples
    --------
    >>> print(Fault(Place("t.nwk", line=1, character=4), "This is no number.", excerpt="(a:x);", mark=(3, 4)))
    t.nwk, line 1, character 4: This is no number.
        (a:x);
           ^
    """

    place: Place
    what: str
    advice: str = ""
    excerpt: str = ""
    mark: tuple[int, int] = (0, 0)

    def __str__(self) -> str:
        where = str(self.place)
        lines = [f"{where}: {self.what}" if where else self.what]
        if self.excerpt:
            start, stop = self.mark
            lines.append(f"    {self.excerpt}")
            lines.append("    " + " " * start + "^" * max(1, stop - start))
        if self.advice:
            lines.append(f"  {self.advice}")
        return "\n".join(lines)


def worded(room: str, key: str, place: Place, **values: object) -> Fault:
    """Return a fault without an excerpt, its two sentences taken from a wording room."""
    return Fault(place, say(f"{room}.{key}.what", **values), say(f"{room}.{key}.advice", **values))


def first_faults(
    items: Sequence[_Item], fault_of: Callable[[_Item], Fault], kind: str, file: str | None
) -> list[Fault]:
    """Return a fault for each of the first items, and behind them how many more of that kind there are.

    Examples
    --------
    >>> len(first_faults(range(23), lambda at: Fault(Place(row=at), "x"), "newick.bad_length", None))
    21
    """
    faults = [fault_of(item) for item in items[:SHOWN]]
    if len(items) > SHOWN:
        faults.append(Fault(Place(file), say(f"{kind}.more", n=len(items) - SHOWN)))
    return faults


class CrosscompatError(Exception):
    """Base of every error that this package raises on purpose.

    ``exit_code`` is what the command line returns for it.
    """

    exit_code = 3


class BadInput(CrosscompatError):
    """A file or a table cannot be read as it stands; ``faults`` holds every reason, in file order.

    Examples
    --------
    >>> error = BadInput([Fault(Place("a.csv", row=2), "No date."), Fault(Place("a.csv", row=5), "No date.")])
    >>> len(error.faults)
    2
    >>> print(error)
    a.csv, row 2: No date.
    a.csv, row 5: No date.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.faults,)


class UnknownName(CrosscompatError):
    """A name stands nowhere in the tree or table asked; ``nearest`` holds the closest known ones, best first."""

    exit_code = 2

    def __init__(self, message: str, name: str, nearest: Sequence[str] = ()) -> None:
        self.name = name
        self.nearest = tuple(nearest)
        super().__init__(message)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (*self.args, self.name, self.nearest)


class WrongUse(CrosscompatError):
    """The call itself makes no sense, whatever the files hold."""

    exit_code = 2


class NoPairing(CrosscompatError):
    """The two parents asked about can be no cross, such as two offsets of one plant."""

    exit_code = 1


class Busy(CrosscompatError):
    """Somebody else is writing to the same records."""

    exit_code = 4


class BookWarning(UserWarning):
    """Something about a cross book must be minded: it could not be copied, or is damaged and only read."""


class NameWarning(UserWarning):
    """A name was read as the species it belongs to, or through a synonym."""
