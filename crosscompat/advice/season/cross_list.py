"""The crosses of a collection, each in one line: what it is, how far it has come, and what came of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from crosscompat.advice.figures import outcome_of
from crosscompat.book.crosses import Cross
from crosscompat.book.records import CROSS_KINDS
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.names import correct_form, fold
from crosscompat.ground.wording import say

STATES = ("open", "took", "failed", "lost")


@dataclass(frozen=True, slots=True)
class CrossLine:
    """A cross in one line.

    Attributes
    ----------
    number : str
        Its number, or the beginning of its identifier for want of one.
    pairing : str
        Both parents in correct form, with the very plants.
    state : str
        One of ``STATES``.
    says : str
        That, and how far it has come, in words.
    text : str
        All that it can be found by.
    """

    number: str
    pairing: str
    when: str
    state: str
    says: str
    text: str


def cross_lines(collection: Collection) -> tuple[CrossLine, ...]:
    """Return every cross of a collection in one line, the newest first."""
    newest = sorted(collection.crosses, key=lambda cross: (cross.date, cross.row), reverse=True)
    return tuple(_line(cross) for cross in newest)


def matching(lines: Iterable[CrossLine], text: str = "", state: str = "") -> Sequence[CrossLine]:
    """Return the lines in which every word of a text stands, whatever its case, and that are in a state.

    Examples
    --------
    >>> lines = [CrossLine("26-01", "Aus bus", "", "open", "", "26-01 aus bus")]
    >>> len(matching(lines, "BUS 26")), len(matching(lines, "bus", "took"))
    (1, 0)
    """
    words = fold(text).casefold().split()
    return [one for one in lines if (not state or one.state == state) and all(word in one.text for word in words)]


def _line(cross: Cross) -> CrossLine:
    number = cross.cross or (cross.id or "")[:8]
    seed = _side(cross.seed_parent, cross.seed_plant)
    pollen = _side(cross.pollen_parent or "", cross.pollen_plant)
    known = "one" if pollen else "unknown" if cross.pollen_kind in {None, "one"} else cross.pollen_kind
    pairing = say(f"due.pollen.{known}", seed=seed, pollen=pollen)
    if cross.kind != CROSS_KINDS[0]:
        pairing = say("due.of_kind", pairing=pairing, kind=cross.kind)
    state = outcome_of(cross)
    when = cross.date_words or spoken_date(cross.date)
    text = fold(" ".join([number, pairing, cross.seed_parent, cross.pollen_parent or "", when, cross.friend or ""]))
    return CrossLine(number, pairing, when, state, _says(cross, state), text.casefold())


def _side(name: str, plant: str | None) -> str:
    known = correct_form(name) if name else ""
    return f"{known} [{plant}]" if plant and plant != known else known


def _says(cross: Cross, state: str) -> str:
    if state == "lost":
        return say("ask.outcome.lost", cause=cross.lost_to)
    if state != "open":
        return say(f"ask.outcome.{state}")
    return say("crosses_listed.under_way", how_far=say(f"crosses_listed.how_far.{_how_far(cross)}"))


def _how_far(cross: Cross) -> str:
    """Return the last thing that was seen of a cross under way."""
    if cross.seedlings is not None:
        return "up" if cross.seedlings else "none_up"
    if cross.seeds_sown is not None:
        return "sown"
    if cross.seeds or cross.seeds_filled:
        return "harvested"
    if cross.pods_held:
        return "ripe"
    if cross.pods_set is not None:
        return "swelling" if cross.pods_set else "none_swelling"
    return "pollinated"
