"""What the parts of one picture of a tree share: the marks by tip, the best of them, and the columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol

from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in
from crosscompat.show.layout import Branching, TreeLayout, lay_out, prune
from crosscompat.show.print_names import shortened, text_width
from crosscompat.show.tip_marks import Direction, TipMark, likeliest

__all__ = ["BAR", "MARGIN", "NOTE_LETTERS", "TREE", "Columns", "Drawable", "Picture", "compose"]

MARGIN: Final = 40.0
TREE: Final = 320.0
BAR: Final = 170.0
NOTE_LETTERS: Final = 44
_GAP: Final = 18.0
_BEST: Final = 5


class Drawable(Branching, Protocol):
    """A tree whose branch lengths have a unit, or None where nobody said which."""

    @property
    def unit(self) -> str | None: ...  # noqa: D102  told by the class


@dataclass(frozen=True, slots=True)
class Columns:
    """Where each column starts, in pixels; ``bars`` to ``percent`` hold something only where a chance is known."""

    names: float
    bars: float
    words: float
    percent: float
    took: float
    failed: float
    note: float
    width: float
    has_chances: bool
    has_past: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """A tree laid out, with what is said of every tip."""

    branches: Branching
    layout: TreeLayout
    unit: str | None
    marks: Mapping[str, TipMark]
    focus: TipMark
    direction: Direction
    best: tuple[TipMark, ...]
    columns: Columns

    @property
    def role(self) -> str:
        """The part that the species asked about plays, in words."""
        return say(f"show.focus.{self.direction}")

    @property
    def rows(self) -> tuple[TipMark, ...]:
        """The marks from the top row down."""
        return tuple(self.marks[self.branches.labels[tip]] for tip in self.layout.tips)

    def rank(self, mark: TipMark) -> int | None:
        """Return the place of a species among the best, from 1, or None."""
        return self.best.index(mark) + 1 if mark in self.best else None


def _word_room(marks: Sequence[TipMark], which: Literal["took", "failed"]) -> float:
    """Room for the longest word about takes, or about failures, with its shape."""
    words = [say(f"show.{which}", n=getattr(mark, which)) for mark in marks if getattr(mark, which)]
    return max([text_width(word, 13) + 36 for word in words], default=0.0)


def _columns(marks: Sequence[TipMark], focus: TipMark, role: str) -> Columns:
    """Give every column the room that its longest entry takes."""
    has_chances = any(mark.chance is not None for mark in marks)
    has_past = any(mark.took or mark.failed for mark in marks)
    rooms = [text_width(mark.shown_name, 15, bold=True) for mark in marks if mark is not focus]
    pill = text_width(focus.shown_name, 13, bold=True) + text_width(role, 12, bold=True) + 26
    spoken = [text_width(one_in(mark.chance), 15, bold=True) for mark in marks if mark.chance is not None]
    names = MARGIN + TREE + 48
    bars = names + max([pill, *rooms]) + _GAP
    words = bars + (BAR + _GAP if has_chances else 0)
    percent = words + (max(spoken) + 62 if has_chances else 0)
    took = percent + (30 if has_chances else 0)
    failed = took + _word_room(marks, "took")
    note = failed + _word_room(marks, "failed")
    ends = [note + text_width(shortened(mark.note, NOTE_LETTERS), 12) for mark in marks]
    if has_past:
        ends.append(took + 20 + max(text_width(say(f"show.legend.{key}"), 12) for key in ("seedling", "seed")))
    return Columns(names, bars, words, percent, took, failed, note, max(ends) + MARGIN, has_chances, has_past)


def compose(
    tree: Drawable, focus: str, marks: Sequence[TipMark], direction: Direction, keep: Sequence[str] | None
) -> Picture:
    """Lay out a tree, or the part of it that is kept, and match every tip with its mark.

    Raises
    ------
    ValueError
        If ``focus``, or a label in ``keep``, is no tip of the tree drawn.
    """
    branches: Branching = tree if keep is None else prune(tree, {focus, *keep})
    layout = lay_out(branches)
    given = {mark.label: mark for mark in marks}
    labels = [branches.labels[tip] for tip in layout.tips]
    if focus not in labels:
        raise ValueError(f"{focus!r} is no tip of the tree drawn")
    shown = {label: given.get(label) or TipMark(label, fold(label)) for label in labels}
    n_known = len(likeliest(shown.values(), focus, len(shown)))
    best = likeliest(shown.values(), focus, min(_BEST, (n_known + 1) // 2))
    columns = _columns(tuple(shown.values()), shown[focus], say(f"show.focus.{direction}"))
    return Picture(branches, layout, tree.unit, shown, shown[focus], direction, best, columns)
