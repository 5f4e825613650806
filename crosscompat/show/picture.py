"""What one picture of a tree says and where: places of nodes, marks of tips, the best of them, the columns. No ink."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, Ints
from crosscompat.show.chances import one_in, percent, percent_range, ties
from crosscompat.show.svg import shortened, text_width

Direction = Literal["seed", "pollen"]


@dataclass(frozen=True, slots=True, eq=False)
class TreeLayout:
    """Every node's place.

    ``x`` (n,) is the distance from the root in the tree's unit, the leftmost node at 0, or levels where not
    ``to_scale``; ``y`` (n,) is the row: the tips at 0, 1, 2 …, an inner node half-way between its first and its last
    child. ``tips`` are the nodes of the tips, from row 0 down.
    """

    x: Floats
    y: Floats
    tips: tuple[int, ...]
    to_scale: bool


def children_of(parent: Ints) -> list[list[int]]:
    """Return the children of every node, in the order of the array."""
    children: list[list[int]] = [[] for _ in range(len(parent))]
    for node, above in enumerate(parent.tolist()):
        if above >= 0:
            children[above].append(node)
    return children


def prune(tree: Phylogeny, keep: Collection[str]) -> Phylogeny:
    """Return the tree that joins the tips kept, by their labels as written, from their common ancestor on.

    Nodes that are left with one child go, and their lengths are added up, so that every distance between two tips
    stays what it was. A label that is no tip raises a `ValueError`, and so does keeping none.

    Examples
    --------
    >>> tree = Phylogeny.from_arrays([2, 2, 4, 4, -1], [1, 2, 3, 4, np.nan], ["a", "b", "", "c", ""])
    >>> small = prune(tree, {"a", "c"})
    >>> small.labels, small.parent.tolist(), small.length.tolist()
    (('a', 'c', ''), [2, 2, -1], [4.0, 4.0, nan])
    """
    children = children_of(tree.parent)
    wanted = set(keep)
    absent = wanted - set(tree.tips)
    if absent or not wanted:
        raise ValueError(f"no tips of this tree: {sorted(absent)}" if absent else "no tip is kept")
    parent: list[int] = []
    length: list[float] = []
    labels: list[str] = []
    # What hangs below each node: the surviving nodes, each with its length up to here.
    hanging: list[list[tuple[int, float]]] = [[] for _ in children]
    for node, (label, edge) in enumerate(zip(tree.labels, tree.length.tolist(), strict=True)):
        held = hanging[node]
        if len(held) > 1 or (not children[node] and label in wanted):
            for survivor, reach in held:
                parent[survivor], length[survivor] = len(parent), reach
            held = [(len(parent), 0.0)]
            parent.append(-1)
            length.append(np.nan)
            labels.append(label)
        above = int(tree.parent[node])
        if above >= 0:
            hanging[above] += [(survivor, reach + edge) for survivor, reach in held]
    return Phylogeny.from_arrays(parent, length, labels, unit=tree.unit, rooted=tree.rooted)


def _drawn_order(children: Sequence[Sequence[int]], labels: Sequence[str]) -> tuple[int, ...]:
    """Tips from the top down: at every fork the smaller clade first, equal ones by their first name."""
    key: list[tuple[int, str]] = []
    for node, below in enumerate(children):
        held = [key[child] for child in below] or [(1, labels[node])]
        key.append((sum(size for size, _ in held), min(name for _, name in held)))
    tips, stack = [], [len(children) - 1]
    while stack:
        node = stack.pop()
        if children[node]:
            stack += sorted(children[node], key=key.__getitem__, reverse=True)
        else:
            tips.append(node)
    return tuple(tips)


def lay_out(tree: Phylogeny) -> TreeLayout:
    """Return the place of every node of a tree drawn from left to right.

    At every fork the smaller clade comes first and equal ones go by name, so the order of a file does not matter. Where
    all lengths are 0, ``x`` is the number of forks passed, the tips in line.

    Examples
    --------
    >>> tree = Phylogeny.from_arrays([4, 3, 3, 4, -1], [3, 1, 1, 2, np.nan], ["c", "b", "a", "", ""])
    >>> layout = lay_out(tree)
    >>> [tree.labels[node] for node in layout.tips], layout.x.tolist(), layout.y.tolist()
    (['c', 'a', 'b'], [3.0, 3.0, 3.0, 2.0, 0.0], [0.0, 2.0, 1.0, 1.5, 0.75])
    """
    children = children_of(tree.parent)
    to_scale = bool(np.any(tree.length[:-1] != 0))
    x = tree.root_distance if to_scale else tree.level.astype(np.float64)
    if not to_scale:
        x[tree.tip_nodes] = x.max()
    tips = _drawn_order(children, tree.labels)
    y = np.zeros(len(children))
    y[list(tips)] = np.arange(len(tips))
    for node, below in enumerate(children):
        if below:
            y[node] = (min(y[child] for child in below) + max(y[child] for child in below)) / 2
    return TreeLayout(x - x.min(), y, tips, to_scale)


def nice_step(span: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is at most a positive ``span``, or a `ValueError`."""
    if not (span > 0 and np.isfinite(span)):
        raise ValueError(f"a scale needs a positive span, not {span}")
    exponent = int(np.floor(np.log10(span)))
    steps = [float(f"{head}e{exponent + shift}") for shift in (-1, 0, 1) for head in (1, 2, 5)]
    return max(step for step in steps if step <= span)


@dataclass(frozen=True, slots=True)
class TipMark:
    """One species in a picture: its label as the tree writes it, its name in correct form, what is known of it.

    ``chance`` is that of a seedling with the species the picture is about, ``low`` and ``high`` its 90% interval, None
    where unknown; ``took`` and ``failed`` are past crosses with and without a seedling; ``note`` is a few words of the
    grower's concern, such as a caution.
    """

    label: str
    shown_name: str
    chance: float | None = None
    low: float | None = None
    high: float | None = None
    took: int = 0
    failed: int = 0
    note: str = ""

    def in_percent(self, *, short: bool = False) -> str:
        """Return the chance in percent with its interval, "" where it is unknown."""
        if self.chance is None:
            return ""
        if self.low is None or self.high is None:
            return percent(self.chance)
        return percent_range(self.chance, self.low, self.high, short=short)


def likeliest(marks: Iterable[TipMark], focus: str, n: int = 5) -> tuple[TipMark, ...]:
    """Return the partners of ``focus`` with the best chances, best first, equal ones by name."""
    known = [(-mark.chance, mark.shown_name, mark) for mark in marks if mark.chance is not None and mark.label != focus]
    return tuple(mark for _, _, mark in sorted(known, key=lambda entry: entry[:2])[:n])


def worth_drawing(tips: Sequence[str], focus: str, marks: Collection[TipMark], most: int = 80) -> frozenset[str] | None:
    """Return the tips to keep in a picture of a tree of more than ``most`` tips, or None if all of them fit.

    The focus comes first, then partners with past crosses, then partners by chance.
    """
    if len(tips) <= most:
        return None
    by_chance = [*likeliest(marks, focus, len(tips)), *(mark for mark in marks if mark.chance is None)]
    tried = [mark.label for mark in by_chance if mark.took or mark.failed]
    chosen = dict.fromkeys([focus, *tried, *(mark.label for mark in by_chance if mark.chance is not None)])
    return frozenset(list(chosen)[:most])


def past_in_words(mark: TipMark) -> tuple[str, ...]:
    """Return past takes and failures in words, leaving out what never happened."""
    counts = {"took": mark.took, "failed": mark.failed}
    return tuple(say(f"show.{which}", n=count) for which, count in counts.items() if count)


def mark_in_words(mark: TipMark) -> str:
    """Return everything a mark says in one line, for a reader who does not see the picture.

    Examples
    --------
    >>> mark_in_words(TipMark("a", "Aus bus", 0.34, 0.12, 0.61, took=2, note="flowers late"))
    'Aus bus: about 1 in 3, 34%, between 12% and 61%; 2 took; flowers late'
    """
    head = mark.shown_name
    if mark.chance is not None:
        head = say("show.describe.tip_chance", name=head, chance=one_in(mark.chance), percent=mark.in_percent())
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

    branches: Phylogeny
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
        """Return the place of a species among the best, from 1, or None; those that cannot be told apart share one."""
        if mark not in self.best:
            return None
        at, place = self.best.index(mark), 1
        for equal in ties([other.chance or 0.0 for other in self.best]):
            if at < place - 1 + equal:
                break
            place += equal
        return place


def _columns(marks: Sequence[TipMark], focus: TipMark, role: str) -> Columns:
    """Give every column the room that its longest entry takes."""
    counts = {which: [getattr(mark, which) for mark in marks if getattr(mark, which)] for which in ("took", "failed")}
    rooms = {
        which: max([text_width(say(f"show.{which}", n=count), 13) + 36 for count in given], default=0.0)
        for which, given in counts.items()
    }
    spoken = [text_width(one_in(mark.chance), 15, bold=True) for mark in marks if mark.chance is not None]
    pill = text_width(focus.shown_name, 13, bold=True) + text_width(role, 12, bold=True) + 26
    names = MARGIN + TREE + 48
    bars = (
        names + max([pill, *(text_width(mark.shown_name, 15, bold=True) for mark in marks if mark is not focus)]) + _GAP
    )
    words = bars + (BAR + _GAP if spoken else 0)
    percent = words + (max(spoken) + 62 if spoken else 0)
    took = percent + (30 if spoken else 0)
    failed = took + rooms["took"]
    note = failed + rooms["failed"]
    ends = [note + text_width(shortened(mark.note, NOTE_LETTERS), 12) for mark in marks]
    has_past = any(counts.values())
    if has_past:
        ends.append(took + 20 + max(text_width(say(f"show.legend.{key}"), 12) for key in ("seedling", "seed")))
    return Columns(names, bars, words, percent, took, failed, note, max(ends) + MARGIN, bool(spoken), has_past)


def _best(known: tuple[TipMark, ...]) -> tuple[TipMark, ...]:
    """Return at most five partners, and half of all: those of a place together, unless the first place has more."""
    most, n = min(_BEST, (len(known) + 1) // 2), 0
    for equal in ties([mark.chance or 0.0 for mark in known]):
        if n + equal > most:
            break
        n += equal
    return known[: n or most]


def compose(
    tree: Phylogeny, focus: str, marks: Sequence[TipMark], direction: Direction, keep: Sequence[str] | None
) -> Picture:
    """Lay out a tree, or the part of it that is kept, and match every tip with its mark.

    A `ValueError` says that ``focus``, or a label in ``keep``, is no tip of the tree drawn.
    """
    branches = tree if keep is None else prune(tree, {focus, *keep})
    layout = lay_out(branches)
    given = {mark.label: mark for mark in marks}
    labels = [branches.labels[tip] for tip in layout.tips]
    if focus not in labels:
        raise ValueError(f"{focus!r} is no tip of the tree drawn")
    shown = {label: given.get(label) or TipMark(label, fold(label)) for label in labels}
    best = _best(likeliest(shown.values(), focus, len(shown)))
    columns = _columns(tuple(shown.values()), shown[focus], say(f"show.focus.{direction}"))
    return Picture(branches, layout, shown, shown[focus], direction, best, columns)
