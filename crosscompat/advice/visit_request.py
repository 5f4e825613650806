"""What a grower tells of a visit, before anything is looked up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time

from crosscompat.book.records import CERTAINTIES
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["VisitRequest", "count_told", "kind_told", "refuse_contradictions"]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRequest:
    """A visit as the grower tells it; None is unknown.

    Attributes
    ----------
    seed : str or None
        A plant's own name or a species; None for that of the cross named.
    pollen : tuple of str
    kind : str or None
        ``open``, ``self``, ``sib`` or ``none`` in place of pollen parents.
    certainty : tuple of str
        One for all pollen parents, or one each.
    """

    seed: str | None = None
    pollen: tuple[str, ...] = ()
    kind: str | None = None
    certainty: tuple[str, ...] = ()
    lot: str | None = None
    day: date
    hour: time | None = None
    who: str | None = None
    marker: str | None = None
    unit: str | None = None
    count: int | None = None
    count_how: str | None = None
    again: bool = False
    cross: str | None = None
    number: str | None = None
    technique: str | None = None
    stamens_removed: bool | None = None
    isolation: str | None = None
    temperature: float | None = None
    humidity: float | None = None
    aim: str | None = None
    wanted: int | None = None
    check: str | None = None
    left_alone: bool = False
    note: str | None = None


def refuse_contradictions(request: VisitRequest) -> None:
    """Refuse a request that says two things at once.

    Raises
    ------
    WrongUse
        With what contradicts what.
    """
    _refuse_pollen(request)
    _refuse_certainty(request.certainty, len(request.pollen))
    if request.left_alone and request.check:
        raise WrongUse(say("pollinate.one_kind"))
    if request.cross and request.number:
        raise WrongUse(say("pollinate.cross_or_number"))


def _refuse_pollen(request: VisitRequest) -> None:
    told = [request.kind] if request.kind else []
    told += ["none"] if request.left_alone and request.kind is None else []
    if request.pollen and told:
        raise WrongUse(say("pollinate.pollen_twice", kind=told[0]))
    if request.left_alone and request.kind not in {None, "none"}:
        raise WrongUse(say("pollinate.left_alone"))
    if not (request.pollen or told or request.lot or request.cross):
        raise WrongUse(say("pollinate.no_pollen"))
    if request.lot and (told or len(request.pollen) > 1):
        raise WrongUse(say("pollinate.lot_of_one"))


def _refuse_certainty(words: tuple[str, ...], n_pollen: int) -> None:
    unread = [word for word in words if word not in CERTAINTIES]
    if unread:
        raise WrongUse(say("pollinate.certainty", got=unread[0], words=", ".join(CERTAINTIES)))
    if len(words) > 1 and len(words) != n_pollen:
        raise WrongUse(say("pollinate.certainties"))


def kind_told(**said: bool) -> str | None:
    """Return which of open, self, sib and none was said in place of a pollen parent.

    Raises
    ------
    WrongUse
        If more than one was.
    """
    found = [name for name, yes in said.items() if yes]
    if len(found) > 1:
        raise WrongUse(say("pollinate.kinds", kinds=", ".join(f"--{name}" for name in found)))
    return found[0] if found else None


def count_told(count: int | None, *, about: bool, all_open: bool) -> str | None:
    """Return how a count was made; None where nothing was counted.

    Raises
    ------
    WrongUse
        If it is both a guess and all, or a guess of nothing.
    """
    if about and all_open:
        raise WrongUse(say("pollinate.about_or_all"))
    if about and count is None:
        raise WrongUse(say("pollinate.about_what"))
    if all_open or about:
        return "all open" if all_open else "about"
    return None if count is None else "counted"
