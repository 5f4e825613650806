"""What a form holds: texts, whole numbers, days; a blank is nothing, what cannot be read is refused by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from werkzeug.datastructures import MultiDict

from crosscompat.ground.dates import read_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_DIGITS = 9


class Asked(Exception):
    """Something is asked about first: each of the ``reasons``."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(*reasons)
        self.reasons = tuple(reasons)


@dataclass(frozen=True)
class Form:
    """What somebody sent.

    Examples
    --------
    >>> form = Form(MultiDict({"flowers": "4", "note": " ", "change": "x"}))
    >>> form.number("flowers"), form.text("note"), form.change
    (4, None, 'x')
    """

    fields: MultiDict[str, str]

    def text(self, name: str) -> str | None:
        """Return a text without the blanks around it, None if nothing is left."""
        return self.fields.get(name, "").strip() or None

    def number(self, name: str) -> int | None:
        """Return a whole number, None for a blank; raises `WrongUse`."""
        text = self.text(name)
        if text is not None and not (text.isdecimal() and len(text) <= _DIGITS):
            raise WrongUse(say("web.no_number", text=text))
        return None if text is None else int(text)

    def day(self, name: str) -> date | None:
        """Return a day that is none to come, None for a blank; raises `WrongUse`."""
        text = self.text(name)
        return None if text is None else read_date(text, today(), today())

    def yes(self, name: str) -> bool:
        """Tell whether a box is ticked."""
        return bool(self.text(name))

    @property
    def change(self) -> str:
        """The identifier of what is written, once however often it is sent."""
        return self.text("change") or ""

    @property
    def agreed(self) -> frozenset[str]:
        """What was asked about and answered with yes."""
        return frozenset(self.fields.getlist("agreed"))

    def must_agree(self, reasons: Sequence[str]) -> None:
        """Raise `Asked` unless every reason was asked about and answered with yes."""
        if not self.agreed.issuperset(reasons):
            raise Asked(reasons)

    def __iter__(self) -> Iterator[tuple[str, str]]:
        """Yield all that was typed, so that a page may ask for it again."""
        for name, values in self.fields.lists():
            if name != "token":
                yield from ((name, value) for value in values)
