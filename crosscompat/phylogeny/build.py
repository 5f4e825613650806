"""What every reader hands over, before anybody has looked whether it makes sense; and the look."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import compress
from typing import Protocol

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold
from crosscompat.phylogeny.postorder import inner_nodes
from crosscompat.phylogeny.text_source import first_faults
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.types import Bools, Floats, Ints

__all__ = ["NUMBER", "Origin", "RawTree", "build", "split_support"]

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
UNIT_LENGTHS = "unit"
_BLANK, _DELETE, _COMMA, _UNDERSCORE = b" \x7f,_"
_DECIMALS = re.compile(r"[0-9]+(?:[eE][+-]?[0-9]+)?")


@dataclass(frozen=True, slots=True)
class RawTree:
    """One tree as a file gives it, in postorder.

    ``absent`` says where no branch length is given; ``support`` is NaN where there is none.
    """

    parent: Ints
    length: Floats
    absent: Bools
    labels: list[str]
    support: Floats
    rooted: bool | None = None


class Origin(Protocol):
    """Where a raw tree came from; knows how to point at a node."""

    @property
    def file(self) -> str | None:
        """The file's name."""

    def fault(self, key: str, node: int, **values: object) -> Fault:
        """Return the fault ``key`` of the room "trees" at a node."""

    def place(self, node: int) -> Place:
        """Return where a node stands."""


def split_support(labels: list[str], inner: Bools) -> Floats:
    """Move the numbers among the labels of inner nodes to an array of support values.

    Only a plain number is support; "95/0.98" or "Aloe" stays a label.

    Of n labels, which are changed in place, ``inner`` (n,) says which are of inner nodes. What is returned is (n,) too,
    NaN where there is no support.

    Examples
    --------
    >>> labels = ["a", "b", "95"]
    >>> split_support(labels, np.array([False, False, True])).tolist(), labels
    ([nan, nan, 95.0], ['a', 'b', ''])
    """
    support = np.full(len(labels), np.nan)
    for node in np.flatnonzero(inner).tolist() if any(compress(labels, inner.tobytes())) else ():
        if NUMBER.fullmatch(labels[node]) and np.isfinite(float(labels[node])):
            support[node] = float(labels[node])
            labels[node] = ""
    return support


def build(raw: RawTree, origin: Origin, unit: str | None, faults: Iterable[Fault] = ()) -> Phylogeny:
    """Check a raw tree and make it a `Phylogeny`.

    Parameters
    ----------
    unit : str or None
        Of the branch lengths; "unit" makes every branch count 1 and needs none in the file.
    faults : iterable of Fault
        What the reader itself has to say.

    Raises
    ------
    BadInput
        With every fault: no number, no length, names twice or empty, a comma as decimal point.
    """
    by_unit = unit == UNIT_LENGTHS
    tip = ~inner_nodes(raw.parent)
    tips = np.flatnonzero(tip)
    labels = list(compress(raw.labels, tip.tobytes()))
    plain = _folds_to_itself(labels)
    commas = _decimal_commas(raw, tip)
    nameless = [] if plain else [node for node, label in zip(tips.tolist(), labels, strict=True) if not fold(label)]
    faults = [*faults, *_at("decimal_comma", commas, origin), *_at("empty_name", nameless, origin)]
    faults += _at("not_finite", np.flatnonzero(~np.isfinite(raw.length) & ~raw.absent).tolist(), origin)
    if not commas:
        if not by_unit:
            faults += _at("no_lengths" if raw.absent[:-1].all() else "missing_length", _missing(raw, nameless), origin)
        if len(set(labels if plain else map(fold, labels))) < len(labels):
            faults += _duplicates(raw, tips, origin)
    if faults:
        raise BadInput(sorted(faults, key=_file_order))
    length = np.ones(raw.parent.size) if by_unit else raw.length
    return Phylogeny(raw.parent, length, tuple(raw.labels), raw.support, unit, raw.rooted)


def _file_order(fault: Fault) -> tuple[bool, int, int]:
    place = fault.place
    return place.line is None, place.line or 0, place.character or 0


def _at(key: str, nodes: list[int], origin: Origin) -> list[Fault]:
    return first_faults(nodes, lambda node: origin.fault(key, node), f"trees.{key}", origin.file)


def _missing(raw: RawTree, nameless: list[int]) -> list[int]:
    """Return the nodes off the root without a length; the first alone if the whole tree has none.

    A tip without a name is told as such and not twice.
    """
    if raw.absent[:-1].all():
        return list(range(min(1, raw.absent.size - 1)))
    absent = raw.absent.copy()
    absent[[-1, *nameless]] = False
    return [int(node) for node in np.flatnonzero(absent)]


def _decimal_commas(raw: RawTree, tip: Bools) -> list[int]:
    """Return the tips that are the digits behind a decimal comma: bare digits right after a sibling with a length."""
    if raw.parent.size < 3:  # noqa: PLR2004 - a root and two children at least
        return []
    after = tip[1:] & raw.absent[1:] & ~raw.absent[:-1] & (raw.parent[1:] == raw.parent[:-1])
    return [node for node in (np.flatnonzero(after) + 1).tolist() if _DECIMALS.fullmatch(raw.labels[node])]


def _duplicates(raw: RawTree, tips: Ints, origin: Origin) -> list[Fault]:
    first: dict[str, int] = {}
    again: list[tuple[int, int]] = []
    for node in tips.tolist():
        folded = fold(raw.labels[node])
        if folded and first.setdefault(folded, node) != node:
            again.append((first[folded], node))

    def twice(pair: tuple[int, int]) -> Fault:
        place, before = origin.place(pair[0]), raw.labels[pair[0]]
        key = "duplicate" if before == raw.labels[pair[1]] else "duplicate_folded"
        spot = str(Place(line=place.line, character=place.character))
        return origin.fault(key if spot else f"{key}_unplaced", pair[1], first=before, spot=spot)

    return first_faults(again, twice, "trees.duplicate", origin.file)


def _folds_to_itself(labels: list[str]) -> bool:
    """Say whether all are plain ASCII without blanks, with single underscores inside: folding keeps those apart."""
    joined = "," + ",".join(labels) + ","
    if not joined.isascii():
        return False
    letters = np.frombuffer(joined.encode("ascii"), dtype=np.uint8)
    edge = (letters == _COMMA) | (letters == _UNDERSCORE)
    return not ((letters <= _BLANK).any() or (letters == _DELETE).any() or (edge[1:] & edge[:-1]).any())
