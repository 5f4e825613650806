"""What somebody types: options that many commands share or that are fields of a record, and answers to questions."""

from __future__ import annotations

import inspect
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args, get_type_hints

import typer

from crosscompat.cli.output import shown
from crosscompat.ground.dates import TwoDates, read_date, spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_F = TypeVar("_F", bound=Callable[..., None])
_MOST = 999_999_999
_OPPOSITES = {"--stamens-removed": "--stamens-left"}


def on_a_terminal() -> bool:
    """Tell whether somebody can answer."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def confirm(question: str) -> bool | None:
    """Ask yes or no, a blank being no; None where nobody can be asked."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None
    return typer.confirm(shown(question), err=True)


def choose(question: str, words: Sequence[str]) -> str | None:
    """Ask for one of some words, of which the beginning is enough, until it is one; None if there is no answer."""
    prompt = shown(say("asking.choose", question=question, words="/".join(words)))
    meant = None
    while meant is None:
        try:
            meant = _meant(input(prompt), words)
        except EOFError:
            break
    return meant


def _meant(typed: str, words: Sequence[str]) -> str | None:
    """Return the word that is typed, or else the only one that begins so, whatever its case."""
    plain = " ".join(typed.casefold().split())
    meant = [word for word in words if word == plain] or [word for word in words if plain and word.startswith(plain)]
    return meant[0] if len(meant) == 1 else None


def any_day(text: str, latest: date | None = None) -> date:
    """Return the day that was typed, asking where the day could be the month; `read_date` says what it raises."""
    try:
        return read_date(text, today(), latest)
    except TwoDates as two:
        words = {spoken_date(day).casefold(): day for day in two.dates}
        answer = choose(say("dates.which", text=text), tuple(words)) if on_a_terminal() else None
        if answer is None:
            raise
        return words[answer]


def past_day(text: str) -> date:
    """Return the day that was typed, which is none to come; `read_date` says what it raises."""
    return any_day(text, today())


def hour(text: str) -> time:
    """Return an hour written as 14:05; raises `WrongUse` if it is none."""
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007 - an hour of the local day
    except ValueError:
        raise WrongUse(say("entry.hour", got=text)) from None


def author(by: str | None) -> str | None:
    """Return who did it, by the option or else by the environment."""
    return (os.environ.get("CROSSCOMPAT_GROWER", "") if by is None else by).strip() or None


def words(name: str, allowed: tuple[str, ...]) -> Callable[[str], str]:
    """Return a reader of one of some words, of which the beginning is enough, whatever its case.

    The reader raises `WrongUse` if it is none of them.

    Examples
    --------
    >>> words("--over", ("set", "hold"))("HO")
    'hold'
    """

    def read(given: str) -> str:
        meant = _meant(_not_blank(name)(given), allowed)
        if meant is None:
            raise WrongUse(say("usage.choice", option=name, words=", ".join(allowed), got=given))
        return meant

    return read


def number(name: str, kind: type[int | float], least: float, most: float = _MOST) -> Callable[[Any], Any]:
    """Return a reader of a number between two limits, which raises `WrongUse` if it is none or lies outside."""

    def read(given: Any) -> Any:
        try:
            value = kind(given)
        except ValueError:
            raise WrongUse(say(f"usage.{'whole' if kind is int else 'measure'}", option=name, got=given)) from None
        if not least <= value <= most:
            low = value < least
            raise WrongUse(say(f"usage.{'least' if low else 'most'}", option=name, got=given, least=least, most=most))
        return value

    return read


def count(name: str, help_: str, *also: str, least: int = 0, most: int = _MOST) -> Any:
    """Return an option that takes a whole number."""
    return typer.Option(name, *also, metavar="N", parser=number(name, int, least, most), help=say(help_))


_SIGNS = ("x", "×", "by")
_CROSSED = re.compile(r"\s+[xX]\s+|\s*×\s+")
_TWO_NAMES = 4


def two_parents(typed: Sequence[str]) -> tuple[str, str]:
    """Return the two sides of a pairing as they were typed: with or without a sign between, quoted or not.

    `WrongUse` is raised if they are not two.

    Examples
    --------
    >>> two_parents(["COC-F1", "x", "DAS-1"]), two_parents(["Aloe", "vera", "x", "Aloe", "ferox"])
    (('COC-F1', 'DAS-1'), ('Aloe vera', 'Aloe ferox'))
    >>> two_parents(["Aloe vera × A. ferox"]), two_parents(["Aloe", "vera", "Aloe", "ferox"])
    (('Aloe vera', 'A. ferox'), ('Aloe vera', 'Aloe ferox'))
    """
    words = [word.strip() for word in typed]
    signs = [at for at, word in enumerate(words) if word.casefold() in _SIGNS]
    if len(signs) == 1:
        sides = [" ".join(words[: signs[0]]), " ".join(words[signs[0] + 1 :])]
    elif len(words) == 1:
        sides = _CROSSED.split(words[0], maxsplit=1)
    elif len(words) == _TWO_NAMES:
        sides = [" ".join(words[:2]), " ".join(words[2:])]
    else:
        sides = words
    if not (sides[1:] and all(sides) and not sides[2:]):
        raise WrongUse(say("usage.two_parents", got=" ".join(words)))
    return sides[0], sides[1]


def text(name: str, metavar: str, help_: str) -> Any:
    """Return an option that takes words, which are not blank."""
    return plain(name, help_, metavar, parser=_not_blank(name))


def plain(name: str, help_: str, metavar: str | None = None, **more: Any) -> Any:
    """Return an option that is there or not, or takes something as it is typed."""
    return typer.Option(name, metavar=metavar, help=say(help_), **more)


def choice(name: str, allowed: tuple[str, ...], help_: str) -> Any:
    """Return an option that takes one of some words."""
    return plain(name, help_, "|".join(allowed), parser=words(name, allowed))


def _not_blank(name: str) -> Callable[[str], str]:
    def read(given: str) -> str:
        if not given.strip():
            raise WrongUse(say("entry.blank_one", options=name))
        return given

    return read


def option(
    name: str, help_: str, kind: type, allowed: tuple[str, ...] = (), limits: tuple[float, float] | None = None
) -> Any:
    """Return an option for a value of a kind, annotated: a day, an hour, a number, yes or no, or words."""
    low, high = limits or (0, _MOST)
    if kind is bool:
        made = plain(f"{name}/{_OPPOSITES.get(name, f'--not-{name[2:]}')}", help_)
    elif kind in {int, float}:
        made = plain(name, help_, "N", parser=number(name, kind, low, high))
    elif kind in {date, time}:
        made = plain(name, help_, "DATE", parser=past_day) if kind is date else plain(name, help_, "HH:MM", parser=hour)
    elif allowed:
        made = choice(name, allowed, help_)
    else:
        made = text(name, "TEXT", help_)
    return Annotated[kind | None, made]


def options_of(
    record: type, names: str, room: str, allowed: Mapping[str, tuple[str, ...]] | None = None
) -> dict[str, Any]:
    """Return an option for fields of a record, by what the record says of each.

    ``names`` are fields of the dataclass with blanks between them, each ``field`` or ``field=option`` where the option
    has another name. The help is the entry ``room.field``. ``allowed`` are the words that a field may hold, where the
    record does not say so.
    """
    hints = get_type_hints(record)
    known = {one.name: one for one in fields(record)}
    found = {}
    for part in names.split():
        name, _, called = part.partition("=")
        kinds = [kind for kind in get_args(hints[name]) or (hints[name],) if kind is not type(None)]
        said = known[name].metadata
        choices = (allowed or {}).get(name) or said.get("choices") or ()
        found[name] = option(
            f"--{(called or name).replace('_', '-')}",
            f"{room}.{name}",
            kinds[0],
            choices,
            said.get("range"),
        )
    return found


def taking(*groups: Mapping[str, Any]) -> Callable[[_F], _F]:
    """Give a command that takes ``**fields`` the options of each group, every one None by default."""

    def decorated(command: _F) -> _F:
        signature = inspect.signature(command, eval_str=True)
        own = [one for one in signature.parameters.values() if one.kind is not inspect.Parameter.VAR_KEYWORD]
        new = [
            inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=kind)
            for group in groups
            for name, kind in group.items()
        ]
        listed = [*own, *new]
        command.__signature__ = signature.replace(parameters=listed)  # type: ignore[attr-defined]
        command.__annotations__ = {one.name: one.annotation for one in listed}
        return command

    return decorated


Folder = Annotated[Path | None, plain("--collection", "help.collection", "DIR")]
Json = Annotated[bool, plain("--json", "help.json")]
Why = Annotated[bool, plain("--why", "help.why")]
Flowers = Annotated[int | None, count("--flowers", "help.flowers", "-n", least=-_MOST)]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help=say("help.output"))]
Day = Annotated[date | None, typer.Option("--as-of", "--on", metavar="DATE", parser=any_day, help=say("help.as_of"))]
On = Annotated[date | None, plain("--on", "help.on", "DATE", parser=past_day)]
By = Annotated[str | None, text("--by", "WHO", "help.by")]
Anyway = Annotated[bool, plain("--anyway", "help.anyway")]
DryRun = Annotated[bool, plain("--dry-run", "help.dry_run")]
