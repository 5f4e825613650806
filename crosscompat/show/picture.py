"""What one picture of a tree says: the mark of every tip, the best of them, and the columns they stand in."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent, percent_range
from crosscompat.show.layout import TreeLayout, lay_out, prune
from crosscompat.show.print_names import shortened, text_width

if TYPE_CHECKING:
    from crosscompat.show.layout import Drawable

__all__ = [
    "BAR",
    "MARGIN",
    "NOTE_LETTERS",
    "TREE",
    "Columns",
    "Direction",
    "Picture",
    "TipMark",
    "compose",
    "likeliest",
    "mark_in_words",
    "past_in_words",
    "worth_drawing",
]

Direction = Literal["seed", "pollen"]


@dataclass(frozen=True, slots=True)
class TipMark:
    """One species in a picture.

    Attributes
    ----------
    label : str
        The tip's label as the tree writes it.
    shown_name : str
        The name in correct form, genus in full.
    chance, low, high : float or None
        The chance of a seedling with the species the picture is about and its 90% interval; None where unknown.
    took, failed : int
        Past crosses with and without a seedling.
    note : str
        A few words of the grower's concern, such as a caution.
    """

    label: str
    shown_name: str
    chance: float | None = None
    low: float | None = None
    high: float | None = None
    took: int = 0
    failed: int = 0
    note: str = ""


def likeliest(marks: Iterable[TipMark], focus: str, n: int = 5) -> tuple[TipMark, ...]:
    """Return the partners of ``focus`` with the best chances, best first, equal ones by name.

    Examples
    --------
    >>> marks = [TipMark("a", "A", 0.2), TipMark("b", "B", 0.7), TipMark("c", "C"), TipMark("d", "D", 0.7)]
    >>> [mark.label for mark in likeliest(marks, focus="d", n=2)]
    ['b', 'a']
    """
    known = [(-mark.chance, mark.shown_name, mark) for mark in marks if mark.chance is not None and mark.label != focus]
    return tuple(mark for _, _, mark in sorted(known, key=lambda entry: entry[:2])[:n])


def worth_drawing(tips: Sequence[str], focus: str, marks: Collection[TipMark], most: int = 80) -> frozenset[str] | None:
    """Return the tips to keep in a picture of a tree that is too large to read, or None if all of them fit.

    The focus comes first, then partners with past crosses, then partners by chance.

    Parameters
    ----------
    tips : sequence of str
        Labels of all the tips.
    focus : str
        Label of the species the picture is about.
    marks : collection of TipMark
        What is known about the tips.
    most : int
        Number of tips that a picture may hold, at least 1.

    Examples
    --------
    >>> marks = [TipMark("a", "A", 0.2), TipMark("b", "B", 0.7), TipMark("c", "C", 0.1, failed=1)]
    >>> sorted(worth_drawing(["a", "b", "c", "d"], "d", marks, most=3))
    ['b', 'c', 'd']
    """
    if len(tips) <= most:
        return None
    tried = [mark.label for mark in likeliest(marks, focus, len(tips)) if mark.took or mark.failed]
    tried += [mark.label for mark in marks if mark.chance is None and (mark.took or mark.failed)]
    chosen = dict.fromkeys([focus, *tried, *(mark.label for mark in likeliest(marks, focus, len(tips)))])
    return frozenset(list(chosen)[:most])


def past_in_words(mark: TipMark) -> tuple[str, ...]:
    """Return past takes and failures in words, leaving out what never happened.

    Examples
    --------
    >>> past_in_words(TipMark("a", "A", took=2, failed=3)), past_in_words(TipMark("a", "A"))
    (('2 took', '3 failed'), ())
    """
    took = (say("show.took", n=mark.took),) if mark.took else ()
    return took + ((say("show.failed", n=mark.failed),) if mark.failed else ())


def mark_in_words(mark: TipMark) -> str:
    """Return everything a mark says in one line, for a reader who does not see the picture.

    Examples
    --------
    >>> mark_in_words(TipMark("a", "Aus bus", 0.34, 0.12, 0.61, took=2, note="flowers late"))
    'Aus bus: about 1 in 3, 34%, between 12% and 61%; 2 took; flowers late'
    """
    head = mark.shown_name
    if mark.chance is not None:
        if mark.low is None or mark.high is None:
            number = percent(mark.chance)
        else:
            number = percent_range(mark.chance, mark.low, mark.high)
        head = say("show.describe.tip_chance", name=head, chance=one_in(mark.chance), percent=number)
    return "; ".join([head, *past_in_words(mark), *([mark.note] if mark.note else [])])


MARGIN: Final = 40.0
TREE: Final = 320.0
BAR: Final = 170.0
NOTE_LETTERS: Final = 44
_GAP: Final = 18.0
_BEST: Final = 5


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

    branches: Drawable
    layout: TreeLayout
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
    branches = tree if keep is None else prune(tree, {focus, *keep})
    layout = lay_out(branches)
    given = {mark.label: mark for mark in marks}
    labels = [branches.labels[tip] for tip in layout.tips]
    if focus not in labels:
        raise ValueError(f"{focus!r} is no tip of the tree drawn")
    shown = {label: given.get(label) or TipMark(label, fold(label)) for label in labels}
    n_known = len(likeliest(shown.values(), focus, len(shown)))
    best = likeliest(shown.values(), focus, min(_BEST, (n_known + 1) // 2))
    columns = _columns(tuple(shown.values()), shown[focus], say(f"show.focus.{direction}"))
    return Picture(branches, layout, shown, shown[focus], direction, best, columns)
